"""Drives one device through the whole stack, with accesses aimed at the cycle they end in.

A test says "this write ends in cycle 7"; :class:`Drive` finds the idle cycles before it from the
semantics page (s = F + wait, e = s + w, then F = e + 1), runs the bench, and fails unless every
access has ended where it was aimed. So a test cannot miss its aim unnoticed.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from busbox.basics.units import Span
from busbox.bench.bench import Bench
from busbox.cpu.steps import AccessStep, Named, Pause, Step
from busbox.recording import Recording

BASE = 0x4000_0000
SIZE = 0x1000
ALL = 0b1111
#: Slot waits that every aimed test is run with.
WAITS = (0, 1)


@dataclass(frozen=True)
class Aimed:
    """An access that shall end in ``end``; a whole number as ``target`` is an offset in the slot."""

    end: int
    target: str | int
    data: int | None
    lanes: int


class Drive:
    """A bench with one device, called ``dev``, and accesses that end in given cycles."""

    def __init__(
        self,
        model: str | type,
        wait: int = 0,
        *,
        inputs: Sequence[tuple[int, str, int]] = (),
        resets: Sequence[tuple[int, int]] = (),
        clock: str = "16 MHz",
        base: int = BASE,
        size: int = SIZE,
        folder: Any = ".",
        **settings: Any,
    ) -> None:
        self.model, self.wait, self.settings = model, wait, settings
        self.inputs, self.resets, self.folder = tuple(inputs), sorted(resets), folder
        self.clock, self.base, self.size = clock, base, size
        self.aimed: list[Aimed] = []

    def write(self, end: int, target: str | int, data: int, lanes: int = ALL) -> Drive:
        """Add a write that ends in cycle ``end``."""
        self.aimed.append(Aimed(end, target, data, lanes))
        return self

    def read(self, end: int, target: str | int, lanes: int = ALL) -> Drive:
        """Add a read that ends in cycle ``end``."""
        self.aimed.append(Aimed(end, target, None, lanes))
        return self

    def bench(self, aimed: Sequence[Aimed], upto: int = 0) -> Bench:
        """Return the bench that plays these accesses, then idles to cycle ``upto`` at least."""
        steps: list[Step] = []
        free = 1
        for one in aimed:
            start = one.end - self.wait
            for cycle, length in self.resets:
                if free <= cycle < start:  # a pause that the reset cuts off
                    steps.append(Pause(Span(cycles=cycle - free + 1)))
                    free = cycle + length + 1
            assert start >= free, f"no access with wait {self.wait} can end in {one.end}"
            target = self.base + one.target if isinstance(one.target, int) else None
            steps.append(
                AccessStep(
                    one.data is not None,
                    Named("dev", str(one.target)) if target is None else target,
                    one.data,
                    one.lanes,
                    start - free,
                )
            )
            free = one.end + 1
            for cycle, length in self.resets:
                if start <= cycle <= one.end:
                    free = cycle + length + 1
        for cycle, length in self.resets:
            if free <= cycle <= upto:  # pauses that the resets cut off
                steps.append(Pause(Span(cycles=cycle - free + 1)))
                free = cycle + length + 1
        if free <= upto:
            steps.append(Pause(Span(cycles=upto - free + 1)))
        keys = {
            "clock": self.clock,
            "after_reset": "continue",
            "slot": {
                "dev": {
                    "model": self.model,
                    "base": self.base,
                    "size": self.size,
                    "wait": self.wait,
                    **self.settings,
                }
            },
            "input": [{"at": at, "pin": f"dev.{pin}", "level": v} for at, pin, v in self.inputs],
            "reset": [{"at": at, "length": length} for at, length in self.resets],
            "traffic": steps,
        }
        return Bench(keys, folder=self.folder)

    def run(self, until: int | None = None, upto: int = 0) -> Recording:
        """Run, and check that every access ended in its cycle, with ACK or cut off by a reset.

        Parameters
        ----------
        until : last cycle + 1, if the run does not end earlier
        upto : a cycle up to which the CPU idles at least
        """
        return self._checked(self.aimed, until, upto)

    def _checked(self, aimed: Sequence[Aimed], until: int | None, upto: int) -> Recording:
        recording = self.bench(aimed, upto).run(until=until)
        wanted = [self._end(one) for one in aimed]
        wanted = [end for end in wanted if until is None or end < until]
        ends = [
            end
            for end, how in zip(
                recording.accesses.end.tolist(), recording.accesses.terminators, strict=True
            )
            if how in ("ack", "reset")
        ]
        assert ends == wanted, f"aimed at {wanted}, ended in {ends}"
        return recording

    def _end(self, one: Aimed) -> int:
        """Return the cycle in which an access ends, by itself or cut off by a reset."""
        hits = [cycle for cycle, _ in self.resets if one.end - self.wait <= cycle <= one.end]
        return min(hits, default=one.end)

    def shows(self, target: str, cycle: int) -> int:
        """Return what a read of a register shows in ``cycle``.

        The run ends with that cycle, whose register values the recording holds; where an access
        fits, a read ends in it too, and must show the same.
        """
        before = [one for one in self.aimed if one.end < cycle]
        free = max([1, *(one.end + 1 for one in before)])
        free = max([free, *(at + length + 1 for at, length in self.resets if at < cycle)])
        start = cycle - self.wait
        fits = start >= free and not any(start <= at <= cycle for at, _ in self.resets)
        if fits:
            before.append(Aimed(cycle, target, None, ALL))
        recording = self._checked(before, cycle + 1, cycle + 1)
        assert recording.cycles == cycle + 1
        word: int = recording.registers["dev"][target]
        if fits:
            assert int(recording.accesses.data[-1]) == word
        return word


def reads(recording: Recording) -> dict[int, int]:
    """Return cycle to word for every read that ended with ACK."""
    columns = recording.accesses
    return {
        end: data
        for end, data, write, how in zip(
            columns.end.tolist(),
            columns.data.tolist(),
            columns.write.tolist(),
            columns.terminators,
            strict=True,
        )
        if not write and how == "ack"
    }


def edges(recording: Recording, pin: str) -> list[tuple[int, int]]:
    """Return (cycle, level) of a pin of ``dev``; the first is cycle 0."""
    cycles, levels = recording.edges(f"dev.{pin}")
    return list(zip(cycles.tolist(), levels.tolist(), strict=True))


def events(recording: Recording) -> list[tuple[int, str, int]]:
    """Return (cycle, kind, access) of every event."""
    return [(event.cycle, event.kind, event.access) for event in recording.events]


def highs(recording: Recording, pin: str) -> list[tuple[int, int]]:
    """Return (first cycle, cycles) of every stretch in which a pin is 1 and ends."""
    found = edges(recording, pin)
    return [(start, end - start) for (start, level), (end, _) in pairwise(found) if level]
