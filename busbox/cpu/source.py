"""Sources of steps: a list, a file or a Python function.

A source is anything with ``next(result) -> Step | None``: ``result`` is what the last step read (None
before the first step, and after a step that reads nothing). ``ahead`` says that it does not look at
results, so that many steps may be taken in one go; ``again()`` returns a fresh source that begins at
the first step, for a CPU that starts again after a reset.
"""

from __future__ import annotations

import inspect
import sys
import threading
from collections.abc import Callable, Iterable, Iterator
from copy import copy
from dataclasses import dataclass
from typing import Any, Protocol

from busbox.basics.errors import BusboxError, InputError, line_in, raised, shown
from busbox.basics.units import parse_span
from busbox.cpu.steps import (
    ALL_LANES,
    AWAIT_LIMIT,
    POLL_LIMIT,
    Access,
    Await,
    Handler,
    Mark,
    Named,
    Pause,
    Poll,
    Reset,
    Step,
    Target,
)
from busbox.cpu.table import AccessTable, steps_of
from busbox.map.addresses import NAME, address
from busbox.map.registers import WORD


@dataclass(frozen=True, slots=True)
class Result:
    """What a step read.

    Attributes
    ----------
    data : the word, 0 after an ERR
    error : it ended with ERR
    """

    data: int
    error: bool


class Source(Protocol):
    """Whatever yields steps."""

    ahead: bool
    #: Number of steps, None if nobody knows before the end.
    count: int | None
    #: What the CPU plays while a pin is high.
    handlers: tuple[Handler, ...]

    def next(self, result: Result | None) -> Step | None:
        """Return the next step, or None when there is none left."""

    def again(self) -> Source:
        """Return a source that begins at the first step."""

    def close(self) -> None:
        """Give up; ``next`` is not called any more."""


#: Steps of one traffic that are kept in memory; more are read again whenever they are played.
KEPT_STEPS = 1 << 17


class ListedSource:
    """Steps that stand in a list or a file, and look at no result.

    Parameters
    ----------
    read : returns the steps from the first one on, handlers among them; called more than once if
        there are more than :data:`KEPT_STEPS`

    Raises
    ------
    InputError : what ``read`` raises, before the first step is played
    """

    ahead = True

    def __init__(self, read: Callable[[], Iterable[Step | AccessTable]]) -> None:
        self._read = read
        self._kept: list[Step | AccessTable] | None = []
        count = 0
        handlers: list[Handler] = []
        for piece in read():
            if isinstance(piece, Handler):
                handlers.append(piece)
                continue
            count += len(piece) if isinstance(piece, AccessTable) else 1
            if count > KEPT_STEPS:
                self._kept = None
            elif self._kept is not None:
                self._kept.append(piece)
        self.count: int | None = count
        self.handlers = tuple(handlers)
        self._begin()

    def _begin(self) -> None:
        self._rest = self.pieces()
        self._steps = steps_of(self._rest)

    def pieces(self) -> Iterator[Step | AccessTable]:
        """Return the steps, without the handlers, many at once where the source has them so."""
        if self._kept is not None:
            return iter(self._kept)
        return (piece for piece in self._read() if not isinstance(piece, Handler))

    def take(self) -> Step | AccessTable | None:
        """Return the next step, or many at once; not to be mixed with :meth:`next`."""
        return next(self._rest, None)

    def next(self, result: Result | None) -> Step | None:
        """Return the next step."""
        return next(self._steps, None)

    def again(self) -> ListedSource:
        """Return a source of the same steps."""
        fresh = copy(self)
        fresh._begin()
        return fresh

    def close(self) -> None:
        """Do nothing: there is nothing to give up."""


class _GivenUp(BaseException):
    """Raised inside a firmware function whose run is over."""


class BusError(Exception):
    """Raised in a firmware function whose access ended with ERR, unless it asked not to.

    Attributes
    ----------
    target : where the access went
    """

    def __init__(self, target: object) -> None:
        shown_target = f"{target:#010x}" if isinstance(target, int) else target
        super().__init__(f"the access to {shown_target} ended with ERR")
        self.target = target


class Bus:
    """What a firmware function gets: the bus as its CPU sees it.

    Targets are addresses (multiples of 4) or names such as ``"lamps.COUNT"``. Waits are idle cycles
    before an access.
    """

    def __init__(self, exchange: Callable[[Step], Result | None]) -> None:
        self._exchange = exchange

    def write(self, target: int | str, data: int, *, lanes: int = ALL_LANES, wait: int = 0) -> bool:
        """Write a word in lane position; return False if it ended with ERR."""
        _check_word("data", data)
        step = Access(
            True, _target(target), data, _lanes(lanes), _wait(wait), line=_line_of_caller()
        )
        result = self._exchange(step)
        return result is None or not result.error

    def read(self, target: int | str, *, lanes: int = ALL_LANES, wait: int = 0) -> int:
        """Read a word.

        Raises
        ------
        BusError : the access ended with ERR
        """
        step = Access(
            False, _target(target), None, _lanes(lanes), _wait(wait), line=_line_of_caller()
        )
        return self._word(self._exchange(step), target)

    def poll(
        self,
        target: int | str,
        value: int,
        *,
        mask: int = WORD,
        every: int = 0,
        limit: int = POLL_LIMIT,
        wait: int = 0,
    ) -> int:
        """Read until ``(word & mask) == value``, at most ``limit`` times; return the last word.

        Raises
        ------
        BusError : the last read ended with ERR
        """
        _check_word("value", value)
        _check_word("mask", mask)
        if value & ~mask:
            raise ValueError(f"value must lie inside the mask {mask:#x}, not {value:#x}")
        if type(limit) is not int or limit < 1:
            raise ValueError(f"limit must be a whole number from 1 on, not {limit!r}")
        step = Poll(
            _target(target),
            value,
            mask,
            _wait(every),
            limit,
            wait=_wait(wait),
            line=_line_of_caller(),
        )
        return self._word(self._exchange(step), target)

    def pause(self, span: int | str) -> None:
        """Let time pass: cycles, or a text such as ``"2 ms"``."""
        self._exchange(Pause(parse_span(span)))

    def await_level(self, pin: str, level: int, limit: int | str = AWAIT_LIMIT) -> bool:
        """Let time pass until a pin has a level, 0 or 1; return False if the limit came first."""
        if level not in (0, 1):
            raise ValueError(f"level must be 0 or 1, not {shown(level)}")
        span = parse_span(limit)
        if not (span.cycles or span.seconds):
            raise ValueError("limit must be at least one cycle, not 0")
        result = self._exchange(Await(pin, level, span, _line_of_caller()))
        return result is not None and bool(result.data)

    def reset(self, wait: int = 0) -> None:
        """Put RST high for one cycle, after ``wait`` idle cycles."""
        self._exchange(Reset(_wait(wait), _line_of_caller()))

    def mark(self, text: str) -> None:
        """Name this place."""
        self._exchange(Mark(text))

    @staticmethod
    def _word(result: Result | None, target: object) -> int:
        if result is None or result.error:
            raise BusError(target)
        return result.data


