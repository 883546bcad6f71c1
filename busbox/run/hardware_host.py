"""A hardware device as the replay loop sees it: a model whose state is an engine's signals."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from functools import partial

from busbox.basics.hooks import is_added
from busbox.device import Answer, BusAccess, Declaration
from busbox.engines import Engine, Probe
from busbox.run.guard import GuardedReader
from busbox.run.host import DeviceHost
from busbox.system.hardware import Device


class HardwareHost(Declaration):
    """Stands for a hardware device among the models of a run (contract: :mod:`busbox.device`).

    Nothing here computes what the device does: levels, rest and registers come from the engine; events,
    text and causes come from the device's :class:`busbox.bus.hardware.NoteReader`.
    """

    in_amaranth = True

    def __init__(
        self, number: int, device: Device, host: DeviceHost, engine: Callable[[], Engine]
    ) -> None:
        self._number, self._device, self._host = number, device, host
        self._engine = engine
        kind = device.model.note_reader
        make = partial(kind, host, **device.settings)
        guarded = is_added(kind)
        self._note_reader = GuardedReader(make, kind, f"slot.{host.name}") if guarded else make()
        self._levels = {pin.name: pin.level for pin in device.pins if pin.direction == "output"}
        self._noted = -1

    # Called by the engine.

    def take_pins(self, cycle: int, levels: Iterable[tuple[str, int]]) -> None:
        """Take the levels in ``cycle`` of the output pins that may have changed."""
        held, cause = self._levels, self._note_reader.cause
        for pin, level in levels:
            if level != held[pin]:
                held[pin] = level
                self._host.edge(pin, cycle, level, cause(pin, cycle))

    def take_end(self, access: BusAccess) -> None:
        """Take an access that the device has ended."""
        self._note_reader.access(access)

    def take_notes(self, cycle: int, notes: Mapping[str, int]) -> None:
        """Take the notes of ``cycle``, once."""
        if cycle != self._noted:
            self._noted = cycle
            self._note_reader.take_notes(cycle, notes)

    # Called by the replay loop.

    @property
    def _probe(self) -> Probe:
        return self._engine().probes[self._number]

    def access(self, access: BusAccess) -> Answer:
        """Never called: the device answers on the bus."""
        raise AssertionError("a hardware device answers on the bus")

    def input(self, cycle: int, pin: str, level: int) -> None:
        """Take a level of an input pin."""
        self._probe.drive(pin, level)

    def wake(self, cycle: int) -> None:
        """Never called: hardware requests no wake."""
        raise AssertionError("a hardware device requests no wake")

    def advance(self, cycle: int) -> None:
        """Bring the pins up to ``cycle``, if it is the engine's next cycle."""
        if self._engine().cycle == cycle:
            self._probe.sample_pins()

    def close(self, cycle: int) -> None:
        """Do nothing: every cycle that was run has been sampled."""

    def reset(self, cycle: int, length: int) -> None:
        """Sample cycle ``cycle``, the last one before the registers have their reset values."""
        self._probe.sample_pins()
        self._probe.sample_notes()
        self._note_reader.reset(cycle, length)
        for pin in self._device.pins:
            if pin.direction == "output":
                self._levels[pin.name] = pin.level

    def next_edge(self, cycle: int) -> int | None:
        """Return None: unknown, but the engine stops for watched pins."""
        return None

    def rest_at(self, cycle: int) -> int:
        """Return ``cycle`` if the device is at rest in it, else the next cycle."""
        return cycle if self._probe.sample_pins() else cycle + 1

    def registers(self) -> dict[str, int]:
        """Return what a read of each register would show in the engine's next cycle."""
        if not self._device.model.listed:
            return {}
        return {
            place.name: self._probe.peek(offset)
            for offset, place in self._device.slot.table.places()
        }

    def peek(self, offset: int) -> int:
        """Return what a read at ``offset`` would show in the cycle that the engine stands before."""
        return self._probe.peek(offset)
