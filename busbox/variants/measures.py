"""What is taken from a run: numbers and words by name, by path, or by a Python function."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from functools import partial
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np

from busbox.basics.errors import InputError, format_value, join_or, nearest
from busbox.basics.hook_limit import limited_hooks
from busbox.basics.hooks import calling, place_of
from busbox.basics.loading import load_object
from busbox.basics.units import show_seconds
from busbox.exports.usage import usage
from busbox.lines.profiles import WINDOWS
from busbox.recording import Recording
from busbox.system.system import System

#: What a cell of a sweep can hold.
Cell = bool | int | float | str | None
#: The largest number in a table: it can be calculated with as a float.
MOST = 1e300


class NotMeasured(InputError):
    """A run has nothing that a measure could be taken from: the cell of a variant is empty then."""


@dataclass(frozen=True)
class Base:
    """What other variants are compared with: the texts and frames of the bench as it stands."""

    texts: Mapping[str, str]
    frames: Mapping[str, list[tuple[int, ...]]]

    @classmethod
    def of(cls, recording: Recording) -> Base:
        """Return what a run of the bench gave."""
        frames = {
            name: [frame.colours for frame in seen.frames]
            for name, seen in recording.seen.items()
            if seen.frames is not None
        }
        return cls(recording.texts, frames)


@dataclass(frozen=True)
class Measured:
    """A run that is measured, and the base that it is compared with."""

    recording: Recording
    base: Base


@dataclass(frozen=True)
class Measure:
    """One column of a sweep.

    Attributes
    ----------
    name : of the column
    text : what it is
    of : returns it
    unit : of a number
    target : ``FILE.py:FUNCTION`` of a measure of one's own, "" for the others
    """

    name: str
    text: str
    of: Callable[[Measured], Cell] = field(compare=False)
    unit: str = ""
    target: str = ""

    @property
    def asked(self) -> str:
        """What :func:`measure_of` finds it by."""
        return self.target or self.name


def is_cell(value: object) -> bool:
    """Return whether a table can hold a value: a text, a number that is not too large, or nothing."""
    if isinstance(value, int | float):
        return -MOST <= value <= MOST
    return value is None or isinstance(value, str)


def shown(value: Cell, unit: str = "") -> str:
    """Return a value for people: a time, in seconds, with a fitting unit; ``nothing`` if it is None."""
    if value is None:
        return "nothing"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if unit == "s" and isinstance(value, int | float):
        return show_seconds(Fraction(value))
    return f"{value:,.9g}" if isinstance(value, float) else str(value)


def masked(text: str) -> str:
    """Return a text with ``#`` for each run of digits."""
    return re.sub(r"[0-9]+", "#", text)


def _texts(one: Measured) -> str:
    """Say whether all texts are those of the base: ``equal``, ``digits`` or ``differ``."""
    texts, base = one.recording.texts, one.base.texts
    if texts == base:
        return "equal"
    as_masked = [{name: masked(text) for name, text in side.items()} for side in (texts, base)]
    return "digits" if as_masked[0] == as_masked[1] else "differ"


def _rules(one: Measured) -> str:
    return ", ".join(f"{rule} {count}" for rule, count in sorted(one.recording.by_rule.items()))


def _until(one: Measured) -> float | None:
    certain = one.recording.certain
    if certain is None or not certain.doubt:
        return None
    return certain.cycle / one.recording.clock_hz


def _bus(one: Measured) -> float:
    return usage(one.recording).busy / one.recording.cycles


