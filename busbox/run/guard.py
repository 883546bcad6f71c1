"""A model of somebody else's, guarded: what its hooks raise or return is checked.

Models that come with Busbox are called without it; an access is guarded where the loop answers it.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import replace
from functools import partial
from typing import Any, NoReturn, cast

from busbox.basics.errors import BusboxError, Mistake, ModelError, format_value
from busbox.basics.hooks import (
    PASSING,
    HookError,
    forked,
    refuse,
    told,
    user_frame,
    wanted,
    where_raised,
    whole,
)
from busbox.device import (
    ERROR,
    NO_ACCESS,
    RELEASED,
    Answer,
    BusAccess,
    Declaration,
    Hold,
    LiveDevice,
)
from busbox.map.registers import WORD
from busbox.recording import Event
from busbox.run.host import DeviceHost
from busbox.system.hardware import Device

#: Later than any cycle of a run.
NEVER = 1 << 62


def failed(key: str, given: tuple[Any, ...], error: BaseException, hook: object) -> NoReturn:
    """Say that a hook of a device raised.

    Parameters
    ----------
    given : what the hook was called with: an access, or a cycle first, or nothing of a run

    Raises
    ------
    HookError, or what passes : always
    """
    if isinstance(error, HookError) or (
        isinstance(error, PASSING) and not isinstance(error, BusboxError)
    ):
        raise error
    when = _when(given)
    if isinstance(error, BusboxError):
        raise HookError(Mistake(f"{error}{where_raised(error, hook)}{when}", key=key)) from error
    name = "it" if isinstance(hook, type) else f"its {getattr(hook, '__name__', 'hook')}"
    raise HookError(Mistake(f"{name} raised {told(error, hook)}{when}", key=key)) from error


def _when(given: tuple[Any, ...]) -> str:
    first = given[0] if given else None
    if isinstance(first, BusAccess):
        return f", in cycle {first.cycle:,}, access {first.number:,}"
    return f", in cycle {first:,}" if isinstance(first, int) else ""


def checked_answer(answer: Any, access: BusAccess, key: str, hook: object) -> Answer:
    """Return what a model has answered, as the contract has it.

    Raises
    ------
    HookError : it is no word of 32 bits, no ERROR, and no Hold that ends in a later cycle
    """
    if answer is ERROR:
        return cast(Answer, answer)
    if isinstance(answer, Hold):
        until = None if answer.until is None else whole(answer.until)
        if answer.until is not None and (until is None or not access.cycle < until < NEVER):
            shown = until if until is not None else format_value(answer.until)
            text = f"a hold in cycle {access.cycle} must end in a later cycle, not in {shown}"
            refuse(text, hook, key)
        return Hold(until)
    word = whole(answer)
    if word is None:
        shown = format_value(answer)
        text = f"a model must answer a word, ERROR or a Hold, not {shown}"
        refuse(text, hook, key)
    if not 0 <= word <= WORD:
        text = f"a model must answer a word from 0 to 0xffffffff, not {shown_number(word)}"
        refuse(text, hook, key)
    return word


def shown_number(number: int) -> str:
    """Return a number that is out of range as messages show it."""
    return format_value(number) if number < 0 else f"{number:#x}"[:40]


@contextmanager
def built_by_hooks(what: str) -> Iterator[None]:
    """Build hardware: what its hooks raise while they are called names the device's file.

    Parameters
    ----------
    what : what is built, for the message
    """
    try:
        yield
    except PASSING:
        raise
    except BaseException as error:
        if user_frame(error) is None and not isinstance(error, SystemExit):
            error.add_note(f"while building {what}")
            raise
        raise HookError(Mistake(f"{what} cannot be built: it raised {told(error)}")) from error


class GuardedModel(Declaration):
    """A model as the loop uses it, each hook checked (contract: :mod:`busbox.device`).

    Parameters
    ----------
    make : builds the model
    kind : its class
    key : the key of its slot, ``slot.NAME``
    """

    def __init__(self, make: Callable[[], LiveDevice], kind: type, key: str) -> None:
        self._key = key
        self._process = os.getpid()
        self.in_amaranth = False  # type: ignore[misc]
        try:
            self.model = make()
        except BaseException as error:
            forked(self._process, error)
            failed(key, (), error, kind)
        forked(self._process)

    def __getattr__(self, name: str) -> Any:
        if name == "model":
            raise AttributeError(name)
        return getattr(self.model, name)

    def _call(self, name: str, *given: Any) -> Any:
        hook = getattr(self.model, name)
        try:
            result = hook(*given)
        except BaseException as error:
            forked(self._process, error)
            failed(self._key, () if name == "peek" else given, error, hook)
        forked(self._process)
        return result

    def _refuse(self, name: str, rule: str, value: object) -> NoReturn:
        hook = getattr(self.model, name)
        refuse(wanted(name, rule, value), hook, self._key)

    # The contract.

    def access(self, access: BusAccess) -> Answer:
        """Answer an access; the loop checks the answer."""
        answer = self._call("access", access)
        return checked_answer(answer, access, self._key, self.model.access)

    def input(self, cycle: int, pin: str, level: int) -> None:
        """Take a level of an input pin."""
        self._call("input", cycle, pin, level)

    def wake(self, cycle: int) -> None:
        """Do what is due in ``cycle``."""
        self._call("wake", cycle)

    def advance(self, cycle: int) -> None:
        """Bring the model to ``cycle``."""
        self._call("advance", cycle)

    def close(self, cycle: int) -> None:
        """End the run with ``cycle``."""
        self._call("close", cycle)

    def reset(self, cycle: int, length: int) -> None:
        """Take a reset."""
        self._call("reset", cycle, length)

    def next_edge(self, cycle: int) -> int | None:
        """Return the first cycle after ``cycle`` in which an output may change by itself."""
        found = self._call("next_edge", cycle)
        if found is None:
            return None
        number = whole(found)
        if number is None or number <= cycle:
            self._refuse("next_edge", f"None or a cycle after {cycle:,}", found)
        return min(number, NEVER)

    def rest_at(self, cycle: int) -> int:
        """Return the first cycle from ``cycle`` on in which the device may be at rest."""
        found = self._call("rest_at", cycle)
        number = whole(found)
        if number is None or number < cycle:
            self._refuse("rest_at", f"a cycle from {cycle:,} on", found)
        return min(number, NEVER)

    def registers(self) -> dict[str, int]:
        """Return every register's value by name."""
        found = self._call("registers")
        if not isinstance(found, dict):
            self._refuse("registers", "a dictionary of names and words", found)
        words = {}
        for name, value in found.items():
            word = whole(value)
            if not isinstance(name, str) or word is None or not 0 <= word <= WORD:
                self._refuse("registers", "names with words of 32 bits", {name: value})
            words[name] = word
        return words

    def peek(self, offset: int) -> int:
        """Return what a read at an offset would show."""
        found = self._call("peek", offset)
        word = whole(found)
        if word is None or not 0 <= word <= WORD:
            self._refuse("peek", "a word of 32 bits", found)
        return word


