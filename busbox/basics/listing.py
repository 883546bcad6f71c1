"""What several listings share: rows of equal things, and long texts in the last column."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Iterator, Sequence
from typing import TypeVar

#: Columns that a listing may take, and those that its last column has at least.
WIDTH, LEAST = 100, 24
#: A space at which no line ends.
TIED = "\xa0"

T = TypeVar("T")


def runs(items: Iterable[tuple[str, T]]) -> Iterator[tuple[str, T]]:
    """Yield (name, value); neighbours in a row with equal values become one, ``out.0..7``."""
    stem, first, last, kept = "", 0, 0, None
    for name, value in items:
        head, _, number = name.rpartition(".")
        if kept is not None and (head, number, value) == (stem, str(last + 1), kept[1]):
            last += 1
            continue
        if kept is not None:
            yield _run(kept, stem, first, last)
        stem, kept = (head if number.isdigit() else ""), (name, value)
        first = last = int(number) if stem else 0
    if kept is not None:
        yield _run(kept, stem, first, last)


def _run(kept: tuple[str, T], stem: str, first: int, last: int) -> tuple[str, T]:
    return (f"{stem}.{first}..{last}" if last > first else kept[0]), kept[1]


def wrapped(rows: Iterable[Sequence[object]], indent: int = 2) -> list[tuple[str, ...]]:
    """Return the rows of a table with the last column folded, so that its lines fit in WIDTH.

    A line does not end at a no-break space; it becomes a plain one.
    """
    cells = [tuple(str(cell) for cell in row) for row in rows]
    if not cells:
        return []
    before = range(len(cells[0]) - 1)
    used = indent + sum(max(len(row[place]) for row in cells) + 2 for place in before)
    folded: list[tuple[str, ...]] = []
    for row in cells:
        first, *more = textwrap.wrap(row[-1], max(LEAST, WIDTH - used)) or [""]
        folded.append((*row[:-1], first.replace(TIED, " ")))
        folded.extend((*("" for _ in before), line.replace(TIED, " ")) for line in more)
    return folded


def printable_lines(text: str) -> list[str]:
    """Return the lines of a text with escapes for what cannot be printed, without their ends."""
    lines = (line.rstrip("\r\n") for line in text.splitlines(keepends=True))
    return [line.encode("unicode_escape").decode("ascii") for line in lines]
