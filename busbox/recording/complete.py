"""Whether a recording that was read is complete: its parts fit together."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any, get_origin, get_type_hints

from busbox.basics.limits import HIGHEST
from busbox.bus.transfers import TERMINATORS
from busbox.recording.accesses import COLUMNS, IntColumn

#: How a run ends: no step left and all devices at rest; at the requested time; the CPU hangs; a device
#: was still busy.
ENDS = ("done", "until", "hang", "settle")
#: Where the steps of a run come from.
TRAFFIC_KINDS = ("executed", "decided", "listed")


def check(recording: Any, parts: Iterable[Any]) -> None:
    """Check that the parts of a recording that was read fit together.

    Parameters
    ----------
    recording : a :class:`busbox.recording.Recording`
    parts : the recording and each of its parts whose fields have types

    Raises
    ------
    TypeError, ValueError : they do not
    """
    for part in parts:
        _check_types(part)
    tables = (recording.registers, recording.counts)
    if not all(isinstance(one, dict) for table in tables for one in (table, *table.values())):
        raise TypeError("registers and counts must be tables of tables")
    accesses = recording.accesses
    columns = [[accesses[name] for name in COLUMNS]]
    columns += [[one.cycles, one.levels, one.accesses] for one in recording.lines.values()]
    columns += [[one.cycles, one.bytes, one.accesses] for one in recording.characters.values()]
    if any(len({len(column) for column in group}) > 1 for group in columns):
        raise ValueError("columns of one part must be of one length")
    if not all(len(line.cycles) for line in recording.lines.values()):
        raise ValueError("a pin must have a first level")
    if min(recording.clock_hz, recording.cycles) < 1 or recording.ended not in ENDS:
        raise ValueError("a run must have a clock, a cycle and an end")
    if recording.traffic_kind not in TRAFFIC_KINDS:
        raise ValueError("a run must have a kind of traffic")
    if len(accesses) and not (
        accesses.terminator.max() < len(TERMINATORS)
        and -1 <= accesses.slot.min() <= accesses.slot.max() < len(recording.slots)
        and -1 <= accesses.file.min() <= accesses.file.max() < len(recording.files)
    ):
        raise ValueError("an access must name a terminator, a slot and a file that exist")
    for line in recording.lines.values():
        _check_column(line.cycles, 0, recording.cycles, rising=True)
        _check_column(line.levels, 0, 3)
        _check_column(line.accesses, -1, len(accesses))
    for text in recording.characters.values():
        _check_column(text.cycles, 0, HIGHEST, rising=True)
        _check_column(text.bytes, 0, 256)
        _check_column(text.accesses, -1, len(accesses))
    _check_column(accesses.start, 0, recording.cycles)
    _check_column(accesses.end, 0, recording.cycles)
    for one in (*recording.events, *recording.findings):
        if not (-1 <= one.access < len(accesses) and 0 <= one.cycle <= HIGHEST):
            raise ValueError("an event must have a cycle, and an access of the recording")
    for seen in recording.undefined_seen:
        _check_undefined(seen, recording)


def _check_column(column: IntColumn, low: int, end: int, rising: bool = False) -> None:
    """Check that all numbers of a column are from ``low`` to below ``end``, and none falls."""
    if len(column) and not (low <= column.min() and column.max() < end):
        raise ValueError(f"a column must hold numbers from {low} to below {end}")
    if rising and len(column) > 1 and bool((column[1:] < column[:-1]).any()):
        raise ValueError("the cycles of a column must not fall")


def _check_undefined(seen: Any, recording: Any) -> None:
    """Check that an undefined value that was seen names an access or a pin of the recording."""
    if seen.what == "level":
        known = f"{seen.slot}.{seen.pin}" in recording.lines and seen.access >= -1
    else:
        known = seen.what in ("word", "answer") and seen.access >= 0
    if seen.what == "answer":
        known &= min(seen.zeros, seen.ones) >= 0 and max(seen.zeros, seen.ones) < len(TERMINATORS)
    if not known or seen.access >= len(recording.accesses):
        raise ValueError("an undefined value must name an access or a pin of the recording")


def _check_types(part: Any) -> None:
    for name, kind in get_type_hints(type(part)).items():
        value = getattr(part, name, None)
        if kind in (int, str, bool) and type(value) is not kind:
            raise TypeError(f"{name} must be of the type {kind.__name__}")
        if kind == (int | None) and type(value) not in (int, type(None)):
            raise TypeError(f"{name} must be a whole number or null")
        if get_origin(kind) is Mapping and not isinstance(value, dict):
            raise TypeError(f"{name} must be a table")
