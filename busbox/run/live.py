"""A terminal at the far end of a serial line while a run goes on.

What the device sends is shown as it is sent; what is typed reaches its pin ``rx`` in the cycle in which
the run is then. Everything typed is kept as what a bench calls ``[[input]]``: a run of the bench with
these tables is the same run: the cycle in which the terminal was closed is among them, as a level that
changes nothing, since up to there a core that sleeps waits for what may still be typed.
"""

from __future__ import annotations

import json
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Protocol

from busbox.basics.errors import InputError, join_or, nearest
from busbox.device import LiveDevice
from busbox.run.connections import FRAME_BITS, serial_levels
from busbox.run.host import DeviceHost
from busbox.system.scenario import InputLevel
from busbox.system.system import System

#: Looks at the terminal in a second, of simulated time and of the clock on the wall.
LOOKS = 100
#: Later than any cycle.
NEVER = 1 << 62
#: Bits per second where neither a terminal nor a register says it, as in ``[[input]]``.
USUAL = 115_200
#: The pin that receives, what a device must send, and the register with the cycles of a bit.
PIN, SENT, DIVISOR = "rx", "text", "DIVISOR"


class Far(Protocol):
    """What is at the far end.

    Attributes
    ----------
    ended : the person there has ended the run
    closed : nothing more will be typed
    """

    @property
    def ended(self) -> bool:
        """Whether the run is to end."""

    @property
    def closed(self) -> bool:
        """Whether nothing more will be typed."""

    def show(self, data: bytes) -> None:
        """Show what the device has sent."""

    def typed(self, wait: float) -> bytes:
        """Return what has been typed; wait so many seconds for it if there is nothing."""


@dataclass(frozen=True)
class Typed:
    """Bytes that were typed at once.

    Attributes
    ----------
    at : cycle of the first start bit
    data : the bytes
    rate : bits per second
    """

    at: int
    data: bytes
    rate: int


