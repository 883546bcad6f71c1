"""``[fabric]``: how the bus decodes and ends accesses."""

from __future__ import annotations

from collections.abc import Mapping
from typing import ClassVar, Literal

from busbox.bench.table import MOST, Positive, Table
from busbox.system.hardware import FabricOptions


class FabricTable(Table):
    """``[fabric]``."""

    unanswered: Literal["error", "silence"] = "error"
    watchdog: Positive | None = None
    registered_decode: bool = False

    expected: ClassVar[Mapping[str, str]] = {
        "watchdog": f"a whole number of cycles from 1 to {MOST}",
        "registered_decode": "true or false",
    }

    def build(self) -> FabricOptions:
        """Return the options of the fabric."""
        return FabricOptions(self.unanswered, self.watchdog, self.registered_decode)
