"""Reads that follow each other and are equal in some columns."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import chain, pairwise
from typing import TYPE_CHECKING, Any

import numpy as np

from busbox.findings.rule import RunFacts

if TYPE_CHECKING:
    from busbox.recording import Accesses


def read_runs(facts: RunFacts, columns: Sequence[str]) -> Iterator[tuple[int, int]]:
    """Yield runs of reads, in order: the number of the first, and the first number behind the last.

    Parameters
    ----------
    columns : what is equal in all reads of a run, such as ``address``
    """
    accesses = facts.recording.accesses
    if not len(accesses):
        return

    def changes(part: Accesses) -> Any:
        """Return which accesses begin a run; the first of a window may continue one."""
        begins = np.ones(len(part), dtype=bool)
        begins[1:] = part.write[1:] | part.write[:-1]
        for name in columns:
            begins[1:] |= part[name][1:] != part[name][:-1]
        return begins

    def run_goes_on(number: int) -> bool:
        before = number - 1
        equal = all(accesses[name][number] == accesses[name][before] for name in columns)
        return bool(equal and not accesses.write[number] and not accesses.write[before])

    begins = (one for one in facts.where(changes) if one == 0 or not run_goes_on(one))
    for first, end in pairwise(chain(begins, [len(accesses)])):
        if not accesses.write[first]:
            yield first, end
