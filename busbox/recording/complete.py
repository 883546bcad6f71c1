"""Whether a recording that was read is complete: its parts fit together."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any, get_origin, get_type_hints

from busbox.bus.transfers import TERMINATORS
from busbox.recording.accesses import COLUMNS

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
        raise ValueError("an access must have a terminator, a slot and a file that there are")


def _check_types(part: Any) -> None:
    for name, kind in get_type_hints(type(part)).items():
        value = getattr(part, name, None)
        if kind in (int, str, bool) and type(value) is not kind:
            raise TypeError(f"{name} must be of the type {kind.__name__}")
        if kind == (int | None) and type(value) not in (int, type(None)):
            raise TypeError(f"{name} must be a whole number or null")
        if get_origin(kind) is Mapping and not isinstance(value, dict):
            raise TypeError(f"{name} must be a table")
