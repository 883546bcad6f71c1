"""The file of a sweep: finished rows are kept while it goes on; the table is written at the end.

Beside ``FILE`` stands ``FILE.unfinished``: a line that says which sweep it is of, then a line of JSON
for each finished variant. A process that is killed loses the variants that it was running, and of the
file no more than its last line. The next sweep of the same bench, keys, values and measures goes on
from it.
"""

from __future__ import annotations

import csv
import io
import json
import os
import sys
from collections.abc import Collection, Mapping, Sequence
from pathlib import Path
from typing import IO, Any

from busbox.basics.errors import InputError, join_or, nearest
from busbox.basics.files import read_file, replacing
from busbox.basics.limits import TABLE
from busbox.variants.measures import Cell, is_cell

#: The forms of the table, by suffix.
SUFFIXES = (".csv", ".json", ".parquet")
#: The column that says why a variant has no values.
MESSAGE = "message"
Row = Mapping[str, Cell]


def check_name(file: Path, option: str = "-o") -> None:
    """Check the name of a sweep's file.

    Raises
    ------
    InputError : its suffix is that of no table, its folder is missing, or a library is not installed
    """
    if file.suffix not in SUFFIXES:
        text = f"must end in {join_or(SUFFIXES)}, not {file.name!r}{nearest(file.suffix, SUFFIXES)}"
        raise InputError.of(text, option)
    if os.path.isdir(file):
        raise InputError.of(f"must be a file, and {str(file)!r} is a folder", option)
    if not os.path.isdir(os.path.dirname(os.path.abspath(file))):
        raise InputError.of(f"there is no folder {str(file.parent)!r}", option)
    if file.suffix == ".parquet":
        parquet_library(option)


def parquet_library(option: str = "-o") -> Any:
    """Return the library that reads and writes Parquet.

    Raises
    ------
    InputError : it is not installed
    """
    try:
        import pyarrow  # type: ignore[import-not-found,import-untyped,unused-ignore]
        import pyarrow.parquet  # type: ignore[import-not-found,import-untyped,unused-ignore]
    except ImportError:
        text = "Parquet needs the library pyarrow: pip install 'busbox[parquet]'"
        raise InputError.of(text, option) from None
    return pyarrow


