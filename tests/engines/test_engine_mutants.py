"""Mistakes in reader, emitters, loop and engines are found by the comparisons of this folder."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

import busbox
from tests.engines.mutant_check import BROKEN, ENDLESS, FOUND
from tests.engines.mutants import MUTANTS, Mutant

pytestmark = pytest.mark.skipif(
    os.name == "nt", reason="a run that does not end is stopped by a signal"
)

PACKAGE = Path(busbox.__file__).parent
TESTS = Path(__file__).resolve().parent.parent.parent
#: What an exit code of a comparison means, other than that it differs.
ENDS = {0: "nothing was found", BROKEN: "it broke down", ENDLESS: "a run does not end"}


def spoiled(mutant: Mutant | None, folder: Path) -> Path:
    """Return a copy of the package, with a mistake in it."""
    copy = folder / "busbox"
    shutil.copytree(PACKAGE, copy, ignore=shutil.ignore_patterns("__pycache__"))
    if mutant is not None:
        file = copy / mutant.file
        text = file.read_text(encoding="utf-8")
        assert text.count(mutant.old) == 1, f"{mutant.old!r} occurs {text.count(mutant.old)} times"
        file.write_text(text.replace(mutant.old, mutant.new), encoding="utf-8")
    return folder


def run(check: str, engine: str, folder: Path) -> tuple[int, str]:
    """Run a comparison with the package of a folder; return its exit code and what it says."""
    words = [sys.executable, "-W", "ignore", "-m", "tests.engines.mutant_check", check, engine]
    path = os.pathsep.join([str(folder), str(TESTS)])
    done = subprocess.run(
        words, env={**os.environ, "PYTHONPATH": path}, cwd=folder, capture_output=True,
        encoding="utf-8", timeout=1200, check=False,
    )  # fmt: skip
    return done.returncode, done.stdout + done.stderr


def marked(mutant: Mutant) -> object:
    """Return a mutant, marked long unless it is quick."""
    marks = [] if mutant.quick else [pytest.mark.long]
    return pytest.param(mutant, marks=marks, id=mutant.mistake.replace(" ", "-"))


@pytest.mark.parametrize("mutant", [marked(one) for one in MUTANTS])
def test_a_mistake_is_found(mutant: Mutant, tmp_path: Path) -> None:
    """The comparison differs with the mistake in the package; that it breaks down is not enough.

    Where the list says why a mistake changes nothing, the comparison holds.
    """
    code, said = run(mutant.check, mutant.engine, spoiled(mutant, tmp_path))
    expected = 0 if mutant.unchanged else FOUND
    assert code == expected, f"{ENDS.get(code, f'the process ended with {code}')}\n{said}"


@pytest.mark.long
@pytest.mark.parametrize(("check", "engine"), sorted({(m.check, m.engine) for m in MUTANTS}))
def test_without_a_mistake_nothing_is_found(check: str, engine: str, tmp_path: Path) -> None:
    """Each comparison passes on the package as it is, run in the same way."""
    code, said = run(check, engine, spoiled(None, tmp_path))
    assert code == 0, said


def test_there_are_quick_ones() -> None:
    """Some of them run in every test, of each kind."""
    assert {one.check for one in MUTANTS if one.quick} >= {"designs", "plans", "benches"}
