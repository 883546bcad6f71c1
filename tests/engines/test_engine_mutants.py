"""Mistakes in reader, emitters, loop and engines are found by the comparisons of this folder."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from tests.engines.mutants import MUTANTS
from tests.mutant_runs import ENDS, FOUND, Mutant, marked, run, spoiled

pytestmark = pytest.mark.skipif(
    os.name == "nt", reason="a run that does not end is stopped by a signal"
)
CHECK = "tests.engines.mutant_check"


@pytest.mark.parametrize("mutant", [marked(one) for one in MUTANTS])
def test_a_mistake_is_found(mutant: Mutant, tmp_path: Path) -> None:
    """The comparison differs with the mistake in the package; that it breaks down is not enough.

    Where the list says why a mistake changes nothing, the comparison holds.
    """
    code, said = run(spoiled(mutant, tmp_path), CHECK, mutant.check, mutant.engine)
    expected = 0 if mutant.unchanged else FOUND
    assert code == expected, f"{ENDS.get(code, f'the process ended with {code}')}\n{said}"


@pytest.mark.long
@pytest.mark.parametrize(("check", "engine"), sorted({(m.check, m.engine) for m in MUTANTS}))
def test_without_a_mistake_nothing_is_found(check: str, engine: str, tmp_path: Path) -> None:
    """Each comparison passes on the package as it is, run in the same way."""
    code, said = run(spoiled(None, tmp_path), CHECK, check, engine)
    assert code == 0, said


def test_there_are_quick_ones() -> None:
    """Some of them run in every test, of each kind."""
    assert {one.check for one in MUTANTS if one.quick} >= {"designs", "plans", "benches"}
