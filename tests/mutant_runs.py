"""Mistakes put into a copy of the package, one at a time, and the tests that must find them.

A test runs in a process of its own: ``python -m tests.mutant_runs FILE::TEST``, with FILE from the
folder of the tests.

Exit codes: 0: nothing was found; 3: a comparison differs: an assertion of a test failed; 4: any other
exception, from which nobody can tell whether a comparison would differ; 5: a run did not end.
"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
import traceback
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

import busbox

FOUND, BROKEN, ENDLESS = 3, 4, 5
#: What an exit code means, other than that a comparison differs.
ENDS = {0: "nothing was found", BROKEN: "it broke down", ENDLESS: "a run does not end"}
PACKAGE = Path(busbox.__file__).parent
TESTS = Path(__file__).resolve().parent


@dataclass(frozen=True)
class Mutant:
    """One mistake; ``quick`` ones run in the normal tests.

    Attributes
    ----------
    file : of the package
    old, new : ``old`` occurs once in the file; ``new`` stands there instead
    check : what must find it: a comparison by its name, or tests as ``FILE`` or ``FILE::TEST``
    unchanged : why the mistake changes nothing that a comparison could find; "" for all others
    """

    mistake: str
    file: str
    old: str
    new: str
    check: str
    engine: str = "python"
    quick: bool = False
    unchanged: str = ""


def marked(mutant: Mutant) -> object:
    """Return a mutant, marked long unless it is quick."""
    marks = [] if mutant.quick else [pytest.mark.long]
    return pytest.param(mutant, marks=marks, id=mutant.mistake.replace(" ", "-"))


def spoiled(mutant: Mutant | None, folder: Path) -> Path:
    """Return a folder with a copy of the package that has a mistake in it."""
    copy = folder / "busbox"
    shutil.copytree(PACKAGE, copy, ignore=shutil.ignore_patterns("__pycache__"))
    if mutant is not None:
        file = copy / mutant.file
        text = file.read_text(encoding="utf-8")
        assert text.count(mutant.old) == 1, f"{mutant.old!r} occurs {text.count(mutant.old)} times"
        file.write_text(text.replace(mutant.old, mutant.new), encoding="utf-8")
    return folder


def run(folder: Path, module: str, *words: str) -> tuple[int, str]:
    """Run a module with the package of a folder; return its exit code and what it says."""
    path = os.pathsep.join([str(folder), str(TESTS.parent)])
    done = subprocess.run(
        [sys.executable, "-W", "ignore", "-m", module, *words],
        env={**os.environ, "PYTHONPATH": path}, cwd=folder, capture_output=True,
        encoding="utf-8", timeout=1200, check=False,
    )  # fmt: skip
    return done.returncode, done.stdout + done.stderr


# In the process of its own.


class Failures:
    """A plug-in of pytest that keeps what was raised, in tests or while they were collected."""

    def __init__(self) -> None:
        self.raised: list[BaseException] = []

    def pytest_exception_interact(self, call: pytest.CallInfo[Any]) -> None:
        """Keep it."""
        assert call.excinfo is not None
        self.raised.append(call.excinfo.value)


def run_tests(tests: str) -> None:
    """Run tests, and raise what the first that fails has raised."""
    # With "prepend", processes that tests start would import the package as it is.
    words = ["-q", "-x", "-m", "not long", "-p", "no:cacheprovider", "-W", "ignore"]
    words.append("--import-mode=append")
    failures = Failures()
    code = pytest.main([*words, str(TESTS / tests)], plugins=[failures])
    for error in failures.raised:
        raise error
    if code:
        raise RuntimeError(f"pytest ended with exit code {code}")


def is_difference(error: BaseException) -> bool:
    """Return whether a test has asserted something that does not hold, and not the package itself."""
    if isinstance(error, pytest.fail.Exception):
        return True
    if not isinstance(error, AssertionError):
        return False
    if error.__cause__ is not None:  # the traceback of another process, as text
        file = re.findall(r'File "(.*?)"', str(error.__cause__))[-1]
    else:
        *_, (last, _) = traceback.walk_tb(error.__traceback__)
        file = last.f_code.co_filename
    return Path(file).is_relative_to(TESTS)


def meaning(error: BaseException) -> int:
    """Return the exit code for what a comparison has raised."""
    print(f"{type(error).__name__}: {error}"[:300])
    if isinstance(error, TimeoutError):
        return ENDLESS
    return FOUND if is_difference(error) else BROKEN


def main(tests: str) -> int:
    """Run tests; return the exit code."""
    try:
        run_tests(tests)
    except (Exception, pytest.fail.Exception) as error:
        return meaning(error)
    return 0


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))
