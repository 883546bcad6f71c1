"""Drives a hardware twin on its bus port in Amaranth's simulator, row by row beside its model.

The model is called by its contract, in the row in which an access ends. In every row the two must
show the same: terminator, word read, every register, every pin, rest. What the twin's listener makes
of what it is told is compared at the end: edges with what caused them, and events.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, replace
from typing import Any

from amaranth.hdl import ClockDomain, Module
from amaranth.sim import Simulator

from busbox.address_map import Slot
from busbox.device import RELEASED, Access, Device, Site
from busbox.fabric.hardware import Hardware
from busbox.host import DeviceHost
from busbox.system import Placed

CLOCK_HZ = 16_000_000
ALL = 0b1111


@dataclass(frozen=True)
class Aimed:
    """An access that ends in row ``end``; without ``data`` it is a read."""

    end: int
    offset: int
    data: int | None = None
    lanes: int = ALL


class Side:
    """Model and twin of one device, each with a host of its own.

    Parameters
    ----------
    hardware : the twin's class
    model : the model's class
    base, size : of the slot
    settings : all of them
    """

    def __init__(
        self,
        hardware: type[Hardware],
        model: type[Device],
        settings: dict[str, Any],
        base: int = 0,
        size: int = 0x40,
    ) -> None:
        placed = Placed(
            Slot("dev", base, size), model, "dev", settings, tuple(model.pins_for(settings))
        )
        self.hosts = [DeviceHost(placed, CLOCK_HZ, _no_wake) for _ in range(2)]
        self.model = model(self.hosts[0], **settings)
        self.twin = hardware(Site("dev", base, size, CLOCK_HZ), **settings)
        self.listener = hardware.listener(self.hosts[1], **settings)
        self.pins = placed.pins
        self.table = self.twin.declared
        self.domain = ClockDomain("sync")
        self.context, self.half_tick = self._open()

    def _open(self) -> tuple[Any, Callable[[], object]]:
        """Return the context of the simulator's one test bench, in row 0, and half a tick."""
        top, opened = Module(), []
        top.domains += self.domain
        top.submodules.twin = self.twin

        async def bench(context: Any) -> None:
            opened.append(context)
            context.set(self.domain.rst, 1)

        simulator = Simulator(top)
        simulator.add_clock(1e-6)
        simulator.add_testbench(bench)
        simulator.advance()
        simulator.advance()
        opened[0].set(self.domain.rst, 0)
        return opened[0], simulator.advance

    def twin_level(self, pin: str) -> int:
        """Return the level of a pin of the twin in the present row."""
        stem, _, number = pin.partition(".")
        bit, get, enable = int(number or 0), self.context.get, f"pin_{stem}_enable"
        if hasattr(self.twin, enable) and not get(getattr(self.twin, enable)) >> bit & 1:
            return RELEASED
        return int(get(getattr(self.twin, f"pin_{stem}"))) >> bit & 1

    def drive(self, pin: str, level: int) -> None:
        """Give an input pin of the twin a level."""
        stem, _, number = pin.partition(".")
        member, bit = getattr(self.twin, f"pin_{stem}"), int(number or 0)
        word = self.context.get(member) & ~(1 << bit) | level << bit
        self.context.set(member, word)

    def ended(self) -> tuple[int, int]:
        """Return ACK and ERR of the present row."""
        bus, get = self.twin.bus, self.context.get
        return get(bus.ack), get(bus.err)

    def twin_registers(self) -> dict[str, int]:
        """Return what the watch port shows of every register that the model lists."""
        shown = {}
        for name in self.model.registers():
            self.context.set(self.twin.watch_adr, (self.table.offset_of(name) or 0) >> 2)
            shown[name] = self.context.get(self.twin.watch_data)
        return shown


def share_near(accesses: Sequence[Aimed], rows: Collection[int]) -> float:
    """Return the share of accesses that end within two rows of one of ``rows``."""
    near = {row + k for row in rows for k in range(-2, 3)}
    return sum(one.end in near for one in accesses) / len(accesses)


def _no_wake(cycle: int) -> None:
    raise AssertionError("no device here asks to be woken")


@dataclass(frozen=True)
class Case:
    """What reaches both sides in some rows: accesses in order, (row, pin, level), (row, length).

    An access that meets a reset does not happen.
    """

    accesses: Sequence[Aimed]
    inputs: Sequence[tuple[int, str, int]] = ()
    resets: Sequence[tuple[int, int]] = ()


