"""Plain rows of a CSV file, many at once: accesses to addresses, in bare numbers.

A row is plain if every cell is a number that is decimal or begins with ``0x``, of ten signs at most,
``read`` or ``write``, or lanes; none has a space, a quote or a ``_``. What is not plain may be right or
wrong: :mod:`busbox.formats.csv` reads it row by row.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from busbox.basics.distinct import changed, distinct
from busbox.cpu.table import TABLE, AccessTable
from busbox.formats.csv_rows import HEADER, OPS
from busbox.map.registers import WORD

Numbers = NDArray[np.int64]
Signs = NDArray[np.uint8]

#: A cell without anything in it, and one that is not plain.
EMPTY, OTHER = -1, -2
#: Signs of the longest number, and rows in succession from which a table is worth making.
LONGEST, WORTH = 10, 8
_NEWLINE = ord("\n")
#: The value of each sign as a digit.
_DIGITS = np.full(256, 255, dtype="u1")
_DIGITS[np.frombuffer(b"0123456789abcdef", "u1")] = np.arange(16)
_DIGITS[np.frombuffer(b"ABCDEF", "u1")] = np.arange(10, 16)


@dataclass(frozen=True)
class PlainRows:
    """Rows that have as many cells as there are columns.

    Attributes
    ----------
    columns : for each name of :data:`busbox.cpu.table.TABLE` except ``line``, a number a row
    plain : which rows are plain; the numbers of the others mean nothing
    text : the rows
    ends : where in it each row ends
    """

    columns: dict[str, Numbers]
    plain: NDArray[np.bool_]
    text: bytes
    ends: Numbers

    def runs(self) -> Iterator[tuple[int, int, bool]]:
        """Yield (first row, row behind the last, whether all are plain) of rows in succession."""
        starts = np.flatnonzero(changed(self.plain))
        lengths = np.diff(starts, append=len(self.plain))
        worth = self.plain[starts] & (lengths >= min(WORTH, len(self.plain)))
        first = starts[changed(worth)].tolist()
        kinds = worth[changed(worth)].tolist()
        yield from zip(first, [*first[1:], len(self.plain)], kinds, strict=True)

    def table(self, first: int, end: int, line: int) -> AccessTable:
        """Return some rows as accesses; ``line`` is that of the first of them."""
        given = {name: self.columns[name][first:end] for name in TABLE if name != "line"}
        return AccessTable(given | {"line": np.arange(line, line + end - first)})

    def lines(self, first: int, end: int) -> list[bytes]:
        """Return some rows as lines."""
        begin = int(self.ends[first - 1]) + 1 if first else 0
        return self.text[begin : int(self.ends[end - 1]) + 1].splitlines(keepends=True)


def plain_rows(block: bytes, header: Sequence[str], separator: str) -> PlainRows | None:
    """Return whole lines of a file as rows, or None if some have another number of cells, or quotes."""
    text = block.replace(b"\r\n", b"\n") if b"\r" in block else block
    text = text if text.endswith(b"\n") else text + b"\n"
    if b'"' in text or b"\r" in text:
        return None
    signs = np.frombuffer(text, dtype="u1")
    ends = np.flatnonzero((signs == ord(separator)) | (signs == _NEWLINE))
    width = len(header)
    newlines = signs[ends] == _NEWLINE
    count = int(np.count_nonzero(newlines))
    if count * width != len(ends) or not newlines[width - 1 :: width].all():
        return None
    starts = np.concatenate(([0], ends[:-1] + 1))
    lengths = ends - starts
    cells = {
        name: (signs, starts[place::width], lengths[place::width])
        for place, name in enumerate(header)
    }
    columns, plain = _accesses(cells)
    return PlainRows(columns, plain, text, ends[width - 1 :: width])


def _accesses(cells: dict[str, Any]) -> tuple[dict[str, Numbers], NDArray[np.bool_]]:
    """Return the columns of a table, and which rows are right."""
    columns = {name: _numbers(*cells[name]) for name in ("wait", "address", "data")}
    columns["write"], columns["lanes"] = _ops(*cells["op"]), _lanes(*cells["lanes"])
    size = len(columns["wait"])
    columns["pc"] = _numbers(*cells["pc"]) if "pc" in cells else np.full(size, EMPTY)
    plain = (columns["data"] != OTHER) & (columns["pc"] != OTHER)
    for name in ("wait", "address", "write", "lanes"):
        plain &= columns[name] >= 0
    plain &= (columns["address"] & 3 == 0) & ((columns["write"] != 1) | (columns["data"] != EMPTY))
    for name in cells.keys() - {*HEADER, "pc"}:
        plain &= cells[name][2] == 0
    return columns, plain


def _numbers(signs: Signs, starts: Numbers, lengths: Numbers) -> Numbers:
    """Return the numbers in cells."""
    found = np.where(lengths == 0, EMPTY, OTHER)
    for length in distinct(lengths).tolist():
        if 0 < length <= LONGEST:
            places = np.flatnonzero(lengths == length)
            found[places] = _of_length(_texts(signs, starts[places], length))
    found[found > WORD] = OTHER
    return found


def _texts(signs: Signs, starts: Numbers, length: int) -> Signs:
    """Return the signs of cells of one length, a row each."""
    if not len(starts):
        return np.zeros((0, length), dtype="u1")
    found: Signs = sliding_window_view(signs, length)[starts]
    return found


def _of_length(texts: Signs) -> Numbers:
    if texts.shape[1] < 3:
        return _decimal(texts)
    hexadecimal = (texts[:, 0] == ord("0")) & (texts[:, 1] == ord("x"))
    if hexadecimal.all():
        return _hexadecimal(texts[:, 2:])
    found = _decimal(texts)
    found[hexadecimal] = _hexadecimal(texts[hexadecimal, 2:])
    return found


def _decimal(texts: Signs) -> Numbers:
    return _value(_DIGITS[texts], 10)


def _value(digits: Signs, base: int) -> Numbers:
    """Return the numbers that have these digits, the first one the highest."""
    found = np.zeros(len(digits), dtype="i8")
    wrong = np.zeros(len(digits), dtype=np.bool_)
    for digit in digits.T:
        found *= base
        found += digit
        wrong |= digit >= base
    found[wrong] = OTHER
    return found


def _hexadecimal(texts: Signs) -> Numbers:
    """Return the numbers of at most eight hexadecimal digits."""
    digits = np.zeros((len(texts), 8), dtype="u1")
    digits[:, 8 - texts.shape[1] :] = _DIGITS[texts]
    wrong = (digits.view("u8").ravel() & np.uint64(0xF0F0_F0F0_F0F0_F0F0)) != 0
    octets = digits[:, ::2] << 4 | digits[:, 1::2]
    found = octets.view(">u4").ravel().astype("i8")
    found[wrong] = OTHER
    return found


def _ops(signs: Signs, starts: Numbers, lengths: Numbers) -> Numbers:
    """Return 1 for a write, 0 for a read."""
    found = np.full(len(starts), OTHER)
    for word, write in OPS.items():
        places = np.flatnonzero(lengths == len(word))
        letters = np.frombuffer(word.encode(), dtype="u1")
        same = (_texts(signs, starts[places], len(word)) == letters).all(axis=1)
        found[places[same]] = write
    return found


def _lanes(signs: Signs, starts: Numbers, lengths: Numbers) -> Numbers:
    """Return the lanes: four binary digits."""
    found = np.full(len(starts), OTHER)
    places = np.flatnonzero(lengths == 4)
    found[places] = _value(_DIGITS[_texts(signs, starts[places], 4)], 2)
    return found