class GuardedReader:
    """A note reader as its hardware's host uses it, each hook checked.

    Parameters
    ----------
    make : builds the note reader
    kind : its class
    key : the key of its slot
    """

    def __init__(self, make: Callable[[], Any], kind: type, key: str) -> None:
        self._key, self._process = key, os.getpid()
        try:
            self._reader = make()
        except BaseException as error:
            forked(self._process, error)
            failed(key, (), error, kind)
        forked(self._process)

    def _call(self, name: str, when: tuple[Any, ...], *given: Any) -> Any:
        hook = getattr(self._reader, name)
        try:
            result = hook(*given)
        except BaseException as error:
            forked(self._process, error)
            failed(self._key, when, error, hook)
        forked(self._process)
        return result

    def access(self, access: BusAccess) -> None:
        """Take an access that the device has ended."""
        self._call("access", (access,), access)

    def take_notes(self, cycle: int, notes: Mapping[str, int]) -> None:
        """Take the notes of a cycle."""
        self._call("take_notes", (cycle,), cycle, notes)

    def cause(self, pin: str, cycle: int) -> int:
        """Return the access that caused an edge, -1 if it is not known."""
        found = self._call("cause", (cycle,), pin, cycle)
        number = whole(found)
        if number is None or not NO_ACCESS <= number < 1 << 31:
            hook = self._reader.cause
            text = wanted("cause", "the number of an access, or NO_ACCESS", found)
            refuse(text, hook, self._key)
        return number

    def reset(self, cycle: int, length: int) -> None:
        """Take a reset."""
        self._call("reset", (cycle,), cycle, length)


