"""A table of samples (CSV): a column for each signal, and a row for each cycle or each moment."""

from __future__ import annotations

import csv
from collections.abc import Iterable, Iterator, Sequence
from fractions import Fraction
from itertools import islice

import numpy as np

from busbox.basics.errors import InputError, format_value, nearest
from busbox.basics.limits import COLUMNS
from busbox.formats.waveform.header import Variable
from busbox.formats.waveform.signal_map import SignalMap, widths_of_samples
from busbox.formats.waveform.tokens import Values
from busbox.formats.waveform.vcd import LONGEST, Changes
from busbox.map.addresses import number

#: The decimals of a picosecond, in each unit that a column of times may have.
TIME_UNITS = {"time_s": 12, "time_ms": 9, "time_us": 6, "time_ns": 3}
PICOSECOND = Fraction(1, 10**12)
_UNKNOWN = frozenset(("x", "X", "z", "Z", ""))
_ROWS = 4096


class Table:
    """The rows of a CSV file of another origin.

    Parameters
    ----------
    lines : the text
    where : the file, for messages

    Raises
    ------
    InputError : it has no header of unique names
    """

    def __init__(self, lines: Iterable[str], where: str) -> None:
        self._where = where
        texts = iter(lines)
        first = next(texts, "")
        separator = next((one for one in "\t;" if one in first), ",")
        self._rows = csv.reader(texts, delimiter=separator)
        self.names = [name.strip() for name in next(csv.reader([first], delimiter=separator), [])]
        COLUMNS.check(self.names, "the header", where, 1)
        for name in self.names:
            if self.names.count(name) > 1:
                raise InputError.of(f"the column {format_value(name)} is there twice", where, 1)

    def place(self, name: str) -> int:
        """Return the number of a column.

        Raises
        ------
        ValueError : there is none of that name
        """
        if name not in self.names:
            raise ValueError(
                f"there is no column {name!r} in {self._where}{nearest(name, self.names)}"
            )
        return self.names.index(name)

    def rows(self) -> Iterator[tuple[int, list[str]]]:
        """Yield line and cells of each row that is not empty.

        Raises
        ------
        InputError : a row has too few or too many cells
        """
        while True:
            try:
                row = next(self._rows, None)
            except csv.Error:
                raise InputError.of("a cell is too long", self._where, self._line) from None
            if row is None:
                return
            cells = [cell.strip() for cell in row]
            if not any(cells):
                continue
            if len(cells) != len(self.names):
                text = f"a row must have {len(self.names)} cells, as the header, not {len(cells)}"
                raise InputError.of(text, self._where, self._line)
            yield self._line, cells

    @property
    def _line(self) -> int:
        return self._rows.line_num + 1


class SampleReader:
    """A table of samples, as changes of variables.

    Parameters
    ----------
    signals : the map: its names are those of columns
    time_column : kind and name of the column of times; None: every row is a cycle

    Attributes
    ----------
    unit : seconds of one step of time; None if times are lines of the file
    variables : the columns
    """

    def __init__(
        self,
        lines: Iterable[str],
        where: str,
        signals: SignalMap,
        time_column: tuple[str, str] | None,
    ) -> None:
        self._table, self._where = Table(lines, where), where
        self._time = self._time_place(time_column)
        self._decimals = 0 if time_column is None else TIME_UNITS[time_column[0]]
        self.unit = None if time_column is None else PICOSECOND
        widths = widths_of_samples(signals)
        self.variables = tuple(
            Variable(name, name.encode(), widths.get(name, 1)) for name in self._table.names
        )

    def _time_place(self, time_column: tuple[str, str] | None) -> int | None:
        try:
            return None if time_column is None else self._table.place(time_column[1])
        except ValueError as error:
            raise InputError.of(str(error), "--columns") from None

    def changes(self, wanted: Sequence[Variable]) -> Iterator[Changes]:
        """Yield the samples of columns, many rows at once.

        Raises
        ------
        InputError : a cell is no number, or too large; times do not grow
        """
        places = [self._table.place(one.name) for one in wanted]
        rows, last = self._table.rows(), None
        while chunk := list(islice(rows, _ROWS)):
            lines = [line for line, _ in chunk]
            times = lines
            if self._time is not None:
                times = [self._moment(row[self._time], line) for line, row in chunk]
            for line, before, time in zip(lines, [last, *times], times, strict=False):
                if before is not None and time <= before:
                    raise InputError.of("a time must be above the one before", self._where, line)
            last = times[-1]
            stamps = np.array(times, dtype="i8")
            values = [
                self._values(one, [(line, row[place]) for line, row in chunk])
                for one, place in zip(wanted, places, strict=True)
            ]
            yield Changes([stamps] * len(wanted), values, stamps, last)
        if last is None:
            raise InputError.of("must have a row below the header", self._where, 1)

    def _values(self, variable: Variable, cells: list[tuple[int, str]]) -> Values:
        most = (1 << variable.width) - 1
        ones, unknown = [], []
        for line, cell in cells:
            if cell in _UNKNOWN:
                ones.append(0)
                unknown.append(most)
                continue
            try:
                ones.append(number(cell, variable.name, most))
            except ValueError as error:
                raise InputError.of(str(error), self._where, line) from None
            unknown.append(0)
        return Values(np.array(ones, dtype="u8"), np.array(unknown, dtype="u8"))

    def _moment(self, cell: str, line: int) -> int:
        try:
            return moment(cell, self._decimals)
        except ValueError as error:
            raise InputError.of(str(error), self._where, line) from None


def moment(cell: str, decimals: int) -> int:
    """Return a time in picoseconds.

    Raises
    ------
    ValueError : it is no such time, or finer than that
    """
    try:
        time = Fraction(cell) * 10**decimals if len(cell) <= 40 and "/" not in cell else None
    except (ValueError, ZeroDivisionError):
        time = None
    if time is None or time < 0:
        raise ValueError(f"a time must be a number such as 12.5, not {format_value(cell)}")
    if time.denominator != 1 or time > LONGEST:
        text = "a time must be whole picoseconds, below 1,000,000 s"
        raise ValueError(f"{text}, not {format_value(cell)}")
    return int(time)
