"""Where hooks run, and a limit for those that never return: seconds of computing in one call.

It counts processor time, not time: a hook that waits, such as one in a debugger, is not ended. While
:func:`limited_hooks` is open, a thread looks now and then which hook is on the stack; a hook costs
nothing more for it.
"""

from __future__ import annotations

import contextlib
import ctypes
import os
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, nullcontext, redirect_stdout
from types import FrameType

from busbox.basics.errors import InputError, Mistake
from busbox.basics.hooks import HookError, HookTooLong, forked, is_hook, name_of, shown_file

#: The variable that sets the limit, in seconds; 0: none.
VARIABLE = "BUSBOX_HOOK_SECONDS"
SECONDS = 60.0
#: How often a hook that catches everything is told to end before the process is ended.
TRIES = 10


def limit() -> float:
    """Return the seconds that a hook may compute in one call.

    Raises
    ------
    InputError : the variable holds no number of seconds
    """
    text = os.environ.get(VARIABLE, "")
    try:
        seconds = float(text) if text else SECONDS
    except ValueError:
        seconds = -1
    if not 0 <= seconds < 1e9:
        raise InputError.of(f"must be a number of seconds, not {text!r}", VARIABLE)
    return seconds


def too_long(what: str, seconds: float) -> str:
    """Return the sentence for a hook that was ended."""
    return (
        f"{what} computed for more than {seconds:g} s, the most that a hook may in one call "
        f"({VARIABLE} sets another limit, 0 none)"
    )


@contextmanager
def limited_hooks(*, aside: bool = True) -> Iterator[Callable[[], HookError]]:
    """Have hooks run: within their limit, in one process, and beside the output of a command line.

    A hook that computes for longer than the limit ends in a HookError. In a process that a hook has
    forked, nothing after this is run. What hooks print goes to standard error if a verb is run, whose
    output is on standard output. It gives what returns the error of the hook that was ended last, for
    those who catch :class:`HookTooLong` themselves.

    Parameters
    ----------
    aside : whether they go there

    Raises
    ------
    HookError : a hook was ended
    """
    seconds, process = limit(), os.getpid()
    watch = _Watch(_caller(), seconds)
    if seconds and sys.gettrace() is None:
        watch.start()
    try:
        with redirect_stdout(sys.stderr) if aside and _is_verb() else nullcontext():
            yield watch.error
    except HookTooLong:
        raise watch.error() from None
    except BaseException as error:
        forked(process, error)
        raise
    finally:
        watch.over.set()
        if watch.is_alive() and os.getpid() == process:
            watch.join(1)
    forked(process)


def _caller() -> FrameType | None:
    """Return the frame of the code that uses a context manager of this module."""
    frame: FrameType | None = sys._getframe()
    here = (__file__, contextlib.__file__)
    while frame is not None and frame.f_code.co_filename in here:
        frame = frame.f_back
    return frame


def _is_verb() -> bool:
    """Return whether a verb of the command line is run."""
    click = sys.modules.get("click")
    return click is not None and click.get_current_context(silent=True) is not None


class _Watch(threading.Thread):
    """Looks which hook runs above a frame, and ends one that stays too long."""

    def __init__(self, bottom: FrameType | None, seconds: float) -> None:
        super().__init__(daemon=True)
        self.over = threading.Event()
        self._bottom, self._seconds = bottom, seconds
        self._watched = threading.get_ident()
        self._process = os.getpid()
        self._told = Mistake("a hook")

    def error(self) -> HookError:
        """Return the error for the hook that was ended."""
        return HookError(self._told)

    def run(self) -> None:
        """Look, until the region is over."""
        seen: FrameType | None = None
        since, tries = 0.0, 0
        while not self.over.wait(min(1.0, self._seconds / 4)):
            hook, now = self._hook(), time.process_time()
            if hook is None or hook is not seen:
                seen, since, tries = hook, now, 0
            elif now - since >= self._seconds:
                self._end(hook, tries)
                tries += 1
            del hook

    def _hook(self) -> FrameType | None:
        """Return the frame of the hook that runs, the outermost one above the bottom."""
        frame, found = sys._current_frames().get(self._watched), None
        while frame is not None and frame is not self._bottom:
            found = frame if is_hook(frame) else found
            frame = frame.f_back
        return found if frame is not None else None

    def _end(self, hook: FrameType, tries: int) -> None:
        if tries == 0:
            what = name_of(hook.f_code)
            self._told = Mistake(
                too_long(what, self._seconds), shown_file(hook.f_code.co_filename), hook.f_lineno
            )
        if tries >= TRIES:
            os.write(2, f"busbox: {self._told}, and caught what was to end it\n".encode())
            os._exit(2)
        kind = ctypes.py_object(HookTooLong)
        if not self.over.is_set():
            ctypes.pythonapi.PyThreadState_SetAsyncExc(ctypes.c_ulong(self._watched), kind)
