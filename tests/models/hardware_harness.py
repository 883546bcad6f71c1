"""Plays a model and its twin in hardware side by side, and compares them in every cycle.

The model is called by its contract, the twin is driven on its ports in Amaranth's simulator. In every
cycle the two must show the same: terminator, word read, every register, every pin, rest. What they have
told is compared at the end: edges with what caused them, events, text. While no access is up, CYC,
address, WE, lanes and data are noise: only STB makes an access.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Collection, Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any

from amaranth.hdl import Cat, ClockDomain, Module, Mux, Signal
from amaranth.sim import Simulator

from busbox.device import RELEASED, BusAccess, Site
from busbox.device.twins import twin_of
from busbox.map.slots import Slot
from busbox.run.host import DeviceHost
from busbox.system.hardware import Device

CLOCK_HZ = 16_000_000
ALL = 0b1111


@dataclass(frozen=True)
class Aimed:
    """An access that ends in cycle ``end``; without ``data`` it is a read."""

    end: int
    offset: int
    data: int | None = None
    lanes: int = ALL

    def seen(self, cycle: int, number: int) -> BusAccess:
        """Return it as a model sees it."""
        return BusAccess(
            cycle, self.offset, self.data is not None, self.data or 0, self.lanes, number
        )


@dataclass(frozen=True)
class Case:
    """What reaches both sides: accesses, (cycle, input pin, level), (first cycle, cycles) of each
    reset.

    An access that meets a reset does not happen.
    """

    accesses: Sequence[Aimed] = ()
    inputs: Sequence[tuple[int, str, int]] = ()
    resets: Sequence[tuple[int, int]] = ()


class _Schedule:
    """A case by cycles: the access that is up, levels that begin, lengths of resets, cycles with
    RST.
    """

    def __init__(self, case: Case, wait: int, cycles: int) -> None:
        assert all(wait <= one.end < cycles for one in case.accesses), (
            "an access outside the cycles"
        )
        self.lengths = dict(case.resets)
        self.high = {cycle + k for cycle, length in case.resets for k in range(length)}
        assert len(self.high) == sum(length for _, length in case.resets), "resets share a cycle"
        spans = [(one, range(one.end - wait, one.end + 1)) for one in case.accesses]
        happen = [(one, span) for one, span in spans if self.high.isdisjoint(span)]
        self.up = {cycle: one for one, span in happen for cycle in span}
        assert len(self.up) == len(happen) * (wait + 1), "two accesses share a cycle"
        self.levels: dict[int, list[tuple[str, int]]] = {}
        for cycle, pin, level in case.inputs:
            self.levels.setdefault(cycle, []).append((pin, level))


class Pair:
    """Model and twin of one device, each with a host of its own, to be played once.

    Parameters
    ----------
    model : class of the model, which names its twin
    size, base : of the slot, in bytes
    settings : of both, every declared one that differs from its default

    Attributes
    ----------
    hosts : what the model and the twin's note reader have told
    first : what the model calls cycle 0
    preset : signals of the twin that another value is put into in cycle 0, by name
    ahead : the model reports events of cycles to come, so that their order is that of their cycles
    """

    first = 0
    ahead = False

    def __init__(self, model: Any, size: int, base: int = 0, **settings: Any) -> None:
        settings = {one.name: one.default for one in model.settings} | settings
        pins = tuple(model.pins_for(settings))
        self._device = Device(Slot("dev", base, size), model, "dev", settings, pins)
        self.hosts = [DeviceHost(self._device, CLOCK_HZ, _no_wake) for _ in range(2)]
        self.model = model(self.hosts[0], **settings)
        self.preset: dict[str, int] = {}
        self._noise = random.Random(0)
        self._words_read: list[int] = []
        self._count = 0

    def play_each(self, cases: Sequence[Case], cycles: int, wait: int = 0) -> list[int]:
        """Play the cases one after the other, each in so many cycles and one more, of a reset.

        An input has its declared level again where a case begins. Return the words read.
        """
        accesses: list[Aimed] = []
        inputs: list[tuple[int, str, int]] = []
        resets: list[tuple[int, int]] = []
        for place, case in enumerate(cases):
            _Schedule(case, wait, cycles)
            assert all(cycle < cycles for cycle, *_ in case.inputs), case
            assert all(cycle + length <= cycles for cycle, length in case.resets), case
            begin = place * (cycles + 1)
            accesses += [replace(one, end=begin + one.end) for one in case.accesses]
            inputs += [(begin + cycle, pin, level) for cycle, pin, level in case.inputs]
            moved = {pin for _, pin, _ in case.inputs}
            inputs += [
                (begin + cycles, pin.name, pin.level)
                for pin in self._device.pins
                if pin.name in moved
            ]
            resets += [(begin + cycle, length) for cycle, length in (*case.resets, (cycles, 1))]
        return self.play(Case(accesses, inputs, resets), len(cases) * (cycles + 1) + 4, wait)

    def play(self, case: Case, cycles: int, wait: int = 0) -> list[int]:
        """Play the cycles 0 to ``cycles - 1``, compare, and return the words read.

        An access is on the port for ``wait`` cycles before its STB.
        """
        schedule, top, finished = _Schedule(case, wait, cycles), Module(), []
        self._build_twin()
        top.domains.sync = domain = ClockDomain()
        top.submodules.twin = self._twin
        bus = self._twin.bus
        port = Cat(bus.cyc, bus.stb, bus.we, bus.sel, bus.write_data, bus.adr)
        self._driven = Signal(len(port))  # one signal, since each that is set is settled alone
        top.d.comb += port.eq(self._driven)

        async def bench(context: Any) -> None:
            self._context = context
            for name, level in self.preset.items():
                context.set(getattr(self._twin, name), level)
            for cycle in range(cycles):
                if (cycle in schedule.high) != (cycle - 1 in schedule.high):
                    context.set(domain.rst, cycle in schedule.high)
                self._cycle(schedule, cycle, self.first + cycle)
                await context.tick()
            finished.append(True)

        simulator = Simulator(top)
        simulator.add_clock(1e-6)
        simulator.add_testbench(bench)
        simulator.run()
        assert finished == [True]
        self._compare_told(self.first + cycles - 1)
        return self._words_read

    def _build_twin(self) -> None:
        slot, settings = self._device.slot, self._device.settings
        hardware = twin_of(self._device.model, "dev")
        self._twin = twin = hardware(Site("dev", slot.base, slot.size, CLOCK_HZ), **settings)
        self._note_reader = hardware.note_reader(self.hosts[1], **settings)
        self._notes = {name: getattr(twin, f"note_{name}") for name in twin.note_widths(settings)}
        self._words = {place.name: at >> 2 for at, place in twin.declared.places()}
        self._watched = [*self._words.items()]
        outputs = [pin for pin in self._device.pins if pin.direction == "output"]
        self._levels = {pin.name: self._bit(pin.name) for pin in outputs}
        for pin in outputs:
            if pin.released:
                driven = self._bit(pin.name, "_enable")
                self._levels[pin.name] = Mux(driven, self._bit(pin.name), RELEASED)

    def _bit(self, pin: str, suffix: str = "") -> Any:
        """Return the bit of the twin that is a pin, or a pin's enable."""
        stem, _, number = pin.partition(".")
        return getattr(self._twin, f"pin_{stem}{suffix}")[int(number or 0)]

    def _cycle(self, schedule: _Schedule, cycle: int, now: int) -> None:
        """Play a cycle: inputs, the access that ends, what is told, a reset; in the contracts'
        order.
        """
        get, bus, one = self._context.get, self._twin.bus, schedule.up.get(cycle)
        ends, length = one is not None and cycle == one.end, schedule.lengths.get(cycle, 0)
        for pin, level in schedule.levels.get(cycle, ()):
            self.model.input(now, pin, level)
            self._context.set(self._bit(pin), level)
        self.model.advance(now)
        self._put(one, ends)
        self._compare_pins(now)
        self._compare_registers(now)
        if length or cycle not in schedule.high:  # nobody asks while RST stays high
            assert get(self._twin.at_rest) == (self.model.rest_at(now) == now), (now, "rest")
        assert (get(bus.ack), get(bus.err)) == (ends, 0), (now, one)
        if ends:
            self._end(one, now)
        if get(self._twin.notes_valid):
            self._note_reader.take_notes(
                now, {name: get(note) for name, note in self._notes.items()}
            )
        if length:
            for side in (self.model, self._note_reader):
                side.reset(now, length)
            for host in self.hosts:
                host.reset(now)

    def _put(self, one: Aimed | None, ends: bool) -> None:
        """Put the access on the port, with STB where it ends; noise without an access."""
        noise, bus = self._noise, self._twin.bus
        cycle = one is not None or noise.getrandbits(1)
        if one is None:
            word, data = noise.choice([*self._words.values()]), noise.getrandbits(32)
            one = Aimed(0, word << 2, data if data & 1 else None, noise.getrandbits(4))
        fields = (
            (1, cycle),
            (1, ends),
            (1, one.data is not None),
            (len(bus.sel), one.lanes),
            (len(bus.write_data), one.data or 0),
            (len(bus.adr), one.offset >> 2),
        )
        word = first = 0
        for width, field in fields:
            word |= (field & (1 << width) - 1) << first
            first += width
        self._context.set(self._driven, word)

    def _compare_pins(self, now: int) -> None:
        """Compare the levels of the outputs, and report the twin's edges."""
        model, twin = self.hosts
        for pin, shown in self._levels.items():
            level = self._context.get(shown)
            assert level == model.level(pin, now), (now, pin, level)
            if level != twin.level(pin, now):
                twin.edge(pin, now, level, self._note_reader.cause(pin, now))

    def _compare_registers(self, now: int) -> None:
        """Compare every register: the model's list, and what the watch port shows."""
        shown = {}
        # From where the cycle before has ended: that register is watched already.
        self._watched.reverse()
        for place, (name, word) in enumerate(self._watched):
            if place or now == self.first:
                self._context.set(self._twin.watch_adr, word)
            shown[name] = self._context.get(self._twin.watch_data)
        assert shown == self.model.registers(), (now, shown, self.model.registers())

    def _end(self, one: Aimed, now: int) -> None:
        """Give the access to the model and to the twin's note reader, and compare the word read."""
        access = one.seen(now, self._count)
        self._count += 1
        answer = self.model.access(access)
        if one.data is None:
            word = self._context.get(self._twin.bus.read_data)
            assert word == answer, (now, one, word, answer)
            self._words_read.append(word)
        self._note_reader.access(access)

    def _compare_told(self, last: int) -> None:
        """End the run, and compare events, edges with their causes, and text."""
        self.model.close(last)
        for host in self.hosts:
            host.forget_after(last)
        model, twin = self.hosts
        events = sorted(model.events, key=lambda one: one.cycle) if self.ahead else model.events
        assert twin.events == events
        for (name, ours), (_, theirs) in zip(model.lines(), twin.lines(), strict=True):
            for column in ("cycles", "levels", "accesses"):
                assert _listed(theirs, column) == _listed(ours, column), (name, column)
        for column in ("cycles", "bytes", "accesses"):
            assert _listed(twin.text(), column) == _listed(model.text(), column), column


