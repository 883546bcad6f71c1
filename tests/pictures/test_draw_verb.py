"""``busbox draw``."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from busbox.cli import main
from tests.pictures.geometry import check_geometry, parsed, words

pytestmark = pytest.mark.quick


def _says(capsys: pytest.CaptureFixture[str], *given: str) -> tuple[int, str, str]:
    with pytest.raises(SystemExit) as ended:
        main(["draw", *given])
    seen = capsys.readouterr()
    return int(ended.value.code or 0), seen.out, seen.err


def test_a_picture_goes_to_standard_output_or_a_file(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    """Both get the same bytes."""
    code, out, err = _says(capsys, "first_light", "map", "--dark")
    assert (code, err) == (0, "")
    check_geometry(out)
    file = tmp_path / "map.svg"
    assert _says(capsys, "first_light", "map", "--dark", "-o", str(file)) == (0, "", "")
    assert file.read_text(encoding="utf-8") == out


MISTAKES = {
    "mop": "there is no picture 'mop'; did you mean 'map'?",
    "map 3": "must be 'map', not 'map 3'",
    "decode": "must be 'decode ADDRESS', not 'decode'",
    "decode 4400000c": "an address must be a number such as 12 or 0x0c, not '4400000c'; did you mean",
    "decode 44000000": "an address must say how it is read, not '44000000': write 0x44000000 for ",
    "access 44000000": "from 0; an address is drawn by 'decode ADDRESS'",
    "access 9999": "there is no access 9,999: there are ",
    "access first": "access: must be a number such as 12 or 0x0c, not 'first'",
    "pulse 0 strang": "there is no string of lamps 'strang'; did you mean 'string'? (known: string)",
    "lamps paper": "there is no string of lamps 'paper' (known: string)",
    "lamps a b": "must be 'lamps [NAME]', not 'lamps a b'",
    "pulse": "must be 'pulse N [NAME]', not 'pulse'",
    "pulse 100000": "there is no pulse 100,000: there are ",
    "pins 3": "pins: must be FROM..TO such as 1ms..2ms, not '3'",
    "pins a..b": "pins: a time must be a number with s, ms, us, ns or ps, or whole cycles, not 'a'",
    "pins 9..9": "pins: must be two times in order, up to the end of the run in cycle 6,864",
    "pins 0..6865": "pins: must be two times in order, up to the end of the run in cycle 6,864",
    "map --width 339": "--width: must be 340 to 10000 pixels, not 339",
    "map --width wide": "--width: must be a number such as 12 or 0x0c, not 'wide'",
    "map -o map.png": "-o: must end in .svg, not 'map.png'",
    "map -o nowhere/map.svg": "-o: there is no folder 'nowhere'",
}


@pytest.mark.parametrize("given", MISTAKES)
def test_a_mistake_is_one_message(capsys: pytest.CaptureFixture[str], given: str) -> None:
    """Exit code 2, one line on standard error, nothing written."""
    code, out, err = _says(capsys, "first_light", *given.split())
    assert (code, out) == (2, "")
    assert MISTAKES[given] in err.replace("10,000", "10000")
    assert err.count("\n") == 1


def test_changes_of_the_bench_are_drawn(capsys: pytest.CaptureFixture[str]) -> None:
    """``--set`` moves a slot in the picture."""
    _, out, _ = _says(capsys, "first_light", "map", "--set", "slot.lamps.base=0x45000000")
    assert "0x45000000.." in words(out)


def test_a_width_that_is_too_small_is_refused(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    """The message names the width that the picture needs, and at that width it is drawn."""
    name = "signal_box_of_the_northern_junction_with_levers"
    table = f'clock = "1 MHz"\n[slot.{name}]\nmodel = "gpio"\nbase = 0x1000\nsize = 0x1000\n'
    (tmp_path / "bench.toml").write_text(table, encoding="utf-8")
    code, out, err = _says(capsys, str(tmp_path), "map", "--width", "340")
    assert (code, out) == (2, "")
    found = re.fullmatch(
        r"busbox: --width: must be at least (\d+) pixels for this picture, not 340\n", err
    )
    assert found is not None
    code, out, _ = _says(capsys, str(tmp_path), "map", "--width", found[1])
    assert code == 0
    check_geometry(out)
    assert parsed(out).attrib["width"] == found[1]


SECOND = (
    "--set", "attach.other.kind=lamp_string", "--set", "attach.other.pin=lamps.line",
    "--set", "attach.other.count=8", "--set", "attach.other.profile=P3",
)  # fmt: skip


@pytest.mark.parametrize("picture", ["lamps", "pulse 3"])
def test_a_string_of_several_is_named(capsys: pytest.CaptureFixture[str], picture: str) -> None:
    """With one string no name is needed; with two, the name says which is drawn."""
    words_ = picture.split()
    plain = _says(capsys, "first_light", *words_)
    assert plain == _says(capsys, "first_light", *words_, "string")
    assert plain[:2] == _says(capsys, "first_light", *words_, "string", *SECOND)[:2]
    code, out, err = _says(capsys, "first_light", *words_, *SECOND)
    assert (code, out) == (2, "")
    said = "the bench has 2 strings of lamps, string and other: name one, as in "
    assert said + picture.replace("3", "N") + " string" in err
    other = _says(capsys, "first_light", *words_, "other", *SECOND)
    assert other[0] == 0
    assert other[1] != plain[1]