def _line_of_caller() -> int:
    """Return the line from which a method of Bus was called."""
    return sys._getframe(2).f_lineno


def _target(target: int | str) -> Target:
    if type(target) is int:
        if not 0 <= target <= WORD:
            raise ValueError(f"an address must be from 0 to {WORD:#x}, not {target:#x}")
        return address(f"{target:#x}")
    found = NAME.fullmatch(target) if isinstance(target, str) else None
    if found is None:
        raise ValueError(f"a target must be an address or 'slot.REGISTER', not {shown(target)}")
    return Named(found[1], found[2])


def _lanes(lanes: int) -> int:
    if type(lanes) is not int or not 0 <= lanes <= ALL_LANES:
        raise ValueError(f"lanes must be from 0 to 0b1111, not {lanes!r}")
    return lanes


def _wait(cycles: int) -> int:
    if type(cycles) is not int or not 0 <= cycles <= WORD:
        raise ValueError(f"idle cycles must be a whole number from 0 on, not {cycles!r}")
    return cycles


def _check_word(what: str, value: int) -> None:
    if type(value) is not int or not 0 <= value <= WORD:
        raise ValueError(f"{what} must be a whole number from 0 to {WORD:#x}, not {value!r}")


class FunctionSource:
    """A Python function ``firmware(bus)``, asked step by step.

    The function runs in a thread of its own, and only while the replay waits for its next step, so
    that the two never run at once. What it raises comes out of ``next`` with its own traceback; of a
    function from a traffic file, as an InputError with its line there.

    Parameters
    ----------
    function : called with a :class:`Bus`
    name : how messages call the function's file, "" if it comes from no file
    path : the file's path, as Python knows it
    """

    ahead = False
    count: int | None = None
    handlers: tuple[Handler, ...] = ()

    def __init__(self, function: Callable[[Bus], Any], name: str = "", path: str = "") -> None:
        self._function = function
        self._name, self._path = name, path
        self._thread: threading.Thread | None = None
        self._go = threading.Semaphore(0)
        self._done = threading.Semaphore(0)
        self._step: Step | None = None
        self._result: Result | None = None
        self._raised: BaseException | None = None
        self._closed = False

    def next(self, result: Result | None) -> Step | None:
        """Let the function run to its next step."""
        self._result = result
        if self._thread is None:
            self._thread = threading.Thread(target=self._run, daemon=True)
            self._thread.start()
        else:
            self._go.release()
        self._done.acquire()
        error = self._raised
        if error is None:
            return self._step
        told = isinstance(error, BusboxError) or not isinstance(error, Exception | SystemExit)
        if told or not self._name:
            raise error
        line = line_in(error, self._path)
        text = f"the function raised {raised(error)}"
        raise InputError.of(text, self._name, line) from error

    def again(self) -> FunctionSource:
        """Return a source that calls the function anew."""
        return FunctionSource(self._function, self._name, self._path)

    def close(self) -> None:
        """End the function where it stands."""
        thread, self._closed = self._thread, True
        if thread is not None and thread.is_alive():
            self._go.release()
            thread.join()

    def _exchange(self, step: Step) -> Result | None:
        if self._closed:
            raise _GivenUp
        self._step = step
        self._done.release()
        self._go.acquire()
        if self._closed:
            raise _GivenUp
        return self._result

    def _run(self) -> None:
        try:
            self._function(Bus(self._exchange))
        except _GivenUp:
            pass
        except BaseException as error:
            self._raised = error
        self._step = None
        self._done.release()


def not_firmware(function: object) -> str | None:
    """Return why ``function`` cannot be called as ``function(bus)``, or None if it can."""
    if not callable(function):
        return f"must be a function, not {shown(function)}"
    if inspect.isgeneratorfunction(function) or inspect.iscoroutinefunction(function):
        return "must be a plain function: no yield, no async"
    try:
        inspect.signature(function).bind(None)
    except TypeError:
        return "must be a function of one argument, the bus"
    except ValueError:  # a builtin that tells nothing
        pass
    return None


def source_of(traffic: object) -> Source:
    """Return the source of a list of steps, a function, or something that is one already.

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
        raise InputError.of(f"must hold steps only, not {shown(wrong)}")
    raise InputError.of(f"must be a file, a function or a list of steps, not {shown(traffic)}")
