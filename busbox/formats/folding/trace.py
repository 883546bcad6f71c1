"""Traffic as runs of reads: those that a loop of the firmware repeated."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from busbox.cpu.steps import AccessStep, Step, Target

#: What the reads of a loop have in common: target, lanes and pc (None: not known).
Key = tuple[Target, int, int | None]


@dataclass(frozen=True)
class Run:
    """Reads in a row: the steps ``first`` to ``end - 1``; ``words`` is what they read."""

    first: int
    end: int
    words: tuple[int, ...]


@dataclass(frozen=True)
class Loop:
    """All runs of one key.

    Attributes
    ----------
    period : idle cycles between two reads of a run; None if no read was repeated
    strays : how many reads follow one of the same key after other idle cycles
    """

    key: Key
    runs: tuple[Run, ...]
    period: int | None
    strays: int

    @property
    def reads(self) -> int:
        """How many reads there are."""
        return sum(len(run.words) for run in self.runs)


def plain_read(step: Step) -> AccessStep | None:
    """Return a step that is a read with a recorded word, else None."""
    if not isinstance(step, AccessStep) or step.write or step.data is None or step.keep:
        return None
    return step


def loops_of(steps: Sequence[Step]) -> list[Loop]:
    """Return the loops of traffic, in the order in which they begin."""
    rows: dict[Key, list[tuple[int, int]]] = {}
    before: Key | None = None
    for place, step in enumerate(steps):
        read = plain_read(step)
        key = None if read is None else (read.target, read.lanes, read.pc)
        if key is not None and key == before:
            rows[key][-1] = rows[key][-1][0], place + 1
        elif key is not None:
            rows.setdefault(key, []).append((place, place + 1))
        before = key
    return [_loop(key, found, steps) for key, found in rows.items()]


def _loop(key: Key, rows: list[tuple[int, int]], steps: Sequence[Step]) -> Loop:
    """Cut rows of reads where the idle cycles are not those of most: another run begins there."""
    waits = [[_wait(steps[place]) for place in range(*row)] for row in rows]
    counts = Counter(wait for row in waits for wait in row[1:])
    period = max(counts, key=lambda wait: (counts[wait], -wait), default=None)
    runs = []
    for (first, end), row in zip(rows, waits, strict=True):
        cuts = [first + at for at, wait in enumerate(row) if at and wait != period]
        for start, stop in zip([first, *cuts], [*cuts, end], strict=True):
            words = tuple(_word(step) for step in steps[start:stop])
            runs.append(Run(start, stop, words))
    return Loop(key, tuple(runs), period, sum(counts.values()) - counts[period])  # type: ignore[index]


def _wait(step: Step) -> int:
    assert isinstance(step, AccessStep)
    return step.wait


def _word(step: Step) -> int:
    assert isinstance(step, AccessStep)
    assert step.data is not None
    return step.data
