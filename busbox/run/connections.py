"""What is connected to pins: wires from pin to pin, replies to text, pins that the CPU looks at.

A wire gives an input pin, in each row, the level of an output pin in that row; a released output gives
the level that the input has while nothing drives it. Nothing here calls a model once a cycle: a device
whose pins somebody looks at says when they may change (``next_edge``).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from fractions import Fraction

from busbox.device import RELEASED, LiveDevice
from busbox.run.host import DeviceHost
from busbox.system.scenario import InputLevel, Reply
from busbox.system.system import System

#: Bit times of a byte on a serial line: start, eight data bits, stop. Source: common practice (8N1).
FRAME_BITS = 10


def serial_levels(
    data: bytes, start: int, clock_hz: int, rate: int, spacing: Fraction = Fraction(0)
) -> Iterator[tuple[int, int]]:
    """Yield (cycle, level) of bytes on a serial line, 8N1, least significant bit first.

    Every edge is computed from the start, and rounded up to a cycle (semantics page, rule 23).

    Parameters
    ----------
    start : cycle of the first start bit
    rate : bits per second
    spacing : seconds between the stop bit of a byte and the next start bit
    """
    bit = Fraction(clock_hz, rate)
    level = 1
    for number, byte in enumerate(data):
        begin = number * (FRAME_BITS * bit + spacing * clock_hz)
        frame = byte << 1 | 1 << 9
        for place in range(FRAME_BITS):
            if frame >> place & 1 != level:
                level ^= 1
                yield start + -(-(begin + place * bit) // 1), level


#: Has an engine stop for pins of a hardware device, and for its notes.
Heed = Callable[[int, Iterable[str], bool], None]


class Connections:
    """The connections of one run.

    Attributes
    ----------
    watched : pins that somebody looks at, by the number of their device
    """

    def __init__(
        self,
        system: System,
        hosts: Sequence[DeviceHost],
        models: Sequence[LiveDevice],
        heed: Heed,
    ) -> None:
        self._system, self._hosts, self._models, self._heed = system, hosts, models, heed
        self._names = [device.name for device in system.devices]
        self.watched: dict[int, set[str]] = {}
        self._given: dict[tuple[int, str], int] = {}
        self._texts: dict[Reply, tuple[int, str]] = dict.fromkeys(system.replies, (0, ""))
        for wire in system.wires:
            self._listen(wire.from_device, (wire.from_pin,))
            pins = {pin.name: pin for pin in system.devices[wire.to_device].pins}
            self._given[wire.to_device, wire.to_pin] = pins[wire.to_pin].level
        self._undriven = dict(self._given)
        for reply in system.replies:
            self._listen(reply.device, (), notes=True)

    def _listen(self, device: int, pins: Iterable[str], notes: bool = False) -> None:
        """Have changes of pins, or the end of each character, looked for from now on."""
        self.watched.setdefault(device, set()).update(pins)
        if self._models[device].in_amaranth:
            self._heed(device, pins, notes)

    def watch(self, pin: str) -> None:
        """Have a pin's changes looked for from now on; ``pin`` is such as ``clock.ring``."""
        device, name = self._place(pin)
        if self._hosts[device].is_output(name):
            self._listen(device, (name,))

    def _place(self, pin: str) -> tuple[int, str]:
        slot, _, name = pin.partition(".")
        return self._names.index(slot), name

    def level(self, pin: str, row: int) -> int:
        """Return the level of a pin in ``row``, the row that the run has come to."""
        device, name = self._place(pin)
        self._models[device].advance(row)
        return self._hosts[device].level(name, row)

    def wired(self, row: int) -> Iterator[InputLevel]:
        """Yield the levels that wires bring to input pins in ``row``."""
        for wire in self._system.wires:
            self._models[wire.from_device].advance(row)
            level = self._hosts[wire.from_device].level(wire.from_pin, row)
            end = wire.to_device, wire.to_pin
            if level == RELEASED:
                level = self._undriven[end]
            if level != self._given[end]:
                self._given[end] = level
                yield InputLevel(row, *end, level)

    def replies(self, row: int) -> Iterator[InputLevel]:
        """Yield the levels of replies to text that was complete before ``row``."""
        for reply, (count, text) in self._texts.items():
            self._models[reply.device].advance(row)
            for cycle, byte in self._hosts[reply.device].characters_from(count):
                if cycle >= row:
                    break
                count, text = count + 1, text + chr(byte)
                if text.endswith(reply.after):
                    yield from self._answer(reply, cycle + 1 + reply.delay)
            self._texts[reply] = count, text

    def _answer(self, reply: Reply, start: int) -> Iterator[InputLevel]:
        for cycle, level in serial_levels(reply.send, start, self._system.clock_hz, reply.rate):
            yield InputLevel(cycle, reply.device, reply.pin, level)

    def next_change(self, device: int, cycle: int) -> int | None:
        """Return the first row after ``cycle`` in which something watched of a device may change."""
        pins = self.watched.get(device)
        if pins is None:
            return None
        rows = [self._models[device].next_edge(cycle), self._hosts[device].next_text(cycle)]
        rows += [self._hosts[device].next_edge(pin, cycle) for pin in pins]
        return min((row for row in rows if row is not None), default=None)

    def next_change_of_all(self, row: int) -> int | None:
        """Return the first row after ``row`` in which anything watched may change."""
        rows = [self.next_change(device, row) for device in self.watched]
        return min((row for row in rows if row is not None), default=None)
