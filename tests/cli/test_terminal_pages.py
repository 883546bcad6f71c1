"""Pages on a terminal: a pseudo-terminal of 80 and of 40 columns, with colours and without."""

from __future__ import annotations

import io
import os
import re
import subprocess
import sys
from collections import Counter
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from rich.cells import cell_len

from busbox import load_bench
from busbox.basics.paper import Paper, shows_colours
from busbox.cli import common
from busbox.cli.common import time_left
from busbox.cli.map_drawing import write_drawing
from busbox.exports.use_strip import BLOCKS, PLAIN, busy_in, write_strip
from busbox.map.slots import AddressMap, Slot
from busbox.recording import COLUMNS, Accesses, Recording
from tests.cli.saying import say

posix = pytest.mark.skipif(os.name != "posix", reason="needs terminals of POSIX")
#: What sets colours (ECMA-48, 8.3.117: select graphic rendition).
COLOUR = re.compile(r"\x1b\[[0-9;]*m")
KEPT = ("PATH", "HOME", "BUSBOX_CACHE", "SYSTEMROOT", "TMPDIR")


def on_terminal(width: int, *words: str, **environment: str) -> str:
    """Return what ``busbox WORDS`` prints on a terminal so many columns wide."""
    import fcntl
    import struct
    import termios

    master, slave = os.openpty()
    fcntl.ioctl(slave, termios.TIOCSWINSZ, struct.pack("HHHH", 24, width, 0, 0))
    kept = {name: os.environ[name] for name in KEPT if name in os.environ}
    given = {"TERM": "xterm-256color", "PYTHONUTF8": "1"} | kept | environment
    command = [sys.executable, "-m", "busbox", *words]
    with subprocess.Popen(command, stdout=slave, stderr=subprocess.DEVNULL, env=given) as process:
        os.close(slave)
        parts = []
        try:
            while part := os.read(master, 1 << 16):
                parts.append(part)
        except OSError:  # Linux says so where the other side is closed
            pass
        assert process.wait(60) == 0
    os.close(master)
    return b"".join(parts).decode().replace("\r\n", "\n")


@posix
@pytest.mark.parametrize("width", [80, 40])
def test_a_run_fits_the_terminal_and_begins_with_the_verdict(width: int) -> None:
    """No line is wider, no word is lost, the first lines are how it ended and what was found."""
    page = on_terminal(width, "run", "first_light")
    assert "\x1b" not in COLOUR.sub("", page)
    text = COLOUR.sub("", page)
    lines = text.splitlines()
    assert [line for line in lines if cell_len(line) > width] == []
    assert lines[0].startswith("first_light: done after 429 us")
    assert lines.index("Findings: none") <= 3
    assert "\x1b[1m" in page  # bold
    assert re.search(r"\x1b\[[0-9;]*48;5;[0-9]+m400000", page)  # a swatch of 256 colours
    assert any(set(line.strip()) <= set(BLOCKS) and len(line.strip()) == 32 for line in lines)
    wide = COLOUR.sub("", on_terminal(200, "run", "first_light"))
    assert Counter(wide.split()) - Counter(text.split()) == Counter()


@posix
@pytest.mark.parametrize("width", [80, 40])
@pytest.mark.parametrize("plain", [{"NO_COLOR": "1"}, {"TERM": "dumb"}])
def test_whoever_wants_plain_text_gets_it(width: int, plain: dict[str, str]) -> None:
    """With NO_COLOR, or on a dumb terminal, there is no escape and nothing beyond ASCII."""
    for words in (("run", "first_light"), ("map", "first_light")):
        page = on_terminal(width, *words, **plain)
        assert page.isascii()
        assert "\x1b" not in page
        assert [line for line in page.splitlines() if len(line) > width] == []


@posix
def test_a_map_is_drawn_with_what_the_terminal_has() -> None:
    """Slots are blocks on a terminal of UTF-8."""
    page = COLOUR.sub("", on_terminal(40, "map", "first_light"))
    assert "  0x44000000  |██|  lamps, 4 KiB\n" in page
    assert [line for line in page.splitlines() if cell_len(line) > 40] == []


def test_an_empty_wish_for_no_colours_is_none(monkeypatch: pytest.MonkeyPatch) -> None:
    """NO_COLOR counts if it is not empty (no-color.org); a file that is no terminal has no colours."""

    class Terminal:
        def isatty(self) -> bool:
            return True

    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.setenv("NO_COLOR", "")
    assert shows_colours(Terminal())  # type: ignore[arg-type]
    monkeypatch.setenv("NO_COLOR", "0")
    assert not shows_colours(Terminal())  # type: ignore[arg-type]
    monkeypatch.delenv("NO_COLOR")
    with open(os.devnull, encoding="utf-8") as file:
        assert not shows_colours(file)


@st.composite
def recordings(draw: st.DrawFn) -> Recording:
    """Draw accesses, one after another, in a run of up to 200 cycles."""
    rows, cycle = [], draw(st.integers(0, 20))
    for length, idle in draw(
        st.lists(st.tuples(st.integers(1, 9), st.integers(0, 30)), max_size=9)
    ):
        rows.append((cycle, cycle + length - 1))
        cycle += length + idle
    columns = {name: np.zeros(len(rows), dtype=kind) for name, kind in COLUMNS.items()
               if name not in ("start", "end")}  # fmt: skip
    columns |= {
        name: np.array([row[at] for row in rows], dtype="i8")
        for at, name in enumerate(("start", "end"))
    }
    return replace(EMPTY, cycles=cycle + draw(st.integers(1, 9)), accesses=Accesses(columns))


