"""``[[reply]]``: bytes that come back on a serial line after a text."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from busbox.basics.keys import Key
from busbox.basics.units import Span
from busbox.bench.context import Context
from busbox.bench.inputs import rate_fits
from busbox.bench.pins import Pins
from busbox.bench.table import BYTES_TEXT, RATE_TEXT, SPAN_TEXT, Bytes, Rate, SpanText, Table
from busbox.system.scenario import Reply


class ReplyTable(Table):
    """``[[reply]]``."""

    of: Annotated[str, Key("The slot that hears the reply.", "the name of a slot", "'telegraph'")]
    after_text: Annotated[
        str,
        Field(min_length=1),
        Key(
            "The text of the slot that is answered.",
            "a string of at least one character",
            "'ready?'",
        ),
    ]
    send: Annotated[Bytes, Key("Bytes that come back.", BYTES_TEXT, "'yes'")]
    delay: Annotated[
        SpanText,
        Key(
            "Time from the end of the text to the first byte.",
            SPAN_TEXT,
            "'1 ms'",
            "cycles",
        ),
    ] = Span(cycles=0)
    rate: Annotated[Rate, Key("Rate of the bytes.", RATE_TEXT, "9600", "bits per second")] = 115_200

    def build(self, number: int, pins: Pins, context: Context) -> Reply | None:
        """Return the reply, or None if a mistake keeps it out; several may share a pin."""
        path, pin = ("reply", number, "of"), f"{self.of}.rx"
        end = pins.find(path, pin)
        if end and pins.drive(path, pin, shared="reply"):
            if not rate_fits(("reply", number, "rate"), self.rate, context):
                return None
            delay = self.delay.in_cycles(context.clock_hz)
            return Reply(*end, self.after_text, self.send, delay, self.rate)
        return None
