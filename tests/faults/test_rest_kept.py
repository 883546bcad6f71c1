"""Where one part of a result fails, the others are shown and written."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from busbox.basics.errors import InputError
from busbox.bench.bench import Bench
from busbox.cli import main
from busbox.findings.judging import PartlyJudged
from busbox.recording import Recording
from busbox.variants.sweep import sweep

pytestmark = pytest.mark.quick

EXPORTS = """
def broken(result, target):
    target.text.write("begun")
    raise KeyError("lamp")
"""
CABIN = '''
import time

from busbox.board.attachment import Decoder, LineFinding, LineReport
from busbox.findings import Sighting


class Deaf(Decoder):
    """It fails."""

    sends = ("text",)

    def decode(self, wave):
        raise KeyError("bell")


class Endless(Decoder):
    """It never returns."""

    def decode(self, wave):
        while True:
            pass


class Mute(Decoder):
    """It finds three strokes, and cannot describe the second."""

    rules = {"stroke": """A stroke.

    Why it matters: somebody hears it.

    What to do
    ----------
    Wait.
    """}

    def decode(self, wave):
        return LineReport(
            rows=[("strokes", "3")],
            findings=[LineFinding("stroke", tick, told(tick)) for tick in (0, 1, 2)],
        )


def told(tick):
    def describe():
        return [("a stroke.", "Wait."), None, ("a stroke.", "Wait.")][tick]
    return describe


def lever_moved(facts):
    """A lever was moved.

    Why it matters: somebody moved it.

    What to do
    ----------
    Wait.
    """
    yield facts.sighting(0, lambda: ("moved.", "Wait."))
    raise KeyError("lever")


def twice(recording):
    return 2 * len(recording.accesses)


def odd(recording):
    if recording.clock_hz == 2_000_000:
        raise KeyError("clock")
    return 1
'''
BENCH = """
clock = "1 MHz"
rules = ["cabin.py:lever_moved"]

[slot.levers]
model = "gpio"
base = 0x1000
size = 0x40

[attach.deaf]
kind = "cabin.py:Deaf"
pin = "levers.out.0"

[attach.mute]
kind = "cabin.py:Mute"
pin = "levers.out.1"

[traffic]
file = "day.steps"

[[expect]]
register = { of = "levers.OUT", is = 1 }

[[expect]]
text = { of = "deaf", is = "" }

[[expect]]
findings = { rule = "lever-moved", exactly = 1 }
"""
#: What each of the three failures is told with.
TOLD = (
    "attach.deaf: cabin.py:Deaf raised KeyError: 'bell' (cabin.py:14, in Deaf.decode)",
    "rules: rule lever-moved raised KeyError: 'lever' (cabin.py:60, in lever_moved)",
    "attach.mute: cabin.py:Mute raised TypeError: cannot unpack non-iterable NoneType object "
    "(cabin.py:45, in describe)",
)


@pytest.fixture
def cabin(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The folder of a bench whose rule and attachments fail once the run is over."""
    monkeypatch.chdir(tmp_path)
    Path("cabin.py").write_text(CABIN, encoding="utf-8")
    Path("bench.toml").write_text(BENCH, encoding="utf-8")
    Path("day.steps").write_text("write levers.OUT 1\nread 0x4000\n", encoding="utf-8")
    return tmp_path


def code_of(*words: str) -> Any:
    """Return the exit code of a command."""
    with pytest.raises(SystemExit) as ended:
        main([*words])
    return ended.value.code


