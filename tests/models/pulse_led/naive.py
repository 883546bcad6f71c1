"""The naive model of pulse_led: see tests/naive.py."""

from __future__ import annotations

from types import MappingProxyType
from typing import Any

from tests.models.naive_device import WORD, Access, Device, merged, ones


class PulseLed(Device):
    """Table pulse_led."""

    kinds = (
        "frame-missed",
        "frame",
        "frame-empty",
        "count-clipped",
        "high-too-long",
        "no-pulse",
        "period-zero",
        "gap-zero",
    )
    outputs = ("line",)
    plain = MappingProxyType(
        {
            0x00: ("control", 0x2),
            0x08: ("count", WORD),
            0x0C: ("high", WORD),
            0x10: ("period", WORD),
        }
    )

    def __init__(self, name: str, settings: dict[str, Any], clock_hz: int) -> None:
        self.lamps, self.channels = settings["lamps"], settings.get("channels", 3)
        order = settings.get("order") or "GRBW"[: self.channels]
        self.shifts = [{"W": 24, "R": 16, "G": 8, "B": 0}[letter] for letter in order]
        self.colour_bits = (1 << 8 * self.channels) - 1
        self.colours = {0x100 + 4 * n: 0 for n in range(self.lamps)}
        self.frames: list[tuple[int, int, list[int]]] = []
        names = {"CONTROL": 0x00, "STATUS": 0x04, "COUNT": 0x08, "HIGH": 0x0C, "PERIOD": 0x10}
        self.names = names | {f"COLOUR.{n}": 0x100 + 4 * n for n in range(self.lamps)}
        super().__init__(name, settings, clock_hz)

    def reset(self) -> None:
        """Rule 14: COLOUR is a memory and stays."""
        self.count = self.settings.get("count", 0)
        self.high = self.settings.get("high", 0)
        self.period = self.settings.get("period", 0)
        self.busy = self.starting = self.missed = False
        self.control = 0  # bit 1: REPEAT
        self.number = self.lamp = self.bit = self.clock = self.colour = self.gap_clock = 0
        self.frame_count = self.frame_high = self.frame_period = self.frame_lamps = 0

    def read(self, offset: int) -> int:
        """Table pulse_led."""
        if offset == 0x04:
            return int(self.busy) | int(self.missed) << 1
        return self.colours.get(offset, super().read(offset))

    def cycle(self, t: int) -> int:
        """Table pulse_led: the line in cycle t; a lamp is listed once its first bit is a cycle."""
        if not self.busy:
            return 0
        if self.starting:
            self.report(t)
        if self.lamp == self.frame_lamps:
            return 0
        if self.bit == 0 and self.clock == 0:
            self.frames[-1][2].append(self.colour)
        shift = self.shifts[self.bit // 8] + 7 - self.bit % 8
        high = self.frame_high >> 16 if self.colour >> shift & 1 else self.frame_high & 0xFFFF
        return 1 if self.clock < high else 0

    def report(self, t: int) -> None:
        """Table pulse_led: the events of cycle b, in the order of the table."""
        halves = (self.frame_high & 0xFFFF, self.frame_high >> 16)
        raw_period, raw_gap = self.frame_period & 0xFFFF, self.frame_period >> 16
        # READING: an empty frame stands in `frames` too, with no colours; one whose cycle b is
        # never reached (the run ends in b - 1) stands nowhere, neither as frame nor as event.
        self.frames.append((t, self.number, []))
        self.log(t, "frame" if self.frame_lamps else "frame-empty", self.number)
        # READING: the remarks follow an empty frame too; "not below P" means P as it acts.
        for kind, is_so in (
            ("count-clipped", self.frame_count > self.lamps),
            ("high-too-long", max(halves) >= (raw_period or 1)),
            ("no-pulse", min(halves) == 0),
            ("period-zero", raw_period == 0),
            ("gap-zero", raw_gap == 0),
        ):
            if is_so:
                self.log(t, kind, self.number)

    def edge(self, t: int, access: Access | None) -> None:
        """Table pulse_led: the sender first, with the state of the cycle; then the write."""
        was_busy = self.busy
        self.starting = False
        if was_busy:
            self.sender_edge()
        if access is None or not access.write:
            return
        acting = ones(access.data, access.lanes)
        if access.offset == 0x00 and acting & 1 and was_busy:
            self.missed = True
            self.log(t, "frame-missed", access.number)
        elif access.offset == 0x00 and acting & 1:
            self.send(access.number)
        elif access.offset == 0x04 and acting & 2:
            self.missed = False
        elif access.offset in self.colours:
            old = self.colours[access.offset]
            self.colours[access.offset] = merged(old, access.data, access.lanes) & self.colour_bits
        super().edge(t, access)

    def last_gap(self) -> bool:
        """Table pulse_led: this cycle is the last one of BUSY (cycle g)."""
        gap = self.frame_period >> 16 or 1
        return self.lamp == self.frame_lamps and self.gap_clock == gap - 1

    def repeating(self) -> bool:
        """Table pulse_led: a read of CONTROL in this cycle shows REPEAT."""
        return self.control >> 1 & 1 == 1

    def sender_edge(self) -> None:
        """Table pulse_led: the bits, then the gap; its last cycle g ends the frame or repeats it."""
        if self.lamp < self.frame_lamps:
            self.bit_edge()
        elif not self.last_gap():
            self.gap_clock += 1
        elif self.repeating():
            self.send(self.number)
        else:
            self.busy = False

    def bit_edge(self) -> None:
        """Table pulse_led: 8 x channels bits a lamp, of P cycles each (0 acts as 1)."""
        self.clock += 1
        if self.clock == (self.frame_period & 0xFFFF or 1):
            self.clock = 0
            self.bit += 1
        if self.bit == 8 * self.channels:
            self.bit = 0
            self.lamp += 1
            self.fetch()

    def fetch(self) -> None:
        """Table pulse_led: the colour as a read in the cycle before its first bit shows it."""
        if self.lamp < self.frame_lamps:
            self.colour = self.colours[0x100 + 4 * self.lamp]

    def send(self, number: int) -> None:
        """Table pulse_led: COUNT, HIGH and PERIOD of cycle b - 1 hold for the whole frame."""
        self.frame_count, self.frame_high, self.frame_period = self.count, self.high, self.period
        self.frame_lamps = min(self.count, self.lamps)
        self.number = number
        self.busy = self.starting = True
        self.lamp = self.bit = self.clock = self.gap_clock = 0
        self.fetch()

    def at_rest(self) -> bool:
        """Table pulse_led: not BUSY, or in cycle g of a frame that would repeat."""
        return not self.busy or (self.repeating() and self.last_gap())


NAIVE = PulseLed
