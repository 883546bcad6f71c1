"""Plays a model and its twin in hardware side by side, and compares them in every row.

The model is called by its contract, the twin is driven on its pins in Amaranth's simulator. While no
access is up, address, data, lanes and WE of the twin's port are noise: only STB makes an access.
"""

from __future__ import annotations

import importlib
import random
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any

from amaranth.hdl import Cat, ClockDomain, Module
from amaranth.sim import Simulator

from busbox.address_map import Slot
from busbox.device import Access, Site
from busbox.host import DeviceHost
from busbox.system import Placed

SIZE, CLOCK_HZ = 0x1000, 16_000_000
ALL = 0b1111


@dataclass(frozen=True)
class Row:
    """What reaches the device in a row: an access that ends, levels, the first row of a reset.

    Attributes
    ----------
    access : (offset, data, lanes) of a write, (offset, None, lanes) of a read, or None
    inputs : (pin, level)
    reset : rows of the reset, 0 for none
    """

    access: tuple[int, int | None, int] | None = None
    inputs: tuple[tuple[str, int], ...] = ()
    reset: int = 0


NOTHING = Row()
Plan = Callable[[int, Any], Row]


def write(offset: int, data: int, lanes: int = ALL) -> Row:
    """Return the row of a write."""
    return Row((offset, data, lanes))


def read(offset: int, lanes: int = ALL) -> Row:
    """Return the row of a read."""
    return Row((offset, None, lanes))


def merged(*parts: dict[int, Row]) -> dict[int, Row]:
    """Return the rows of all parts; where two meet, levels and access of both."""
    rows: dict[int, Row] = {}
    for part in parts:
        for row, what in part.items():
            before = rows.get(row, Row())
            assert not (before.access and what.access)
            rows[row] = Row(
                before.access or what.access,
                before.inputs + what.inputs,
                before.reset or what.reset,
            )
    return rows


def chain(cases: Iterable[dict[int, Row]], rows: int) -> tuple[Plan, int]:
    """Return a plan of cases, each of ``rows`` rows and begun by a reset, and its rows.

    A row number of a case counts from the row that plays the part of cycle 0.
    """
    rows_of: dict[int, Row] = {}
    begin = 0
    for case in cases:
        assert max(case) < rows
        rows_of.update({begin + row: what for row, what in case.items()})
        rows_of[begin + rows] = Row(reset=1)
        begin += rows + 1
    return lambda row, model: rows_of.get(row, NOTHING), begin