def test_an_export_that_fails_leaves_the_others(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Waveform, JSON, recording and summary are there; both failures are told, and nothing of them."""
    monkeypatch.chdir(tmp_path)
    Path("faulty.py").write_text(EXPORTS, encoding="utf-8")
    with pytest.raises(SystemExit) as ended:
        main([
            "run", "first_light", "--engine", "python", "--until", "30 us", "--out", "kept",
            "--write", "faulty.py:broken=one.txt", "--write", "json=run.json",
            "--write", "faulty.py:broken=two.txt", "--vcd", "run.vcd", "--write", "summary=-",
        ])  # fmt: skip
    assert ended.value.code == 2
    told = capsys.readouterr()
    assert "Findings" in told.out
    lines = told.err.splitlines()
    assert len(lines) == 2
    for line in lines:
        assert line.startswith(
            "busbox: --write: export faulty.py:broken raised KeyError: 'lamp' (faulty"
        )
    there = sorted(one.name for one in tmp_path.iterdir() if one.is_file())
    assert there == ["faulty.py", "run.json", "run.vcd"]
    assert sorted(one.suffix for one in Path("kept").iterdir()) == [".json", ".npz"]


def test_rules_and_attachments_that_fail_leave_the_rest(
    cabin: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Summary, waveform and recording are there, with all other findings; exit code 2, told last."""
    words = ["run", ".", "--engine", "python", "--vcd", "run.vcd", "--out", "kept"]
    assert code_of(*words, "--write", "json=run.json") == 2
    told = capsys.readouterr()
    assert sorted(told.err.splitlines()) == sorted(f"busbox: {one}" for one in TOLD)
    assert "Attached: mute, cabin.py:Mute at levers.out.1" in told.out
    assert "Attached: deaf" not in told.out
    assert Path("run.vcd").stat().st_size > 100
    found = json.loads(Path("run.json").read_text(encoding="utf-8"))
    assert [one["rule"] for one in found["findings"]] == [
        "stroke", "lever-moved", "unmapped-access",
    ]  # fmt: skip
    assert found["counts"]["stroke"] == {"mute": 1}
    for one in TOLD:
        assert f"Judged without a part that failed: {one}" in found["notes"]
    saved = Recording.load(next(Path("kept").glob("*.npz")))
    assert sorted(saved.failures) == sorted(TOLD)


def test_what_depends_on_a_failure_is_not_met(cabin: Path) -> None:
    """An expectation is met only if all that it asks was judged; those of the bus are as ever."""
    with pytest.raises(PartlyJudged) as caught:
        Bench.load(".").run("python")
    recording = caught.value.recording
    assert [(one.met, one.seen) for one in recording.verdicts] == [
        (True, "0x1"),
        (False, "not known: deaf could not be decoded"),
        (False, "not known: not everything could be judged"),
    ]


def test_a_recording_tells_again_what_is_missing_in_it(
    cabin: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The results of a saved recording are printed again, and its failures; so is the page of it."""
    assert code_of("run", ".", "--engine", "python", "--out", "kept") == 2
    first = capsys.readouterr()
    saved = str(next(Path("kept").glob("*.npz")))
    assert code_of("run", saved) == 2
    again = capsys.readouterr()
    assert again == first
    assert code_of("why", saved, "access.0") == 2
    told = capsys.readouterr()
    assert "access 0 ended with ACK" in told.out
    assert told.err == first.err


def test_a_decoder_that_never_returns_leaves_the_rest(
    cabin: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """It is ended at the limit, and the rules, the other attachments and the report are there."""
    monkeypatch.setenv("BUSBOX_HOOK_SECONDS", "0.3")
    words = ("--set", "attach.deaf.kind='cabin.py:Endless'", "--set", "expect=[]")
    assert code_of("run", ".", "--engine", "python", "--json", *words) == 2
    told = capsys.readouterr()
    assert "Endless.decode computed for more than 0.3 s" in told.err
    found = json.loads(told.out)
    assert [*found["attached"]] == ["mute"]
    assert len(found["findings"]) == 3


def test_a_set_of_benches_is_run_to_its_end(
    cabin: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The bench after the one that fails is run, the table closes the page, then the failures come."""
    for name in ("a", "b"):
        Path(name).mkdir()
        for file in ("cabin.py", "bench.toml", "day.steps"):
            text = Path(file).read_text(encoding="utf-8")
            Path(name, file).write_text(text, encoding="utf-8")
    Path("bench.toml").unlink()
    assert code_of("run", ".", "--engine", "python", "--json") == 2
    told = capsys.readouterr()
    assert [one["bench"] for one in json.loads(told.out)] == ["a", "b"]
    assert len(told.err.splitlines()) == 6


def test_a_measure_that_fails_leaves_its_table(cabin: Path) -> None:
    """Where a measure raises, its row has the message and the other measures; one that fails with the
    bench as it stands is refused before the sweep."""
    bench = Bench.load("bench.toml").with_values({
        "rules": [], "expect": [], "attach": {},
    })  # fmt: skip
    measures = ["cabin.py:odd", "cabin.py:twice", "accesses"]
    table = sweep(bench, {"clock": ["1 MHz", "2 MHz"]}, measures, jobs=1)
    good, bad = table.rows
    assert (good["odd"], good["twice"], good["message"]) == (1, 4, None)
    assert (bad["twice"], bad["accesses"]) == (4, 2)
    assert str(bad["message"]).startswith("cabin.py:odd raised KeyError: 'clock' (")
    with pytest.raises(InputError, match="odd raised KeyError: 'clock'"):
        sweep(bench.with_values({"clock": "2 MHz"}), {"clock": ["1 MHz"]}, measures, jobs=1)
