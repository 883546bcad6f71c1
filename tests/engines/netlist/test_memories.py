"""Memories: ports, lanes, order, transparency, ends, and what a reset does to a clocked read port."""

from __future__ import annotations

import importlib.util
import random
from typing import Any

import pytest
from amaranth.hdl import ClockDomain, Module, Signal, signed, unsigned
from amaranth.lib.memory import Memory

from busbox.engines.netlist import PythonMachine, build
from tests.engines.netlist.apart import Apart
from tests.engines.netlist.running import drive, random_inputs, simulate
from tests.engines.netlist.test_values import machines

#: Kinds of machines that can be had.
MACHINES = 1 + (importlib.util.find_spec("llvmlite") is not None)
DEPTHS = (0, 1, 2, 3, 4, 5, 11)


class Store:
    """A module of one memory with all its ports led out."""

    def __init__(self, memory: Memory, reset_less: bool = False) -> None:
        self.memory = memory
        self.domain = ClockDomain("sync", reset_less=reset_less)
        self.m = Module()
        self.m.domains += self.domain
        self.m.submodules.store = memory
        self.inputs: list[Signal] = [] if reset_less else [self.domain.rst]
        self.outputs: list[Signal] = []

    def write(self, granularity: int | None = None) -> Any:
        """Add a write port; its signals are inputs."""
        port = self.memory.write_port(granularity=granularity)
        place = len(self.inputs)
        self._lead(port.addr, f"addr{place}")
        self._lead(port.data, f"data{place}")
        self._lead(port.en, f"en{place}")
        return port

    def read(self, domain: str = "sync", transparent_for: tuple[Any, ...] = ()) -> None:
        """Add a read port."""
        port = self.memory.read_port(domain=domain, transparent_for=transparent_for)
        place = len(self.inputs)
        self._lead(port.addr, f"addr{place}")
        if domain != "comb":
            self._lead(port.en, f"en{place}")
        out = Signal(len(port.data), name=f"out{place}")
        self.m.d.comb += out.eq(port.data)
        self.outputs.append(out)

    def _lead(self, inner: Signal, name: str) -> None:
        signal = Signal(len(inner), name=name)
        self.m.d.comb += inner.eq(signal)
        self.inputs.append(signal)

    @property
    def ports(self) -> dict[str, Signal]:
        """Return what the netlist is built with."""
        return {"clk": self.domain.clk} | {one.name: one for one in self.inputs + self.outputs}


def agree(store: Store, seed: int, cycles: int = 40) -> int:
    """Compare the simulator and the machines on random inputs."""
    inputs = [one.name for one in store.inputs]
    outputs = [one.name for one in store.outputs]
    stimuli = random_inputs([len(one) for one in store.inputs], cycles, seed)
    program = build(store.m, store.ports)
    expected, words = simulate(
        store.m, store.domain.clk, store.inputs, store.outputs, stimuli, {"it": store.memory}
    )
    for machine in machines(program):
        assert drive(machine, inputs, outputs, stimuli)[0] == expected, type(machine).__name__
        for at, word in enumerate(words["it"]):
            assert machine.peek_memory("top.store", at) == word, type(machine).__name__
    return len(expected)


