"""The table of a sweep, read back from its file."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from busbox.basics.errors import InputError, format_value, join_or, nearest
from busbox.basics.files import read_file
from busbox.basics.limits import TABLE
from busbox.basics.listing import printable
from busbox.variants.keeping import MESSAGE, SUFFIXES, Row, parquet_library
from busbox.variants.measures import is_cell


@dataclass(frozen=True)
class SweepTable:
    """A sweep as its file has it.

    Attributes
    ----------
    columns : names: keys, measures, ``message``
    rows : one a variant; None where a variant has no value; CSV has numbers, other values as text
    """

    columns: tuple[str, ...]
    rows: tuple[Row, ...]


def read_table(file: Path) -> SweepTable:
    """Return the table in a file that a sweep has written.

    Raises
    ------
    InputError : the file cannot be read, or is not the table of a sweep
    """
    if file.suffix not in SUFFIXES:
        text = f"must end in {join_or(SUFFIXES)}, not {file.name!r}{nearest(file.suffix, SUFFIXES)}"
        raise InputError.of(text)
    contents = read_file(file, TABLE)
    read = {".csv": _csv, ".json": _json, ".parquet": _parquet}[file.suffix]
    try:
        columns, rows = read(contents)
    except InputError:
        raise
    except Exception:
        raise InputError.of(
            f"must be a table that busbox sweep wrote, and cannot be read as {file.suffix[1:]}",
            str(file),
        ) from None
    for number, row in enumerate(rows, 1):
        for name, value in row.items():
            if not is_cell(value):
                text = f"row {number:,}, {name}: must be a text or a finite number, not "
                raise InputError.of(f"{text}{format_value(value)}", str(file))
    columns = [printable(name) for name in columns]
    rows = [
        {
            printable(name): printable(value) if isinstance(value, str) else value
            for name, value in row.items()
        }
        for row in rows
    ]
    if not columns or columns[-1] != MESSAGE:
        text = f"is not the table of a sweep: its last column must be {MESSAGE!r}"
        raise InputError.of(text, str(file))
    return SweepTable(tuple(columns), tuple(rows))


def _csv(contents: bytes) -> tuple[Sequence[str], list[Row]]:
    lines = list(csv.reader(io.StringIO(contents.decode("utf-8-sig"), newline=""), strict=True))
    columns, *rows = lines
    return columns, [
        dict(zip(columns, map(_number, cells), strict=True)) for cells in rows if cells
    ]


def _number(text: str) -> Any:
    """Return a cell of CSV: a number as such, None where it is empty."""
    if not text:
        return None
    for kind in (int, float):
        try:
            return kind(text)
        except ValueError:
            continue
    return text


def _json(contents: bytes) -> tuple[Sequence[str], list[Row]]:
    rows = json.loads(contents)
    if not isinstance(rows, list) or not rows:
        raise ValueError("there are no rows")
    columns = list(dict.fromkeys(name for row in rows for name in row if name != MESSAGE))
    if not all(MESSAGE in row for row in rows):
        raise ValueError("a row has no message")
    return [*columns, MESSAGE], [
        {name: row.get(name) for name in (*columns, MESSAGE)} for row in rows
    ]


def _parquet(contents: bytes) -> tuple[Sequence[str], list[Row]]:
    arrow = parquet_library("")
    table = arrow.parquet.read_table(arrow.BufferReader(contents))
    return table.column_names, table.to_pylist()