EMPTY = load_bench("first_light").run("python", until=1)


@given(recording=recordings(), cells=st.integers(1, 40))
def test_the_use_of_the_bus_is_counted_cycle_by_cycle(recording: Recording, cells: int) -> None:
    """Each stretch has as many busy cycles as are found by looking at every cycle."""
    cycles = recording.cycles
    spans = zip(recording.accesses.start.tolist(), recording.accesses.end.tolist(), strict=True)
    up = {cycle for start, end in spans for cycle in range(start, end + 1)}
    lengths, busy = busy_in(recording, cells)
    edges = [number * cycles // cells for number in range(cells + 1)]
    stretches = [range(first, end) for first, end in pairwise(edges)]
    assert lengths.tolist() == [len(one) for one in stretches]
    assert busy.tolist() == [sum(cycle in up for cycle in one) for one in stretches]


def test_a_strip_shows_none_little_and_all() -> None:
    """A stretch without an access, one below a tenth, one from a tenth on, and a full one differ."""
    columns = {name: np.zeros(4, dtype=kind) for name, kind in COLUMNS.items()}
    columns["start"] = np.array([20, 40, 60, 320])
    columns["end"] = np.array([20, 41, 75, 639])
    recording = replace(EMPTY, cycles=640, accesses=Accesses(columns))
    page = Paper()
    write_strip(recording, page)
    strip = page.text.splitlines()[0].strip()
    assert (strip[0], strip[1], strip[2], strip[3], strip[31]) == (".", "0", "1", "8", "9")
    assert len(PLAIN) == 11


def test_a_map_is_drawn_whole() -> None:
    """Slots, images and gaps follow each other from the first address to the last, each once."""
    levers = Slot("levers", 0x4000_0000, 0x1000, "compare", frozenset(range(14, 32)))
    page = Paper()
    write_drawing(AddressMap([levers, Slot("lamps", 0x4000_4000, 0x1000)]), page)
    title, *drawn = page.text.splitlines()
    assert title == "Address space from 0 upwards (larger parts are higher; not to scale)"
    assert drawn == [
        "  0x00000000  |  |  1 GiB, nothing answers",
        "              |  |",
        "              |  |",
        "  0x40000000  |##|  levers, 4 KiB",
        "  0x40001000  |//|  levers, 12 KiB: 3 images",
        "  0x40004000  |##|  lamps, 4 KiB",
        "  0x40005000  |  |  3,145,708 KiB, nothing answers",
        "              |  |",
        "              |  |",
    ]


def test_maps_that_a_drawing_would_not_show_exactly_are_not_drawn() -> None:
    """Overlaps and very many images are said in a sentence."""
    page = Paper()
    write_drawing(AddressMap([Slot("a", 0, 0x1000), Slot("b", 0, 0x100, yields_to=("a",))]), page)
    assert "not drawn: slots overlap" in page.text
    page = Paper()
    write_drawing(AddressMap([Slot("a", 0, 4, "compare", frozenset({31}))]), page)
    assert "not drawn: it has more than 40 parts" in page.text


@pytest.mark.parametrize(
    ("spent", "share", "text"),
    [(1.0, 0.5, ""), (3.0, None, ""), (3.0, 0.5, ", 3 s left"), (300.0, 0.25, ", 15 min left")],
)
def test_the_time_left_follows_from_what_is_done(
    spent: float, share: float | None, text: str
) -> None:
    """It is told once there is something to go by, in seconds or minutes."""
    assert time_left(spent, share) == text


def test_progress_is_one_line_after_a_second(monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing is written in the first second; then one line, which is wiped at the end."""

    class Terminal(io.StringIO):
        def isatty(self) -> bool:
            return True

    now = [10.0]
    monkeypatch.setenv("COLUMNS", "40")
    monkeypatch.setenv("TERM", "xterm-256color")
    monkeypatch.setattr(common.time, "monotonic", lambda: now[0])
    monkeypatch.setattr(sys, "stderr", terminal := Terminal())
    with common.shown_progress(False) as show:
        assert show is not None
        show(1_000, 0.1)
        now[0] = 10.9
        show(2_000, 0.2)
        assert terminal.getvalue() == ""
        now[0] = 20.0
        show(5_000, 0.5)
    text = COLOUR.sub("", terminal.getvalue())
    assert "cycle 5,000, 10 s left" in text
    lines = re.split(r"[\r\n]|\x1b\[[0-9]*[A-Za-z]|\x1b\[\?25[lh]", text)
    assert max(map(cell_len, lines)) <= 40
    assert text.count("\n") <= 1
    assert text.rindex("\x1b[2K") > text.rindex("left")


def test_a_page_for_a_pipe_is_plain(capsys: pytest.CaptureFixture[str]) -> None:
    """What is no terminal gets ASCII without escapes."""
    assert say(capsys, "map", "first_light").isascii()
