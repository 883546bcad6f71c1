"""Limits that are never checked, or at twice their value, are found by the cases of this folder."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

import busbox
from busbox import models
from tests.basics.limit_mutants import MISTAKES, marked
from tests.mutant_runs import run

#: Uses that no case finds, each with why.
ELSEWHERE = {
    "firmware/program.py IMAGE 1": "A source line that is not read is not shown.",
    "verilog/front_end.py VERILOG_MEMORY 1": "Twice as much is still too little for the front end.",
    "verilog/front_end.py VERILOG_SECONDS 1": "Its case takes far more than twice as long.",
}


@pytest.mark.long
def test_every_use_of_a_limit_is_tried(tmp_path: Path) -> None:
    """With a mistake in any use of a limit, a case fails; a use that is not tried has its reason."""
    uses = marked(Path(busbox.__file__).parent, Path(models.__file__).parent, tmp_path)
    code, said = run(tmp_path, "tests.basics.limit_mutants", json.dumps(uses))
    assert code == 0, said
    found = json.loads(said.splitlines()[-1])
    assert len(found) == len(uses) * len(MISTAKES)
    missed = [mistake for mistake, cases in found.items() if not cases]
    assert [one for one in missed if one.partition(":")[0] not in ELSEWHERE] == []
    assert {one.partition(":")[0] for one in missed} == set(ELSEWHERE)
    print("\n".join(f"{mistake}: {cases or 'not found'}" for mistake, cases in found.items()))