class Live:
    """A terminal that is connected to a run.

    Parameters
    ----------
    slot : name of the serial port's slot
    far : the terminal
    pace : simulated seconds in a second, at most; None: as fast as possible
    clock : seconds on the wall

    Attributes
    ----------
    inputs : what was typed
    closed_at : the cycle from which on nothing more was typed, or None
    ended : the run is to end
    """

    def __init__(
        self,
        slot: str,
        far: Far,
        pace: float | None = None,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self.slot, self._far, self._pace, self._now = slot, far, pace, clock
        self.inputs: list[Typed] = []
        self.closed_at: int | None = None
        self.ended = False
        self._next = self._free = self._shown = 0
        self._last = -1
        self._begun = self._due = 0.0

    def connect(
        self, system: System, hosts: Sequence[DeviceHost], models: Sequence[LiveDevice]
    ) -> None:
        """Connect it to the devices of a run.

        Raises
        ------
        InputError : the slot has no serial port, or something else drives its pin
        """
        self._number = port_of(system, self.slot)
        self._system, self._model = system, models[self._number]
        self._host, self._clock = hosts[self._number], system.clock_hz
        self._interval = max(1, int(system.clock_hz / LOOKS * min(1.0, self._pace or 1.0)))
        self._begun = self._now()

    @property
    def waited_for(self) -> bool:
        """Whether something may still be typed, so that a core that sleeps may wake."""
        return self.closed_at is None

    @property
    def next(self) -> int:
        """The cycle in which it is to be asked again, at the latest."""
        return NEVER if self.ended else self._next

    def look(self, cycle: int, last: bool) -> Iterator[InputLevel]:
        """Show what was sent before a cycle; yield the levels of what has been typed.

        Not if neither the run nor the clock on the wall has gone on much since the last time. ``last``:
        the run ends with this cycle, so that nothing more can be typed.
        """
        if not (last or self._far.ended) and cycle < self._next and self._now() < self._due:
            return
        self.show(cycle)
        data = self._typed(cycle)
        if data:
            yield from self._levels(data, cycle)
        self.ended = self._far.ended
        if self.closed_at is None and (last or self.ended or self._far.closed):
            self.closed_at = cycle
        self._next, self._due = cycle + self._interval, self._now() + 1 / LOOKS

    def show(self, cycle: int) -> None:
        """Show what was sent before a cycle."""
        sent = bytes(byte for end, byte in self._host.characters_from(self._shown) if end < cycle)
        self._shown += len(sent)
        if sent:
            self._far.show(sent)

    def _typed(self, cycle: int) -> bytes:
        """Return what has been typed, not before a clock on the wall has come as far as the run."""
        data = self._far.typed(0)
        if self._pace is not None:
            due = self._begun + cycle / self._clock / self._pace
            while not self._far.ended and (left := due - self._now()) > 0:
                data += self._far.typed(left)
        return data

    def _levels(self, data: bytes, cycle: int) -> Iterator[InputLevel]:
        rate = self._rate()
        start = max(cycle, self._free)
        self.inputs.append(Typed(start, data, rate))
        self._free = start + -(-len(data) * FRAME_BITS * self._clock // rate)
        for at, level in serial_levels(data, start, self._clock, rate):
            self._last = at
            yield InputLevel(at, self._number, PIN, level)

    def _rate(self) -> int:
        """Return the rate of an attached terminal, else that by which the port divides the clock."""
        for one in self._system.attached:
            if one.device == self._number and "baud" in one.part.options:
                return max(1, round(float(one.part.options["baud"])))
        register = self._system.devices[self._number].slot.table.offset_of(DIVISOR)
        if register is None:
            return USUAL
        return max(1, round(self._clock / max(1, self._model.peek(register))))

    def tables(self) -> list[Mapping[str, Any]]:
        """Return what was typed, as tables ``[[input]]`` of a bench."""
        pin = f"{self.slot}.{PIN}"
        typed: list[Mapping[str, Any]] = [
            {"at": one.at, "pin": pin, "bytes": list(one.data), "rate": one.rate}
            for one in self.inputs
        ]
        if self.closed_at is not None and self.closed_at > self._last:
            typed.append({"at": self.closed_at, "pin": pin, "level": 1})
        return typed

    def toml(self) -> str:
        """Return what was typed, as it is written in a bench file."""
        return "\n".join(
            "\n".join(["[[input]]", *(f"{key} = {_value(value)}" for key, value in table.items())])
            + "\n"
            for table in self.tables()
        )


def looked(live: Live | None, cycle: int, until: int, add: Callable[[InputLevel], None]) -> int:
    """Deliver what was typed at a terminal; return the cycle before which the run ends at last."""
    if live is None:
        return until
    for level in live.look(cycle, last=cycle == until - 1):
        add(level)
    return min(until, cycle + 1) if live.ended else until


def _value(value: Any) -> str:
    """Return a value as TOML; bytes are a string, one character a byte (Latin-1)."""
    text = bytes(value).decode("latin-1") if isinstance(value, list) else value
    return json.dumps(text).replace("\x7f", "\\u007f")


def port_of(system: System, slot: str) -> int:
    """Return the number of the device in a slot that a terminal can be connected to.

    Raises
    ------
    InputError : there is no such slot, it has no serial port, or something else drives its pin
    """
    ports = [
        device.name
        for device in system.devices
        if SENT in device.model.sends
        and any(pin.name == PIN and pin.direction == "input" for pin in device.pins)
    ]
    if slot not in ports:
        known = f"known: {join_or(ports)}" if ports else "the bench has none"
        text = f"there is no slot {slot!r} with a serial port and a pin {PIN}"
        raise InputError.of(f"{text}{nearest(slot, ports)} ({known})", key="live")
    number = [device.name for device in system.devices].index(slot)
    at = (number, PIN)
    driven = {(one.device, one.pin) for one in system.inputs}
    driven |= {(one.device, one.pin) for one in system.replies}
    driven |= {(one.to_device, one.to_pin) for one in system.wires}
    if at in driven:
        text = (
            f"{slot}.{PIN} is driven already, by an input, a wire, a reply or a driver of the bench"
        )
        raise InputError.of(text, key="live")
    return number
