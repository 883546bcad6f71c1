"""``[[reset]]``: RST from the board."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import ClassVar

from busbox.bench.context import Context
from busbox.bench.table import MOST, Positive, SpanText, Table
from busbox.system.scenario import BoardReset


class ResetTable(Table):
    """``[[reset]]``."""

    at: SpanText
    length: Positive = 1

    expected: ClassVar[Mapping[str, str]] = {"length": f"a whole number of cycles from 1 to {MOST}"}
    examples: ClassVar[Mapping[str, str]] = {"at": "'40 us'"}


def build_resets(
    tables: Iterable[tuple[int, ResetTable]], context: Context
) -> tuple[BoardReset, ...]:
    """Return the resets in order of cycle; one cycle at least lies between two."""
    if not context.timed:
        return ()
    resets = sorted(
        (table.at.in_cycles(context.clock_hz), table.length, number) for number, table in tables
    )
    end = -1
    for at, length, number in resets:
        path = ("reset", number, "at")
        if at < 1:
            context.mistakes.note(path, "must be in cycle 1 or later, not 0")
        elif at <= end:
            context.mistakes.note(
                path,
                f"must be in cycle {end + 1} or later, not {at}: one cycle or more must lie "
                "between two resets",
            )
        end = max(end, at + length)
    return tuple(BoardReset(at, length) for at, length, _ in resets)
