"""The CSV format: one step per row. ``busbox guide csv`` has its grammar and its columns."""

from __future__ import annotations

import csv
from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace
from itertools import chain, islice
from tempfile import SpooledTemporaryFile

from busbox.basics.errors import InputError, Mistake, format_value, limited
from busbox.cpu.steps import Step
from busbox.cpu.table import AccessTable
from busbox.formats.contract import Format, SignalRequest
from busbox.formats.csv_rows import COLUMNS, HEADER, HEADERS, OPS, WIDTHS, row_of, step_of
from busbox.map.addresses import address, lanes, number

#: Rows that are read at once, and distinct texts that are remembered.
ROWS, REMEMBERED = 1 << 12, 1 << 16
#: Bytes of rows that are kept in memory until the columns that they need are known.
KEPT_BYTES = 1 << 24


def read_csv(lines: Iterable[str], where: str) -> Iterator[Step | AccessTable]:
    """Yield the steps of a CSV text: as tables until a row is unusual, then one by one.

    Raises
    ------
    InputError : lists every row that is not a step
    """
    texts = iter(lines)
    first = next(texts, "").rstrip("\r\n")
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
    count, reader = 1, _Reader(separator, header)
    while chunk := list(islice(texts, ROWS)):
        table = reader.table(chunk, count + 1)
        if table is None:
            yield from _read_rows(chain(chunk, texts), header, separator, where, count)
            return
        count += len(chunk)
        yield table


class _Reader:
    """Reads plain rows fast: each distinct text of a column is parsed once."""

    def __init__(self, separator: str, header: list[str]) -> None:
        self._separator, self._width = separator, len(header)
        self._has_pc = "pc" in header
        self._wait = _Remembered(lambda text: number(text, "wait"))
        self._address = _Remembered(address)
        self._data = _Remembered(lambda text: number(text, "data") if text else -1)
        self._lanes = _Remembered(lanes)
        self._pc = _Remembered(lambda text: number(text, "pc") if text else -1)

    def table(self, chunk: list[str], first: int) -> AccessTable | None:
        """Return rows as a table, or None if one of them needs a closer look."""
        rows = [line.split(self._separator) for line in chunk]
        if any(len(row) != self._width or '"' in row[0] for row in rows):
            return None
        cells: list[tuple[str, ...]] = list(zip(*rows, strict=True))
        wait, op, place, data, selected, *others = cells
        pc = others.pop(0) if self._has_pc else None
        if any(cell for column in others for cell in column):
            return None
        try:
            columns = {
                "write": [OPS[cell] for cell in op],
                "address": [self._address[cell] for cell in place],
                "data": [self._data[cell] for cell in data],
                "lanes": [self._lanes[cell] for cell in selected],
                "wait": [self._wait[cell] for cell in wait],
                "pc": [self._pc[cell] for cell in pc] if pc else [-1] * len(rows),
                "line": range(first, first + len(rows)),
            }
        except (KeyError, ValueError):
            return None
        table = AccessTable(columns)
        missing = (table["write"] == 1) & (table["data"] < 0)
        return None if missing.any() else table


class _Remembered(dict[str, int]):
    """The values of texts, each parsed once."""

    def __init__(self, meaning: Callable[[str], int]) -> None:
        self._meaning = meaning

    def __missing__(self, text: str) -> int:
        if len(self) >= REMEMBERED:
            self.clear()
        value = self[text] = self._meaning(text)
        return value


def _read_rows(
    texts: Iterable[str], header: list[str], separator: str, where: str, before: int
) -> Iterator[Step]:
    """Yield the steps of rows, one by one; ``before`` lines precede them."""
    mistakes: list[Mistake] = []
    rows = csv.reader(texts, delimiter=separator)
    while True:
        try:
            row = next(rows, None)
            if row is None:
                break
            step = _step(row, header, before + rows.line_num)
        except csv.Error:
            mistakes.append(Mistake("a cell is too long", where, before + rows.line_num))
            continue
        except ValueError as error:
            mistakes.append(Mistake(str(error), where, before + rows.line_num))
            continue
        if step is not None and not mistakes:
            yield step
    if mistakes:
        raise InputError(limited(mistakes, where))


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


CSV = replace(Format.of_lines("One step per row.", read_csv, write_csv), of_signals=_of_samples)
