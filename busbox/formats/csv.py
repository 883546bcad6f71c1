"""The CSV format: one step per row. ``busbox guide csv`` has its grammar and its columns."""

from __future__ import annotations

import csv
from collections import deque
from collections.abc import Iterable, Iterator
from dataclasses import replace
from io import BytesIO
from tempfile import SpooledTemporaryFile
from typing import IO

from busbox.basics.errors import READ_MISTAKES, InputError, Mistake, format_value, limited
from busbox.basics.files import lines_in
from busbox.basics.limits import LINE
from busbox.cpu.steps import Step
from busbox.cpu.table import AccessTable
from busbox.formats.contract import Format, SignalRequest
from busbox.formats.csv_plain import plain_rows
from busbox.formats.csv_rows import COLUMNS, HEADER, HEADERS, WIDTHS, row_of, step_of

#: Bytes that are read at once, and bytes of rows that are kept in memory until the columns that they
#: need are known.
BLOCK, KEPT_BYTES = 1 << 19, 1 << 24


def read_csv(file: IO[bytes], where: str) -> Iterator[Step | AccessTable]:
    """Yield the steps of a CSV file: plain rows in succession as a table, others one by one.

    Raises
    ------
    InputError : lists every row that is not a step
    """
    text = _Text(file, where)
    first = next(lines_in(text.lines(), where), "")
    separator = ";" if ";" in first else ","
    header = [name.strip() for name in first.split(separator)]
    if header not in HEADERS:
        raise InputError.of(
            f"the first line must be {','.join(HEADER)}[,pc][,mask,value,every,limit][,text]"
            "[,since,keep], "
            f"not {format_value(first)}",
            where,
            1,
        )
    yield from _Reader(text, header, separator, where).pieces()


class _Text:
    """A file, read in blocks of whole lines or line by line."""

    def __init__(self, file: IO[bytes], where: str) -> None:
        self._file, self._held, self._where = file, BytesIO(), where
        self._parts: deque[bytes] = deque()
        self._most, self._count = LINE.most, 0

    def _line(self) -> bytes:
        """Return the next line of the file, b"" behind the last."""
        line = self._file.readline(self._most + 1)
        if len(line) > self._most:
            raise InputError.of(LINE.exceeded("a line"), self._where, self._count + 1)
        self._count += line.count(b"\n")
        return line

    def block(self) -> bytes:
        """Return lines with their ends, b"" behind the last."""
        data = b"".join(self._parts) + self._held.read()
        self._parts.clear()
        if not data:
            data = self._file.read(BLOCK)
            self._count += data.count(b"\n")
        return data if data.endswith(b"\n") else data + self._line()

    def give_back(self, block: bytes) -> None:
        """Take back the block that was read last."""
        self._held = BytesIO(block)

    def lines(self) -> Iterator[bytes]:
        """Yield the lines from here on, with their ends."""
        while True:
            if not self._parts:
                raw = self._held.readline() or self._line()
                self._parts.extend(raw.splitlines(keepends=True))
            if not self._parts:
                return
            yield self._parts.popleft()


class _Reader:
    """Reads the rows of a file."""

    def __init__(self, text: _Text, header: list[str], separator: str, where: str) -> None:
        self._text, self._header, self._separator, self._where = text, header, separator, where
        self._count = 1
        self._mistakes: list[Mistake] = []

    def pieces(self) -> Iterator[Step | AccessTable]:
        """Yield all that is read until a row is wrong; then raise an error that lists all such."""
        while block := self._text.block():
            for piece in self._block(block):
                if not self._mistakes:
                    yield piece
        if self._mistakes:
            raise InputError(limited(self._mistakes, self._where))

    def _block(self, block: bytes) -> Iterator[Step | AccessTable]:
        found = plain_rows(block, self._header, self._separator)
        if found is None:  # a cell in quotes may go on in the lines behind the block
            self._text.give_back(block)
            yield from self._rows(self._text.lines(), len(block.splitlines()))
            return
        for first, end, plain in found.runs():
            if plain:
                yield found.table(first, end, self._count + 1)
                self._count += end - first
            else:
                yield from self._rows(found.lines(first, end), end - first)

    def _rows(self, lines: Iterable[bytes], count: int) -> Iterator[Step]:
        """Yield the steps of rows, one by one: of so many lines, and those that a row goes on in."""
        before, where = self._count, self._where
        rows = csv.reader(lines_in(lines, where, before), delimiter=self._separator)
        while rows.line_num < count:
            try:
                step = _step(next(rows), self._header, before + rows.line_num)
            except csv.Error:
                self._note("a cell is too long", before + rows.line_num)
                continue
            except ValueError as error:
                self._note(str(error), before + rows.line_num)
                continue
            if step is not None:
                yield step
        self._count = before + rows.line_num

    def _note(self, text: str, line: int) -> None:
        self._mistakes.append(Mistake(text, self._where, line))
        if len(self._mistakes) == READ_MISTAKES:
            raise InputError(limited(self._mistakes, self._where)) from None


def _step(row: list[str], header: list[str], line: int) -> Step | None:
    row = [cell.strip() for cell in row]
    if not any(row):
        return None
    if len(row) != len(header):
        raise ValueError(
            f"a row must have {len(header)} cells ({', '.join(header)}), not {len(row)}"
        )
    return step_of(dict.fromkeys(COLUMNS, "") | dict(zip(header, row, strict=True)), line)


def write_csv(steps: Iterable[Step]) -> Iterator[str]:
    """Yield the lines of a CSV text, with the columns that the steps need.

    Raises
    ------
    InputError : a step that the format cannot hold
    """
    wanted = WIDTHS[0]
    kept: SpooledTemporaryFile[str]
    with SpooledTemporaryFile(KEPT_BYTES, "w+", encoding="utf-8", newline="\n") as kept:
        for count, step in enumerate(steps, start=1):
            row = row_of(step, count)
            wanted = max(wanted, len(row))
            kept.write(f"{len(row):02}{','.join(row)}\n")
        yield ",".join(COLUMNS[:wanted])
        kept.seek(0)
        for line in kept:
            yield f"{line[2:-1]}{',' * (wanted - int(line[:2]))}"


def _of_samples(request: SignalRequest) -> Format:
    from busbox.formats.waveform.importing import of_samples

    return of_samples(request)


CSV = replace(
    Format.of_lines("One step per row.", write=write_csv), read=read_csv, of_signals=_of_samples
)
