"""A capture against a run: what is the same, what differs, and that times are told, not judged."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from busbox.board.attachment import Board, LineReport
from busbox.board.compare import differences
from busbox.board.terminal import Terminal
from busbox.cli import main
from busbox.lines.profiles import PROFILES
from tests.cli.saying import say
from tests.lines.drawn import frame, line

LAMPS = ("--as", "lamp_string", "--set", "count=8", "--line", "busbox.lamps.line")
AGAINST = ("--against", "first_light", "lamps.line")


@pytest.fixture(scope="module")
def evening(tmp_path_factory: pytest.TempPathFactory) -> str:
    """Return the waveform file of a run of first_light."""
    file = str(tmp_path_factory.mktemp("evening") / "evening.vcd")
    with pytest.raises(SystemExit):
        main(["run", "first_light", "--vcd", file])
    return file


def compared(
    capsys: pytest.CaptureFixture[str], *words: str
) -> tuple[int | str | None, dict[str, object]]:
    """Return exit code and what JSON tells of the comparison."""
    with pytest.raises(SystemExit) as ended:
        main(["capture", *words, "--json"])
    return ended.value.code, json.loads(capsys.readouterr().out)["against"]


def test_a_run_is_the_same_as_itself(evening: str, capsys: pytest.CaptureFixture[str]) -> None:
    """The waveform of a run, read as a capture, says what the run says: exit code 0."""
    code, found = compared(capsys, evening, *LAMPS, *AGAINST)
    assert (code, found["same"]) == (0, True)
    parts = found["lines"]["busbox.lamps.line"]  # type: ignore[index]
    assert parts["frames"]["same"]
    assert parts["mean high of a zero"] == {"capture": 437.5, "run": 437.5, "same": True}


def test_other_pictures_are_told_with_the_first_that_differs(
    evening: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """One colour changed in the bench: exit code 1, and the first frame that differs is shown."""
    from busbox.bench.find import find_bench

    folder = find_bench("first_light").parent
    steps = (folder / "first_light.steps").read_text(encoding="utf-8")
    keys = (folder / "bench.toml").read_text(encoding="utf-8")
    (tmp_path / "bench.toml").write_text(keys, encoding="utf-8")
    changed = steps.replace("0x44000108 0x004000", "0x44000108 0x004001")
    assert changed != steps
    (tmp_path / "first_light.steps").write_text(changed, encoding="utf-8")
    with pytest.raises(SystemExit) as ended:
        main(["capture", evening, *LAMPS, "--against", str(tmp_path), "lamps.line"])
    assert ended.value.code == 1
    page = " ".join(capsys.readouterr().out.split())
    assert "not the same" in page
    assert "frame 0 is 400000 302000 004000" in page
    assert "the run: 400000 302000 004001" in page


def test_other_times_are_told_and_still_the_same(
    evening: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """A line that another clock made says the same; the measured rates differ."""
    here, _ = line([frame(byte, 8, "N", 1) for byte in b"ok"], 104)  # type: ignore[arg-type]
    there, _ = line([frame(byte, 8, "N", 1) for byte in b"ok"], 106)  # type: ignore[arg-type]
    terminal = Terminal(Board(10**6, PROFILES), baud=9600, format="8N1")
    found = differences(terminal.decode(here), terminal.decode(there))
    assert [one.what for one in found] == ["text", "measured baud"]
    assert all(one.same for one in found)
    assert found[1].here > found[1].there


def test_facts_of_other_kinds_are_compared_one_by_one() -> None:
    """Where there is neither text nor frames, each number that both have is compared."""
    here, there = (
        LineReport(facts={"strokes": 3, "list": [1]}),
        LineReport(facts={"strokes": 4, "list": [2]}),
    )
    (one,) = differences(here, there)
    assert (one.what, one.here, one.there, one.same) == ("strokes", 3, 4, False)
    assert str(one) == "3; the run: 4"


def test_more_frames_than_the_run_has_are_told() -> None:
    """A frame more is a difference, although all that both have are equal."""
    here, there = (
        LineReport(frames=[(0, 5, (1,)), (9, 12, (2,))]),
        LineReport(frames=[(0, 5, (1,))]),
    )
    (one,) = differences(here, there)
    assert (one.same, str(one)) == (False, "2 frames; the run: 1")


def test_a_pin_that_there_is_not_is_told(evening: str, capsys: pytest.CaptureFixture[str]) -> None:
    """The nearest pin is named; exit code 2."""
    with pytest.raises(SystemExit) as ended:
        main(["capture", evening, *LAMPS, "--against", "first_light", "lamps.lime"])
    assert ended.value.code == 2
    told = "--against: there is no pin 'lamps.lime' in first_light; did you mean 'lamps.line'?"
    assert capsys.readouterr().err == f"busbox: {told}\n"


def test_kinds_are_listed_and_shown(capsys: pytest.CaptureFixture[str]) -> None:
    """Every kind has a line; one of them is shown with its settings, caution included."""
    page = say(capsys, "attachments")
    assert [row.split()[:2] for row in page.splitlines() if row.startswith("  ") and row[2] != " "] == [
        ["lamp_string", "decodes"], ["terminal", "decodes"], ["switch", "drives"],
        ["level", "decodes"],
    ]  # fmt: skip
    page = say(capsys, "attachments", "lamp_string")
    assert "count            required  Number of lamps.\n" in page
    assert "Local codes and licensed practice decide." in " ".join(page.split())
    found = json.loads(say(capsys, "attachments", "switch", "--json"))
    assert [one["name"] for one in found["settings"]] == ["turns", "level", "bounce", "bounces"]
