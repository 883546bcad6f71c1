"""What ``busbox run --live`` connects to a serial port: this terminal, or a pseudo-terminal.

Source of the calls: POSIX.1-2017, termios and openpty's master and slave.
"""

from __future__ import annotations

import os
import select
import signal
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from types import FrameType

from busbox.basics.errors import InputError

#: Bytes that are read at once.
ROOM = 4096
#: What Ctrl-D sends on a terminal: the end of the input. Source: POSIX, special character EOF.
END = b"\x04"


class FarEnd:
    """Bytes from and to a file: a terminal, a pipe, the master of a pseudo-terminal.

    Parameters
    ----------
    source, target : file descriptors
    ends : whether ``END``, or the end of the file, ends the run; else it only ends the input

    Attributes
    ----------
    ended : the run is to end
    """

    def __init__(self, source: int, target: int, *, ends: bool) -> None:
        self._source, self._target, self._ends = source, target, ends
        self._closed = False
        self._waiting = b""
        self._last = b"\n"
        self.ended = False

    def show(self, data: bytes) -> None:
        """Write what a device has sent; what nobody takes now is kept for later."""
        self._waiting += data
        self._last = self._waiting[-1:] or self._last
        self._write()

    def finish(self) -> None:
        """Show what is left, and end its line."""
        self.show(b"" if self._last == b"\n" else b"\n")

    def _write(self) -> None:
        while self._waiting and select.select([], [self._target], [], 0)[1]:
            try:
                written = os.write(self._target, self._waiting)
            except BlockingIOError:
                return
            self._waiting = self._waiting[written:]

    def typed(self, wait: float) -> bytes:
        """Return what has been typed; wait so many seconds for it if there is nothing."""
        self._write()
        sources = [] if self._closed or self.ended else [self._source]
        if not select.select(sources, [], [], wait)[0]:
            return b""
        data = os.read(self._source, ROOM)
        if not data:
            self._closed = True
            return b""
        if self._ends and END in data:
            self.ended = True
            return data[: data.index(END)]
        return data


@contextmanager
def this_terminal() -> Iterator[FarEnd]:
    """Give the terminal of this process: each key at once and without an echo, as long as it is open.

    Where standard input is a file or a pipe, its end is the end of the input and not of the run.

    Raises
    ------
    InputError : there are no terminals of POSIX here
    """
    sys.stdout.flush()
    source, target = _descriptors()
    if not os.isatty(source):
        far = FarEnd(source, target, ends=False)
        with _interrupted(far):
            yield far
            far.finish()
        return
    import termios
    import tty

    before = termios.tcgetattr(source)
    far = FarEnd(source, target, ends=True)
    try:
        tty.setcbreak(source)
        with _interrupted(far):
            yield far
            far.finish()
    finally:
        termios.tcsetattr(source, termios.TCSADRAIN, before)


@contextmanager
def pseudo_terminal(say: Callable[[str], None]) -> Iterator[FarEnd]:
    """Give a new pseudo-terminal, in raw mode; ``say`` is called with its name.

    Raises
    ------
    InputError : there are no terminals of POSIX here
    """
    _descriptors()
    import tty

    master, slave = os.openpty()
    try:
        tty.setraw(slave)
        os.set_blocking(master, False)
        say(os.ttyname(slave))
        far = FarEnd(master, master, ends=False)
        with _interrupted(far):
            yield far
    finally:
        os.close(slave)
        os.close(master)


def _descriptors() -> tuple[int, int]:
    if sys.platform == "win32":
        raise InputError.of(
            "needs terminals as POSIX has them, which this system has not", "--live"
        )
    return sys.stdin.fileno(), sys.stdout.fileno()


@contextmanager
def _interrupted(far: FarEnd) -> Iterator[None]:
    """Let the first Ctrl-C end the run in the cycle where it is; a second one acts as ever."""

    def end(_number: int, _frame: FrameType | None) -> None:
        far.ended = True
        signal.signal(signal.SIGINT, before)

    before = signal.signal(signal.SIGINT, end)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)
