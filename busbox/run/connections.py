"""What is connected to pins: wires from pin to pin, replies to text, pins that the CPU watches.

A wire drives an input pin, in each cycle, with the level of an output pin in that cycle; a released
output leaves the input at its undriven level. No model is called in every cycle: a device whose pins
are watched says when they may change (``next_edge``).
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from fractions import Fraction

from busbox.basics.errors import InputError, nearest
from busbox.device import RELEASED, LiveDevice
from busbox.engines import Engine
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


class Connections:
    """The connections of one run.

    Attributes
    ----------
    watched : watched pins, by the number of their device
    """

    def __init__(
        self,
        system: System,
        hosts: Sequence[DeviceHost],
        models: Sequence[LiveDevice],
        engine: Engine,
    ) -> None:
        self._system, self._hosts, self._models = system, hosts, models
        self._engine = engine
        self._names = [device.name for device in system.devices]
        self._places = {
            f"{device.name}.{pin.name}": (number, pin.name)
            for number, device in enumerate(system.devices)
            for pin in device.pins
        }
        self.watched: dict[int, set[str]] = {}
        self._given: dict[tuple[int, str], int] = {}
        self._texts: list[tuple[int, str]] = [(0, "")] * len(system.replies)
        self._sending: list[tuple[int, int, int]] = []
        for wire in system.wires:
            self._listen(wire.from_device, (wire.from_pin,))
            pins = {pin.name: pin for pin in system.devices[wire.to_device].pins}
            self._given[wire.to_device, wire.to_pin] = pins[wire.to_pin].level
        self._undriven = dict(self._given)
        for reply in system.replies:
            self._listen(reply.device, (), notes=True)

    def _listen(self, device: int, pins: Iterable[str], notes: bool = False) -> None:
        """Watch pins for changes, or text for the end of each character, from now on."""
        self.watched.setdefault(device, set()).update(pins)
        if self._models[device].in_amaranth:
            self._engine.probes[device].watch(pins, notes)

    def watch(self, pin: str) -> None:
        """Watch a pin, such as ``clock.ring``, for changes from now on.

        Raises
        ------
        ValueError : there is no such pin
        """
        device, name = self.place(pin)
        if self._hosts[device].is_output(name):
            self._listen(device, (name,))

    def place(self, pin: str) -> tuple[int, str]:
        """Return the number of a pin's device, and its name there.

        Raises
        ------
        ValueError : there is no such pin
        """
        found = self._places.get(pin)
        if found is not None:
            return found
        slot, _, name = pin.partition(".")
        if slot not in self._names:
            raise ValueError(f"there is no slot {slot!r}{nearest(slot, self._names)}")
        pins = [one.name for one in self._system.devices[self._names.index(slot)].pins]
        raise ValueError(f"{slot} has no pin {name!r}{nearest(name, pins)}")

    def level(self, pin: str, cycle: int) -> int:
        """Return the level of a pin in ``cycle``, the present cycle of the run.

        Raises
        ------
        ValueError : there is no such pin
        """
        device, name = self.place(pin)
        self._models[device].advance(cycle)
        return self._hosts[device].level(name, cycle)

    def wired(self, cycle: int) -> Iterator[InputLevel]:
        """Yield the levels that wires bring to input pins in ``cycle``."""
        advanced: set[int] = set()
        for wire in self._system.wires:
            if wire.from_device not in advanced:
                self._models[wire.from_device].advance(cycle)
                advanced.add(wire.from_device)
            level = self._hosts[wire.from_device].level(wire.from_pin, cycle)
            end = wire.to_device, wire.to_pin
            if level == RELEASED:
                level = self._undriven[end]
            if level != self._given[end]:
                self._given[end] = level
                yield InputLevel(cycle, *end, level)
                advanced.clear()  # a device may have been given an input

    def replies(self, cycle: int) -> Iterator[InputLevel]:
        """Yield the levels of replies to text that was complete before ``cycle``."""
        for number, reply in enumerate(self._system.replies):
            count, text = self._texts[number]
            self._models[reply.device].advance(cycle)
            for ended, byte in self._hosts[reply.device].characters_from(count):
                if ended >= cycle:
                    break
                count, text = count + 1, text + chr(byte)
                if text.endswith(reply.after):
                    self._keep_free(number, ended + 1 + reply.delay, cycle)
                    yield from self._answer(reply, ended + 1 + reply.delay)
            self._texts[number] = count, text

    def _keep_free(self, number: int, start: int, cycle: int) -> None:
        """Refuse the bytes of a reply that others leave no room for.

        Parameters
        ----------
        start : cycle of the first start bit
        cycle : the present cycle
        """
        replies, clock = self._system.replies, self._system.clock_hz
        reply = replies[number]
        bits = FRAME_BITS * len(reply.send)
        end = start + -(-bits * clock // reply.rate)
        self._sending = [one for one in self._sending if one[1] > cycle]
        for begin, free, other in self._sending:
            same = (replies[other].device, replies[other].pin) == (reply.device, reply.pin)
            if same and start < free and begin < end:
                pin = f"{self._names[reply.device]}.{reply.pin}"
                raise InputError.of(
                    f"its bytes keep {pin} from cycle {start:,} until cycle {end:,}, those of "
                    f"reply.{other} from cycle {begin:,} until cycle {free:,}; choose another delay",
                    key=f"reply.{number}",
                )
        self._sending.append((start, end, number))

    def _answer(self, reply: Reply, start: int) -> Iterator[InputLevel]:
        for cycle, level in serial_levels(reply.send, start, self._system.clock_hz, reply.rate):
            yield InputLevel(cycle, reply.device, reply.pin, level)

    def next_change(self, device: int, cycle: int) -> int | None:
        """Return the first cycle after ``cycle`` in which watched pins or text may change."""
        pins = self.watched.get(device)
        if pins is None:
            return None
        cycles = [self._models[device].next_edge(cycle), self._hosts[device].next_text(cycle)]
        cycles += [self._hosts[device].next_edge(pin, cycle) for pin in pins]
        return min((change for change in cycles if change is not None), default=None)

    def next_change_of_all(self, cycle: int) -> int | None:
        """Return the first cycle after ``cycle`` in which anything watched may change."""
        changes = [self.next_change(device, cycle) for device in self.watched]
        return min((cycle for cycle in changes if cycle is not None), default=None)
