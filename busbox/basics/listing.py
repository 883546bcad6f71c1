"""What several listings share: counts, runs of equal rows, and text with unprintable characters."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import TypeVar

T = TypeVar("T")


def counted(count: int, noun: str, plural: str = "") -> str:
    """Return a count with its noun: ``1 access``, ``12,047 accesses``.

    Parameters
    ----------
    plural : the plural of the noun; "" adds an s
    """
    return f"{count:,} {noun if count == 1 else plural or noun + 's'}"


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


def printable(text: str) -> str:
    """Return a text with escapes for characters that a page or a terminal does not show."""
    if text.isprintable():
        return text
    shown = (one if one.isprintable() else ascii(one)[1:-1] for one in text)
    return "".join(shown)


def printable_lines(text: str) -> list[str]:
    """Return the lines of a text with escapes for unprintable characters, without line ends."""
    lines = (line.rstrip("\r\n") for line in text.splitlines(keepends=True))
    return [line.encode("unicode_escape").decode("ascii") for line in lines]