def every_port(depth: int, width: int, sign: bool) -> int:
    """Run a memory with three write ports and five read ports."""
    draw = random.Random(depth * 1000 + width)
    init = [draw.getrandbits(width - sign) for _ in range(depth)]
    memory = Memory(shape=(signed if sign else unsigned)(width), depth=depth, init=init)
    store = Store(memory)
    first = store.write(None if sign else 1)
    second = store.write()
    third = store.write(None if sign else max(1, width // 2))
    store.read("comb")
    store.read()
    store.read(transparent_for=(first,))
    store.read(transparent_for=(second, third))
    store.read(transparent_for=(first, second, third))
    return agree(store, depth)


@pytest.mark.parametrize("depth", DEPTHS)
def test_all_ports_are_those_of_the_simulator(depth: int, apart: Apart) -> None:
    """Lanes, port order, transparency and ends of a memory of any depth follow the simulator."""
    for width, sign in ((1, False), (8, False), (6, True), (130, False)):
        assert apart(every_port, depth, width, sign) > 60


def test_of_two_writers_the_later_port_wins(apart: Apart) -> None:
    """Where two ports write one word, the bits of the port made later stay."""
    assert apart(two_writers) == MACHINES


def two_writers() -> int:
    """See the test; return the number of machines."""
    store = Store(Memory(shape=8, depth=4, init=[0xFF] * 4), reset_less=True)
    store.write(4)
    store.write(4)
    store.read("comb")
    count = 0
    for machine in machines(build(store.m, store.ports)):
        values = {"addr0": 2, "data0": 0x11, "en0": 0b11, "addr3": 2, "data3": 0x22, "en3": 0b10}
        for name, value in values.items():
            machine.set(name, value)
        machine.settle()
        assert machine.edge()
        assert machine.peek_memory("top.store", 2) == 0x21
        count += 1
    return count


def test_a_write_of_what_is_there_changes_nothing(apart: Apart) -> None:
    """``edge`` says "changed" only if a word differs afterwards, whatever ports wrote in between."""
    assert apart(written_back) == MACHINES
    assert apart(written_once) == MACHINES


def written_once() -> int:
    """The same for a memory of one write port; return the number of machines."""
    store = Store(Memory(shape=8, depth=3, init=[7, 7, 7]), reset_less=True)
    store.write()
    store.read("comb")
    count = 0
    for machine in machines(build(store.m, store.ports)):
        for data, enable, address, changed in (
            (7, 1, 1, False), (9, 0, 1, False), (9, 1, 3, False), (9, 1, 1, True), (9, 1, 1, False),
        ):  # fmt: skip
            for name, value in (("addr0", address), ("data0", data), ("en0", enable)):
                machine.set(name, value)
            machine.settle()
            assert machine.edge() is changed, (type(machine).__name__, data, enable, address)
        count += 1
    return count


def written_back() -> int:
    """See the test; return the number of machines."""
    store = Store(Memory(shape=8, depth=3, init=[7, 7, 7]), reset_less=True)
    store.write()
    store.write()
    store.read("comb")
    count = 0
    for machine in machines(build(store.m, store.ports)):
        for first, second, address, changed in (
            (7, 7, 1, False), (9, 7, 1, False), (9, 9, 3, False), (7, 9, 1, True), (9, 9, 1, False),
        ):  # fmt: skip
            for place, data in ((0, first), (3, second)):
                machine.set(f"addr{place}", address)
                machine.set(f"data{place}", data)
                machine.set(f"en{place}", 1)
            machine.settle()
            assert machine.edge() is changed, (type(machine).__name__, first, second)
        count += 1
    return count


def test_a_reset_clears_the_data_of_a_read_port_that_is_not_enabled() -> None:
    """With RST high, a clocked read port shows 0 unless it is enabled, as in the simulator."""
    store = Store(Memory(shape=8, depth=4, init=[5, 6, 7, 8]))
    store.read()
    machine = PythonMachine(build(store.m, store.ports))
    shown = []
    for rst, enable in ((0, 1), (0, 0), (1, 0), (1, 1), (0, 0)):
        machine.set("rst", rst)
        machine.set("en1", enable)
        machine.settle()
        machine.edge()
        machine.settle()
        shown.append(machine.get("out1"))
    assert shown == [5, 5, 0, 5, 5]
    assert agree(store, 3) > 60


def fixed_lanes() -> int:
    """Write always, and only the lowest and the highest of three lanes; return the machines."""
    store = Store(Memory(shape=12, depth=2, init=[0x123, 0x456]), reset_less=True)
    port = store.memory.write_port(granularity=4)
    data = Signal(12, name="data")
    store.m.d.comb += [port.addr.eq(1), port.data.eq(data), port.en.eq(0b101)]
    store.inputs.append(data)
    store.read("comb")
    assert agree(store, 1) > 60
    count = 0
    for machine in machines(build(store.m, store.ports)):
        machine.set("data", 0xABC)
        machine.settle()
        assert machine.edge()
        assert [machine.peek_memory("top.store", at) for at in (0, 1)] == [0x123, 0xA5C]
        count += 1
    return count


def test_lanes_that_are_never_written_stay(apart: Apart) -> None:
    """Enables that are constants write their lanes in every cycle, and leave the others."""
    assert apart(fixed_lanes) == MACHINES
