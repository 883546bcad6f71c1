"""Reads that follow each other and are equal in some columns."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from busbox.findings.rule import RunFacts


def read_runs(facts: RunFacts, columns: Sequence[str], shortest: int) -> Iterator[tuple[int, int]]:
    """Yield runs of reads, in order: the number of the first, and the first number behind the last.

    Parameters
    ----------
    columns : what is equal in all reads of a run, such as ``address``
    shortest : how many reads a run must have
    """
    from busbox.recording import windows

    accesses = facts.recording.accesses
    begin = 0  # of the run that goes on
    for first, window in windows(accesses):
        before = max(first - 1, 0)  # the last access of the window before
        part = accesses.part(before, first + len(window))
        changes = part.write[1:] | part.write[:-1]
        for name in columns:
            changes |= part[name][1:] != part[name][:-1]
        bounds = np.concatenate(([begin], np.flatnonzero(changes) + before + 1))
        long = np.flatnonzero(np.diff(bounds) >= shortest)
        for one in long[~accesses.write[bounds[long]]].tolist():
            yield int(bounds[one]), int(bounds[one + 1])
        begin = int(bounds[-1])
    if len(accesses) - begin >= shortest and not accesses.write[begin]:
        yield begin, len(accesses)
