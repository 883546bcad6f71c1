"""A Python function that drives the bus: traffic that makes decisions during the run."""

from __future__ import annotations

import os
import sys
import threading
import time
from collections.abc import Callable, Iterable
from contextlib import suppress
from pathlib import Path
from typing import Any, NoReturn

from busbox.basics.errors import InputError, Mistake, format_error, format_value, line_in
from busbox.basics.hook_limit import limit, too_long
from busbox.basics.hooks import PASSING, HookError, forked, shown_file
from busbox.cpu.bus import Bus, Place, not_firmware
from busbox.cpu.commands import Result
from busbox.cpu.listed import ListedSource
from busbox.cpu.source import Moment, Routine, Source
from busbox.cpu.steps import Step

#: Seconds for which a function may still run when its run is over.
PATIENCE = 0.5


class _GivenUp(BaseException):
    """Raised inside a firmware function whose run is over."""


class FunctionSource:
    """A Python function ``firmware(bus)``, asked step by step.

    The function runs in a separate thread, and only while the replay waits for its next step, so that
    the two never run at once. ``next`` re-raises its exceptions with their traceback; those of a
    function from a traffic file become an InputError with the line in that file.

    Parameters
    ----------
    function : called with a :class:`Bus`
    name : name of the function's file in messages, "" if it does not come from a file
    path : the file's path, as Python knows it; "" for the file that defines the function
    handlers : list to which the function's handlers are appended

    """

    ahead = False
    count: int | None = None

    def __init__(
        self,
        function: Callable[[Bus], Any],
        name: str = "",
        path: str = "",
        handlers: list[Routine] | None = None,
    ) -> None:
        self._function = function
        code = getattr(function, "__code__", None)
        self._name, self._path = name, path or getattr(code, "co_filename", "")
        self.handlers: list[Routine] = [] if handlers is None else handlers
        self._files: dict[str, str | None] = {self._path: None}
        self._thread: threading.Thread | None = None
        self._ident: int | None = None
        self._go, self._done = threading.Lock(), threading.Lock()
        self._go.acquire()  # each is released by the thread that has something for the other
        self._done.acquire()
        self._step: Step | None = None
        self._raised: BaseException | None = None
        self._closed = self._told = False
        self._process = os.getpid()

    def next(self, moment: Moment) -> Step | None:
        """Let the function run to its next step."""
        self._moment = moment
        if self._thread is None:
            self._thread = threading.Thread(target=self._run, daemon=True)
            self._thread.start()
        else:
            self._go.release()
        self._wait()
        error = self._raised
        if error is None:
            return self._step
        if isinstance(error, PASSING) or not self._name:
            raise error
        line = line_in(error, self._path)
        text = f"the function raised {format_error(error)}"
        raise InputError.of(text, self._name, line) from error

    def _wait(self) -> None:
        """Wait for the function's next step.

        Raises
        ------
        HookError : it computes for longer than a hook may
        """
        seconds, since = limit(), time.process_time()
        while not self._done.acquire(timeout=min(1.0, seconds / 4) if seconds else -1):
            if time.process_time() - since < seconds:
                continue
            frame = sys._current_frames().get(self._ident or 0)
            while frame is not None and frame.f_code.co_filename != self._path:
                frame = frame.f_back
            line = None if frame is None else frame.f_lineno
            name = getattr(self._function, "__name__", "the function")
            where = self._name or shown_file(self._path)
            raise HookError(Mistake(too_long(f"{name} made no step and", seconds), where, line))

    def again(self) -> FunctionSource:
        """Return a source that calls the function again."""
        return FunctionSource(self._function, self._name, self._path)

    def close(self) -> None:
        """End the function at its present step; one that does not end is left, and plays nothing.

        Its thread ends with the process.
        """
        thread, self._closed = self._thread, True
        if thread is not None and thread.is_alive():
            with suppress(RuntimeError):  # it computes, and waits for nothing
                self._go.release()
            thread.join(PATIENCE)

    # What a Bus calls, in the function's thread.

    @property
    def moment(self) -> Moment:
        """The moment for which the function makes its next step."""
        self._check_thread()
        return self._moment

    def _check_thread(self) -> None:
        if threading.get_ident() != self._ident:
            raise RuntimeError("a handler must use the bus that it is given, not another one")

    def exchange(self, step: Step) -> Result | None:
        """Play a step; return what it read."""
        forked(self._process)
        self._check_thread()
        if self._closed:
            self._give_up()
        self._step = step
        self._done.release()
        self._go.acquire()
        if self._closed:
            self._give_up()
        return self._moment.result

    def _give_up(self) -> NoReturn:
        """End the function; one that has caught that waits here for the end of the process."""
        if self._told:
            threading.Event().wait()
        self._told = True
        raise _GivenUp

    def place(self, place: Place) -> tuple[str | None, int]:
        """Return file and line as steps have them: None for the traffic's own file."""
        path, line = place
        if path not in self._files:
            self._files[path] = self._shown(path)
        return self._files[path], line

    def _shown(self, path: str) -> str | None:
        """Return the name of a file in a recording: its path from the folder of the traffic."""
        folder = Path(self._path).parent if self._path else Path()
        file, folder = (folder / path).resolve(), folder.resolve()
        if self._path and file == Path(self._path).resolve():
            return None
        return file.relative_to(folder).as_posix() if file.is_relative_to(folder) else path

    def add(
        self,
        pin: str,
        handler: Callable[[Bus], Any],
        cycles: tuple[int, int],
        place: tuple[str | None, int],
    ) -> None:
        """Call a function whenever a pin is high."""

        def start() -> Source:
            return FunctionSource(handler, self._name, self._path, self.handlers)

        name = getattr(handler, "__name__", type(handler).__name__)
        file, line = place
        self.handlers.append(Routine(name, pin, *cycles, start, line=line, file=file))

    def _run(self) -> None:
        self._ident = threading.get_ident()
        try:
            self._function(Bus(self))
        except _GivenUp:
            pass
        except BaseException as error:
            forked(self._process, error)
            self._raised = error
        forked(self._process)
        self._step = None
        if not self._closed:  # else nobody waits
            self._done.release()


def source_of(traffic: object) -> Source:
    """Return the source for a list of steps, a function, or an object that already is a source.

    Raises
    ------
    InputError : none of them
    """
    if callable(traffic):
        problem = not_firmware(traffic)
        if problem:
            raise InputError.of(problem)
        return FunctionSource(traffic)
    if callable(getattr(traffic, "next", None)) and callable(getattr(traffic, "again", None)):
        return traffic  # type: ignore[return-value]
    if isinstance(traffic, Iterable):
        steps = list(traffic)
        wrong = next((step for step in steps if not isinstance(step, Step)), None)
        if wrong is None:
            return ListedSource(lambda: steps)
        raise InputError.of(f"must hold steps only, not {format_value(wrong)}")
    raise InputError.of(
        f"must be a file, a function or a list of steps, not {format_value(traffic)}"
    )