BUILT_IN: tuple[Measure, ...] = (
    Measure("ended", "how the run ended: done, until, hang or settle", lambda one: one.recording.ended),
    Measure("cycles", "the length of the run", lambda one: one.recording.cycles, "cycles"),
    Measure("duration", "the length of the run",
            lambda one: one.recording.cycles / one.recording.clock_hz, "s"),
    Measure("accesses", "the accesses on the bus", lambda one: len(one.recording.accesses)),
    Measure("bus_use", "the share of the cycles in which the bus was busy, 0 to 1", _bus),
    Measure("findings", "all findings",
            lambda one: sum(one.recording.by_rule.values())),
    Measure("rules", "the findings by rule", _rules),
    Measure("met", "the expectations that are met",
            lambda one: sum(verdict.met for verdict in one.recording.verdicts)),
    Measure("expectations", "all expectations", lambda one: len(one.recording.verdicts)),
    Measure("bytes_lost", "findings byte-lost", lambda one: one.recording.by_rule.get("byte-lost", 0)),
    Measure("frames_missed", "findings frame-missed",
            lambda one: one.recording.by_rule.get("frame-missed", 0)),
    Measure("frames", "the frames that all lamp strings show",
            lambda one: sum(len(seen.frames or ()) for seen in one.recording.seen.values())),
    Measure("texts", "the texts of all slots against the bench as it stands: equal, digits (equal "
            "but for digits) or differ", _texts),
    Measure("colours", "whether the lamps show the frames of the bench as it stands",
            lambda one: Base.of(one.recording).frames == one.base.frames),
    Measure("certain_until", "when the run ceases to be certain; nothing if it never does", _until,
            "s"),
)  # fmt: skip
_BY_NAME = {one.name: one for one in BUILT_IN}
#: Measures with a part after a dot: what the parts are, and what it is.
WITH_PARTS: Mapping[str, tuple[str, str]] = {
    "margin": ("ATTACHMENT.PROFILE or ATTACHMENT.PROFILE.WINDOW",
               "the worst margin of a lamp string's timing, in ns; below 0 the line is outside"),
    "kept": ("ATTACHMENT.PROFILE", "whether the line keeps the profile"),
    "frame_interval": ("ATTACHMENT", "the longest time from one frame to the next, in s"),
    "frames_per_second": ("ATTACHMENT", "frames a second, from the first frame to the last"),
    "registers": ("SLOT.REGISTER", "the word of a register at the end"),
    "counts": ("RULE", "the findings of a rule"),
}  # fmt: skip
#: Columns of every attachment that are measured where nothing else is asked for.
_MARGINS = ("kept", "margin")


def default_measures(system: System, base: Recording) -> tuple[Measure, ...]:
    """Return every built-in measure, and the worst margin of each profile of each lamp string."""
    found = list(BUILT_IN)
    for name, seen in base.seen.items():
        for profile in seen.facts.get("profiles", {}):
            found += [measure_of(f"{kind}.{name}.{profile}", system, Path()) for kind in _MARGINS]
    return tuple(found)


def measure_of(name: str, system: System, folder: Path, option: str = "--measure") -> Measure:
    """Return the measure of a name; ``FILE.py:FUNCTION`` is called with the recording.

    Raises
    ------
    InputError : there is no such measure
    """
    if ".py:" in name:
        function = load_object(name, folder, "function")
        if not callable(function):
            raise InputError.of(f"{name} must be a function of the recording", option)
        column = name.rpartition(":")[2]
        return Measure(column, name, partial(_call, function, name), target=name)
    if name in _BY_NAME:
        return _BY_NAME[name]
    head, _, rest = name.partition(".")
    if head in WITH_PARTS:
        problem = _problem(head, rest.split("."), system)
        if problem:
            raise InputError.of(f"{name}: {problem}", option)
        text, unit = WITH_PARTS[head][1], "s" if head == "frame_interval" else ""
        return Measure(name, text, partial(_PARTS[head], tuple(rest.split("."))), unit)
    known = [*_BY_NAME, *(f"{head}.{parts}" for head, (parts, _) in WITH_PARTS.items())]
    close = nearest(name, [*_BY_NAME, *WITH_PARTS])
    raise InputError.of(
        f"there is no measure {name!r}{close} (known: {join_or([*known, 'FILE.py:FUNCTION'])})",
        option,
    )


def _problem(head: str, parts: list[str], system: System) -> str:
    """Return what is wrong with the parts of a measure, "" if nothing is."""
    form = WITH_PARTS[head][0]
    if not all(parts) or len(parts) not in {one.count(".") + 1 for one in form.split(" or ")}:
        return f"must be {head}.{form}"
    if head == "registers":
        slot = system.address_map.slot(parts[0])
        if slot is None:
            names = [device.name for device in system.devices]
            return f"there is no slot {parts[0]!r}{nearest(parts[0], names)}"
        known = slot.table.names
        if parts[1] not in known:
            return f"{parts[0]} has no register {parts[1]!r}{nearest(parts[1], known)}"
    elif head == "counts":
        from busbox.findings.rule_set import rule_ids

        ids = list(rule_ids(system.rules, system.attached))
        if parts[0] not in ids:
            return f"there is no rule {parts[0]!r}{nearest(parts[0], ids)}"
    else:
        strings = [one.name for one in system.attached if "frames" in one.part.sends]
        if parts[0] not in strings:
            return f"there is no lamp string {parts[0]!r}{nearest(parts[0], strings)}"
        if len(parts) == 3 and parts[2] not in WINDOWS:
            text = f"{parts[1]} has no window {parts[2]!r}{nearest(parts[2], list(WINDOWS))}"
            return f"{text} (known: {join_or(WINDOWS)})"
    return ""


