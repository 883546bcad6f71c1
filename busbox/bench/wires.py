"""``[[wire]]``: a wire from an output pin to an input pin."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from busbox.basics.keys import Key
from busbox.bench.pins import Pins
from busbox.bench.table import Table
from busbox.system.scenario import Wire


class WireTable(Table):
    """``[[wire]]``."""

    source: Annotated[
        str,
        Key(
            "The output pin that drives the wire.",
            "a string such as 'telegraph.tx'",
            "'telegraph.tx'",
        ),
    ] = Field(alias="from")
    to: Annotated[
        str,
        Key(
            "The input pin at its end.",
            "a string such as 'levers.in.3'",
            "'levers.in.3'",
        ),
    ]

    def build(self, number: int, pins: Pins) -> Wire | None:
        """Return the wire, or None if a mistake keeps it out."""
        start = pins.find(("wire", number, "from"), self.source, "output")
        end = pins.find(("wire", number, "to"), self.to)
        if start and end and pins.drive(("wire", number, "to"), self.to):
            return Wire(*start, *end)
        return None
