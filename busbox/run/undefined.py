"""Looks for undefined bits of hardware that reach the bus or a pin, by a second run.

Undefined bits are 0 in a run. In the second run all of them are 1; where the two differ first, one of
them shows. Two runs do not show everything: bits that cancel each other, such as the sum of two in one
bit, look the same in both.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from busbox.basics.errors import join_and
from busbox.engines import EngineFactory
from busbox.map.registers import LANE_MASKS
from busbox.recording import Accesses, IntColumn, Line, Recording, UndefinedSeen
from busbox.run.live import Live
from busbox.run.loop import Progress, replay
from busbox.system.hardware import Device
from busbox.system.system import System

#: Cycles of a run that is run a second time, at the most: the second takes as long as the first.
MOST_CYCLES = 10_000_000


def replay_and_look(
    system: System,
    factory: EngineFactory,
    until: int | None = None,
    progress: Progress | None = None,
    live: Live | None = None,
) -> Recording:
    """Run a system, as :func:`busbox.run.loop.replay` does, and look for undefined bits that show.

    Where a second run would take too long, or might not be the same run, a note says so instead.
    """
    facts = replay(system, factory, until, progress, live=live)
    undefined = undefined_of(system)
    if not undefined:
        return facts
    why = _why_not(facts, live)
    if why:
        names = [f"{slot}: {join_and(names)}" for slot, names in undefined.items()]
        note = (
            f"Busbox did not check whether undefined bits ({'; '.join(names)}) reach the bus or a pin: "
            f"{why}."
        )
        return replace(facts, run_notes=(*facts.run_notes, note))
    ones = replay(_with_ones(system), factory, facts.cycles, progress)
    return replace(facts, undefined_seen=tuple(_Sides(system, facts, ones).seen()))


def undefined_of(system: System) -> dict[str, tuple[str, ...]]:
    """Return, for each slot whose hardware has undefined bits, the names of what holds them."""
    return {one.name: names for one in system.devices if (names := _names(one))}


def _names(device: Device) -> tuple[str, ...]:
    found: tuple[str, ...] = ()
    if device.model.in_amaranth:
        found = device.model.undefined_for(device.settings)
    return found


def _why_not(facts: Recording, live: Live | None) -> str:
    """Return the reason why no second run is made; "" if one is."""
    if live is not None:
        return "a second run cannot repeat what is typed at a terminal"
    if facts.traffic_kind == "decided":
        return "this traffic is decided while it runs, and could differ in a second run"
    if facts.cycles > MOST_CYCLES:
        return f"the second run is only made for runs of up to {MOST_CYCLES:,} cycles"
    return ""


def _with_ones(system: System) -> System:
    """Return the system in which all undefined bits are 1."""
    return replace(
        system,
        devices=tuple(_device_with_ones(one) if _names(one) else one for one in system.devices),
    )


def _device_with_ones(device: Device) -> Device:
    model = device.model.with_ones()
    pins = tuple(model.pins_for(device.settings))
    return replace(device, model=model, pins=pins, found_out={})


@dataclass(frozen=True)
class _Sides:
    """The two runs.

    Attributes
    ----------
    zeros, ones : with undefined bits 0 and 1
    """

    system: System
    zeros: Recording
    ones: Recording

    def seen(self) -> list[UndefinedSeen]:
        """Return where they differ first, in order of cycle: for each register, and for each pin.

        What comes after they have parted is not compared. A program may do anything from the first
        difference on, so that is the only one.
        """
        found = [*self._words(), *self._answers(), *self._levels()]
        found.sort(key=lambda one: one.cycle)
        return found[: 1 if self.zeros.core is not None else None]

    # Accesses.

    @cached_property
    def _alike(self) -> int:
        """The number of accesses that both runs make, each in the same cycle."""
        one, other = self._both(min(len(self.zeros.accesses), len(self.ones.accesses)))
        same = [one[name] == other[name] for name in ("start", "address", "write", "lanes")]
        return _first(~np.logical_and.reduce(same))

    @cached_property
    def _answered(self) -> int:
        """The number of those up to the first one that they do not end alike."""
        one, other = self._both(self._alike)
        return _first((one.end != other.end) | (one.terminator != other.terminator))

    def _both(self, count: int) -> tuple[Accesses, Accesses]:
        return self.zeros.accesses.part(0, count), self.ones.accesses.part(0, count)

    @property
    def _parted(self) -> int:
        """The last cycle that is compared: after it, what they do need not be alike."""
        cycles = [self.zeros.cycles - 1, self.ones.cycles - 1]
        for side in (self.zeros.accesses, self.ones.accesses):
            if self._answered < self._alike:
                cycles.append(int(side.end[self._answered]))
            elif self._alike < len(side):
                cycles.append(int(side.start[self._alike]))
        return min(cycles)

    def _words(self) -> Iterator[UndefinedSeen]:
        """Yield the first read of each register whose words differ."""
        one, other = self._both(self._answered)
        masks = np.take(LANE_MASKS, one.lanes)
        places = np.flatnonzero((one.data ^ other.data).astype("i8") & masks)
        _, first = np.unique(one.address[places], return_index=True)
        known: set[str] = set()
        for access in sorted(places[first].tolist()):
            register = self.system.address_map.decode(int(one.address[access])).register
            if register not in known:
                known.add(register)
                words = [int(side.data[access]) & int(masks[access]) for side in (one, other)]
                yield self._access("word", access, int(one.end[access]), *words)

    def _answers(self) -> Iterator[UndefinedSeen]:
        """Yield the first access that does not end alike in both."""
        access, one, other = self._answered, self.zeros.accesses, self.ones.accesses
        if access < self._alike:
            cycle = min(int(one.end[access]), int(other.end[access]))
            yield self._access(
                "answer", access, cycle, int(one.terminator[access]), int(other.terminator[access])
            )

    def _access(self, what: str, access: int, cycle: int, zeros: int, ones: int) -> UndefinedSeen:
        slot = int(self.zeros.accesses.slot[access])
        name = "" if slot < 0 else self.system.devices[slot].name
        end = int(self.ones.accesses.end[access])
        return UndefinedSeen(what, cycle, access, name, "", zeros, ones, end)

    # Pins.

    def _levels(self) -> Iterator[UndefinedSeen]:
        """Yield where the levels of output pins of hardware with undefined bits differ first."""
        last = self._parted
        for device in self.system.devices:
            outputs = [pin.name for pin in device.pins if pin.direction == "output"]
            for pin in outputs if _names(device) else ():
                name = f"{device.name}.{pin}"
                one, other = self.zeros.lines[name], self.ones.lines[name]
                cycle = _first_difference(one, other)
                if cycle is not None and cycle <= last:
                    (zeros, cause), (ones, another) = _at(one, cycle), _at(other, cycle)
                    access = max(cause, another)
                    yield UndefinedSeen("level", cycle, access, device.name, pin, zeros, ones)


def _first(wrong: IntColumn) -> int:
    """Return the place of the first true value; the length if there is none."""
    return int(np.argmax(wrong)) if wrong.any() else len(wrong)


def _first_difference(one: Line, other: Line) -> int | None:
    """Return the first cycle in which two lines differ, or None."""
    count = min(len(one.cycles), len(other.cycles))
    wrong = one.cycles[:count] != other.cycles[:count]
    wrong |= one.levels[:count] != other.levels[:count]
    place = _first(wrong)
    edges = [int(line.cycles[place]) for line in (one, other) if place < len(line.cycles)]
    return min(edges, default=None)


def _at(line: Line, cycle: int) -> tuple[int, int]:
    """Return the level in a cycle, and the access that caused an edge in it, -1 if none did."""
    place = int(np.searchsorted(line.cycles, cycle, side="right")) - 1
    edge = int(line.cycles[place]) == cycle
    return int(line.levels[place]), int(line.accesses[place]) if edge else -1