class Lockstep:
    """A model and its twin, from row 0 on.

    Parameters
    ----------
    model : class of the model, which names its twin
    twin : class of the twin, if it shall be another one
    settings : of both, every declared one that differs from its default

    Attributes
    ----------
    accesses : (row, offset) of the accesses that ended
    hosts : what the model and the twin's listener reported
    """

    def __init__(self, model: Any, twin: Any = None, **settings: Any) -> None:
        settings = {one.name: one.default for one in model.settings} | settings
        self._pins = model.pins_for(settings)
        slot = Slot("dev", 0, SIZE)
        placed = Placed(slot, model, "dev", settings, self._pins)
        self.hosts = [DeviceHost(placed, CLOCK_HZ, self._no_wake) for _ in range(2)]
        self.model = model(self.hosts[0], **settings)
        if twin is None:
            module, _, name = model.twin.partition(":")
            twin = getattr(importlib.import_module(module), name)
        self.twin = twin(Site("dev", 0, SIZE, CLOCK_HZ), **settings)
        self.notes = twin.told_for(settings)
        self.listener = twin.listener(self.hosts[1], **settings)
        places = [(place, offset >> 2) for offset, place in self.twin.declared.places()]
        self.words = [(place.name, word) for place, word in places]
        self._singles = [(one.name, word) for one, word in places if not one.register.count]
        self._in_turn = [(one.name, word) for one, word in places if one.register.count]
        self.accesses: list[tuple[int, int]] = []
        bus = self.twin.bus
        self._bus = (bus.cyc, bus.stb, bus.we, bus.adr, bus.sel, bus.write_data)
        self._bus_all = Cat(*self._bus)
        self._levels = {pin.name: pin.level for pin in self._pins}
        self._noise = random.Random(0)

    @staticmethod
    def _no_wake(cycle: int) -> None:
        raise AssertionError("no wake of these models is known to the harness")

    def play(self, plan: Plan, rows: int) -> None:
        """Play the rows 0 to ``rows - 1``, compare in each of them, and compare what was reported."""
        m = Module()
        m.domains.sync = domain = ClockDomain()
        m.submodules.twin = self.twin
        simulator = Simulator(m)
        simulator.add_clock(1e-6)
        finished = []

        async def bench(context: Any) -> None:
            low_from = 0
            for row in range(rows):
                what = plan(row, self.model)
                if what.reset and row >= low_from:
                    low_from = row + what.reset
                if context.get(domain.rst) != (row < low_from):
                    context.set(domain.rst, row < low_from)
                self._row(context, row, what, row < low_from)
                await context.tick()
            finished.append(True)

        simulator.add_testbench(bench)
        simulator.run()
        assert finished == [True]
        self.model.close(rows - 1)
        for host in self.hosts:
            host.forget_after(rows - 1)
        self._compare_reports()

    def _row(self, context: Any, row: int, what: Row, reset: bool) -> None:
        for pin, level in what.inputs:
            self.hosts[0].input(pin, row, level)
            self.model.input(row, pin, level)
            self.hosts[1].input(pin, row, level)
            context.set(getattr(self.twin, f"pin_{pin}"), level)
        self.model.advance(row)
        access = None if reset or what.access is None else what.access
        context.set(self._bus_all, self._bus_word(access))
        self._compare_state(context, row, reset and not what.reset)
        if access is not None:
            self._access(context, row, access)
        else:
            assert not context.get(self.twin.bus.ack)
        if context.get(self.twin.tells):
            notes = {name: context.get(getattr(self.twin, f"told_{name}")) for name in self.notes}
            self.listener.told(row, notes)
        if what.reset:
            self.model.reset(row, what.reset)
            self.listener.reset(row, what.reset)
            for host in self.hosts:
                host.reset(row)

    def _bus_word(self, access: tuple[int, int | None, int] | None) -> int:
        """Return the levels of the bus port in a row, as ``self._bus`` takes them."""
        noise, strobe = self._noise, access is not None
        if access is None:
            data = noise.getrandbits(32)
            access = noise.choice(self.words)[1] << 2, data if data & 1 else None, ALL
        offset, data_or_read, lanes = access
        word, place = 0, 0
        for part, value in zip(
            self._bus,
            (
                strobe or noise.getrandbits(1),
                strobe,
                data_or_read is not None,
                offset >> 2,
                lanes,
                data_or_read or 0,
            ),
            strict=True,
        ):
            word |= int(value) << place
            place += len(part)
        return word

    def _compare_state(self, context: Any, row: int, under_reset: bool) -> None:
        twin, model = self.twin, self.model
        for pin in self._pins:
            if pin.direction == "output":
                level = context.get(getattr(twin, f"pin_{pin.name}"))
                if level != self._levels[pin.name]:
                    self._levels[pin.name] = level
                    cause = self.listener.cause(pin.name, row)
                    self.hosts[1].edge(pin.name, row, level, cause)
                assert level == self.hosts[0].level(pin.name, row), (row, pin.name, level)
        registers, words = model.registers(), self._singles
        if self._in_turn:  # of a row of registers one in each row of the run, to save time
            words = [*words, self._in_turn[row % len(self._in_turn)]]
        for name, address in words if row % 2 else reversed(words):
            context.set(twin.watch_adr, address)
            word = context.get(twin.watch_data)
            assert word == registers[name], (row, name, hex(word), registers)
        if not under_reset:  # nobody asks while RST is high
            assert context.get(twin.at_rest) == (model.rest_at(row) == row), (row, "at_rest")

    def _access(self, context: Any, row: int, what: tuple[int, int | None, int]) -> None:
        offset, data, lanes = what
        access = Access(row, offset, data is not None, data or 0, lanes, len(self.accesses))
        self.accesses.append((row, offset))
        answer = self.model.access(access)
        assert context.get(self.twin.bus.ack), (row, what)
        assert not context.get(self.twin.bus.err), (row, what)
        if data is None:
            assert context.get(self.twin.bus.read_data) == answer, (row, what)
        self.listener.access(access)

    def _compare_reports(self) -> None:
        model, twin = self.hosts
        assert sorted(twin.events, key=lambda one: one.cycle) == sorted(
            model.events, key=lambda one: one.cycle
        )
        for (name, ours), (_, theirs) in zip(model.lines(), twin.lines(), strict=True):
            for column in ("cycles", "levels", "accesses"):
                assert getattr(theirs, column).tolist() == getattr(ours, column).tolist(), (
                    name,
                    column,
                )
        for column in ("cycles", "bytes", "accesses"):
            assert (
                getattr(twin.text(), column).tolist() == getattr(model.text(), column).tolist()
            ), column


class Dice:
    """Random rows, of which many accesses end within two rows of something that happens.

    Parameters
    ----------
    seed : of the dice
    due : rows that are known now in which something happens in the model
    access : gives an access
    also : gives what else reaches the device in a row without a reset: levels

    Attributes
    ----------
    near, total : accesses within two rows of something that happens; all accesses
    """

    def __init__(
        self,
        seed: object,
        due: Callable[[Any, int], Iterable[int | None]],
        access: Callable[[random.Random], tuple[int, int | None, int]],
        also: Callable[[random.Random, int], tuple[tuple[str, int], ...]] = lambda dice, row: (),
    ) -> None:
        self.dice = random.Random(f"{seed}")
        self.near = self.total = 0
        self._due, self._access, self._also = due, access, also
        self._seen: set[int] = set()
        self._free = 1

    def __call__(self, row: int, model: Any) -> Row:
        """Return what happens in a row."""
        known = (at for at in self._due(model, row) if at is not None)
        self._seen = {at for at in (*self._seen, *known) if at >= row - 2}
        inputs = self._also(self.dice, row)
        if row >= self._free and self.dice.random() < 0.004:
            length = self.dice.randrange(1, 4)
            self._free = row + length + 1
            return Row(inputs=inputs, reset=length)
        near = any(at <= row + 2 for at in self._seen)
        if row < self._free or self.dice.random() >= (0.7 if near else 0.05):
            return Row(inputs=inputs)
        self.near += near
        self.total += 1
        return Row(self._access(self.dice), inputs)
