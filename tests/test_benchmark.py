"""What ``make bench`` measures can be measured."""

from __future__ import annotations

import pytest

pytest.importorskip("resource", reason="Windows cannot say how much memory was used")

from tests.benchmark import CASES, best_reference, measure

#: The same steps as in "10000 accesses", more of them.
LONGER = {"100000 accesses", "1000000 accesses"}


@pytest.mark.parametrize("case", sorted(CASES.keys() - LONGER))
def test_each_case_is_a_bench_that_is_right(case: str) -> None:
    """Every system that is measured is built without a mistake."""
    assert CASES[case]().devices


@pytest.mark.parametrize("engine", ["best", "reference", "python", "llvm"])
def test_a_case_is_measured_on_every_engine(engine: str) -> None:
    """As many cycles are run as were asked for, with the accesses of that time."""
    measured = measure("empty model", engine, 240, 1)
    # Semantics page, rule 4: with 10 idle cycles and a wait state, access n ends in 12 (n + 1).
    assert (measured["cycles"], measured["accesses"]) == (240, 19)
    assert best_reference().name == "reference"  # type: ignore[attr-defined]
