"""Drawn cases, the cases that were found before, and whether the harness sees what is wrong."""

from __future__ import annotations

import gzip
from collections import Counter
from pathlib import Path
from random import Random

import pytest

from busbox.plugins import VERBS
from tests.fuzz.running import Case, Runner
from tests.fuzz.shrinking import shrunk
from tests.fuzz.targets import targets

FOUND = sorted(Path(__file__).with_name("cases").glob("*.json"))


def test_drawn_cases(runner: Runner, tmp_path: Path) -> None:
    """No spoiled input breaks anything: it is read, or refused with one message."""
    counts: Counter[str] = Counter()
    broken = []
    for target in targets(tmp_path):
        for number in range(target.drawn):
            case = target.case(Random(f"suite {target.name} {number}"))
            problem = runner.broken(case)
            counts[target.name] += 1
            if problem is not None:
                broken.append((target.name, number, problem, case.args))
    print("\n".join(f"{name}: {count} cases" for name, count in counts.items()))
    assert not broken
    assert min(counts.values()) > 0


@pytest.mark.quick
def test_every_verb_is_drawn(tmp_path: Path) -> None:
    """A verb that comes with Busbox has a command of a target: one without would never be spoiled."""
    drawn = {command[0] for one in targets(tmp_path) for command in one.commands}
    assert set(VERBS.built_in) <= drawn
    assert drawn <= set(VERBS.built_in)


@pytest.mark.parametrize("file", FOUND, ids=lambda file: file.stem)
def test_what_was_found_before(runner: Runner, file: Path) -> None:
    """A case that broke something once breaks nothing any more; its file says what it was."""
    case = Case.of_json(file.read_text(encoding="utf-8"))
    assert case.why
    assert runner.broken(case) is None


def test_one_line_that_never_ends_in_a_small_gz(runner: Runner) -> None:
    """A gzip file of 0.8 MB that unpacks to a line of 800 MB is refused in bounded memory."""
    files = {"t.steps.gz": gzip.compress(b"x" * 8_000_000, 1) * 100}
    assert runner.broken(Case(("convert", "t.steps.gz", "x.csv"), files)) is None


def outcome(runner: Runner, code: str) -> str | None:
    """Return what a verb of a few lines broke."""
    verb = f"import click\n@click.command()\n@click.argument('x')\ndef bad(x):\n    {code}\n"
    return runner.broken(Case(("bad.py:bad", "x"), {"bad.py": verb.encode()}))


@pytest.mark.parametrize(
    ("code", "said"),
    [
        ("import os; os._exit(3)", "exit code 3"),
        ("import os; os.abort()", "ended by signal 6"),
        ("import sys; sys.stderr.write('no\\n'); sys.exit(2)", "no message"),
        ("print('Traceback (most recent call last):')", "traceback"),
        ("print(chr(27))", "control characters in output"),
        ("open('.x.1.part', 'w').close()", "left or changed"),
        ("open('../x', 'w').close()", "left or changed"),
        ("open('bad.py', 'a').write('#')", "left or changed"),
        ("import tempfile; tempfile.mkdtemp()", "left or changed"),
        ("bytearray(1 << 31)", "uses more than its memory"),
    ],
)
def test_the_harness_sees_it(runner: Runner, code: str, said: str) -> None:
    """Each thing that a case may not do is found."""
    found = outcome(runner, code)
    assert found is not None
    assert found.startswith(said)


@pytest.mark.quick
def test_a_case_is_made_small() -> None:
    """Of a file, no more is left than breaks; a case goes through its file unchanged."""
    case = Case(("x",), {"a": b"one\ntwo\nthree\n", "b": bytes(range(256))}, ("y",), "why")
    small = shrunk(case, lambda one: b"w" in one.files["a"] and 200 in one.files["b"])
    assert small.files == {"a": b"w", "b": bytes([200])}
    assert Case.of_json(case.as_json()) == case
