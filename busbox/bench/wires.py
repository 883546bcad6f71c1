"""``[[wire]]``: a wire from an output pin to an input pin."""

from __future__ import annotations

from collections.abc import Mapping
from typing import ClassVar

from pydantic import Field

from busbox.bench.pins import Pins
from busbox.bench.table import Table
from busbox.system.scenario import Wire


class WireTable(Table):
    """``[[wire]]``."""

    source: str = Field(alias="from")
    to: str

    examples: ClassVar[Mapping[str, str]] = {"from": "'telegraph.tx'", "to": "'levers.in.3'"}
    expected: ClassVar[Mapping[str, str]] = {
        key: f"a text such as {text}" for key, text in examples.items()
    }

    def build(self, number: int, pins: Pins) -> Wire | None:
        """Return the wire, or None if a mistake keeps it out."""
        start = pins.find(("wire", number, "from"), self.source, "output")
        end = pins.find(("wire", number, "to"), self.to)
        if start and end and pins.drive(("wire", number, "to"), self.to):
            return Wire(*start, *end)
        return None
