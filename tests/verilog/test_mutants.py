"""Mistakes in operators and bridges are found by the tests of this folder."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from busbox.bus.ports import KINDS, bridges
from busbox.verilog import operators
from tests.check.twin.test_mutants import changed
from tests.mutant_runs import ENDS, FOUND, Mutant, is_difference, run, spoiled
from tests.mutant_runs import marked as marked_run
from tests.verilog import test_bridges
from tests.verilog.building_mutants import BUILDING
from tests.verilog.mutants import BRIDGES, OPERATORS, Spoiled
from tests.verilog.netlists import needs_front_end
from tests.verilog.test_bridges import PORTS
from tests.verilog.test_cells import differences


def marked(mutants: tuple[Spoiled, ...]) -> list[Any]:
    """Return each mistake with each thing that must show it; of a quick one the first is not long."""
    return [
        pytest.param(one, shows, id=f"{one.mistake}: {shows}",
                     marks=[] if one.quick and not place else [pytest.mark.long])
        for one in mutants
        for place, shows in enumerate(one.shows)
    ]  # fmt: skip


@pytest.mark.parametrize(("mutant", "kind"), marked(OPERATORS))
def test_a_wrong_operator_is_found(mutant: Spoiled, kind: str) -> None:
    """A cell of the kind shows another value than the model (tests/verilog/test_cells.py)."""
    spoiled = changed(operators, mutant.old, mutant.new)
    assert next(differences(kind, spoiled), None) is not None


def test_each_kind_of_cell_has_a_mistake() -> None:
    """None is left out of the list."""
    assert {kind for one in OPERATORS for kind in one.shows} == set(operators.OPERATORS)


@pytest.mark.parametrize(("mutant", "name"), marked(BRIDGES))
def test_a_wrong_bridge_is_found(
    mutant: Spoiled, name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The device at its far side, or what the accesses show, is not as its standard asks.

    Where the list says why a mistake changes nothing, all is as it asks.
    """
    spoiled, kind = changed(bridges, mutant.old, mutant.new), KINDS[PORTS[name].kind]
    bridge = getattr(spoiled, kind.bridge.__name__)
    monkeypatch.setitem(KINDS, kind.name, replace(kind, bridge=bridge))
    if mutant.unchanged:
        both(name)
        return
    with pytest.raises(AssertionError) as caught:
        both(name)
    assert is_difference(caught.value)


def both(name: str) -> None:
    """Look at a port in both ways."""
    test_bridges.test_each_access_is_one_transfer(name)
    test_bridges.test_what_is_given_up_or_reset_leaves_no_trace_in_the_next(name)


def test_each_port_has_a_mistake() -> None:
    """None of the kinds is left out of the list."""
    assert {PORTS[name].kind for one in BRIDGES for name in one.shows} == set(KINDS)


@needs_front_end
@pytest.mark.parametrize("mutant", [marked_run(one) for one in BUILDING])
def test_a_mistake_in_what_is_built_is_found(mutant: Mutant, tmp_path: Path) -> None:
    """An assertion of a test fails with the mistake; that the package breaks down is not enough.

    Where the list says why a mistake changes nothing, the tests pass.
    """
    code, said = run(spoiled(mutant, tmp_path), "tests.mutant_runs", mutant.check)
    expected = 0 if mutant.unchanged else FOUND
    assert code == expected, f"{ENDS.get(code, f'the process ended with {code}')}\n{said}"


@needs_front_end
@pytest.mark.long
@pytest.mark.parametrize("check", sorted({one.check for one in BUILDING}))
def test_without_a_mistake_nothing_is_found(check: str, tmp_path: Path) -> None:
    """The tests pass on the package as it is, run in the same way."""
    code, said = run(spoiled(None, tmp_path), "tests.mutant_runs", check)
    assert code == 0, said
