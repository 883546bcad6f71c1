"""A design on Amaranth's simulator, cycle by cycle, for the engine ``reference``.

Inside a cycle: inputs and reset, settle, outlets, settle, sample, tick. One test bench owns all of it:
its context sets the inputs, and a tick is two steps of the simulator, one for each edge of the clock.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from busbox.bus.wishbone.guard import breaches
from busbox.bus.wishbone.rules import RuleChecker, Sample
from busbox.cpu.commands import Command
from busbox.device import BusAccess
from busbox.engines import Observer
from busbox.engines.simulation import PORT_FIELDS, KeptSimulations, Simulation
from busbox.system.system import System


class Simulated:
    """The design of a system, run on Amaranth's simulator.

    Attributes
    ----------
    cycle : the first one that has not been run
    context : of the one test bench: it gets and sets signals in ``cycle``
    probes : the hardware devices, by the number of their slot
    observes : whether hardware devices are observed in every cycle
    noted : since this was set to False, a device has had notes that are watched
    breaches : what rule checkers saw: of all ports, or guards of those of hardware devices
    """

    def __init__(
        self,
        system: System,
        observers: Mapping[int, Observer],
        watch_ports: bool,
        kept: KeptSimulations,
    ) -> None:
        self._kept = kept
        self._simulation = kept.take(system, watch_ports)
        self._simulation.start()
        self.design = self._simulation.design
        self.cycle = 0
        self.context: Any = self._simulation.context
        self._half_tick: Any = self._simulation.half_tick
        self.probes = {
            slot: SimulatedProbe(self, slot, observers[slot]) for slot in self.design.views
        }
        self.observes = bool(self.probes)
        self.noted = False
        self._reset_cycle = -1
        self._map, self._observers = system.address_map, observers
        self._numbers = {one.name: number for number, one in enumerate(system.devices)}
        self._watch = _Watch(self._simulation) if watch_ports else None
        self.breaches: list[tuple[str, Any]] = [] if self._watch is None else self._watch.breaches

    # What the CPU's side drives.

    def request(self, command: Command) -> None:
        """Raise an access."""
        word = self.design.request_word(bool(command.write), command.address, command.lanes)
        self.context.set(self.design.request, word)
        self.context.set(self.design.data, command.data)

    def release(self) -> None:
        """Have no access up, and no reply to one."""
        self.context.set(self.design.request, 0)
        self.context.set(self.design.data, 0)
        self.context.set(self.design.reply, 0)

    def reset(self, level: int) -> None:
        """Give RST a level from ``cycle`` on."""
        if level:
            self.release()
            self._reset_cycle = self.cycle
        self.context.set(self.design.rst, level)

    def reply(self, word: int, refuse: bool) -> None:
        """Answer for the model whose outlet is called."""
        self.context.set(self.design.reply, self.design.reply_word(word, refuse))

    @property
    def status(self) -> int:
        """The word ``status`` of the design in ``cycle``."""
        return int(self.context.get(self.design.status))

    @property
    def inner(self) -> int:
        """The offset of the access in its slot."""
        return int(self.context.get(self.design.inner)) << 2

    # Cycles.

    def finish(self) -> None:
        """Give the simulator back: the run is over."""
        if self.context is not None:
            self._kept.give_back(self._simulation)
            self.context = self._half_tick = None

    def stops(self, rest: bool) -> bool:
        """Return whether something that is watched differs in ``cycle``, or all hardware rests."""
        if not self.observes:
            return False
        if self.noted or (rest and self.context.get(self.design.resting)):
            return True
        return any(probe.moved for probe in self.probes.values())

    def run(self, ended: BusAccess | None = None, address: int = 0) -> None:
        """Run ``cycle``; report what hardware devices do in it, and an access that one of them ends."""
        if self._watch is not None:
            self._watch.sample()
        if self.observes:
            for probe in self.probes.values():
                probe.sample_pins()
            if ended is not None:
                self._tell_end(ended, address)
            self._sample_notes()
        if self.cycle == self._reset_cycle:
            for probe in self.probes.values():
                probe.renew()
        self._half_tick()
        self._half_tick()
        self.cycle += 1

    def _tell_end(self, access: BusAccess, address: int) -> None:
        """Report to the observer of a hardware device the access that ends in ``cycle``."""
        found = self._map.decode(address).slot
        slot = self._numbers[found.name] if found is not None else -1
        if slot in self.probes:
            self._observers[slot].take_end(access)

    def _sample_notes(self) -> None:
        for slot, guard in self.design.guards.items():
            self.probes[slot].sample_notes()
            word = self.context.get(guard.seen) if self._watch is None else 0
            if word & 1:
                port = self.design.ports[slot + 1][0]
                self.breaches += [(port, one) for one in breaches(port, self.cycle, word)]


class SimulatedProbe:
    """How one hardware device is reached (contract of engines, 12)."""

    def __init__(self, cycles: Simulated, slot: int, observer: Observer) -> None:
        self._cycles, self._slot = cycles, slot
        self._view, self._device = cycles.design.views[slot], cycles.design.devices[slot]
        self._observer = observer
        self._last: int | None = None
        self._watched, self._needed = 0, False

    @property
    def _word(self) -> int:
        return int(self._cycles.context.get(self._cycles.design.seen[self._slot]))

    @property
    def moved(self) -> bool:
        """Whether a watched pin differs from what was last reported."""
        if not self._watched:
            return False
        before = self._last
        return before is None or (before ^ self._word) & self._watched != 0

    def watch(self, pins: Iterable[str], notes: bool) -> None:
        """Stop for these pins, and for notes."""
        self._watched |= self._view.mask(pins)
        self._needed = self._needed or notes

    def sample_pins(self) -> bool:
        """Report the pins in ``cycle``, if they changed; return whether the device is at rest in it."""
        word = self._word
        before, self._last = self._last, word
        if before is None or (before ^ word) & self._view.pin_mask:
            self._observer.take_pins(self._cycles.cycle, self._view.changes(before, word))
        return self._view.at_rest(word)

    def sample_notes(self) -> None:
        """Report the notes in ``cycle``, if there are any."""
        word = self._word
        if word & 1:
            self._observer.take_notes(self._cycles.cycle, self._view.notes(word))
            self._cycles.noted = self._cycles.noted or self._needed

    def renew(self) -> None:
        """Take what follows as new, even if it looks the same."""
        self._last = None

    def drive(self, pin: str, level: int) -> None:
        """Give an input pin a level from ``cycle`` on."""
        stem, _, number = pin.partition(".")
        member, bit = getattr(self._device, f"pin_{stem}"), int(number or 0)
        word = self._cycles.context.get(member)
        self._cycles.context.set(member, word & ~(1 << bit) | level << bit)

    def peek(self, offset: int) -> int:
        """Return what a read of a register would show in ``cycle``."""
        self._cycles.context.set(self._device.watch_adr, offset >> 2)
        return int(self._cycles.context.get(self._device.watch_data))


class _Watch:
    """Rule checkers on all ports. The cycle before cycle 0 is one with RST high."""

    def __init__(self, simulation: Simulation) -> None:
        self.breaches: list[tuple[str, Any]] = []
        self._get, self._all = simulation.context.get, simulation.watched
        chosen = simulation.design.ports
        self._ports = [(name, RuleChecker(name, first_cycle=-1)) for name, _ in chosen]
        for _, checker in self._ports:
            checker.take(Sample(1, 0, 0, 0, 0, 0, 0, 0, 0, 0))
        self._widths = [[len(getattr(port, field)) for field in PORT_FIELDS] for _, port in chosen]
        self._last = -1
        self._cycles: list[Sample] = []

    def sample(self) -> None:
        """Give the cycle to every checker."""
        word = self._get(self._all)
        if word != self._last:
            self._last = word
            self._cycles = list(self._split(word))
        for (name, checker), cycle in zip(self._ports, self._cycles, strict=True):
            for breach in checker.take(cycle):
                self.breaches.append((name, breach))

    def _split(self, word: int) -> Any:
        rst, cut, word = word & 1, word >> 1 & 1, word >> 2
        for widths in self._widths:
            values = []
            for width in widths:
                values.append(word & (1 << width) - 1)
                word >>= width
            cyc, stb, we, sel, ack, err, write_data, read_data, adr = values
            # The watchdog ends an access in place of the device, which does not see it.
            err |= stb & cut
            yield Sample(
                rst=rst, cyc=cyc, stb=stb, we=we, adr=adr, sel=sel, write_data=write_data,
                read_data=read_data, ack=ack, err=err,
            )  # fmt: skip
