"""Accesses that are read many at once, against the same file read row by row."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

import busbox.cpu.player
from busbox import load_bench
from busbox.basics.errors import InputError
from busbox.cpu.listed import ListedSource
from busbox.cpu.steps import AccessStep
from busbox.cpu.table import AccessTable, steps_of
from busbox.explain.difference import first_difference
from busbox.formats import csv as columns
from busbox.formats.csv import HEADER, _read_rows, read_csv

CELLS = (
    st.sampled_from(("0", "12", "0x1f", " 3 ", '"4"', "-1", "1_000", "", "0b101")),
    st.sampled_from(("read", "write", " write", "wirte")),
    st.sampled_from(("0x40000000", "0x40000004", "64", "0x41", "")),
    st.sampled_from(("0x12", "7", "", "0xffffffff", "0x100000000")),
    st.sampled_from(("1111", "0001", "0000", "111", "0011 ")),
    st.sampled_from(("0x80", "", "9")),
)
#: Mostly rows that are right: (read) 12, read, 0x40000000, (nothing), 1111, 0x80.
RIGHT = st.sampled_from(
    ("12,read,0x40000000,,1111,0x80", "0,write,0x40000004,0x7,0001,", "3,read,64,0x12,1111,9")
)
ROW = st.one_of(
    RIGHT, RIGHT, RIGHT, RIGHT, st.tuples(*CELLS).map(",".join), st.sampled_from(("", "1,read"))
)


def outcome(pieces: object) -> list[tuple[AccessStep, int | None]] | str:
    """Return the steps with their lines, or what was refused."""
    try:
        return [(step, step.line) for step in steps_of(pieces)]  # type: ignore[arg-type, union-attr, misc]
    except InputError as error:
        return str(error)


@given(rows=st.lists(ROW, max_size=14), at_once=st.integers(1, 5))
def test_rows_read_many_at_once_are_the_same_steps(rows: list[str], at_once: int) -> None:
    """Steps, their lines, and every message are those of reading row by row."""
    header = [*HEADER, "pc"]
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(columns, "ROWS", at_once)
        patch.setattr(columns, "REMEMBERED", 2)
        fast = outcome(read_csv([",".join(header), *rows], "evening.csv"))
    assert fast == outcome(_read_rows(rows, header, ",", "evening.csv", 1))


def test_a_table_is_used_where_rows_are_plain() -> None:
    """A file without anything unusual comes as tables; from the first unusual row on, as steps."""
    plain = "0,read,0x40000000,,1111"
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(columns, "ROWS", 2)
        pieces = list(read_csv([",".join(HEADER), plain, plain, plain, "", plain], "x"))
    assert [type(one) for one in pieces] == [AccessTable, AccessStep, AccessStep]


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