def _call(function: Callable[[Recording], Any], name: str, one: Measured) -> Cell:
    with limited_hooks(), calling(name, hook=function):
        value = function(one.recording)
    if isinstance(value, np.generic):
        value = value.item()
    if not is_cell(value):
        raise InputError.of(
            f"{name} must return a finite number, a text or nothing, not {format_value(value)}"
            f"{place_of(function)}"
        )
    cell: Cell = value
    return cell


def _register(parts: tuple[str, ...], one: Measured) -> Cell:
    return one.recording.registers[parts[0]].get(parts[1])


def _counted(parts: tuple[str, ...], one: Measured) -> Cell:
    return one.recording.by_rule.get(parts[0], 0)


def _profile(parts: tuple[str, ...], one: Measured) -> Mapping[str, Any]:
    profiles = one.recording.seen[parts[0]].facts.get("profiles", {})
    if parts[1] not in profiles:
        known = join_or(profiles) if profiles else "none"
        text = f"{parts[0]} was not judged by a profile {parts[1]!r}{nearest(parts[1], list(profiles))}"
        raise NotMeasured.of(f"{text} (known: {known})")
    found: Mapping[str, Any] = profiles[parts[1]]
    return found


def _kept(parts: tuple[str, ...], one: Measured) -> Cell:
    return bool(_profile(parts, one)["passes"])


def _margin(parts: tuple[str, ...], one: Measured) -> Cell:
    windows = _profile(parts, one)["windows"]
    if len(parts) == 3:
        windows = {name: windows[name] for name in windows if name == parts[2]}
    margins = [window["worst_margin_ns"] for window in windows.values()]
    found = [margin for margin in margins if margin is not None]
    return min(found) if found else None


def _starts(parts: tuple[str, ...], one: Measured) -> list[int]:
    return [frame.cycle for frame in one.recording.seen[parts[0]].frames or ()]


def _interval(parts: tuple[str, ...], one: Measured) -> Cell:
    starts = _starts(parts, one)
    longest = max((after - before for before, after in pairwise(starts)), default=None)
    return None if longest is None else longest / one.recording.clock_hz


def _rate(parts: tuple[str, ...], one: Measured) -> Cell:
    starts = _starts(parts, one)
    if len(starts) < 2:
        return None
    return (len(starts) - 1) * one.recording.clock_hz / (starts[-1] - starts[0])


_PARTS: Mapping[str, Callable[[tuple[str, ...], Measured], Cell]] = {
    "margin": _margin,
    "kept": _kept,
    "frame_interval": _interval,
    "frames_per_second": _rate,
    "registers": _register,
    "counts": _counted,
}


def measures_of(
    names: Iterable[str], system: System, base: Recording, folder: Path, option: str = "--measure"
) -> tuple[Measure, ...]:
    """Return the measures of names, ``margins`` being every window of every profile.

    Raises
    ------
    InputError : a name is none, or is there twice
    """
    found: list[Measure] = []
    for name in names:
        if name == "margins":
            found += [measure_of(one, system, folder, option) for one in _windows(base)]
        else:
            found.append(measure_of(name, system, folder, option))
    columns = [one.name for one in found]
    twice = next((name for name in columns if columns.count(name) > 1), None)
    if twice is not None:
        raise InputError.of(f"{twice} must be there once", option)
    base_of = Measured(base, Base.of(base))
    for one in found:
        try:
            one.of(base_of)
        except InputError as error:
            raise InputError.of(f"{one.name}: {error}", option) from None
    return tuple(found)


def _windows(base: Recording) -> Iterator[str]:
    for name, seen in base.seen.items():
        for profile in seen.facts.get("profiles", {}):
            for window in WINDOWS:
                yield f"margin.{name}.{profile}.{window}"
