"""The bus as a driver in Python sees it."""

from __future__ import annotations

import inspect
import sys
from collections.abc import Callable
from functools import lru_cache
from typing import Any, Protocol

from busbox.basics.errors import format_value
from busbox.basics.units import Span, parse_span
from busbox.cpu.commands import Result
from busbox.cpu.source import Moment
from busbox.cpu.steps import (
    ALL_LANES,
    AWAIT_LIMIT,
    POLL_LIMIT,
    AccessStep,
    Await,
    Mark,
    Named,
    Pause,
    Poll,
    ResetStep,
    Step,
    Target,
    Until,
)
from busbox.map.addresses import NAME, address
from busbox.map.registers import WORD

#: The highest limit of a poll: as many reads as no run can make.
MOST_READS = 1 << 62

#: File and line of a step's origin.
Place = tuple[str, int]


class Driven(Protocol):
    """The source behind a bus: it passes on the steps of a driver."""

    @property
    def moment(self) -> Moment:
        """The moment for which the driver makes its next step."""

    def exchange(self, step: Step) -> Result | None:
        """Play a step; return what it read."""

    def place(self, place: Place) -> tuple[str | None, int]:
        """Return file and line as steps have them: None for the traffic's own file."""

    def add(
        self,
        pin: str,
        handler: Callable[[Bus], Any],
        cycles: tuple[int, int],
        place: tuple[str | None, int],
    ) -> None:
        """Call a function whenever a pin is high, with its enter and leave cycles."""