def chained(cases: Sequence[Case], rows: int) -> Case:
    """Return the cases one after the other, each in so many rows, of which the last is a reset.

    Inputs are 0 where a case begins. Row r of case n is row n x ``rows`` + r.
    """
    accesses: list[Aimed] = []
    inputs: list[tuple[int, str, int]] = []
    resets: list[tuple[int, int]] = []
    for place, case in enumerate(cases):
        begin = rows * place
        assert max(one.end for one in case.accesses) < rows - 1
        accesses += [replace(one, end=begin + one.end) for one in case.accesses]
        inputs += [(begin + row, pin, level) for row, pin, level in case.inputs]
        inputs += [(begin + rows - 1, pin, 0) for pin in sorted({pin for _, pin, _ in case.inputs})]
        resets += [(begin + row, length) for row, length in case.resets]
        resets.append((begin + rows - 1, 1))
    return Case(accesses, inputs, resets)


@dataclass
class Run:
    """A run of both sides.

    Attributes
    ----------
    side : model and twin
    wait : rows for which an access is on the port before its STB
    case : what reaches them
    first : what the model calls row 0
    """

    side: Side
    wait: int
    case: Case
    first: int = 0

    def play(self, rows: int) -> list[int]:
        """Run so many rows, and compare; return the words read."""
        self.read: list[int] = []
        self._count = 0
        self._high = {row + k for row, length in self.case.resets for k in range(length)}
        spans = {one: range(one.end - self.wait, one.end + 1) for one in self.case.accesses}
        happen = [one for one in self.case.accesses if not self._high & set(spans[one])]
        up = {row: one for one in happen for row in spans[one]}
        assert len(up) == len(happen) * (self.wait + 1), "two accesses share a row"
        for row in range(rows):
            self._row(row, up.get(row))
            self.side.half_tick()
            self.side.half_tick()
        self._end(self.first + rows - 1)
        return self.read

    def _row(self, row: int, one: Aimed | None) -> None:
        side, now = self.side, self.first + row
        side.context.set(side.domain.rst, row in self._high)
        for at, pin, level in self.case.inputs:
            if at == row:
                side.model.input(now, pin, level)
                side.drive(pin, level)
        self._bus(row, one)
        if row not in self._high or row in dict(self.case.resets):
            side.model.advance(now)
        self._compare(row)
        for at, length in self.case.resets:
            if at == row:
                side.model.reset(now, length)
                side.listener.reset(now, length)
                for host in side.hosts:
                    host.reset(now)
        if one is not None and row == one.end:
            self._ends(one)
        else:
            assert side.ended() == (0, 0), row
        if side.context.get(side.twin.tells):
            side.listener.told(now, {})

    def _bus(self, row: int, one: Aimed | None) -> None:
        """Put the access on the port: STB in the row in which it ends, the rest before too."""
        bus, put = self.side.twin.bus, self.side.context.set
        put(bus.cyc, one is not None)
        put(bus.stb, one is not None and row == one.end)
        if one is not None:
            put(bus.adr, one.offset >> 2)
            put(bus.we, one.data is not None)
            put(bus.sel, one.lanes)
            put(bus.write_data, one.data or 0)

    def _compare(self, row: int) -> None:
        side, now, get = self.side, self.first + row, self.side.context.get
        for pin in side.pins:
            if pin.direction == "output":
                level = side.twin_level(pin.name)
                assert level == side.hosts[0].level(pin.name, now), (pin.name, row)
                if level != side.hosts[1].level(pin.name, now):
                    side.hosts[1].edge(pin.name, now, level, side.listener.cause(pin.name, now))
        assert side.twin_registers() == side.model.registers(), row
        if row not in self._high:
            assert get(side.twin.at_rest) == (side.model.rest_at(now) == now), row

    def _ends(self, one: Aimed) -> None:
        side = self.side
        access = Access(
            self.first + one.end, one.offset, one.data is not None, one.data or 0, one.lanes,
            self._count,
        )  # fmt: skip
        self._count += 1
        assert side.ended() == (1, 0), one
        word = side.context.get(side.twin.bus.read_data)
        answer = side.model.access(access)
        if one.data is None:
            assert word == answer, one
            self.read.append(word)
        side.listener.access(access)

    def _end(self, last: int) -> None:
        model, twin = self.side.hosts
        self.side.model.close(last)
        for host in (model, twin):
            host.forget_after(last)
        assert twin.events == model.events
        for (pin, ours), (_, theirs) in zip(twin.lines(), model.lines(), strict=True):
            assert ours.cycles.tolist() == theirs.cycles.tolist(), pin
            assert ours.levels.tolist() == theirs.levels.tolist(), pin
            assert ours.accesses.tolist() == theirs.accesses.tolist(), pin
