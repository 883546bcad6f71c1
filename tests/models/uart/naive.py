"""The naive model of uart: see tests/naive.py."""

from __future__ import annotations

from types import MappingProxyType
from typing import Any

from tests.models.naive_device import Access, Device, ones


class Receiver:
    """Table uart, "Receive": two synchroniser stages and a sampler, one row at a time."""

    def __init__(self) -> None:
        self.first = self.second = self.before = 1
        self.searching = True
        self.length = 1  # D of this byte
        self.to_go = 0  # cycles up to the next sample
        self.samples = self.bits = 0

    def edge(self, pin: int, divisor: int) -> int | None:
        """One cycle: a fall starts a byte; gives the ten samples in the cycle of the last one."""
        if self.searching and self.before == 1 and self.second == 0:
            self.start(divisor)
        byte = None
        if not self.searching and self.to_go == 0:
            byte = self.sample()
        elif not self.searching:
            self.to_go -= 1
        self.before, self.second, self.first = self.second, self.first, pin
        return byte

    def start(self, divisor: int) -> None:
        """Cycle c + 2: D as DIVISOR reads now (0 acts as 1); the start check is D//2 cycles on."""
        self.length = divisor or 1
        self.to_go = self.length // 2
        self.samples = self.bits = 0
        self.searching = False

    def sample(self) -> int | None:
        """Cycle c + 2 + D//2 + k D: k = 0 start check, 1 to 8 data, 9 stop."""
        self.bits |= self.second << self.samples
        false_start = self.samples == 0 and self.second == 1
        last = self.samples == 9
        self.samples += 1
        self.to_go = self.length - 1
        self.searching = false_start or last
        return self.bits if last else None


class Uart(Device):
    """Table uart: a holding register and a shifter; a receiver and one byte that waits."""

    kinds = (
        "byte-lost",
        "framing",
        "rx-lost",
    )
    outputs = ("tx", "interrupt")
    inputs = ("rx",)
    undriven = 1
    names = MappingProxyType({"DATA": 0x00, "STATUS": 0x04, "DIVISOR": 0x08, "INTERRUPT": 0x0C})
    plain = MappingProxyType({0x08: ("divisor", 0xFFFF), 0x0C: ("interrupt", 0x3)})

    def __init__(self, name: str, settings: dict[str, Any], clock_hz: int) -> None:
        self.text = ""
        super().__init__(name, settings, clock_hz)

    def reset(self) -> None:
        """Rule 14; table uart: tx idles at 1."""
        # Halves go up, within 1 to 65535: as the package does (changed from the author's reading).
        self.divisor = self.settings.get(
            "divisor", min(max((2 * self.clock_hz + 115200) // 230400, 1), 0xFFFF)
        )
        self.full = self.lost = self.shifting = False
        self.holding = self.frame = self.bit = self.clock = 0
        self.length = 1
        self.receiver = Receiver()
        self.ready = self.rx_lost = self.framing = False
        self.byte = self.interrupt = 0

    def read(self, offset: int) -> int:
        """Table uart."""
        if offset == 0x00:
            return self.byte if self.ready else 0
        return self.status() if offset == 0x04 else super().read(offset)

    def status(self) -> int:
        """Table uart: the bits of STATUS from bit 0 on."""
        sending = int(not self.full) | int(not self.at_rest()) << 1 | int(self.lost) << 5
        return sending | int(self.ready) << 2 | int(self.rx_lost) << 3 | int(self.framing) << 4

    def last_stop(self) -> bool:
        """Table uart: this cycle is the last cycle of the stop bit."""
        return self.shifting and self.bit == 9 and self.clock == self.length - 1

    def cycle(self, t: int) -> int:
        """Table uart: tx and `interrupt`; a byte counts once its last stop cycle is a cycle."""
        asked = self.interrupt & (int(not self.full) | int(self.ready) << 1)
        line = 1
        if self.shifting:
            line = self.frame >> self.bit & 1
            if self.last_stop():
                self.text += chr(self.frame >> 1 & 0xFF)
        return line | int(asked != 0) << 1

    def edge(self, t: int, access: Access | None) -> None:
        """Table uart: the hardware, with the state of the cycle; then the write (rule 3)."""
        was_full = self.full
        self.shifter_edge()
        samples = self.receiver.edge(self.board, self.divisor)
        if access is not None:
            self.access_edge(t, access, was_full)
        if samples is not None:
            self.arrive(t, samples)
        super().edge(t, access)

    def access_edge(self, t: int, access: Access, was_full: bool) -> None:
        """Table uart: DATA sends and takes if lane 0 is selected; ones clear STATUS."""
        if access.offset == 0x04 and access.write:
            self.clear(ones(access.data, access.lanes))
        if access.offset != 0x00 or not access.lanes & 1:
            return
        if not access.write:
            self.ready = False
        elif was_full:
            self.lost = True
            self.log(t, "byte-lost", access.number)
        else:
            self.holding, self.full = access.data & 0xFF, True

    def clear(self, acting: int) -> None:
        """Table uart: bits 3 to 5 of STATUS, ones clear."""
        self.rx_lost = self.rx_lost and not acting >> 3 & 1
        self.framing = self.framing and not acting >> 4 & 1
        self.lost = self.lost and not acting >> 5 & 1

    def arrive(self, t: int, samples: int) -> None:
        """Table uart, cycle q: after a read of this cycle has made room; a set wins over a clear."""
        if not samples >> 9 & 1:
            self.framing = True
            self.log(t, "framing", -1)
        elif self.ready:
            self.rx_lost = True
            self.log(t, "rx-lost", -1)
        else:
            self.byte, self.ready = samples >> 1 & 0xFF, True

    def shifter_edge(self) -> None:
        """Table uart: take a byte, with the DIVISOR of this cycle (0 acts as 1), or go on."""
        if self.full and (not self.shifting or self.last_stop()):
            self.frame = self.holding << 1 | 0x200
            self.length = self.divisor or 1
            self.full, self.shifting = False, True
            self.bit = self.clock = 0
        elif self.shifting:
            self.shifting = not self.last_stop()
            self.clock += 1
            if self.clock == self.length:
                self.clock = 0
                self.bit += 1

    def at_rest(self) -> bool:
        """Table uart: TX_BUSY is 0 (receiving does not count)."""
        return not (self.shifting or self.full)


NAIVE = Uart
