"""Finds the clocks of a core from a recording of what it did on the bus.

The program is executed once for each unknown, with clocks that make the distance of two accesses count
one class of instructions, or the accesses to one memory. Every instruction costs 1 cycle in these runs,
those counted 1 more: what is left of a distance after the instructions is the count. So there is no
loop that costs nothing. The clocks follow by least squares, as whole numbers.

A wait is, by :mod:`busbox.core` (sentence 3), the sum of the clocks of what is executed from the access
before on, that access's load or store included, and its own not.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from busbox.core.core import AHEAD
from busbox.core.instructions import CLASSES
from busbox.core.setup import CoreSetup
from busbox.explain.again import NotingCore, Row, in_order
from busbox.explain.whole_numbers import Solution, solve

Column = NDArray[np.int64]

#: Sums that are named of what cannot be told apart, at most.
MOST_SUMS = 2
#: Classes that may take no cycle at all.
MAY_BE_ZERO = ("load", "store", "trap")


@dataclass(frozen=True)
class Unknown:
    """What is counted, and looked for.

    Attributes
    ----------
    kind : a class of instructions, or "" for a memory
    memory : index of the memory, -1 for a class
    name : how messages call it
    """

    kind: str
    memory: int
    name: str


@dataclass(frozen=True)
class Fit:
    """What was found.

    Attributes
    ----------
    clocks : class to cycles, of those that are executed
    memories : cycles of each memory, None where nothing accesses it
    absent : classes that are never executed
    notes : what cannot be told apart, one sentence each
    waits : as recorded
    expected : as the clocks give them
    instructions : executed from the first to the last access
    counters : addresses of the instructions that read a counter of cycles
    """

    clocks: dict[str, int]
    memories: tuple[int | None, ...]
    absent: tuple[str, ...]
    notes: tuple[str, ...]
    waits: Column
    expected: Column
    instructions: int
    counters: tuple[int, ...]

    @property
    def wrong(self) -> Column:
        """The numbers of the waits that the clocks do not explain."""
        return np.flatnonzero(self.waits != self.expected)


def fit(setup: CoreSetup, rows: Sequence[Row], waits: Sequence[int]) -> Fit:
    """Find the clocks with which a core makes accesses at the distances that were recorded.

    Parameters
    ----------
    setup : the core with its program; its ``access_at`` is taken as it is
    rows : the accesses
    waits : the distance of each from the end of the one before

    Raises
    ------
    Differs : the program makes other accesses
    """
    counting = _Counting(setup, rows, waits)
    columns = {unknown: counting.column(unknown) for unknown in counting.unknowns()}
    offset = counting.offset()
    seen = [unknown for unknown in columns if columns[unknown].any()]
    matrix = np.column_stack([columns[unknown] for unknown in seen] or [offset[:0]])
    recorded = np.array(waits, dtype=np.int64)
    found = _solved(setup, seen, matrix, recorded - offset)
    values = dict(zip(seen, found.values, strict=True))
    known = {unknown.kind: value for unknown, value in values.items() if unknown.kind}
    return Fit(
        known,
        tuple(
            next((values[one] for one in seen if one.memory == number), None)
            for number in range(len(setup.memories))
        ),
        tuple(kind for kind in CLASSES if kind not in known),
        tuple(_notes(seen, found)),
        recorded,
        matrix @ np.array(found.values, dtype=np.int64) + offset,
        counting.instructions,
        tuple(sorted(counting.counters)),
    )


def _solved(setup: CoreSetup, seen: Sequence[Unknown], matrix: Column, waits: Column) -> Solution:
    """Return the whole numbers; what no wait tells apart is left at ``base``, or as it is given."""
    least = [
        setup.access_at if one.kind in ("load", "store")
        else int(bool(one.kind) and one.kind not in MAY_BE_ZERO)
        for one in seen
    ]  # fmt: skip
    kinds = [one.kind for one in seen]
    base = setup.clocks["base"]
    for _ in range(4):
        given = [base if one.kind else setup.memories[one.memory].clocks for one in seen]
        found = solve(matrix, waits, least, given)
        fitted = found.values[kinds.index("base")] if "base" in kinds else base
        if fitted == base:
            break
        base = fitted
    return found


def _notes(seen: Sequence[Unknown], found: Solution) -> Iterator[str]:
    names = [one.name for one in seen]
    for tie in found.ties:
        what, left = names[tie.index], f"It is left at {found.values[tie.index]}."
        others = ", ".join(names[one] for one, _, _ in tie.sums)
        if len(tie.sums) > MOST_SUMS:
            yield f"The waits are too few, or too alike, to tell {what} from {others}. {left}"
            continue
        sums = [
            f"{names[other]} {'+' if factor > 0 else '-'} "
            f"{'' if abs(factor) == 1 else f'{abs(factor):g} * '}{what} = {total:g}"
            for other, factor, total in tie.sums
        ]
        known = " is known" if len(sums) == 1 else " are known"
        yield f"{what} cannot be told apart from {others}: only {', '.join(sums)}{known}. {left}"


class _Counting:
    """Counts what is executed between accesses.

    Attributes
    ----------
    instructions : executed from the first to the last access
    counters : addresses of instructions that have read a counter of cycles
    """

    def __init__(self, setup: CoreSetup, rows: Sequence[Row], waits: Sequence[int]) -> None:
        ones = dict.fromkeys(CLASSES, 1) | {"trap": 0}
        memories = tuple(replace(memory, clocks=0) for memory in setup.memories)
        self._given = setup
        self._setup = replace(setup, clocks=ones, memories=memories, access_at=0, lines={})
        self._rows = rows
        self._most = [4 * wait + AHEAD for wait in waits]
        self._kinds: set[str] = set()
        self.counters: set[int] = set()
        self.instructions = 0
        self._ones = self._run(self._setup)

    def unknowns(self) -> list[Unknown]:
        """Return what may have been executed or accessed."""
        kinds = set(self._kinds)
        kinds |= {"branch_taken"} if "branch_not_taken" in kinds else set()
        kinds |= (
            {"trap"} if "csr" in kinds else set()
        )  # which sets mtvec: without, a trap is the end
        found = [Unknown(kind, -1, kind) for kind in CLASSES if kind in kinds]
        return found + [
            Unknown("", number, f"clocks of the memory at {memory.base:#010x}")
            for number, memory in enumerate(self._setup.memories)
        ]

    def column(self, unknown: Unknown) -> Column:
        """Return the count before each access."""
        setup = self._setup
        if unknown.kind:
            clocks = {**setup.clocks, unknown.kind: setup.clocks[unknown.kind] + 1}
            return self._run(replace(setup, clocks=clocks)) - self._ones
        memories = list(setup.memories)
        memories[unknown.memory] = replace(memories[unknown.memory], clocks=1)
        return self._run(replace(setup, memories=tuple(memories))) - self._ones

    def offset(self) -> Column:
        """Return what ``access_at`` adds to each distance."""
        if not self._given.access_at:
            return np.zeros_like(self._ones)
        change = self._run(replace(self._setup, access_at=1)) - self._ones
        return change * self._given.access_at

    def _run(self, setup: CoreSetup) -> Column:
        core = NotingCore(setup)
        starts = np.empty(len(self._rows) + 1, dtype=np.int64)
        starts[0] = core.cycle
        for number, _ in enumerate(in_order(core, self._rows, self._most), 1):
            starts[number] = core.get("out_start")
        self._kinds |= core.kinds
        self.counters |= core.counters
        self.instructions = core.get("instret")
        distances: Any = np.diff(starts)
        return distances  # type: ignore[no-any-return]
