"""The verbs sweep, compare and find, and the cures of explain: pages, JSON, exit codes, mistakes."""

from __future__ import annotations

import json
import sys
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


def test_a_sweep_of_which_nothing_runs_ends_with_1(
    folder: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """If every variant fails, though no key is wrong; one that runs makes it 0."""
    text = Path("checks.py").read_text(encoding="utf-8")
    own = "def slow_only(recording):\n    if recording.clock_hz != 16_000_000:\n        raise OSError\n"
    Path("checks.py").write_text(f"{text}\n{own}", encoding="utf-8")
    words = ("sweep", folder, "--jobs", "1", "--measure", "checks.py:slow_only", "--vary")
    page = on_python(capsys, *words, "clock=8MHz,12MHz", code=1)
    assert "not run, 2 variants: checks.py:slow_only raised OSError" in page
    on_python(capsys, *words, "clock=8MHz,16MHz")


def test_margins_beside_a_function_are_measured(
    folder: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """Every row has its values."""
    page = on_python(capsys, "sweep", folder, "--jobs", "1", "--measure", "margins", "--measure",
                     "checks.py:edges", "--vary", "slot.levers.wait=1", "--json")  # fmt: skip
    (row,) = json.loads(page)
    assert row["edges"] == 192
    assert row["margin.string.P4.gap"] > 0
    assert row["message"] is None


def test_findings_are_told_below_the_table(folder: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Which rule, in how many variants, and the first of them."""
    page = on_python(capsys, "sweep", folder, "--jobs", "1", "--vary", "clock=16MHz,8MHz",
                     "--measure", "rules", "--measure", "certain_until")  # fmt: skip
    lines = page.splitlines()
    assert lines[2].split() == ["16MHz", "none", "throughout"]
    assert "pulse-width: in 1 of 2, first with clock = 8MHz" in lines


def test_the_table_is_written_as_parquet(folder: str, capsys: pytest.CaptureFixture[str]) -> None:
    """By its suffix; an independent reader gets the rows that are shown."""
    parquet = pytest.importorskip("pyarrow.parquet")
    words = ("sweep", folder, "--jobs", "1", "-o", "t.parquet", "--json")
    rows = json.loads(on_python(capsys, *words))
    assert parquet.read_table("t.parquet").to_pylist() == rows
    assert [row["slot.levers.wait"] for row in rows] == [0, 3]


def test_a_library_that_is_missing_is_named(
    folder: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Parquet and clusters need an extra; nothing is run without it."""
    for name in ("pyarrow", "distributed"):
        monkeypatch.setitem(sys.modules, name, None)
    told = say(capsys, "sweep", folder, "-o", "t.parquet", code=2)
    assert "-o: Parquet needs the library pyarrow: pip install 'busbox[parquet]'" in told
    told = say(capsys, "sweep", folder, "--cluster", "tcp://127.0.0.1:9", code=2)
    assert "--cluster: needs the library distributed: pip install 'busbox[cluster]'" in told


def test_a_folder_may_have_an_at_sign(folder: str, capsys: pytest.CaptureFixture[str]) -> None:
    """What is there by that name is meant; else what comes after the sign is a variant."""
    Path("a@slow").mkdir()
    write_bench(Path("a@slow"))
    assert on_python(capsys, "compare", "a@slow", folder).startswith("Equal in all")
    page = on_python(capsys, "compare", folder, "a@slow@slow")
    assert page.startswith("Same bytes, other colours; ")


def test_two_recordings_are_compared(folder: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Saved runs on both sides; there is nothing to run, so no end to set."""
    Bench.load(folder).run("python").save("one.recording.npz")
    Bench.load(folder).with_values(["clock=8 MHz"]).run("python").save("two.recording.npz")
    words = ("compare", "one.recording.npz", "two.recording.npz")
    page = say(capsys, *words)
    assert page.startswith("Same bytes, other colours; ")
    assert "A: one.recording.npz" in page
    say(capsys, *words, "--must", "texts, expectations")
    say(capsys, *words, "--must", "texts, pins", code=1)
    assert "--until: needs a new run" in say(capsys, *words, "--until", "5", code=2)


def test_a_search_in_others_and_a_walk(folder: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Once for each value of another key; at the end of the range; 1 if one of them has none."""
    words = ("find", folder, "--largest", "slot.levers.wait", "--range", "0..3", "--such-that")
    page = on_python(capsys, *words, "profile P4 kept", "--vary", "clock=16MHz,8MHz", code=1)
    assert "The largest slot.levers.wait with clock = 16MHz is 3" in page
    assert "It is the end of the range" in page
    assert "No slot.levers.wait from 0 to 3 holds with clock = 8MHz" in page
    page = on_python(capsys, *words[:5], "0..30", "--such-that", "certain", "--walk", "--json")
    (found,) = json.loads(page)
    assert (found["walked"], found["best"]["value"], len(found["tried"])) == (True, 30, 31)
    assert found["neighbour"] is None


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
        (("sweep", ".", "--vary", "clock=8MHz,"), "--vary: must have a value at each side"),
        (("sweep", ".", "--vary", "clock=0x_..9/1"), "--vary: a range must be of numbers"),
        (("sweep", ".", "--vary", "clock=1Hz..9MHz/x1.0001"), "--vary: the values of a range must"),
        (
            ("sweep", ".", "--vary", "clock=1Hz..1GHz/x1.000001"),
            "--vary: a range must have at most",
        ),
        (("sweep", ".", "--vary", "attach.string.pin2=a"), "attach.string.pin2: unknown key"),
        (
            ("sweep", ".", "--vary", "traffic.fle=1"),
            "--vary: traffic.fle: unknown key 'fle'; did you",
        ),
        (
            ("sweep", ".", "--vary", "expect.0.txt=1"),
            "--vary: expect.0.txt: unknown key 'txt'; did",
        ),
        (("sweep", ".", "--vary", "input.3.at=1"), "input: must be a list of tables"),
        (("sweep", ".", "--measure", "cycle"), "--measure: there is no measure 'cycle'"),
        (("sweep", ".", "--jobs", "many"), "--jobs: must be"),
        (("compare", ".", ".", "--must", ""), "--must: there is no part ''"),
        (("find", ".", "--smallest", "clock", "--largest", "clock"), "give one of them"),
        (
            ("find", ".", "--smallest", "clok", "--range", "1..2", "--such-that", "certain"),
            "--range: clok: unknown key 'clok'; did you mean 'clock'?",
        ),
        (
            (
                "find",
                ".",
                "--smallest",
                "clock",
                "--range",
                "8MHz..9MHz",
                "--such-that",
                "certain",
                "--vary",
                "clock=8MHz",
            ),
            "--vary: clock is what is searched for",
        ),
        (
            (
                "find",
                ".",
                "--smallest",
                "clock",
                "--range",
                "8MHz..9MHz",
                "--such-that",
                "certain",
                "--vary",
                "settl=3",
            ),
            "--vary: settl: unknown key 'settl'",
        ),
    ],
)
def test_a_mistake_is_one_sentence(
    folder: str, words: tuple[str, ...], message: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """Exit code 2, one line, before anything runs."""
    told = say(capsys, *words, code=2)
    assert message in told
    assert told.count("\n") == 1
