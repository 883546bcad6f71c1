"""``[[reply]]``: bytes that come back on a serial line after a text."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, ClassVar

from pydantic import Field

from busbox.basics.units import Span
from busbox.bench.context import Context
from busbox.bench.pins import Pins
from busbox.bench.table import RATE_TEXT, Bytes, Rate, SpanText, Table
from busbox.system.scenario import Reply


class ReplyTable(Table):
    """``[[reply]]``."""

    of: str
    after_text: Annotated[str, Field(min_length=1)]
    send: Bytes
    delay: SpanText = Span(cycles=0)
    rate: Rate = 115_200

    expected: ClassVar[Mapping[str, str]] = {
        "of": "the name of a slot",
        "after_text": "a text of one character or more",
        "rate": RATE_TEXT,
    }
    examples: ClassVar[Mapping[str, str]] = {
        "of": "'telegraph'",
        "after_text": "'ready?'",
        "send": "'yes'",
    }

    def build(self, number: int, pins: Pins, context: Context) -> Reply | None:
        """Return the reply, or None if a mistake keeps it out; several may share a pin."""
        path, pin = ("reply", number, "of"), f"{self.of}.rx"
        end = pins.find(path, pin)
        if end and pins.drive(path, pin, shared="reply"):
            delay = self.delay.in_cycles(context.clock_hz)
            return Reply(*end, self.after_text, self.send, delay, self.rate)
        return None