class BusError(Exception):
    """Raised in a firmware function whose read or poll ended with ERR.

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
    before an access. Each access is recorded with the file and line that called the method, unless
    ``place`` gives another (file, line); ``pc`` is the address of an instruction.
    """

    def __init__(self, source: Driven) -> None:
        self._source = source

    @property
    def cycle(self) -> int:
        """The first cycle that the next step may use: F of the semantics page."""
        return self._source.moment.cycle

    def pin(self, name: str) -> int:
        """Return the level of a pin such as ``"levers.in.4"`` in :attr:`cycle`, before an access acts.

        Returns
        -------
        0 or 1; 2 for an output that its device has released

        Raises
        ------
        ValueError : there is no such pin; or its level depends on an access in the same cycle, so that
            it is not known before the next step
        """
        if not isinstance(name, str):
            raise ValueError(f"a pin must be named by a string, not {format_value(name)}")
        level = self._source.moment.level(name)
        if level is None:  # cycle 1 lies ahead, if no step has been taken
            self._source.exchange(Pause(Span(cycles=0)))
            level = self._source.moment.level(name)
        assert level is not None
        return level

    def on(
        self,
        pin: str,
        handler: Callable[[Bus], Any],
        *,
        enter: int = 0,
        leave: int = 0,
        place: Place | None = None,
    ) -> None:
        """Call ``handler(bus)`` whenever a pin is high, from now on (semantics page, rule 12c).

        Parameters
        ----------
        pin : such as ``"clock.ring"``; of several that are high, the one registered first wins
        handler : a function of one argument, called anew each time
        enter, leave : idle cycles before its first step and after its last

        Raises
        ------
        ValueError : ``handler`` is not such a function, or a count of cycles is wrong
        """
        problem = not_firmware(handler)
        if problem:
            raise ValueError(f"a handler {problem}")
        if not isinstance(pin, str):
            raise ValueError(f"pin must be a string such as 'clock.ring', not {format_value(pin)}")
        where = self._source.place(_place(place) or _caller())
        self._source.add(pin, handler, (_wait(enter), _wait(leave)), where)

    def write(
        self,
        target: int | str,
        data: int,
        *,
        lanes: int = ALL_LANES,
        wait: int = 0,
        pc: int | None = None,
        place: Place | None = None,
    ) -> bool:
        """Write a word in lane position; return False if it ended with ERR."""
        _check_word("data", data)
        file, line = self._source.place(_place(place) or _caller())
        step = AccessStep(
            True, _target(target), data, _lanes(lanes), _wait(wait), _pc(pc), line=line, file=file
        )
        result = self._source.exchange(step)
        return result is None or not result.error

    def read(
        self,
        target: int | str,
        *,
        lanes: int = ALL_LANES,
        wait: int = 0,
        pc: int | None = None,
        place: Place | None = None,
    ) -> int:
        """Read a word.

        Raises
        ------
        BusError : the access ended with ERR
        """
        file, line = self._source.place(_place(place) or _caller())
        step = AccessStep(
            False, _target(target), None, _lanes(lanes), _wait(wait), _pc(pc), line=line, file=file
        )
        return self._word(self._source.exchange(step), target)

    def poll(
        self,
        target: int | str,
        value: int,
        *,
        mask: int = WORD,
        every: int = 0,
        limit: int = POLL_LIMIT,
        wait: int = 0,
        pc: int | None = None,
        place: Place | None = None,
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
        _check_limit(limit)
        file, line = self._source.place(_place(place) or _caller())
        step = Poll(
            _target(target),
            value,
            mask,
            _wait(every),
            limit,
            wait=_wait(wait),
            pc=_pc(pc),
            line=line,
            file=file,
        )
        return self._word(self._source.exchange(step), target)

    def until(
        self,
        target: int | str,
        value: int,
        *,
        since: int = 0,
        mask: int = WORD,
        every: int = 0,
        limit: int = POLL_LIMIT,
        wait: int = 0,
        pc: int | None = None,
        place: Place | None = None,
    ) -> int:
        """Read until ``((word - since) & mask) >= value``; return the last word.

        This is how firmware waits for a counter; ``since`` is a word that was read of it before.
        After ``limit`` reads it is given up.

        Raises
        ------
        BusError : the last read ended with ERR
        """
        for what, word in (("value", value), ("since", since), ("mask", mask)):
            _check_word(what, word)
        if value > mask:
            raise ValueError(f"value must be at most the mask {mask:#x}, not {value:#x}")
        _check_limit(limit)
        file, line = self._source.place(_place(place) or _caller())
        step = Until(
            _target(target),
            value,
            mask,
            _wait(every),
            limit,
            wait=_wait(wait),
            pc=_pc(pc),
            line=line,
            file=file,
            since=since,
        )
        return self._word(self._source.exchange(step), target)

    def pause(self, span: int | str) -> None:
        """Let time pass: cycles, or a text such as ``"2 ms"``."""
        self._source.exchange(Pause(parse_span(span)))

    def await_level(
        self, pin: str, level: int, limit: int | str = AWAIT_LIMIT, *, place: Place | None = None
    ) -> bool:
        """Let time pass until a pin has a level, 0 or 1; return False if the limit came first."""
        if level not in (0, 1):
            raise ValueError(f"level must be 0 or 1, not {format_value(level)}")
        span = parse_span(limit)
        if not (span.cycles or span.seconds):
            raise ValueError("limit must be at least one cycle, not 0")
        file, line = self._source.place(_place(place) or _caller())
        result = self._source.exchange(Await(pin, level, span, line, file))
        return result is not None and bool(result.data)

    def reset(self, wait: int = 0, *, place: Place | None = None) -> None:
        """Drive RST high for one cycle, after ``wait`` idle cycles."""
        file, line = self._source.place(_place(place) or _caller())
        self._source.exchange(ResetStep(_wait(wait), line, file))

    def mark(self, text: str) -> None:
        """Name this point of the traffic."""
        self._source.exchange(Mark(text))

    @staticmethod
    def _word(result: Result | None, target: object) -> int:
        if result is None or result.error:
            raise BusError(target)
        return result.data


def _caller() -> Place:
    """Return file and line from which a method of Bus was called."""
    frame = sys._getframe(2)
    return frame.f_code.co_filename, frame.f_lineno


def _target(target: int | str) -> Target:
    # A subclass of int or str is equal to others of its value, but not the same.
    return _kept_target(target) if type(target) in (int, str) else _new_target(target)


def _new_target(target: int | str) -> Target:
    if type(target) is int:
        if not 0 <= target <= WORD:
            raise ValueError(f"an address must be from 0 to {WORD:#x}, not {target:#x}")
        return address(f"{target:#x}")
    found = NAME.fullmatch(target) if isinstance(target, str) else None
    if found is None:
        raise ValueError(
            f"a target must be an address or 'slot.REGISTER', not {format_value(target)}"
        )
    return Named(found[1], found[2])


#: Firmware uses few targets, each often.
_kept_target = lru_cache(4096)(_new_target)


def _lanes(lanes: int) -> int:
    if type(lanes) is not int or not 0 <= lanes <= ALL_LANES:
        raise ValueError(f"lanes must be from 0 to 0b1111, not {lanes!r}")
    return lanes


def _wait(cycles: int) -> int:
    if type(cycles) is not int or not 0 <= cycles <= WORD:
        raise ValueError(f"idle cycles must be a whole number, 0 or more, not {cycles!r}")
    return cycles


def _place(place: Place | None) -> Place | None:
    if place is not None:
        file, line = place if isinstance(place, tuple) and len(place) == 2 else (None, None)
        if not isinstance(file, str) or type(line) is not int or line < 1:
            raise ValueError(
                f"place must be a file and a line, such as ('cabin.c', 12), not {place!r}"
            )
    return place


def _pc(pc: int | None) -> int | None:
    if pc is not None and (type(pc) is not int or not 0 <= pc < 1 << 63):
        raise ValueError(f"pc must be an address, not {pc!r}")
    return pc


def _check_limit(limit: object) -> None:
    if type(limit) is not int or not 1 <= limit <= MOST_READS:
        raise ValueError(f"limit must be a whole number from 1 to {MOST_READS:,}, not {limit!r}")


def _check_word(what: str, value: int) -> None:
    if type(value) is not int or not 0 <= value <= WORD:
        raise ValueError(f"{what} must be a whole number from 0 to {WORD:#x}, not {value!r}")


def not_firmware(function: object) -> str | None:
    """Return why ``function`` cannot be called as ``function(bus)``, or None if it can."""
    if not callable(function):
        return f"must be a function, not {format_value(function)}"
    if inspect.isgeneratorfunction(function) or inspect.iscoroutinefunction(function):
        return "must be a plain function: no yield, no async"
    try:
        inspect.signature(function).bind(None)
    except TypeError:
        return "must be a function of one argument, the bus"
    except ValueError:  # a builtin without a signature
        pass
    return None
