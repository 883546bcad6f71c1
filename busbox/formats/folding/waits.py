"""Loops on counters: since which read they wait, and for how much."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from busbox.cpu.commands import KEPT
from busbox.cpu.steps import AccessStep, Poll, Step, Target
from busbox.formats.folding.counters import Limit, limit_of, mask_of_counter
from busbox.formats.folding.trace import Key, Loop, Run, plain_read


@dataclass(frozen=True)
class Wait:
    """A run of a loop on a counter.

    Attributes
    ----------
    since : the place of the read whose word is subtracted, None for none; ``name`` : of its word
    """

    run: Run
    since: int | None
    name: str
    limit: Limit


@dataclass(frozen=True)
class FoundWaits:
    """The runs of a loop, with the mask of the counter and what is to be told of the limits."""

    mask: int
    runs: tuple[Wait, ...]
    remark: str


class Waits:
    """The counters of traffic, and the reads since which loops wait."""

    def __init__(self, steps: Sequence[Step]) -> None:
        self._steps = steps
        self._places: dict[Target, list[int]] = {}
        self._of_key: dict[Key, list[int]] = {}
        self._used = {step.keep for step in steps if isinstance(step, AccessStep | Poll)}
        self._names: dict[Key, str] = {}
        for place, step in enumerate(steps):
            read = plain_read(step)
            if read is not None:
                self._places.setdefault(read.target, []).append(place)
                self._of_key.setdefault((read.target, read.lanes, read.pc), []).append(place)
        self._masks = {
            target: mask_of_counter([self.word(place) for place in places])
            for target, places in self._places.items()
        }

    def word(self, place: int) -> int:
        """Return the word of a read."""
        read = plain_read(self._steps[place])
        assert read is not None
        assert read.data is not None
        return read.data

    def is_counter(self, target: Target) -> bool:
        """Return whether the words of a register are those of a counter."""
        return self._masks[target] is not None

    def of(self, loop: Loop) -> FoundWaits | str:
        """Return what the runs of a loop wait for, or why they are left."""
        mask, unclear = self._masks[loop.key[0]], ""
        assert mask is not None
        runs = [run for run in loop.runs if run.end < len(self._steps)] or list(loop.runs)
        for together in (True, False):
            for since in self._candidates(loop, runs):
                limits = _limits(runs, self._distances(runs, since, mask), together)
                if limits is None:
                    continue
                vague = next((limit for limit in limits if limit.value is None), None)
                if vague is None:
                    return self._found(mask, runs, since, limits, len(runs) < len(loop.runs))
                unclear = unclear or f"its limit may be {vague.low:,} to {vague.high:,}"
        return unclear or "it is a counter, and no earlier read gives its runs a limit"

    def _candidates(self, loop: Loop, runs: Sequence[Run]) -> Iterator[list[int | None]]:
        """Yield the reads since which runs may wait: the nearest ones, those of one pc, none."""
        target = loop.key[0]
        chosen = [self._places[target]]
        chosen += [places for key, places in self._of_key.items() if key[0] == target]
        for places in chosen:
            found = [bisect_left(places, run.first) - 1 for run in runs]
            if min(found) >= 0:
                yield [places[at] for at in found]
        yield [None] * len(runs)

    def _distances(
        self, runs: Sequence[Run], since: Sequence[int | None], mask: int
    ) -> list[tuple[int, ...]]:
        found = []
        for run, place in zip(runs, since, strict=True):
            base = 0 if place is None else self.word(place)
            found.append(tuple(word - base & mask for word in run.words))
        return found

    def _found(
        self,
        mask: int,
        runs: Sequence[Run],
        since: Sequence[int | None],
        limits: Sequence[Limit],
        cut: bool,
    ) -> FoundWaits | str:
        waits = []
        for run, place, limit in zip(runs, since, limits, strict=True):
            waits.append(Wait(run, place, "" if place is None else self._name(place), limit))
        if len(self._names) >= KEPT:
            return f"more than {KEPT - 1} words would have to be kept"
        ranges = {
            limit.value: f"{limit.low:,} to {limit.high:,}"
            for limit in limits
            if limit.low < limit.high
        }
        remarks = [f"{value:,} is the roundest of {text}" for value, text in ranges.items()]
        if cut:
            remarks.append("the last run is left: the recording ends in it")
        return FoundWaits(mask, tuple(waits), "; ".join(remarks))

    def _name(self, place: int) -> str:
        """Return the name of the word of a read: those of one loop share it."""
        read = plain_read(self._steps[place])
        assert read is not None
        key = read.target, read.lanes, read.pc
        if key not in self._names:
            number = len(self._names) + 1
            while f"from_{number}" in self._used:
                number += 1
            self._names[key] = f"from_{number}"
            self._used.add(f"from_{number}")
        return self._names[key]


def _limits(
    runs: Sequence[Run], distances: Sequence[tuple[int, ...]], together: bool
) -> list[Limit] | None:
    """Return the limit of each run, one for all of them or one for those that allow it."""
    groups = [list(range(len(runs)))] if together else _groups(distances)
    limits: dict[int, Limit] = {}
    for group in groups:
        below = [max(distances[at][:-1], default=-1) for at in group]
        limit = limit_of(below, [distances[at][-1] for at in group])
        if limit is None:
            return None
        limits |= dict.fromkeys(group, limit)
    return [limits[at] for at in range(len(runs))]


def _groups(distances: Sequence[tuple[int, ...]]) -> list[list[int]]:
    """Return the runs that may have one limit, by the fewest limits."""
    ranges = sorted((far[-1], max(far[:-1], default=-1), at) for at, far in enumerate(distances))
    groups: list[list[int]] = []
    reach = -1
    for high, below, at in ranges:
        if not groups or below >= reach:
            groups.append([])
            reach = high
        groups[-1].append(at)
    return groups
