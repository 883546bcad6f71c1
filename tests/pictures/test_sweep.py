"""The picture of a sweep."""

from __future__ import annotations

from collections import Counter
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from busbox.cli import main
from busbox.pictures import Look, TooNarrow, fitted, sweep_picture
from busbox.pictures.palette import colour
from busbox.pictures.sweep import MOST_VARIANTS
from busbox.variants.sweep import sweep
from busbox.variants.tables import SweepTable
from tests.pictures.geometry import SVG, check_geometry, parsed, words

pytestmark = pytest.mark.quick

COLUMNS = ("clock", "slot.lamps.wait", "findings", "met", "expectations", "certain_until", "rules",
           "message")  # fmt: skip


def _row(clock: str, wait: int, findings: int = 0, **more: Any) -> dict[str, Any]:
    row = {"clock": clock, "slot.lamps.wait": wait, "findings": findings, "met": 1, "expectations": 1,
           "certain_until": None, "rules": f"baud-error {findings}" if findings else "",
           "message": None}  # fmt: skip
    return row | more


def _table(*rows: dict[str, Any]) -> SweepTable:
    return SweepTable(COLUMNS, rows)


def _cells(svg: str, dark: bool = False) -> Counter[str]:
    """Return how many areas there are of each colour, without those of the legend and the paper."""
    fills = {colour("blue", dark): "blue", "none": "grey"}
    fills |= {f"url(#{name}-{('light', 'dark')[dark]})": kind
              for name, kind in (("hatched", "orange"), ("dotted", "purple"))}  # fmt: skip
    counts: Counter[str] = Counter()
    for area in parsed(svg).iter(f"{SVG}rect"):
        if area.attrib["fill"] in fills and area.attrib["height"] != "11":
            counts[fills[area.attrib["fill"]]] += 1
    return counts


@pytest.mark.parametrize("dark", [False, True])
def test_a_cell_says_how_a_variant_went(dark: bool) -> None:
    """Well, with findings, an expectation not met, not certain, not run: each has its colour."""
    table = _table(
        _row("8 MHz", 0), _row("8 MHz", 1, 12), _row("16 MHz", 0, met=0),
        _row("16 MHz", 1, certain_until=0.5), _row("20 MHz", 0, message="too fast\nby far"),
    )  # fmt: skip
    picture = sweep_picture(table, COLUMNS[:2], Look(dark=dark))
    check_geometry(picture)
    assert picture == sweep_picture(table, COLUMNS[:2], Look(dark=dark))
    assert _cells(picture, dark) == {"blue": 1, "orange": 2, "purple": 1, "grey": 1}
    said = words(picture)
    for text in ("5 variants, 1 well", "To the right: clock. Down: slot.lamps.wait.", " 12 ",
                 "baud-error: in 1 of 5 variants.", "not run, 1 of 5 variants: too fast"):  # fmt: skip
        assert text in said


@settings(max_examples=30, deadline=None)
@given(st.integers(1, 130), st.integers(1, 4), st.integers(340, 1200))
def test_every_variant_is_a_cell(clocks: int, waits: int, width: int) -> None:
    """However many there are, none is left out, and nothing is outside or on another text."""
    rows = [_row(f"{n} MHz", wait, n % 3) for n in range(clocks) for wait in range(waits)]
    picture = sweep_picture(_table(*rows), COLUMNS[:2], Look(width))
    check_geometry(picture)
    assert _cells(picture).total() == len(rows)


def test_the_picture_is_that_of_the_sweep() -> None:
    """Numbers in the cells are the findings of a real sweep, in the order of its values."""
    found = sweep("first_light", {"clock": "12MHz..20MHz/4MHz"}, ["findings", "rules"])
    picture = sweep_picture(found, ["clock"], Look())
    cells = words(picture).partition(" no findings ")[0].rpartition(" MHz ")[2]
    numbers = [int(one) for one in cells.split()]
    assert numbers == [count for count in found.column("findings").tolist() if count]
    assert "all expectations met" not in words(picture)


def test_what_cannot_be_drawn_is_refused() -> None:
    """No variant, too many, no findings, no key, a text too long for the sheet."""
    row = _row("8 MHz", 0)
    for table, keys, said in (
        (_table(), COLUMNS[:2], "variants must be 1 to 10,000, not 0"),
        (_table(*[row] * (MOST_VARIANTS + 1)), COLUMNS[:2], "not 10,001"),
        (SweepTable(("clock", "message"), (row,)), COLUMNS[:1], "measures must have findings"),
        (_table(row), (), "keys must be at least one"),
    ):
        with pytest.raises(ValueError, match=said):
            sweep_picture(table, keys, Look())
    wide = _table(_row("8 MHz", 0), _row("9 MHz", 0, **{"slot.lamps.wait": "w" * 80}))
    with pytest.raises(TooNarrow):
        sweep_picture(wide, COLUMNS[:2], Look(480))
    check_geometry(fitted(lambda look: sweep_picture(wide, COLUMNS[:2], look), Look(480)))


def _exits(capsys: pytest.CaptureFixture[str], *given: str) -> tuple[int, str, str]:
    with pytest.raises(SystemExit) as ended:
        main([*given])
    seen = capsys.readouterr()
    return int(ended.value.code or 0), seen.out, seen.err


def test_a_table_is_drawn(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """The file that ``busbox sweep`` writes gives the picture that the sweep itself gives."""
    file = str(tmp_path / "table.csv")
    vary = "slot.lamps.wait=0,2"
    assert _exits(capsys, "sweep", "first_light", "--vary", vary, "-o", file)[0] == 0
    code, drawn, err = _exits(capsys, "draw", file, "sweep")
    assert (code, err) == (0, "")
    found = sweep("first_light", [vary])
    assert drawn == sweep_picture(found, ["slot.lamps.wait"], Look())


@pytest.mark.parametrize(
    ("given", "said"),
    [
        (("first_light", "sweep"), "the bench has no [sweep] vary; name the table"),
        (("nowhere.csv", "sweep"), "nowhere.csv: cannot be read"),
        (("nowhere.csv", "sweep", "--set", "clock=1MHz"), "cannot be used with the table of a sweep"),
    ],
)  # fmt: skip
def test_a_mistake_is_one_message(
    capsys: pytest.CaptureFixture[str], given: tuple[str, ...], said: str
) -> None:
    """Exit code 2, one line on standard error."""
    code, out, err = _exits(capsys, "draw", *given)
    assert (code, out) == (2, "")
    assert said in err
    assert err.count("\n") == 1


def test_the_sweep_of_a_bench_is_drawn(capsys: pytest.CaptureFixture[str]) -> None:
    """A bench that says what is varied needs no table."""
    vary = "sweep.vary={ clock = '15MHz..16MHz/1MHz' }"
    code, drawn, _ = _exits(capsys, "draw", "first_light", "sweep", "--set", vary)
    assert code == 0
    assert "Sweep: 2 variants, 1 well" in words(drawn)
