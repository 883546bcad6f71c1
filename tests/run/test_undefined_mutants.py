"""Mistakes in the search for undefined bits are found by the tests of this folder."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.mutant_runs import ENDS, FOUND, Mutant, marked, run, spoiled

SEARCH, RULE, HARDWARE = "run/undefined.py", "findings/undefined_value.py", "bus/hardware.py"
CHECK, QUICK = "run/test_undefined.py", "test_messages_and_hints"

MUTANTS = [
    # A test of drawn traffic would shrink what it found, for half a minute.
    Mutant(mistake, file, old, new, f"{CHECK}::{QUICK}" if quick else CHECK, quick=quick)
    for mistake, file, old, new, quick in (
        ("lanes that are not read are compared", SEARCH, "np.take(LANE_MASKS, one.lanes)",
         "np.full(len(one.lanes), 0xFFFFFFFF)", False),
        ("aliases of a register are told apart", SEARCH, "known.add(register)", "pass", False),
        ("an end in another cycle is no difference", SEARCH, "(one.end != other.end) | ", "", False),
        ("another terminator is no difference", SEARCH,
         " | (one.terminator != other.terminator)", "", False),
        ("words are compared after the runs have parted", SEARCH,
         "one, other = self._both(self._answered)\n        masks",
         "one, other = self._both(min(len(self.zeros.accesses), len(self.ones.accesses)))\n"
         "        masks", False),
        ("pins are compared after the runs have parted", SEARCH, "and cycle <= last", "", False),
        ("the last cycle is left out", SEARCH, "and cycle <= last", "and cycle < last", False),
        ("all pins are compared", SEARCH, "outputs if _names(device) else ()", "outputs", False),
        ("of a program all differences are told", SEARCH,
         "1 if self.zeros.core is not None else None", "None", False),
        ("what was found is not put in order", SEARCH,
         "        found.sort(key=lambda one: one.cycle)\n", "", False),
        ("edges in other cycles are no difference", SEARCH,
         "wrong = one.cycles[:count] != other.cycles[:count]", "wrong = np.zeros(count, dtype=bool)",
         False),
        ("other levels are no difference", SEARCH,
         "    wrong |= one.levels[:count] != other.levels[:count]\n", "", False),
        ("a driver is run twice", SEARCH, 'facts.traffic_kind == "decided"', "False", False),
        ("a live run is run twice", SEARCH, "if live is not None:", "if False:", False),
        ("the limit itself is too long", SEARCH, "facts.cycles > MOST", "facts.cycles >= MOST",
         False),
        ("the second run has zeros, too", HARDWARE, '"undefined_level": 1', '"undefined_level": 0',
         True),
        ("the class of ones is inherited", HARDWARE, "not in cls.__dict__", "not in dir(cls)", False),
        ("one bit is told as a range", RULE, "if high > low", "if high >= low", False),
    )
]  # fmt: skip


@pytest.mark.parametrize("mutant", [marked(one) for one in MUTANTS])
def test_a_mistake_is_found(mutant: Mutant, tmp_path: Path) -> None:
    """An assertion of a test fails with the mistake; that the package breaks down is not enough."""
    code, said = run(spoiled(mutant, tmp_path), "tests.mutant_runs", mutant.check)
    assert code == FOUND, f"{ENDS.get(code, f'the process ended with {code}')}\n{said}"


@pytest.mark.long
def test_without_a_mistake_nothing_is_found(tmp_path: Path) -> None:
    """The tests pass on the package as it is, run in the same way."""
    code, said = run(spoiled(None, tmp_path), "tests.mutant_runs", CHECK)
    assert code == 0, said
