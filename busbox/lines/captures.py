"""Captures of real lines, read as edges: CSV and VCD, chosen by the suffix.

A CSV file begins with a header: the time's column first, named ``time_s``, ``time_ms``, ``time_us``,
``time_ns`` or ``sample`` (a sample's number), then a column for each line. Below it is a row for each
sample, or only for each change; a level is 0 or 1::

    time_us,tx,rx
    0,1,1
    5.25,0,1
    14,1,1

``;`` as separator, a byte-order mark and any line ends are read too. Of a VCD file
(IEEE 1364-2005, clause 18) all variables of one bit are read, each named with its scopes:
``cabin.telegraph.tx``; a level of x or z counts as the level before.

A tick is the sampling step: the greatest common divisor of all times in the file, or one sample. A
wave ends at the last time in the file; one step later if a line changes there, as that level was seen.
"""

from __future__ import annotations

import csv
import math
import re
from collections.abc import Iterable, Iterator
from fractions import Fraction
from pathlib import Path

import numpy as np

from busbox.basics.errors import InputError, format_value, join_or, nearest, no_file
from busbox.basics.files import read_file, text_lines
from busbox.basics.limits import CAPTURE, COLUMNS, SAMPLES
from busbox.lines.capture_vcd import read_vcd
from busbox.lines.tracks import LONGEST, waves_of
from busbox.lines.wave import Wave

#: The time's column to the seconds of one; None for a sample's number.
TIMES = {
    "time_s": Fraction(1),
    "time_ms": Fraction(1, 10**3),
    "time_us": Fraction(1, 10**6),
    "time_ns": Fraction(1, 10**9),
    "sample": None,
}
SUFFIXES = (".csv", ".vcd")

_TIME = re.compile(r"[+-]?[0-9]{1,30}(?:\.[0-9]{0,30})?(?:[eE][+-]?[0-9]{1,2})?")
_LEVELS = {"0": 0, "1": 1}


def read_capture(path: Path, sample_hz: int | None = None) -> dict[str, Wave]:
    """Return the waves of a capture by the names of their lines, in the file's order.

    They share tick and end. A line whose level is never known has no times.

    Parameters
    ----------
    sample_hz : samples a second; for a CSV file whose times are numbers of samples, and only there

    Raises
    ------
    InputError : the file cannot be read, or is not a capture
    """
    problem = no_file(path)
    if problem:
        raise InputError.of(problem)
    suffix = path.suffix.lower()
    if suffix not in SUFFIXES:
        raise InputError.of(
            f"a capture must end in {join_or(SUFFIXES)}, not {format_value(path.name)}"
            f"{nearest(suffix, SUFFIXES)}"
        )
    if suffix == ".csv":
        return read_csv(text_lines(path), str(path), sample_hz)
    if sample_hz is not None:
        raise _has_times(str(path))
    return read_vcd(read_file(path, CAPTURE), str(path))


def _has_times(where: str) -> InputError:
    return InputError.of(
        "a sample clock is not allowed here: the file already contains times", where, 1
    )


