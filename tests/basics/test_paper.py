"""Paper: lines and tables fit the width, and every word stays."""

from __future__ import annotations

import io
from collections import Counter

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rich.cells import cell_len

from busbox.basics.paper import NARROWEST, TIED, WIDTH, Paper, width_of

pytestmark = pytest.mark.quick

WORDS = st.text(st.sampled_from("ab.é信\t"), max_size=70)
TEXTS = st.lists(WORDS, max_size=12).map(" ".join)
WIDTHS = st.integers(NARROWEST, 120)
ALIGNED = """\
  offset  name    text
  0x0     OUT     Levels of the output
                  pins.
  0x10    ENABLE  Which pins drive.
"""
UNDER = """\
  offset                  name
      text
  0x40000000..0x4000ffff  LEVERS
      Levels of the output pins.
"""
STACKED = """\
  addresses   0x40000000..0x4000ffff
    a model   tablets.py:Instrument
    measured  > 280 us
"""
FOLDED = """\
           high of a    latch
  profile  zero           gap  kept
  P1       200..500 ns   3201  yes
"""


class Terminal(io.StringIO):
    """What says that it is a terminal."""

    def isatty(self) -> bool:
        """Return True."""
        return True


def page(width: int = NARROWEST) -> Paper:
    """Return paper of a width."""
    return Paper(width=width)


def letters(text: str) -> str:
    """Return a text without its spaces."""
    return "".join(text.split())


@given(TEXTS, WIDTHS, st.integers(0, 8), st.integers(0, 8))
def test_a_line_of_any_text_fits_and_keeps_every_word(
    text: str, width: int, indent: int, hang: int
) -> None:
    """No line is wider than the paper; without its spaces, the text is the same."""
    paper = page(width)
    paper.line(" " * indent, (text, "bold"), text, hang=hang)
    assert all(cell_len(line) <= width for line in paper.text.splitlines())
    assert letters(paper.text) == letters(2 * text)


@given(
    st.integers(1, 5).flatmap(
        lambda columns: st.tuples(
            st.lists(st.lists(TEXTS, min_size=columns, max_size=columns), min_size=1, max_size=4),
            st.none() | st.just([f"column {index}" for index in range(columns)]),
            st.sets(st.integers(0, columns - 1)),
        )
    ),
    WIDTHS,
)
def test_a_table_of_any_cells_fits_and_keeps_every_letter(
    table: tuple[list[list[str]], list[str] | None, set[int]], width: int
) -> None:
    """No line is wider than the paper; names of columns may stand before each cell, none is lost."""
    rows, head, numbers = table
    paper = page(width)
    paper.table(rows, head=head, numbers=sorted(numbers))
    assert all(cell_len(line) <= width for line in paper.text.splitlines())
    cells = Counter(letters("".join("".join(row) for row in rows)))
    shown = Counter(letters(paper.text))
    assert not cells - shown
    assert set(shown - cells) <= set("column0123456789")
    if head is None:
        assert letters(paper.text) == letters("".join("".join(row) for row in rows))


def test_a_line_breaks_between_words_and_hangs() -> None:
    """Lines after the first are indented like it, and further where asked; spaces inside stay."""
    paper = page()
    paper.line("  note: the run ended at 250 ns,  before the lever was pulled", hang=2)
    assert paper.text == ("  note: the run ended at 250 ns,  before\n    the lever was pulled\n")


def test_only_a_word_longer_than_a_line_is_broken() -> None:
    """A path fills its lines; the word before it stays whole."""
    paper = page()
    paper.line("read from /" + 45 * "x" + " and more")
    assert paper.text == f"read from\n/{39 * 'x'}\n{6 * 'x'} and more\n"


def test_a_tied_space_does_not_break() -> None:
    """A name and its level stay together, with a plain space between them."""
    paper = page()
    paper.line("levels of all of the pins are out.0" + TIED + "released")
    assert paper.text == "levels of all of the pins are\nout.0 released\n"


@pytest.mark.parametrize(
    ("head", "rows", "shown"),
    [
        (
            ("offset", "name", "text"),
            [("0x0", "OUT", "Levels of the output pins."), ("0x10", "ENABLE", "Which pins drive.")],
            ALIGNED,
        ),
        (
            ("offset", "name", "text"),
            [("0x40000000..0x4000ffff", "LEVERS", "Levels of the output pins.")],
            UNDER,
        ),
        (
            ("addresses", "a model", "measured"),
            [("0x40000000..0x4000ffff", "tablets.py:Instrument", "> 280 us")],
            STACKED,
        ),
    ],
)
def test_a_table_gives_way_step_by_step(
    head: tuple[str, ...], rows: list[tuple[str, ...]], shown: str
) -> None:
    """The last column wraps, then stands under its row; then cells stand under each other, named."""
    paper = page()
    paper.table(rows, head=head)
    assert paper.text == shown


def test_names_of_columns_wrap_before_cells_move() -> None:
    """A head wider than its cells takes several lines; numbers stand to the right."""
    paper = page()
    paper.table(
        [("P1", "200..500 ns", 3201, "yes")],
        head=("profile", "high of a zero", "latch gap", "kept"),
        numbers=(2,),
    )
    assert paper.text == FOLDED


def test_texts_of_users_are_no_mark_up_and_no_control_codes() -> None:
    """Brackets print as they are, also in colours; an escape code is shown, not sent."""
    text = "[bold]lamp[/bold] :bell: \x1b[31m"
    shown = "[bold]lamp[/bold] :bell: \\x1b[31m\n"
    file = Terminal()
    for paper in (Paper(colours=False), Paper(colours=True)):
        paper.line((text, ""))
        paper.print(file)
    assert file.getvalue() == 2 * shown


def test_the_width_is_the_terminals_and_80_elsewhere(monkeypatch: pytest.MonkeyPatch) -> None:
    """COLUMNS goes before both; what is no number or 0 does not count; 40 is the least."""
    monkeypatch.delenv("COLUMNS", raising=False)
    assert width_of(io.StringIO()) == WIDTH == 80
    for given_, expected in (("60", 60), ("200", 200), ("1", 40), ("0", 80), ("x", 80), ("", 80)):
        monkeypatch.setenv("COLUMNS", given_)
        assert width_of(io.StringIO()) == expected
    monkeypatch.setenv("COLUMNS", "60")
    assert width_of(Terminal()) == 60


def test_prose_is_never_wider_than_100_columns() -> None:
    """A wide terminal gets lines that can be read; a table may need more for its columns."""
    wide = page(200)
    wide.line("word " * 50)
    wide.table([(90 * "x", "word " * 50)])
    lines = wide.text.splitlines()
    assert max(map(len, lines[:3])) <= 100
    assert 100 < max(map(len, lines[3:])) <= 2 + 90 + 2 + 20


def test_a_number_and_its_unit_stay_together() -> None:
    """A line does not break between them; a word that only begins like a unit is no unit."""
    paper = page()
    paper.line("the mean of the worst of its margins: 80 ns (1.28 clocks)")
    paper.line("the mean of the worst of its margins: 80 nsec (1.28)")
    assert paper.text == (
        "the mean of the worst of its margins:\n80 ns (1.28 clocks)\n"
        "the mean of the worst of its margins: 80\nnsec (1.28)\n"
    )
    paper = page()
    paper.line(37 * "1" + " MiB and more")
    assert paper.text == 37 * "1" + "\nMiB and more\n"
