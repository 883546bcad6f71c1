"""``[fabric]``: how the bus decodes and ends accesses."""

from __future__ import annotations

from typing import Annotated, Literal

from busbox.basics.keys import Key
from busbox.bench.table import MOST, Positive, Table
from busbox.system.hardware import FabricOptions


class FabricTable(Table):
    """``[fabric]``."""

    unanswered: Annotated[
        Literal["error", "silence"],
        Key(
            "What ends an access that no slot decodes: ERR, or nothing.",
            "'error' or 'silence'",
            "'silence'",
        ),
    ] = "error"
    watchdog: Annotated[
        Positive | None,
        Key(
            "Ends any access with ERR that is unanswered after so many cycles.",
            f"a whole number of cycles from 1 to {MOST}",
            "64",
            "cycles",
            "no watchdog",
        ),
    ] = None
    registered_decode: Annotated[
        bool,
        Key(
            "Puts a register after the decoder: one cycle more for every access.",
            "true or false",
            "true",
        ),
    ] = False

    def build(self) -> FabricOptions:
        """Return the options of the fabric."""
        return FabricOptions(self.unanswered, self.watchdog, self.registered_decode)