class GuardedHost(DeviceHost):
    """The surroundings of a device of somebody else: what it reports is checked first."""

    def __init__(
        self,
        device: Device,
        clock_hz: int,
        wake: Callable[[int], None],
        cacheable_until: Callable[[int | None], None],
    ) -> None:
        super().__init__(device, clock_hz, wake, partial(_cacheable, cacheable_until))

    def edge(self, pin: str, cycle: int, level: int, access: int = NO_ACCESS) -> None:
        """Take an edge of an output pin."""
        if not isinstance(pin, str):
            raise ModelError(f"a pin must be named by a string, not {format_value(pin)}")
        if isinstance(level, bool) or type(level) is not int:
            level = _number("a level", level, 0, RELEASED)
        at = _number("the cycle of an edge", cycle, None, NEVER)
        super().edge(pin, at, level, _access(access))

    def event(self, cycle: int, kind: str, access: int = NO_ACCESS, **details: Any) -> None:
        """Take an event."""
        if not isinstance(kind, str):
            raise ModelError(f"the kind of an event must be a string, not {format_value(kind)}")
        at = _number("the cycle of an event", cycle, 0, NEVER)
        _plain_details(details)
        super().event(
            at, kind, _access(access), **details
        )  # as they are: a row may be filled later

    @property
    def events(self) -> list[Event]:
        """The events, as reported; rows hold what the device has put into them since."""
        try:
            return [replace(one, details=_plain_details(one.details)) for one in super().events]
        except ModelError as error:
            raise HookError(Mistake(str(error), key=f"slot.{self.name}")) from error

    def character(self, cycle: int, byte: int, access: int = NO_ACCESS) -> None:
        """Take a byte of text."""
        at = _number("the cycle of a character", cycle, 0, NEVER)
        super().character(at, _number("a character", byte, 0, 255), _access(access))


def _plain_details(details: Mapping[str, Any]) -> dict[str, Any]:
    return {name: plain(f"detail {name}", value) for name, value in details.items()}


def _number(what: str, value: Any, least: int | None, most: int) -> int:
    number = whole(value)
    if number is None:
        raise ModelError(f"{what} must be a whole number, not {format_value(value)}")
    if number > most or (least is not None and number < least):
        ends = f"at most {most:,}" if least is None else f"from {least} to {most:,}"
        raise ModelError(f"{what} must be {ends}, not {shown_number(number)}")
    return number


def _cacheable(tell: Callable[[int | None], None], until: Any) -> None:
    number = None if until is None else whole(until)
    if until is not None and (number is None or number < 0):
        raise ModelError(f"cacheable_until must be None or a cycle, not {format_value(until)}")
    tell(None if number is None else min(number, NEVER))


def _access(value: Any) -> int:
    return _number("an access", value, NO_ACCESS, (1 << 31) - 1)


def plain(what: str, value: Any, depth: int = 0) -> Any:
    """Return a detail of an event as JSON holds it: NumPy's numbers and rows become Python's.

    Raises
    ------
    ModelError : JSON cannot hold it
    """
    if value is None or isinstance(value, str | bool) or type(value) in (int, float):
        return value
    number = whole(value)
    if number is not None:
        return number
    if depth < 8 and isinstance(value, list | tuple):
        row = [plain(what, one, depth + 1) for one in value]
        return row if isinstance(value, list) else tuple(row)
    if depth < 8 and isinstance(value, dict) and all(isinstance(key, str) for key in value):
        return {key: plain(what, one, depth + 1) for key, one in value.items()}
    other = getattr(value, "tolist", None)
    if depth < 8 and type(value).__module__ == "numpy" and other is not None:
        return plain(what, other(), depth + 1)
    raise ModelError(
        f"{what} must be text, a number, true, false, None or a row or table of these, "
        f"not {format_value(value)}"
    )
