"""The verbs sweep, compare and find, and the cures of explain: pages, JSON, exit codes, mistakes."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import pytest

from busbox.bench.bench import Bench
from busbox.variants import working
from tests.cli.saying import say
from tests.variants.small import write_bench


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[str]:
    """Return the folder of the small bench, in which the verbs are run."""
    write_bench(tmp_path)
    monkeypatch.chdir(tmp_path)
    working.kept_engine.cache_clear()
    yield "."
    working.kept_engine.cache_clear()


def on_python(capsys: pytest.CaptureFixture[str], *words: str, code: int = 0) -> str:
    """Run a verb on the engine python and return its page."""
    return say(capsys, *words, "--engine", "python", code=code)


def test_a_sweep_is_a_table(folder: str, capsys: pytest.CaptureFixture[str]) -> None:
    """A row a variant, what failed below it, and the file."""
    page = on_python(capsys, "sweep", folder, "--vary", "slot.levers.wait=1,-1", "--jobs", "1",
               "--measure", "cycles", "--measure", "texts", "-o", "t.csv")  # fmt: skip
    lines = page.splitlines()
    assert lines[0] == ".: 2 variants"
    assert lines[1].split() == ["slot.levers.wait", "cycles", "texts"]
    assert lines[2].split()[0] == "1"
    assert lines[2].split()[2] == "equal"
    assert lines[3].split() == ["-1", "not", "run"]
    assert "not run, 1 variant: --vary: slot.levers.wait: must be" in page
    assert lines[-1] == "t.csv: 2 rows of 4 columns"
    assert Path("t.csv").exists()


def test_a_sweep_as_json_holds_all_measures(
    folder: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """One list of rows; the exit code is 1 only if no variant could be run."""
    found = json.loads(
        on_python(capsys, "sweep", folder, "--vary", "clock=16MHz", "--jobs", "1", "--json")
    )
    assert found == [
        {"clock": "16MHz", "cycles": found[0]["cycles"], "findings": 0, "message": None}
    ]
    on_python(capsys, "sweep", folder, "--vary", "slot.levers.wait=1", "--vary", "clock=x,16MHz",
        "--jobs", "1")  # fmt: skip


def test_two_runs_are_compared(folder: str, capsys: pytest.CaptureFixture[str]) -> None:
    """A change, a variant by name, a recording; --must decides on the exit code."""
    page = on_python(capsys, "compare", folder, "--set", "clock=8 MHz")
    assert page.startswith("Same bytes, other colours; ")
    assert on_python(capsys, "compare", folder, ".@slow").splitlines()[0] == page.splitlines()[0]
    Bench.load(folder).run("python").save("kept.recording.npz")
    assert on_python(capsys, "compare", "kept.recording.npz", folder).startswith(
        "Equal in all that is"
    )
    on_python(capsys, "compare", folder, ".@slow", "--must", "texts")
    on_python(capsys, "compare", folder, ".@slow", "--must", "texts,end", code=1)
    on_python(capsys, "compare", folder, ".@slow", "--must", "all", code=1)
    found = json.loads(on_python(capsys, "compare", folder, ".@slow", "--json"))
    assert found["same"] == ["accesses", "texts", "expectations", "certain"]
    assert {one["part"] for one in found["differences"]} >= {"end", "pins", "findings"}


def test_a_value_is_found(folder: str, capsys: pytest.CaptureFixture[str]) -> None:
    """The answer, the value beside it, and how it was found; 1 if none holds."""
    words = ("find", folder, "--smallest", "clock", "--range", "10MHz..20MHz", "--such-that")
    page = on_python(capsys, *words, "profile P4 kept")
    assert page.splitlines()[0] == "The smallest clock is 14 MHz"
    assert "13 MHz: profile P4 kept? No: not kept by string" in page
    assert "All 11 values were tried." in page or "the range was halved" in page
    assert on_python(capsys, *words, "duration < 1 us", code=1).startswith(
        "No clock from 10 MHz to 20 MHz"
    )
    assert (
        json.loads(on_python(capsys, *words, "profile P4 kept", "--json"))[0]["best"]["value"]
        == "14 MHz"
    )


def test_cures_are_tried(folder: str, capsys: pytest.CaptureFixture[str]) -> None:
    """A finding that the bench has: with which changes it does not occur; else nothing is tried."""
    page = say(capsys, "explain", "pulse-width", "--bench", "mistakes/lamp_clock")
    assert "as it stands: 1 time\n" in page
    assert "clock = 16 MHz: it does not occur\n" in page
    assert "clock = 12 MHz: 1 time" in page
    page = say(capsys, "explain", "pulse-width", "--bench", folder)
    assert "has no such finding: nothing was tried" in page


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (("sweep", ".", "--vary", "clock"), "--vary: must be KEY=VALUES"),
        (
            ("sweep", ".", "--vary", "clok=1"),
            "--vary: clok: unknown key 'clok'; did you mean 'clock'?",
        ),
        (
            ("sweep", ".", "--vary", "clock=8MHz", "--jobs", "0"),
            "--jobs: must be at least 1, not 0",
        ),
        (("sweep", ".", "--vary", "clock=8MHz", "-o", "t.tab"), "-o: must end in"),
        (("sweep", "kept.recording.npz"), "is a recording; this verb takes a bench only"),
        (("compare", "."), "B: must be given, or changes to A"),
        (("compare", ".", ".@slo"), "there is no variant 'slo'; did you mean 'slow'?"),
        (("compare", ".", ".", "--must", "text"), "--must: there is no part 'text'; did you mean"),
        (("compare", ".", "kept.recording.npz", "--set", "clock=8 MHz"), "needs a new run"),
        (("find", "."), "--smallest, --largest: give one of them"),
        (("find", ".", "--smallest", "clock"), "--range: must be given"),
        (("find", ".", "--smallest", "clock", "--range", "8"), "--range: must be FIRST..LAST"),
        (
            ("find", ".", "--smallest", "clock", "--range", "8MHz..9MHz"),
            "--such-that: must be given",
        ),
        (("find", ".", "--smallest", "clock", "--range", "9MHz..8MHz"), "begin with its smallest"),
        (("explain", "--bench", "."), "--bench: needs a RULE"),
    ],
)
def test_a_mistake_is_one_sentence(
    folder: str, words: tuple[str, ...], message: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """Exit code 2, one line, before anything runs."""
    told = say(capsys, *words, code=2)
    assert message in told
    assert told.count("\n") == 1
