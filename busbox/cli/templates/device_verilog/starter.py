"""starter: a lamp whose brightness is set by firmware. The model of starter.v."""

from __future__ import annotations

from pathlib import Path

from busbox import CycleModel, Pin, Setting, load_registers


class Starter(CycleModel):
    """A lamp whose brightness is set by firmware.

    Pins
    ----
    ``lamp`` output, 0 after reset.

    Timing
    ------
    COUNT is 0 in cycle 0 and after a reset, and counts from 0 to period - 1, then starts again. The
    lamp is on in cycle c + 1 if COUNT was less than LEVEL in cycle c. Always at rest.
    """

    twin = "starter.v:starter"
    settings = (
        Setting("period", 255, low=1, high=255, text="cycles of one period", unit="cycles"),
    )
    table = load_registers("starter.toml", Path(__file__).parent)
    pins = (Pin("lamp", text="On for LEVEL cycles of every period."),)
    count = 0

    def tick(self, cycle: int) -> None:
        """Do what the clock edge at the end of a cycle does."""
        self.drive("lamp", int(self.count < self.stored["LEVEL"]))
        self.count = (self.count + 1) % self.options["period"]

    def show_COUNT(self) -> int:
        """Return what a read of COUNT shows."""
        return self.count

    def clear(self) -> None:
        """Reset what is in no register."""
        self.count = 0
