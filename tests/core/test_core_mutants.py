"""Mistakes in the core are found by the tests of this folder."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.core.mutants import MUTANTS
from tests.mutant_runs import ENDS, FOUND, Mutant, marked, run, spoiled


@pytest.mark.parametrize("mutant", [marked(one) for one in MUTANTS])
def test_a_mistake_is_found(mutant: Mutant, tmp_path: Path) -> None:
    """An assertion of a test fails with the mistake in the package; that it breaks down is not enough.

    Where the list says why a mistake changes nothing, the tests pass.
    """
    code, said = run(spoiled(mutant, tmp_path), "tests.mutant_runs", mutant.check)
    expected = 0 if mutant.unchanged else FOUND
    assert code == expected, f"{ENDS.get(code, f'the process ended with {code}')}\n{said}"


@pytest.mark.long
@pytest.mark.parametrize("check", sorted({one.check for one in MUTANTS}))
def test_without_a_mistake_nothing_is_found(check: str, tmp_path: Path) -> None:
    """The tests pass on the package as it is, run in the same way."""
    code, said = run(spoiled(None, tmp_path), "tests.mutant_runs", check)
    assert code == 0, said


def test_every_mistake_has_a_name_of_its_own() -> None:
    """No two have the same name; three run in the normal tests."""
    assert len({one.mistake for one in MUTANTS}) == len(MUTANTS)
    assert sum(one.quick for one in MUTANTS) == 3
