"""Runs of reads, found window by window."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from busbox.findings.read_runs import read_runs
from busbox.recording import accesses as columns
from busbox.recording.accesses import COLUMNS, Accesses

pytestmark = pytest.mark.quick

ACCESSES = st.lists(st.tuples(st.booleans(), st.integers(0, 1), st.integers(0, 1)), max_size=40)


def naive(rows: list[tuple[bool, int, int]], shortest: int) -> list[tuple[int, int]]:
    runs, first = [], 0
    while first < len(rows):
        end = first + 1
        while end < len(rows) and not rows[first][0] and rows[end] == rows[first]:
            end += 1
        if not rows[first][0] and end - first >= shortest:
            runs.append((first, end))
        first = end
    return runs


@given(ACCESSES, st.integers(1, 4), st.integers(1, 9))
def test_runs_do_not_depend_on_the_windows(
    rows: list[tuple[bool, int, int]], shortest: int, window: int
) -> None:
    """Every run of equal reads that is long enough is given once, whatever the size of a window."""
    made: dict[str, Any] = {name: np.zeros(len(rows)) for name in COLUMNS}
    for place, name in enumerate(("write", "address", "data")):
        made[name] = np.array([row[place] for row in rows])
    facts: Any = SimpleNamespace(recording=SimpleNamespace(accesses=Accesses(made)))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(columns, "WINDOW", window)
        assert list(read_runs(facts, ("address", "data"), shortest)) == naive(rows, shortest)
