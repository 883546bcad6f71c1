"""Accesses that are read many at once, against the same file read row by row."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Iterator
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import busbox.cpu.player
from busbox import load_bench
from busbox.basics.errors import InputError, Mistake, limited
from busbox.cpu.listed import ListedSource
from busbox.cpu.steps import AccessStep, Step
from busbox.cpu.table import AccessTable, steps_of
from busbox.explain.difference import first_difference
from busbox.formats import csv as reader
from busbox.formats import csv_plain
from busbox.formats.csv import HEADER, read_csv
from busbox.formats.csv_rows import COLUMNS as ALL_COLUMNS
from busbox.formats.csv_rows import step_of

CELLS = (
    st.sampled_from(("0", "12", "0x1f", " 3 ", '"4"', "-1", "1_000", "", "0b101", "0x", "007",
                     "4294967296")),
    st.sampled_from(("read", "write", " write", "wirte", "mark", "pause")),
    st.sampled_from(("0x40000000", "0x40000004", "64", "0x41", "", "0X40", "levers.OUT",
                     "0x100000000")),
    st.sampled_from(("0x12", "7", "", "0xffffffff", "0xFfFf", "4294967295", "4294967296",
                     "0xg", "1a", "x12")),
    st.sampled_from(("1111", "0001", "0000", "111", "0011 ", "1211", "11111", "")),
    st.sampled_from(("0x80", "", "9", "-", "0x1_0")),
    st.sampled_from(("", "", "", "evening", '"a,b"', '"a\nb"', '"', "\u00e9")),
)  # fmt: skip
#: Mostly rows that are right: (read) 12, read, 0x40000000, (nothing), 1111, 0x80, (nothing).
RIGHT = st.sampled_from(
    ("12,read,0x40000000,,1111,0x80,", "0,write,0x40000004,0x7,0001,,", "3,read,64,0x12,1111,9,")
)
ROW = st.one_of(
    RIGHT, RIGHT, RIGHT, RIGHT, st.tuples(*CELLS).map(",".join),
    st.sampled_from(("", "1,read", ",,,,,,", ",mark,,,,,Lamps", "\r", "\x1c")),
)  # fmt: skip
COLUMNS = [*HEADER, "pc", "text"]
Outcome = list[tuple[Step, int | None]] | str


def outcome(pieces: Iterable[Step | AccessTable]) -> Outcome:
    """Return the steps with their lines, or what was refused."""
    try:
        return [(step, getattr(step, "line", None)) for step in steps_of(pieces)]
    except InputError as error:
        return str(error)


def naive(text: bytes, header: list[str] = COLUMNS) -> Iterator[Step]:
    """Read row by row, with nothing but the reader of one row."""
    lines = [line.decode() for line in text.splitlines()]
    rows, mistakes = csv.reader(lines[1:]), []
    for row in rows:
        cells = [cell.strip() for cell in row]
        try:
            if any(cells) and len(cells) != len(header):
                names = ", ".join(header)
                raise ValueError(f"a row must have {len(header)} cells ({names}), not {len(cells)}")
            if any(cells):
                given = dict(zip(header, cells, strict=True))
                step = step_of(dict.fromkeys(ALL_COLUMNS, "") | given, rows.line_num + 1)
                if not mistakes:
                    yield step
        except ValueError as error:
            mistakes.append(Mistake(str(error), "evening.csv", rows.line_num + 1))
    if mistakes:
        raise InputError(limited(mistakes, "evening.csv"))


def read(text: bytes) -> Outcome:
    """Read as traffic is read."""
    return outcome(read_csv(io.BytesIO(text), "evening.csv"))


@settings(max_examples=400)
@given(
    rows=st.lists(ROW, max_size=14),
    block=st.integers(1, 200),
    worth=st.integers(1, 4),
    end=st.sampled_from(("\n", "\r\n", "\r")),
    ended=st.booleans(),
)
def test_rows_read_many_at_once_are_the_same_steps(
    rows: list[str], block: int, worth: int, end: str, ended: bool
) -> None:
    """Steps, their lines, and every message are those of reading row by row."""
    text = (end.join([",".join(COLUMNS), *rows]) + end * ended).encode()
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(reader, "BLOCK", block)
        patch.setattr(csv_plain, "WORTH", worth)
        fast = read(text)
    assert fast == outcome(naive(text))


@given(
    st.lists(
        st.tuples(
            st.integers(0, 0xFFFF_FFFF), st.booleans(), st.integers(0, 0x3FFF_FFFF),
            st.none() | st.integers(0, 0xFFFF_FFFF), st.integers(0, 15),
            st.none() | st.integers(0, 0xFFFF_FFFF),
            st.sampled_from(("", "#x", "#010x", "#X")),
        ),
        min_size=1,
    )
)  # fmt: skip
def test_every_plain_number_has_its_value(rows: list[tuple[Any, ...]]) -> None:
    """Decimal, hexadecimal, with and without leading zeros: a row is the step that it was made of."""
    lines, steps = [",".join([*HEADER, "pc"])], []
    for line, (wait, write, place, data, lanes, pc, form) in enumerate(rows, start=2):
        data = 0 if write and data is None else data
        shown = ["" if one is None else format(one, form) for one in (data, pc)]
        op = "write" if write else "read"
        lines.append(f"{wait},{op},{4 * place:{form}},{shown[0]},{lanes:04b},{shown[1]}")
        steps.append((AccessStep(write, 4 * place, data, lanes, wait, pc, line), line))
    assert read("\n".join(lines).encode()) == steps


PLAIN = "0,read,0x40000000,,1111"
#: Rows in the middle of a long file, and what is said of them.
SPOILED = {
    b"0,raed,0x40000000,,1111": "op must be read, write, poll, until, pause, mark, await or reset, "
    "not 'raed'; did you mean 'read'?",
    b"0,read,0x40000000,1111": "a row must have 5 cells (wait, op, address, data, lanes), not 4",
    b"0,write,0x40000000,,1111": "a write needs data; only the data of a read may be empty",
    b"0,read,0x40000000,0x100000000,1111": "data must be at most 0xffffffff, not '0x100000000'",
    b"0,read,40G,,1111": "an address must be a number such as 12 or 0x0c, not '40G'",
    b"0,read,0x40000000,,1121": "lanes must be four binary digits, SEL(3) first, "
    "such as 0001, not '1121'",
    b"0,read,0x4000\xff000,,1111": "must be UTF-8 text, not byte 0xff",
    b'"' + 140_000 * b"4" + b'",read,0x40000000,,1111': "a cell is too long",
}  # fmt: skip


@pytest.mark.parametrize("row", SPOILED, ids=lambda row: row[:26].decode("latin-1"))
def test_a_spoiled_row_in_the_middle_of_a_long_file_is_told(row: bytes) -> None:
    """A mistake has its line and its message, and so has one that follows far behind."""
    rows = [",".join(HEADER).encode(), *[PLAIN.encode()] * 60_000]
    rows[41_233] = row
    told = f"evening.csv:41234: {SPOILED[row]}"
    assert len(b"\n".join(rows[:41_233])) > reader.BLOCK
    assert read(b"\n".join(rows)) == told
    rows[59_000] = b"x"
    second = "evening.csv:59001: a row must have 5 cells (wait, op, address, data, lanes), not 1"
    alone = b"\xff" in row  # what is no text ends the reading
    assert read(b"\n".join(rows)) == (told if alone else f"{told}\n{second}")


def test_a_table_is_used_where_rows_are_plain() -> None:
    """Plain rows in succession come as tables, before and behind a row that is not plain."""
    rows = [
        ",".join(HEADER),
        *[PLAIN] * 20,
        "0,read,0x4000_0000,,1111",
        *[PLAIN] * 9,
        " ,,,,",
        PLAIN,
    ]
    pieces = list(read_csv(io.BytesIO("\n".join(rows).encode()), "x"))
    assert [type(one) for one in pieces] == [AccessTable, AccessStep, AccessTable, AccessStep]
    assert [len(one) for one in pieces if isinstance(one, AccessTable)] == [20, 9]
    assert [step.line for step in steps_of(pieces)] == [*range(2, 32), 33]  # type: ignore[union-attr]


@pytest.mark.parametrize("engine", ["reference", "python", "llvm"])
def test_a_run_from_tables_is_a_run_from_steps(engine: str) -> None:
    """Commands made of a table record the same as commands made of its steps."""
    system = load_bench("signal_cabin_recorded").system()
    source = system.new_source()
    assert isinstance(source, ListedSource)
    table = next(source.pieces())
    assert isinstance(table, AccessTable)
    recordings = []
    for pieces in ([table], list(table.steps())):
        bench = load_bench("signal_cabin_recorded")
        recordings.append(bench.run(engine, 6_000, traffic=ListedSource(lambda p=pieces: p)))
    assert first_difference(*recordings) is None
    assert len(recordings[0].accesses) > 400
    assert len(table) >= busbox.cpu.player.AHEAD
