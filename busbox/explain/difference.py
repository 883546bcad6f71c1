"""Two recordings of the same run, and the first thing in which they differ."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from busbox.basics.errors import join_and
from busbox.bus.transfers import NONE
from busbox.recording import COLUMNS, Accesses, IntColumn, Line, Recording, windows


@dataclass(frozen=True)
class Difference:
    """The first difference between two recordings.

    Attributes
    ----------
    cycle : the first cycle that shows it
    access : number of the access, or of the last one raised by then; -1 if there is none
    what : what differs: ``data of the access``, ``edge 3 of lamps.line`` ...
    register : slot and offset of the access, such as ``lamps + 0x4``, or "" if it reaches no slot
    engines : the engine of each run
    values : the value in each run
    """

    cycle: int
    access: int
    what: str
    register: str
    engines: tuple[str, str]
    values: tuple[Any, Any]

    def __str__(self) -> str:
        place = f", access {self.access}" if self.access >= 0 else ""
        register = f" ({self.register})" if self.register else ""
        (one, other), (seen, there) = self.engines, self.values
        return (
            f"cycle {self.cycle:,}{place}{register}: {self.what} is {seen} with engine {one}, "
            f"{there} with engine {other}"
        )

    def as_object(self) -> dict[str, Any]:
        """Return it for JSON."""
        return {
            "cycle": self.cycle,
            "access": self.access,
            "what": self.what,
            "register": self.register,
            "engines": list(self.engines),
            "values": [str(value) for value in self.values],
        }


@dataclass(frozen=True)
class Comparison:
    """The result of comparing engines: their names, and the first difference, if there is one."""

    engines: tuple[str, ...]
    difference: Difference | None

    def __str__(self) -> str:
        if self.difference is None:
            return f"Engines {join_and(self.engines)} recorded identical runs"
        return f"Engines {join_and(self.engines)} differ, first in {self.difference}"

    def as_object(self) -> dict[str, Any]:
        """Return it for JSON."""
        difference = None if self.difference is None else self.difference.as_object()
        return {"engines": {"compared": list(self.engines), "difference": difference}}


def first_difference(one: Recording, other: Recording) -> Difference | None:
    """Return the earliest difference in accesses, edges, events, text, marks and last registers.

    Findings are not compared: they follow from these.
    """
    found = [
        *_accesses(one.accesses, other.accesses),
        *_lines(one, other),
        *_listed("event", [_event(event) for event in one.events],
                 [_event(event) for event in other.events]),
        *_texts(one, other),
        *_listed("mark", list(one.marks), list(other.marks)),
        *_listed("reset", list(one.resets), list(other.resets)),
        *_ends(one, other),
        *_registers(one, other),
    ]  # fmt: skip
    if not found:
        return None
    cycle, what, seen, there, access = min(found, key=lambda entry: entry[0])
    if access is None:
        access = int(one.accesses.start.searchsorted(cycle, side="right")) - 1
    return Difference(
        cycle, access, what, _register(one, access), (one.engine, other.engine), (seen, there)
    )


def difference_so_far(whole: Recording, part: Recording) -> Difference | None:
    """Return the earliest difference in accesses and edges between a run and one that ended earlier.

    Whatever was still in progress when ``part`` ended is not compared.
    """
    last = part.cycles - 1
    sides = [_until(whole, last), _until(part, last)]
    return first_difference(*(replace(part, accesses=one[0], lines=one[1]) for one in sides))


def _until(recording: Recording, last: int) -> tuple[Accesses, dict[str, Line]]:
    """Return the accesses that had ended in a cycle, and the edges up to it."""
    accesses, lines = recording.accesses, {}
    count = int(np.searchsorted(accesses.end, last, side="right"))
    while count and accesses.terminator[count - 1] == NONE:
        count -= 1
    for name, line in recording.lines.items():
        edges = int(np.searchsorted(line.cycles, last, side="right"))
        columns = (line.cycles[:edges], line.levels[:edges], line.accesses[:edges])
        lines[name] = Line(line.direction, *columns)
    return accesses.part(0, count), lines


#: (cycle, what, value of the one, value of the other, access or None: the last one raised)
_Found = tuple[int, str, Any, Any, int | None]


def _register(recording: Recording, access: int) -> str:
    """Return the slot and offset that an access reaches."""
    if not 0 <= access < len(recording.accesses):
        return ""
    slot = int(recording.accesses.slot[access])
    if slot < 0:
        return ""
    info = recording.slots[slot]
    offset = int(recording.accesses.address[access]) - info.base
    return f"{info.name} + {offset % info.size:#x}"


def _accesses(one: Accesses, other: Accesses) -> Iterator[_Found]:
    count = min(len(one), len(other))
    for first, part in windows(one.part(0, count)):
        there = other.part(first, first + len(part))
        wrong = [name for name in COLUMNS if (part[name] != there[name]).any()]
        if wrong:
            places = {name: int(np.flatnonzero(part[name] != there[name])[0]) for name in wrong}
            name = min(wrong, key=lambda wrong: places[wrong])
            at = places[name]
            cycle = min(int(part.end[at]), int(there.end[at]))
            yield (
                cycle,
                f"{name} of the access",
                int(part[name][at]),
                int(there[name][at]),
                first + at,
            )
            return
    if len(one) != len(other):
        longer = one if len(one) > len(other) else other
        yield int(longer.end[count]), "number of accesses", len(one), len(other), count


def _lines(one: Recording, other: Recording) -> Iterator[_Found]:
    for name in sorted({*one.lines, *other.lines}):
        if name not in one.lines or name not in other.lines:
            yield 0, f"pin {name}", name in one.lines, name in other.lines, None
            continue
        line, there = one.lines[name], other.lines[name]
        columns = ((line.cycles, there.cycles), (line.levels, there.levels),
                   (line.accesses, there.accesses))  # fmt: skip
        at = _first(columns)
        if at is None:
            continue
        edges = [_edge(columns, at, side) for side in (0, 1)]
        cycle = min(edge[0] for edge in edges if edge is not None)
        values = ["none" if edge is None else "cycle {:,}, level {}, access {}".format(*edge)
                  for edge in edges]  # fmt: skip
        yield cycle, f"edge {at} of {name}", values[0], values[1], None


def _first(columns: tuple[tuple[IntColumn, IntColumn], ...]) -> int | None:
    """Return the first place in which one of the pairs of columns differs."""
    count = min(len(columns[0][0]), len(columns[0][1]))
    places = []
    for seen, there in columns:
        places += np.flatnonzero(seen[:count] != there[:count])[:1].tolist()
    if len(columns[0][0]) != len(columns[0][1]):
        places.append(count)
    return min(places, default=None)


def _edge(columns: tuple[tuple[IntColumn, IntColumn], ...], at: int, side: int) -> list[int] | None:
    if at >= len(columns[0][side]):
        return None
    return [int(pair[side][at]) for pair in columns]


def _event(event: Any) -> tuple[int, str]:
    details = ", ".join(f"{name} {value}" for name, value in event.details.items())
    return event.cycle, f"{event.device} {event.kind} by access {event.access} ({details})"


def _texts(one: Recording, other: Recording) -> Iterator[_Found]:
    for name, text in one.characters.items():
        sides = [
            [(int(cycle), f"byte {byte:#04x} by access {access}") for cycle, byte, access in
             zip(side.cycles.tolist(), side.bytes.tolist(), side.accesses.tolist(), strict=True)]
            for side in (text, other.characters[name])
        ]  # fmt: skip
        yield from _listed(f"text of {name}", *sides)


def _listed(
    what: str, one: list[tuple[int, Any]], other: list[tuple[int, Any]]
) -> Iterator[_Found]:
    """Yield the first difference of two lists of (cycle, something)."""
    for place in range(max(len(one), len(other))):
        seen = one[place] if place < len(one) else None
        there = other[place] if place < len(other) else None
        if seen != there:
            cycle = min(entry[0] for entry in (seen, there) if entry is not None)
            values = ["none" if entry is None else f"cycle {entry[0]:,}: {entry[1]}"
                      for entry in (seen, there)]  # fmt: skip
            yield cycle, f"{what} {place}", values[0], values[1], None
            return


def _ends(one: Recording, other: Recording) -> Iterator[_Found]:
    ends = [f"{side.ended} in cycle {side.cycles - 1:,}" for side in (one, other)]
    if ends[0] != ends[1]:
        yield min(one.cycles, other.cycles) - 1, "the end", ends[0], ends[1], None


def _registers(one: Recording, other: Recording) -> Iterator[_Found]:
    for slot, registers in one.registers.items():
        there = other.registers.get(slot, {})
        for name in registers:
            if registers[name] != there.get(name):
                last = min(one.cycles, other.cycles) - 1
                yield last, f"{slot}.{name} at the end", registers[name], there.get(name), None
