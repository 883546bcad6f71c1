"""What a run must meet: ``[[expect]]`` of a bench. ``busbox guide expectations`` lists the kinds.

``of`` names a slot (what it sent, by its registers) or an attachment (what it decoded from the wire).
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from busbox.basics.errors import format_value, join_and, join_or, nearest
from busbox.basics.keys import Key
from busbox.basics.units import parse_span
from busbox.findings.expectation_keys import COUNTS, KEYS, TEXTS
from busbox.findings.expected_accesses import NOBODY, answerers, bus_cycles, errors
from busbox.map.bits import show_bits
from busbox.map.registers import WORD
from busbox.recording import Frame, Recording
from busbox.recording.judged import Verdict
from busbox.system.hardware import Device
from busbox.system.scenario import FINDINGS, Attached

#: The largest number that is expected of anything.
MOST_NUMBER = (1 << 63) - 1


@dataclass(frozen=True)
class Expectation:
    """One expectation: ``check`` says whether a recording meets it, and what was seen.

    ``register`` is the slot and register that it checks, or None; ``needs`` is the attachment or the
    slot that it asks, :data:`FINDINGS`, or "".
    """

    what: str
    check: Callable[[Recording], tuple[bool, str]]
    register: tuple[str, str] | None = None
    needs: str = ""

    def judge(self, recording: Recording) -> Verdict:
        """Return the verdict on a recording."""
        met, seen = self.check(recording)
        return Verdict(self.what, met, seen)


class ExpectationError(ValueError):
    """A mistake in an ``[[expect]]``, at the key whose path inside it is ``path``."""

    def __init__(self, path: tuple[str, ...], text: str) -> None:
        super().__init__(text)
        self.path = path


class _Wrong(ValueError):
    """A mistake in an expectation, at one of its keys ("" for the whole)."""

    def __init__(self, key: str, text: str) -> None:
        super().__init__(text)
        self.key = key


def parse_expectation(
    keys: Mapping[str, Mapping[str, Any] | None],
    devices: Sequence[Device],
    attached: Sequence[Attached],
    clock_hz: int,
    rules: Sequence[str] | None = None,
) -> Expectation:
    """Return the expectation of one ``[[expect]]``.

    ``rules`` are the ids that the bench knows, or None if that is open: some of it is wrong.

    Raises
    ------
    ExpectationError : something in it is wrong
    """
    given = {kind: value for kind, value in keys.items() if value is not None}
    if len(given) != 1:
        raise ExpectationError((), f"must have one of {join_or(_KINDS)}, not {join_or(given)}")
    ((kind, value),) = given.items()
    try:
        _take(value, KEYS[kind])
        return _KINDS[kind](value, _Parts(devices, attached, rules), clock_hz)
    except _Wrong as error:
        path = (kind, error.key) if error.key else (kind,)
        raise ExpectationError(path, str(error)) from None


@dataclass(frozen=True)
class _Parts:
    """What expectations can refer to."""

    devices: Sequence[Device]
    attached: Sequence[Attached]
    rules: Sequence[str] | None

    def sending(self, sends: str) -> list[str]:
        """Return the names of slots and attachments that have text or frames."""
        slots = [device.name for device in self.devices if sends in device.model.sends]
        return slots + [one.name for one in self.attached if sends in one.part.sends]


def _take(given: Mapping[str, Any], keys: Mapping[str, Key]) -> None:
    known = list(keys)
    for key in given:
        if key not in known:
            raise _Wrong(key, f"unknown key {key!r}{nearest(key, known)} (known: {join_or(known)})")
    for key, declared in keys.items():
        if declared.required and key not in given:
            raise _Wrong(key, "must be given")


def _one(given: Mapping[str, Any], ways: Mapping[str, Any]) -> str:
    chosen = [way for way in ways if way in given]
    if len(chosen) != 1:
        raise _Wrong("", f"must have one of {join_or(ways)}, not {join_or(chosen)}")
    return chosen[0]


def _sender(given: Mapping[str, Any], parts: _Parts, sends: str) -> str:
    names = parts.sending(sends)
    name = given["of"]
    if name not in names:
        close = nearest(name, names) if isinstance(name, str) else ""
        text = f"must be a slot or an attachment that has {sends}"
        raise _Wrong("of", f"{text}, not {format_value(name)}{close}")
    return str(name)


def text_of(recording: Recording, name: str) -> str:
    """Return what a slot sent, or what an attachment read."""
    seen = recording.seen.get(name)
    return recording.texts[name] if seen is None else seen.text or ""


def frames_of(recording: Recording, name: str) -> Sequence[Frame]:
    """Return the frames that a slot sent, or those that lamps show."""
    seen = recording.seen.get(name)
    return recording.frames[name] if seen is None else seen.frames or ()


def _whole(given: Mapping[str, Any], key: str, low: int = 0) -> int:
    value = given[key]
    if type(value) is not int or value < low:
        raise _Wrong(key, f"must be a whole number from {low} on, not {format_value(value)}")
    if value > MOST_NUMBER:
        raise _Wrong(key, f"must be at most {MOST_NUMBER:,}, not {format_value(value)}")
    return value


def _text(given: Mapping[str, Any], parts: _Parts, clock_hz: int) -> Expectation:
    slot, way = _sender(given, parts, "text"), _one(given, TEXTS)
    wanted = given[way]
    if not isinstance(wanted, str) or any(ord(character) > 255 for character in wanted):
        # Bytes are sent: no other character can ever occur.
        raise _Wrong(way, f"must be a string of Latin-1 characters, not {format_value(wanted)}")

    def check(recording: Recording) -> tuple[bool, str]:
        seen = text_of(recording, slot)
        return TEXTS[way](seen, wanted), repr(seen)

    return Expectation(f"text of {slot} {way.replace('_', ' ')} {wanted!r}", check, needs=slot)


def _level(given: Mapping[str, Any], parts: _Parts, clock_hz: int) -> Expectation:
    pins = [f"{device.name}.{pin.name}" for device in parts.devices for pin in device.pins]
    pin, wanted = given["pin"], given["is"]
    if pin not in pins:
        close = nearest(pin, pins) if isinstance(pin, str) else ""
        raise _Wrong("pin", f"must be a pin, not {format_value(pin)}{close}")
    if type(wanted) is not int or wanted not in (0, 1):
        raise _Wrong("is", f"must be 0 or 1, not {format_value(wanted)}")
    try:
        at = parse_span(given["at"]).in_cycles(clock_hz) if "at" in given else None
    except ValueError as error:
        raise _Wrong("at", str(error)) from None

    def check(recording: Recording) -> tuple[bool, str]:
        line = recording.lines[pin]
        cycle = recording.cycles - 1 if at is None else at
        if cycle >= recording.cycles:
            return False, f"the run ended before that, after {recording.cycles:,} cycles"
        seen = int(line.levels[int((line.cycles <= cycle).sum()) - 1])
        return seen == wanted, "released" if seen > 1 else str(seen)

    when = "at the end" if at is None else f"in cycle {at:,}"
    return Expectation(f"level of {pin} {when} is {wanted}", check)


def _count(
    what: str, way: str, wanted: int, of: Callable[[Recording], int], needs: str = ""
) -> Expectation:
    def check(recording: Recording) -> tuple[bool, str]:
        seen = of(recording)
        return COUNTS[way](seen, wanted), str(seen)

    return Expectation(f"{what}: {way.replace('_', ' ')} {wanted}", check, needs=needs)


def _frames(given: Mapping[str, Any], parts: _Parts, clock_hz: int) -> Expectation:
    slot, way = _sender(given, parts, "frames"), _one(given, COUNTS)
    wanted = _whole(given, way)
    return _count(
        f"frames of {slot}", way, wanted, lambda recording: len(frames_of(recording, slot)), slot
    )


def _colours(given: Mapping[str, Any], parts: _Parts, clock_hz: int) -> Expectation:
    slot, number = _sender(given, parts, "frames"), given.get("frame", -1)
    if type(number) is not int:
        raise _Wrong(
            "frame", f"must be the number of a frame (-1: the last), not {format_value(number)}"
        )
    wanted = tuple(_colour(colour) for colour in _list(given["are"]))

    def check(recording: Recording) -> tuple[bool, str]:
        frames = frames_of(recording, slot)
        if not -len(frames) <= number < len(frames):
            return False, "1 frame" if len(frames) == 1 else f"{len(frames):,} frames"
        seen = frames[number].colours
        return seen == wanted, " ".join(f"{colour:06X}" for colour in seen) or "no lamp"

    listed = " ".join(f"{colour:06X}" for colour in wanted)
    return Expectation(f"colours of {slot}, frame {number}: {listed}", check, needs=slot)


def _list(value: object) -> list[object]:
    if not isinstance(value, list):
        raise _Wrong(
            "are", f"must be a list of colours such as '400000', not {format_value(value)}"
        )
    return value


def _colour(value: object) -> int:
    digits = value if isinstance(value, str) else ""
    if len(digits) not in (6, 8) or any(digit not in "0123456789abcdefABCDEF" for digit in digits):
        raise _Wrong(
            "are", f"must hold colours such as '400000' (RRGGBB), not {format_value(value)}"
        )
    return int(digits, 16)


def _findings(given: Mapping[str, Any], parts: _Parts, clock_hz: int) -> Expectation:
    rule, way = given["rule"], _one(given, COUNTS)
    if not isinstance(rule, str) or (parts.rules is not None and rule not in parts.rules):
        close = nearest(rule, list(parts.rules or ())) if isinstance(rule, str) else ""
        raise _Wrong("rule", f"must be a rule, not {format_value(rule)}{close}")
    wanted = _whole(given, way)
    return _count(
        f"findings of {rule}",
        way,
        wanted,
        lambda recording: recording.by_rule.get(rule, 0),
        FINDINGS,
    )


def _register(given: Mapping[str, Any], parts: _Parts, clock_hz: int) -> Expectation:
    name, wanted = given["of"], _whole(given, "is")
    slot, _, register = name.partition(".") if isinstance(name, str) else ("", "", "")
    tables = {device.name: device.slot.table for device in parts.devices}
    offset = tables[slot].offset_of(register) if slot in tables else None
    place = None if offset is None else tables[slot].at(offset)
    if place is None:
        known = list(_names(parts.devices))
        close = nearest(name, known) if isinstance(name, str) else ""
        raise _Wrong(
            "of", f"must be a register such as levers.OUT, not {format_value(name)}{close}"
        )
    shown = place.register.mask("rw", "ro", "ones_clear")
    if wanted & ~shown:
        bits = [bit for bit in range(32) if shown >> bit & 1]
        can = f"has bits {show_bits(bits)}" if bits else "reads 0"
        text = f"must be a word that {name} can show ({name} {can}), not {wanted:#x}"
        raise _Wrong("is", text)

    def check(recording: Recording) -> tuple[bool, str]:
        seen = recording.registers[slot].get(register)
        return seen == wanted, "not known" if seen is None else f"{seen:#x}"

    what = f"register {name} at the end is {wanted:#x}"
    return Expectation(what, check, register=(slot, register))


def _slot(given: Mapping[str, Any], key: str, parts: _Parts, more: Sequence[str] = ()) -> str:
    names = [*(device.name for device in parts.devices), *more]
    name = given[key]
    if name not in names:
        close = nearest(name, names) if isinstance(name, str) else ""
        known = "must be a slot" + "".join(f", or {one!r}" for one in more)
        raise _Wrong(key, f"{known}, not {format_value(name)}{close}")
    return str(name)


def _of_accesses(
    what: str, of: Callable[[Recording, str | None], int]
) -> Callable[[Mapping[str, Any], _Parts, int], Expectation]:
    """Return what reads a count of accesses: of all, or of one slot."""

    def read(given: Mapping[str, Any], parts: _Parts, clock_hz: int) -> Expectation:
        slot = _slot(given, "of", parts) if "of" in given else None
        way = _one(given, COUNTS)
        name = what if slot is None else f"{what} of {slot}"
        return _count(name, way, _whole(given, way), lambda recording: of(recording, slot))

    return read


def _answered(given: Mapping[str, Any], parts: _Parts, clock_hz: int) -> Expectation:
    address, by = given["address"], _slot(given, "by", parts, (NOBODY,))
    if type(address) is not int or not 0 <= address <= WORD or address % 4:
        shown = f"{address:#x}" if type(address) is int else format_value(address)
        raise _Wrong("address", f"must be a multiple of 4 of 32 bits, not {shown}")

    def check(recording: Recording) -> tuple[bool, str]:
        seen = answerers(recording, address)
        return seen == [by], join_and(seen) if seen else "no access"

    return Expectation(f"every access to {address:#010x} answered by {by}", check)


def _none_found(recording: Recording) -> tuple[bool, str]:
    counts = recording.by_rule
    seen = ", ".join(f"{count:,} of {rule}" for rule, count in counts.items())
    return not counts, seen or "none"


#: What ``strict = true`` of a bench adds to its expectations.
NO_FINDING = Expectation("no finding", _none_found, needs=FINDINGS)


def _names(devices: Sequence[Device]) -> Iterator[str]:
    for device in devices:
        yield from (f"{device.name}.{name}" for name in device.slot.table.names)


_KINDS: dict[str, Callable[[Mapping[str, Any], _Parts, int], Expectation]] = {
    "text": _text,
    "level": _level,
    "frames": _frames,
    "colours": _colours,
    "findings": _findings,
    "register": _register,
    "cycles": _of_accesses("bus cycles", bus_cycles),
    "errors": _of_accesses("accesses ended with ERR", errors),
    "answered": _answered,
}