def read_csv(lines: Iterable[str], where: str, sample_hz: int | None = None) -> dict[str, Wave]:
    """Return the waves of a CSV text; see :func:`read_capture`.

    Parameters
    ----------
    lines : the text
    where : the file, for messages

    Raises
    ------
    InputError : it is not such a text; with the line
    """
    texts = iter(lines)
    first = next(texts, "")
    separator = ";" if ";" in first else ","
    names = _header(first, separator, where)
    unit = TIMES[names[0]]
    if unit is None and sample_hz is None:
        raise InputError.of("a sample clock must be given: the times are sample numbers", where, 1)
    if unit is not None and sample_hz is not None:
        raise _has_times(where)
    times: list[Fraction] = []
    columns: list[list[int]] = [[] for _ in names[1:]]
    count, most = 1, SAMPLES.most
    for count, row in _rows(texts, separator, names, where):
        time = _time(row[0], names[0], where, count)
        if times and time <= times[-1]:
            raise InputError.of(
                f"{names[0]} must be above the one in the row before, {float(times[-1]):.12g}, not "
                f"{format_value(row[0])}",
                where,
                count,
            )
        if len(times) == most:
            raise InputError.of(SAMPLES.exceeded("it"), where, count)
        times.append(time)
        for column, name, cell in zip(columns, names[1:], row[1:], strict=True):
            column.append(_level(cell, name, where, count))
    if not times:
        raise InputError.of("must have a row below the header", where, 1)
    step, numbers = _steps(times, sampled=unit is None)
    if max(abs(numbers[0]), abs(numbers[-1])) > LONGEST:
        raise InputError.of(f"times must be at most {LONGEST} steps of {step}", where, count)
    ticks = np.array(numbers, dtype="i8")
    changes = {
        name: (ticks, np.array(column, dtype="u1"))
        for name, column in zip(names[1:], columns, strict=True)
    }
    return waves_of(
        changes, numbers[-1], Fraction(1, sample_hz or 1) if unit is None else unit * step
    )


def _header(first: str, separator: str, where: str) -> list[str]:
    """Return the names of the columns, the time's first."""
    names = _cells(first, separator, where, 1)
    names[0] = names[0].lower()
    if names[0] not in TIMES:
        raise InputError.of(
            f"the first column must be {join_or(TIMES)}, not {format_value(names[0])}"
            f"{nearest(names[0], list(TIMES))}",
            where,
            1,
        )
    if len(names) == 1:
        raise InputError.of("must have a column for a line after the time column", where, 1)
    COLUMNS.check(names, "the header", where, 1)
    for place, name in enumerate(names):
        if not name or name in names[:place]:
            wrong = f"{format_value(name)} again" if name else "''"
            text = f"column {place + 1} must have a unique name, not {wrong}"
            raise InputError.of(text, where, 1)
    return names


def _cells(line: str, separator: str, where: str, count: int) -> list[str]:
    try:
        cells = next(csv.reader([line], delimiter=separator, strict=True), [])
    except csv.Error:
        text = f"must be cells between {separator!r}, not {format_value(line)}"
        raise InputError.of(text, where, count) from None
    return [cell.strip() for cell in cells] or [""]


def _rows(
    texts: Iterator[str], separator: str, names: list[str], where: str
) -> Iterator[tuple[int, list[str]]]:
    """Yield (line, cells) of each row; empty lines are skipped."""
    for count, line in enumerate(texts, start=2):
        cells = _cells(line, separator, where, count)
        if not any(cells):
            continue
        if len(cells) != len(names):
            raise InputError.of(
                f"a row must have {len(names)} cells ({', '.join(names)}), not {len(cells)}",
                where,
                count,
            )
        yield count, cells


def _time(cell: str, name: str, where: str, count: int) -> Fraction:
    time = Fraction(cell) if _TIME.fullmatch(cell) else None
    if time is None or (TIMES[name] is None and time.denominator != 1):
        kind = "a whole number such as 12" if TIMES[name] is None else "a number such as 12.5"
        raise InputError.of(f"{name} must be {kind}, not {format_value(cell)}", where, count)
    return time


def _level(cell: str, name: str, where: str, count: int) -> int:
    if cell not in _LEVELS:
        raise InputError.of(f"{name} must be 0 or 1, not {format_value(cell)}", where, count)
    return _LEVELS[cell]


def _steps(times: list[Fraction], sampled: bool) -> tuple[Fraction, list[int]]:
    """Return the sampling step, in the file's unit, and the times in steps."""
    scale = math.lcm(*{time.denominator for time in times})
    whole = [time.numerator * (scale // time.denominator) for time in times]
    step = 1 if sampled else math.gcd(*whole) or 1
    return Fraction(step, scale), [time // step for time in whole]
