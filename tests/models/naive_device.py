"""What the naive models of all devices share: see tests/naive.py."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from tests.naive import Slot

WORD = 0xFFFFFFFF
LANES = [sum(0xFF << 8 * k for k in range(4) if lanes >> k & 1) for lanes in range(16)]


def ones(data: int, lanes: int) -> int:
    """Every device: the bits of selected lanes; a lane that is not selected counts as zeros."""
    return data & LANES[lanes]


def merged(old: int, data: int, lanes: int) -> int:
    """Every device: a write changes only the bytes whose lane is selected."""
    return (old & ~LANES[lanes] | data & LANES[lanes]) & WORD


@dataclass(slots=True)
class Access:
    """One access on the bus (rule 1). `age` and `held` count the cycles it has been up and shown."""

    number: int
    start: int
    address: int
    write: bool
    lanes: int
    data: int
    step: int
    slot: Slot | None = None
    offset: int = 0
    age: int = 0
    held: int = 0


class Device:
    """What all devices share: a hole reads 0, drops a write and is acknowledged (table)."""

    # READING: "as listed on the page" is the order in which the tables first name each kind, so
    # `frame-missed` comes before a `frame` of the same cycle and slot; the two of receive come after
    # `byte-lost`, as the newer table comes after the older one.
    kinds: tuple[str, ...] = ()
    outputs: tuple[str, ...] = ()
    inputs: tuple[str, ...] = ()
    undriven = 0  # the level of an input pin that nothing drives
    names: Mapping[str, int] = MappingProxyType({})
    # rw registers: offset -> (attribute, its bits)
    plain: Mapping[int, tuple[str, int]] = MappingProxyType({})

    def __init__(self, name: str, settings: dict[str, Any], clock_hz: int) -> None:
        self.name, self.settings, self.clock_hz = name, settings, clock_hz
        self.events: list[tuple[int, str, str, int]] = []
        self.output_bit = {pin: n for n, pin in enumerate(self.outputs)}
        self.input_bit = {pin: n for n, pin in enumerate(self.inputs)}
        self.board = sum(self.undriven << n for n in range(len(self.inputs)))
        self.released = 0  # the outputs that are released in this cycle, bit k for outputs[k]
        self.noted: tuple[int, int] | None = None  # the output pins as last recorded
        self.shown = 0  # the output pins of this cycle
        self.reset()

    def drive(self, pin: str, level: int) -> None:
        """Rule 24, addition 4: the level that an input pin has in this cycle."""
        bit = self.input_bit[pin]
        self.board = self.board & ~(1 << bit) | (self.undriven if level == 2 else level) << bit

    def level(self, pin: str) -> int:
        """Additions 1, 3 and 4: the level of a pin in this cycle (2: a released output)."""
        if pin in self.input_bit:
            return self.board >> self.input_bit[pin] & 1
        bit = self.output_bit[pin]
        return 2 if self.released >> bit & 1 else self.shown >> bit & 1

    def log(self, cycle: int, kind: str, number: int) -> None:
        """Interface: one event."""
        self.events.append((cycle, self.name, kind, number))

    def answer(self, offset: int, held: int) -> str:
        """Table: all but the holder answer at once (k = 0)."""
        return "ack"

    def reset(self) -> None:
        """Rule 14: registers to their reset values."""

    def read(self, offset: int) -> int:
        """Rule 2: what a read in this cycle shows."""
        return getattr(self, self.plain[offset][0]) if offset in self.plain else 0

    def write_plain(self, offset: int, data: int, lanes: int) -> None:
        """Every device: an rw register takes the selected lanes of the bits that exist."""
        if offset in self.plain:
            attribute, bits = self.plain[offset]
            setattr(self, attribute, merged(getattr(self, attribute), data, lanes) & bits)

    def cycle(self, t: int) -> int:
        """Output levels of cycle t, bit k for outputs[k]."""
        return 0

    def edge(self, t: int, access: Access | None) -> None:
        """The edge that ends cycle t; `access` is the one acknowledged in t by this device."""
        if access is not None and access.write:
            self.write_plain(access.offset, access.data, access.lanes)

    def at_rest(self) -> bool:
        """Rule 19."""
        return True