class Keeping:
    """Keeps the finished rows of one sweep.

    Parameters
    ----------
    file : where the table goes
    identity : which sweep it is; a file of another one is refused
    columns : what its rows may have, with a message; none: whatever

    Attributes
    ----------
    rows : number of the variant to its row; those of an earlier, interrupted sweep at first

    Raises
    ------
    InputError : the file is of another sweep, or cannot be written
    """

    def __init__(self, file: Path, identity: str, columns: Collection[str] = ()) -> None:
        self._file, self._identity, self._columns = file, identity, columns
        self.unfinished = file.with_name(f"{file.name}.unfinished")
        self.rows: dict[int, Row] = {}
        end = self._read()
        try:
            # Without a buffer: what did not fit on the disk is not tried again when it is closed.
            self._out: IO[bytes] = open(self.unfinished, "r+b" if end else "ab", 0)  # noqa: SIM115
        except OSError as error:
            raise self._refused(error) from None
        try:
            self._hold()
            self._out.truncate(end)
            self._out.seek(end)
            if not end:
                self._line({"sweep": identity})
        except OSError as error:
            self._out.close()
            raise self._refused(error) from None
        except InputError:
            self._out.close()
            raise

    def _refused(self, error: OSError) -> InputError:
        return InputError.of(f"cannot be written: {error.strerror}", str(self.unfinished))

    def _hold(self) -> None:
        """Keep the file for this sweep alone, as long as it is open.

        Raises
        ------
        InputError : another sweep has it
        """
        if sys.platform == "win32":  # a file that is open there cannot be removed by another
            return
        import fcntl

        try:
            fcntl.flock(self._out, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            text = "is written by another sweep that goes on; wait for it, or choose another -o"
            raise InputError.of(text, str(self.unfinished)) from None
        except OSError:
            return  # a file system without locks

    def _read(self) -> int:
        """Take the rows of an earlier sweep; return where its last whole line ends."""
        try:
            os.lstat(self.unfinished)
        except FileNotFoundError:
            return 0
        except OSError as error:
            raise InputError.of(f"cannot be read: {error.strerror}", str(self.unfinished)) from None
        contents = read_file(self.unfinished, TABLE)
        end = contents.rfind(b"\n") + 1
        try:
            head, *lines = [json.loads(line) for line in contents[:end].splitlines()] or [None]
            known = head is None or head["sweep"]
            rows = dict(map(self._kept, lines)) if known == self._identity else {}
        except (ValueError, TypeError, KeyError, RecursionError):
            text = "is no unfinished sweep; delete it, or choose another -o"
            raise InputError.of(text, str(self.unfinished)) from None
        if head is None:
            return 0
        if known != self._identity:
            text = (
                "is of another sweep (bench, keys, values or measures have changed); delete it, or "
            )
            raise InputError.of(f"{text}choose another -o", str(self.unfinished))
        self.rows = rows
        return end

    def _kept(self, line: Any) -> tuple[int, Row]:
        """Return the number and the row that a line holds.

        Raises
        ------
        ValueError, TypeError : it holds something else
        """
        number, row = line
        if type(number) is not int or not isinstance(row, dict):
            raise TypeError
        if not all(map(is_cell, row.values())):
            raise TypeError
        if self._columns and not {MESSAGE} <= row.keys() <= {*self._columns, MESSAGE}:
            raise ValueError
        return number, row

    def add(self, number: int, row: Row) -> None:
        """Keep the row of a variant; it is on disk when this returns.

        Raises
        ------
        InputError : the disk takes no more; the rows before are kept
        """
        self.rows[number] = row
        self._line([number, row])

    def _line(self, value: object) -> None:
        left = json.dumps(value).encode("ascii") + b"\n"
        begin = self._out.tell()
        try:
            while left:
                left = left[self._out.write(left) :]
            os.fsync(self._out.fileno())
        except OSError as error:
            if begin == 0:  # not even which sweep it is of
                self.unfinished.unlink(missing_ok=True)
            raise self._refused(error) from None

    def close(self) -> None:
        """Close the file, and leave it for the next sweep."""
        self._out.close()

    def finish(self, columns: Sequence[str], rows: Sequence[Row]) -> None:
        """Write the table, and remove what was kept meanwhile."""
        self.close()
        write_table(self._file, columns, rows)
        self.unfinished.unlink(missing_ok=True)


def write_table(file: Path, columns: Sequence[str], rows: Sequence[Row]) -> None:
    """Write a table by its suffix; an existing file is replaced at once.

    Raises
    ------
    InputError : it cannot be written
    """
    if file.suffix == ".csv":
        contents = _csv(columns, rows)
    elif file.suffix == ".json":
        contents = (json.dumps([dict(row) for row in rows], indent=1) + "\n").encode("ascii")
    else:
        contents = _as_parquet(columns, rows)
    with replacing(file) as out:
        out.write(contents)


def _csv(columns: Sequence[str], rows: Sequence[Row]) -> bytes:
    lines = [_line(columns), *(_line([_cell(row.get(name)) for name in columns]) for row in rows)]
    return "".join(lines).encode("utf-8")


def _line(cells: Sequence[str | int | float]) -> str:
    """Return a line of CSV; a cell with a carriage return or a line feed is quoted (RFC 4180)."""
    text = io.StringIO(newline="")
    csv.writer(text, lineterminator="\r\n").writerow(cells)
    return f"{text.getvalue().removesuffix(chr(13) + chr(10))}\n"


def _cell(value: Cell) -> str | int | float:
    if value is None:
        return ""
    return ("no", "yes")[value] if isinstance(value, bool) else value


def _as_parquet(columns: Sequence[str], rows: Sequence[Row]) -> bytes:
    arrow = parquet_library()
    table = {}
    for name in columns:
        values = [row.get(name) for row in rows]
        kinds = {type(value) for value in values if value is not None}
        large = any(type(value) is int and not -(2**63) <= value < 2**63 for value in values)
        if kinds == {int, float} and not large:
            values = [None if value is None else float(value) for value in values]
        elif len(kinds) > 1 or large:
            values = [None if value is None else str(_cell(value)) for value in values]
        table[name] = values
    out = arrow.BufferOutputStream()
    arrow.parquet.write_table(arrow.table(table), out)
    return bytes(out.getvalue().to_pybytes())
