"""A driver in C that drives the bus: a shared library of this machine, in a process of its own.

What it prints goes to standard error. Its crash, exit or endless loop ends the run with one message.
"""

from __future__ import annotations

from collections.abc import Sequence

from busbox.basics.errors import InputError
from busbox.basics.units import Span
from busbox.cpu import host_child
from busbox.cpu.commands import Result
from busbox.cpu.host_library import HostLibrary, Place
from busbox.cpu.host_names import Pace
from busbox.cpu.host_process import LOADING, HostProcess, Request, ended_by
from busbox.cpu.source import Moment, Routine
from busbox.cpu.steps import AccessStep, Pause, Step
from busbox.map.registers import WORD


class HostDriver:
    """A source that calls a function of a library, in a new process each time.

    The process waits for the answer to each access, so that driver and run never go on at once.

    Parameters
    ----------
    library : the file
    function : its name in the library
    pace : how it is played
    """

    ahead = False
    count: int | None = None
    handlers: Sequence[Routine] = ()

    def __init__(self, library: HostLibrary, function: str, pace: Pace) -> None:
        self._library, self._function, self._pace = library, function, pace
        self._process: HostProcess | None = None
        #: From the addresses of the library's file to those in the process, if that is known.
        self._base: int | None = None
        #: The last access, with its place.
        self._last: tuple[Request, Place] | None = None

    def next(self, moment: Moment) -> Step | None:
        """Let the driver run to its next access.

        Raises
        ------
        InputError : the library cannot be used, or the driver ended other than by returning
        """
        if self._process is None:
            self._process = self._started()
        else:
            self._answer(self._process, moment.result)
        request = self._process.receive()
        if request is None:
            raise self._ended(self._process)
        if request.kind == host_child.RETURNED:
            self.close()
            return None
        return self._step(request)

    def again(self) -> HostDriver:
        """Return a source that calls the function again, in a new process."""
        return HostDriver(self._library, self._function, self._pace)

    def close(self) -> None:
        """End the process."""
        if self._process is not None:
            self._process.end()

    def _started(self) -> HostProcess:
        """Start the process, and wait until the function begins."""
        library, function = self._library, self._function
        library.check(function)
        try:
            process = HostProcess(library.path, function, self._pace.patience)
        except OSError as error:
            text = f"no process can be started for it: {error.strerror}"
            raise InputError.of(text, library.name) from None
        try:
            request = process.receive()
            if request is None or request.kind != host_child.BEGUN:
                raise self._not_begun(process, request)
            address = library.address_of(function)
            self._base = None if address is None else request.address - address
        except BaseException:
            process.end()
            raise
        return process

    def _not_begun(self, process: HostProcess, request: Request | None) -> InputError:
        library = self._library
        if request is not None:
            text = {
                host_child.NO_BUS: library.no_bus,
                host_child.NO_FUNCTION: library.no_function(self._function),
            }.get(request.kind, f"cannot be loaded: {_reason(request.text, library)}")
        elif process.overdue:
            text = f"has not loaded after {LOADING:g} s"
        else:
            text = f"{ended_by(process.wait())} while it was loaded"
        return InputError.of(text, library.name)

    def _answer(self, process: HostProcess, result: Result | None) -> None:
        """Give the driver the result of its last access; nothing takes it after a pause."""
        if self._last is None or result is None:
            process.answer(0, False)
            return
        request, _ = self._last
        word = result.data >> 8 * (request.address % 4)
        process.answer(word & (1 << 8 * request.size) - 1, result.error)

    def _step(self, request: Request) -> Step:
        """Return the step that a request asks for."""
        if request.kind == host_child.IDLE:
            return Pause(Span(cycles=request.data))
        place = self._place(request)
        if request.kind == host_child.THREAD:
            text = f"a bus function must be called by the thread of {self._function} only"
            raise self._error(text, place)
        if request.kind == host_child.FORKED:
            text = f"a bus function must be called by {self._function}, not by a process that it forked"
            raise self._error(text, place)
        if request.kind not in (host_child.READ, host_child.WRITE):
            raise self._ended_on_request(request)
        write, address, size = request.kind == host_child.WRITE, request.address, request.size
        if address > WORD:
            raise self._error(f"an address must be at most {WORD:#x}, not {address:#x}", place)
        if address % size:
            text = f"the address of {size} bytes must be a multiple of {size}, not {address:#010x}"
            raise self._error(text, place)
        self._last = request, place
        lane = address % 4
        return AccessStep(
            write,
            address - lane,
            request.data << 8 * lane if write else None,
            (1 << size) - 1 << lane,
            self._pace.idle,
            place.pc,
            line=place.line,
            file=place.file,
        )

    def _place(self, request: Request) -> Place:
        """Return where a request was made: in the call that returns to its address."""
        if self._base is None:
            return Place()
        return self._library.place(request.caller - self._base - 1)

    def _error(self, text: str, place: Place) -> InputError:
        """Return the error of an access, at its line if that is known."""
        if place.file is None:
            return InputError.of(text, self._library.name)
        return InputError.of(f"{place.function}: {text}", place.file, place.line)

    def _ended_on_request(self, request: Request) -> InputError:
        """Return how a call ended whose end the process itself reports."""
        text = f"{self._function} crashed ({request.text}) {self._when}"
        return InputError.of(text, self._library.name)

    def _ended(self, process: HostProcess) -> InputError:
        """Return how the process ended, where the function did not return."""
        function, code = self._function, process.wait()
        if process.overdue:
            text = (
                f"{function} ran for {self._pace.patience:g} s without an access, {self._when}; if it "
                "needs more time, set patience in [traffic]"
            )
        elif process.closed:
            text = f"{function} closed the pipe to Busbox, which it had not opened, {self._when}"
        else:
            text = f"{function} {ended_by(code)}, {self._when}"
            if code == host_child.CLOSED:
                text += ", or closed the pipe to Busbox, which it had not opened"
            if code >= 0:
                text += "; it must return"
        return InputError.of(text, self._library.name)

    @property
    def _when(self) -> str:
        if self._last is None:
            return "before its first access"
        request, place = self._last
        write = (
            f"write of {request.data:#x} to" if request.kind == host_child.WRITE else "read from"
        )
        unit = {4: "", 2: " (a half-word)", 1: " (a byte)"}[request.size]
        shown = f" {place}" if str(place) else ""
        return f"after the {write} {request.address:#010x}{unit}{shown}"


def _reason(text: str, library: HostLibrary) -> str:
    """Return what a system says of a library that does not load, without its path."""
    first = (text.splitlines() or ["no reason given"])[0]
    return first.removeprefix(f"{library.path.absolute()}: ")
