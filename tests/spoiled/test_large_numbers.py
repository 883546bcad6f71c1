"""Numbers of thousands of digits, and tables with numbers that are none, end with one message."""

from __future__ import annotations

from pathlib import Path
from xml.etree import ElementTree

import pytest

from busbox import load_bench
from tests.cli.saying import say

SWEEP = ("sweep", "first_light", "--vary")
FIND = ("find", "first_light", "--smallest", "slot.levers.wait", "--range")
#: Python converts no more than 4,300 digits.
LONG, HEX = "9" * 5000, "0x" + "f" * 5000
WAIT = "slot.levers.wait"


@pytest.mark.parametrize(
    ("args", "told"),
    [
        (["run", "first_light", "--variant", HEX], "--variant: there is no variant 0xfff"),
        (["compare", "first_light", f"first_light@{HEX}"], "there is no variant 0xfff"),
        ([*SWEEP, f"{WAIT}={HEX}"], "must have numbers of at most 128 bits"),
        ([*SWEEP, f"{WAIT}=0..{LONG}/1"], "must be of numbers such as"),
        ([*SWEEP, f"clock=1MHz..{LONG}MHz/x2"], "must be of numbers such as"),
        ([*SWEEP, f"{WAIT}=0..{10**90}/1"], "with the step '1' it has more"),
        ([*FIND, f"0..{LONG}", "--such-that", "certain"],
         "a range must be of numbers such as"),
        ([*FIND, "0..3", "--such-that", f"cycles < {LONG}"],
         "cycles is compared with at most 1,000 characters"),
        (["run", "first_light", "--set", f"expect=[{{cycles={{at_most={HEX}}}}}]"],
         "expect.0.cycles.at_most: must be at most 9,223,372,036,854,775,807"),
    ],
)  # fmt: skip
def test_a_long_number_is_told_in_one_short_sentence(
    args: list[str], told: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """Wherever it stands, it is refused before anything runs, and not repeated at length."""
    said = say(capsys, *args, code=2)
    assert told in said
    assert len(said) < 400
    assert said.count("\n") == 1


def test_a_pin_that_is_a_long_number_is_no_pin() -> None:
    """From Python, too, the message is that there is no such pin."""
    recording = load_bench("first_light").run(until=50)
    with pytest.raises(KeyError, match="there is no pin 0x1000"):
        recording.edges(16**5000)  # type: ignore[arg-type]


@pytest.mark.parametrize("verb", [["report"], ["draw"]], ids=" ".join)
@pytest.mark.parametrize(
    ("name", "text", "told"),
    [
        ("a.csv", "n,duration,message\n0,1e400,\n", "row 1, duration: must be a text or a"),
        ("a.csv", "n,duration,message\n0,1,\n1,nan,\n", "row 2, duration: must be a text or a"),
        ("a.csv", f"n,duration,message\n0,{LONG},\n", "row 1, duration: must be a text or a"),
        ("a.csv", f"n,duration,message\n0,{'9' * 400},\n", "row 1, duration: must be a text or a"),
        ("a.csv", "n,duration,\0message\n0,1,\n", "its last column must be 'message'"),
        ("a.json", '[{"n": 0, "duration": 1e400, "message": null}]', "row 1, duration: must be"),
        ("a.json", "[]", "cannot be read as json"), ("a.json", "{}", "cannot be read as json"),
    ],
)  # fmt: skip
def test_a_table_with_a_number_that_is_none_is_refused(
    verb: list[str],
    name: str,
    text: str,
    told: str,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """It is not the table of a sweep: no sweep writes an infinite number, nor a table without rows."""
    (tmp_path / name).write_text(text, encoding="utf-8")
    words = [*verb, str(tmp_path / name), *(["sweep"] if verb == ["draw"] else [])]
    said = say(
        capsys, *words, "-o", str(tmp_path / ("x.html" if verb == ["report"] else "x.svg")), code=2
    )
    assert told in said
    assert said.count("\n") == 1


def test_a_table_with_control_characters_makes_a_page_without(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """What a terminal or a browser does not show is written as an escape."""
    text = "slot.levers.wait,find\x1b[31mings,findings,message\n0,a\x1bb,0,\n1,c\x9bd,2,\n"
    (tmp_path / "a.csv").write_text(text, encoding="utf-8")
    say(capsys, "report", str(tmp_path / "a.csv"), "-o", str(tmp_path / "a.html"))
    page = (tmp_path / "a.html").read_text(encoding="utf-8")
    assert not {"\x1b", "\x9b"} & {*page}
    assert r"a\x1bb" in page
    say(capsys, "draw", str(tmp_path / "a.csv"), "sweep", "-o", str(tmp_path / "a.svg"))
    ElementTree.parse(tmp_path / "a.svg")
