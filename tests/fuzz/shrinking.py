"""Makes a case small that breaks something, by halves: files first, then lines, then bytes."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import TypeVar

from tests.fuzz.running import Case

T = TypeVar("T")
#: Tries that are worth it.
TRIES = 150
#: A file with more bytes is left as it is.
LARGE = 1 << 16


def shrunk(case: Case, breaks: Callable[[Case], bool], tries: int = TRIES) -> Case:
    """Return a smaller case that still breaks, or the same."""
    left = [tries]

    def holds(smaller: Case) -> bool:
        if left[0] <= 0:
            return False
        left[0] -= 1
        return breaks(smaller)

    for name, contents in case.files.items():
        if len(contents) <= LARGE:
            for parts in (contents.splitlines(keepends=True), None):
                case = _smaller(case, name, parts, holds)
    return case


def _smaller(
    case: Case, name: str, parts: Sequence[bytes] | None, holds: Callable[[Case], bool]
) -> Case:
    """Return the case with fewer parts of a file; None: its bytes."""

    def of(kept: Sequence[bytes]) -> Case:
        return replace(case, files={**case.files, name: b"".join(kept)})

    data = case.files[name]
    parts = [data[at : at + 1] for at in range(len(data))] if parts is None else parts
    return of(_fewer(parts, lambda some: holds(of(some))))


def _fewer(parts: Sequence[T], holds: Callable[[Sequence[T]], bool]) -> Sequence[T]:
    size = len(parts) // 2
    while size:
        at = 0
        while at < len(parts):
            fewer = [*parts[:at], *parts[at + size :]]
            if holds(fewer):
                parts = fewer
            else:
                at += size
        size //= 2
    return parts