def _listed(part: Any, column: str) -> list[int]:
    return list(getattr(part, column).tolist())


def _no_wake(cycle: int) -> None:
    raise AssertionError("no device here asks to be woken")


def share_near(accesses: Sequence[Aimed], cycles: Collection[int]) -> float:
    """Return the share of accesses that end within two cycles of one of ``cycles``."""
    near = {cycle + k for cycle in cycles for k in range(-2, 3)}
    return sum(one.end in near for one in accesses) / len(accesses)


def diced(
    pair: Pair,
    dice: random.Random,
    cycles: int,
    due: Callable[[Any, int], Iterable[int | None]],
    access: Callable[[random.Random, int], Aimed],
    levels: Callable[[random.Random, int], Sequence[tuple[str, int]]] = lambda dice, cycle: (),
) -> tuple[Case, float]:
    """Return random traffic, and the share of accesses that end near something that happens.

    Near is within two cycles of a cycle that ``due`` has named before the access.

    Parameters
    ----------
    pair : its model alone takes the traffic while it is made; another pair must play it
    dice : decides
    cycles : how many to fill
    due : gives the cycles, known before a cycle, in which something happens in the model
    access : gives an access that ends in a cycle
    levels : gives the levels that reach input pins in a cycle
    """
    accesses: list[Aimed] = []
    inputs: list[tuple[int, str, int]] = []
    resets: list[tuple[int, int]] = []
    happens: set[int] = set()
    near, free = 0, 1
    model, host = pair.model, pair.hosts[0]
    for cycle in range(cycles):
        happens.update(at for at in due(model, cycle) if at is not None)
        for pin, level in levels(dice, cycle):
            inputs.append((cycle, pin, level))
            model.input(cycle, pin, level)
        model.advance(cycle)
        if cycle < free:
            continue
        if dice.random() < 0.004:
            resets.append((cycle, dice.randrange(1, 4)))
            free = sum(resets[-1]) + 1
            model.reset(*resets[-1])
            host.reset(cycle)
            continue
        close = not happens.isdisjoint(range(cycle - 2, cycle + 3))
        if dice.random() < (0.7 if close else 0.05):
            near += close
            accesses.append(access(dice, cycle))
            model.access(accesses[-1].seen(cycle, len(accesses)))
    return Case(accesses, inputs, resets), near / len(accesses)
