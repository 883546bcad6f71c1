"""``[[reset]]``: RST from the board."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Annotated

from busbox.basics.keys import Key
from busbox.bench.context import Context
from busbox.bench.table import MOST, SPAN_TEXT, Positive, SpanText, Table
from busbox.system.scenario import BoardReset


class ResetTable(Table):
    """``[[reset]]``."""

    at: Annotated[
        SpanText,
        Key(
            "When RST goes high; cycle 1 at the earliest.",
            SPAN_TEXT,
            "'40 us'",
            "cycles",
        ),
    ]
    length: Annotated[
        Positive,
        Key(
            "How long RST stays high.",
            f"a whole number of cycles from 1 to {MOST}",
            "16",
            "cycles",
        ),
    ] = 1


def build_resets(
    tables: Iterable[tuple[int, ResetTable]], context: Context
) -> tuple[BoardReset, ...]:
    """Return the resets in order of cycle, with at least one cycle between two."""
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
                f"must be in cycle {end + 1} or later, not {at}: there must be at least "
                "one cycle between two resets",
            )
        end = max(end, at + length)
    return tuple(BoardReset(at, length) for at, length, _ in resets)
