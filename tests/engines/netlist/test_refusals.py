"""What is refused, with the whole message."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from amaranth.hdl import (
    Assert,
    Cat,
    ClockDomain,
    ClockSignal,
    Cover,
    Instance,
    IOBufferInstance,
    IOPort,
    Module,
    Print,
    Signal,
)
from amaranth.hdl._ast import AnyConst, AnySeq, Initial
from amaranth.lib.memory import Memory

from busbox.engines.netlist import NetlistError, PythonMachine, build

Made = tuple[Module, dict[str, Any]]


def one_register(domain: ClockDomain, inner: bool = True) -> tuple[Module, Signal]:
    """Return a module with the domain, and in a submodule a register that counts levers."""
    m, cabin = Module(), Module()
    m.domains += domain
    count = Signal(4)
    cabin.d[domain.name] += count.eq(count + 1)
    m.submodules.cabin = cabin
    return m, count


def two_clocks() -> Made:
    day, night = ClockDomain("day", reset_less=True), ClockDomain("night", reset_less=True)
    m, count = one_register(day)
    m.domains += night
    lamp = Signal()
    m.d.night += lamp.eq(~lamp)
    return m, {"day": day.clk, "night": night.clk, "count": count, "lamp": lamp}


def no_clock() -> Made:
    m, count = one_register(ClockDomain("sync", reset_less=True))
    return m, {"count": count}


def made_clock() -> Made:
    domain = ClockDomain("sync", reset_less=True)
    m, count = one_register(domain)
    key = Signal()
    m.d.comb += domain.clk.eq(~key)
    return m, {"key": key, "count": count}


def clock_not_named() -> Made:
    m, count = Module(), Signal(4)
    m.d.sync += count.eq(count + 1)
    return m, {"count": count}


def clock_as_value() -> Made:
    domain = ClockDomain("sync", reset_less=True)
    m, count = one_register(domain)
    lamp = Signal()
    m.d.comb += lamp.eq(ClockSignal() & count[0])
    return m, {"clk": domain.clk, "lamp": lamp}


def asynchronous() -> Made:
    domain = ClockDomain("sync", async_reset=True)
    m, count = one_register(domain)
    return m, {"clk": domain.clk, "rst": domain.rst, "count": count}


def falling() -> Made:
    domain = ClockDomain("sync", clk_edge="neg", reset_less=True)
    m, count = one_register(domain)
    return m, {"clk": domain.clk, "count": count}


def black_box() -> Made:
    m, cabin, lamp = Module(), Module(), Signal()
    cabin.submodules.bell = Instance("strike", o_hammer=lamp)
    m.submodules.cabin = cabin
    return m, {"lamp": lamp}


def tristate() -> Made:
    m, wire, level, drive = Module(), IOPort(1, name="wire"), Signal(), Signal()
    m.submodules.pin = IOBufferInstance(wire, o=level, oe=drive)
    return m, {"level": level, "drive": drive}


def bidirectional() -> Made:
    m, wire, level, drive, back = Module(), IOPort(1, name="wire"), Signal(), Signal(), Signal()
    m.submodules.pin = IOBufferInstance(wire, o=level, oe=drive, i=back)
    return m, {"level": level, "drive": drive, "back": back}


def loop() -> Made:
    m, up, down = Module(), Signal(2, name="up"), Signal(2, name="down")
    m.d.comb += [up.eq(down + 1), down.eq(up + 1)]
    return m, {"up": up}


def chosen(value: Any) -> Callable[[], Made]:
    def make() -> Made:
        m, lamp = Module(), Signal(3)
        m.d.comb += lamp.eq(value())
        return m, {"lamp": lamp}

    return make


def inner_reset() -> Made:
    domain = ClockDomain("sync")
    m = Module()
    m.domains += domain
    m.submodules.store = store = Memory(shape=8, depth=4, init=[])
    read = store.read_port()
    key = Signal()
    m.d.comb += [domain.rst.eq(key), read.en.eq(key)]
    return m, {"clk": domain.clk, "key": key, "data": read.data}


def order_of_writers() -> Made:
    domain = ClockDomain("sync")
    m = Module()
    m.domains += domain
    m.submodules.store = store = Memory(shape=8, depth=4, init=[])
    first, second = store.write_port(), store.write_port()
    read = store.read_port(transparent_for=(second, first))
    ports = {"clk": domain.clk, "rst": domain.rst, "data": read.data}
    for place, port in enumerate((first, second)):
        ports |= {f"en{place}": port.en, f"data{place}": port.data}
    return m, ports


def no_signal() -> Made:
    m, lamp = Module(), Signal(4)
    return m, {"lamp": lamp[:2]}


REFUSED: dict[str, tuple[Callable[[], Made], str]] = {
    "two clocks": (
        two_clocks,
        "top.cabin.count: there must be one clock, top.night, not top.day too",
    ),
    "no clock": (
        no_clock,
        "top.cabin.count: its clock must be a port of the top; without one it would never tick",
    ),
    "made clock": (
        made_clock,
        "top.cabin.count: its clock must be a port of the top; without one it would never tick",
    ),
    "clock not named": (
        clock_not_named,
        "top.clk: a port of the top must be among the given ports",
    ),
    "clock as value": (
        clock_as_value,
        "top.clk: the clock must not be used as a value",
    ),
    "asynchronous reset": (
        asynchronous,
        "top.cabin.count: an asynchronous reset is not run; the domain must have a "
        "synchronous one or none",
    ),
    "falling edge": (
        falling,
        "top.cabin.count: a register on the falling edge of the clock is not run",
    ),
    "black box": (
        black_box,
        "top.cabin.bell: a black box (Instance of 'strike') is not run",
    ),
    "tristate": (
        tristate,
        "top.wire: a tristate buffer is not run; a pin must be an input or an output",
    ),
    "inout": (
        bidirectional,
        "top.wire: an inout port is not run; a pin must be an input or an output",
    ),
    "loop": (
        loop,
        "top: signals must not go round in a loop: down[0], up[0]",
    ),
    "AnyConst": (
        chosen(lambda: AnyConst(3)),
        "top.lamp: a value that a prover chooses (AnyConst) is not run",
    ),
    "AnySeq": (
        chosen(lambda: AnySeq(3)),
        "top.lamp: a value that a prover chooses (AnySeq) is not run",
    ),
    "Initial": (chosen(Initial), "top.$1: the first step of a proof (Initial) is not run"),
    "inner reset": (
        inner_reset,
        "top.read__data: the reset of the domain of a clocked read port must be an input of the top",
    ),
    "order of writers": (
        order_of_writers,
        "top.store: transparent_for must name write ports in the order they were made, not [1, 0]",
    ),
    "no signal": (no_signal, "top.lamp: a port must be a Signal, not Slice"),
}


@pytest.mark.parametrize("name", REFUSED)
def test_what_is_not_run_is_refused_by_name(name: str) -> None:
    """Each thing that is not run is refused with its hierarchical name."""
    make, message = REFUSED[name]
    design, ports = make()
    with pytest.raises(NetlistError) as caught:
        build(design, ports)
    assert str(caught.value) == message
    assert caught.value.where == message.split(": ")[0]


def test_prints_and_checks_are_listed_and_change_nothing() -> None:
    """Prints, asserts and covers are named as not carried out, and the design runs without them."""
    domain = ClockDomain("sync", reset_less=True)
    m, count = one_register(domain)
    watch = Module()
    watch.d.sync += [Print("lever ", count), Assert(count < 3, "too far"), Cover(count == 2)]
    watch.d.comb += Assert(count != 9)
    m.submodules.watch = watch
    program = build(m, {"clk": domain.clk, "count": count})
    assert sorted(program.unexecuted) == [
        "top.watch: assert",
        "top.watch: assert 'too far'",
        "top.watch: cover",
        "top.watch: print 'lever  {4:> du}\\n'",
    ]
    machine = PythonMachine(program)
    for expected in range(5):
        machine.settle()
        assert machine.get("count") == expected
        assert machine.edge()


def test_a_plain_pin_is_a_port() -> None:
    """An input buffer and an output buffer that always drives are ports like others."""
    m, key, lamp = Module(), Signal(2), Signal(2)
    m.d.comb += lamp.eq(Cat(key[1], ~key[0]))
    machine = PythonMachine(build(m, {"key": key, "lamp": lamp}))
    for value in range(4):
        machine.set("key", value)
        machine.settle()
        assert machine.get("lamp") == (value >> 1 | (~value & 1) << 1)
