"""Programs: what reaches what, settling in part, loops of bits, and Busbox's own design."""

from __future__ import annotations

import itertools
import random
from typing import Any

import pytest
from amaranth.hdl import Cat, ClockDomain, Module, Mux, Signal

from busbox.bus.design import CALL, Design
from busbox.engines.netlist import NetlistError, PythonMachine, PythonSource, build
from busbox.map.slots import Slot
from busbox.system.hardware import FabricOptions
from tests.engines.netlist.apart import Apart
from tests.engines.netlist.running import drive, simulate
from tests.engines.netlist.test_values import machines

SLOTS = (
    Slot("points", 0x1000, 0x100, wait=0),
    Slot("telegraph", 0x2000, 0x40, decode="range", wait=2),
    Slot("lamps", 0x4000_0000, 0x400),
    Slot("bell", 0x8000_0000, 0x10, decode="compare", compare=frozenset({31, 30}), wait=3),
)
OPTIONS = (
    FabricOptions(),
    FabricOptions(unanswered="silence", watchdog=5),
    FabricOptions(registered_decode=True, watchdog=9),
)


def ports_of(design: Design) -> dict[str, Signal]:
    """Return the ports with which Busbox's design is built."""
    return {
        "clk": design.domain.clk,
        "rst": design.rst,
        "request": design.request,
        "data": design.data,
        "reply": design.reply,
        "status": design.status,
        "inner": design.inner,
    }


def own_design(count: int, which: int) -> int:
    """Compare the simulator and the machines on Busbox's own design, with random accesses."""
    design = Design(SLOTS[:count], OPTIONS[which])
    program = build(design, ports_of(design))
    draw = random.Random(count * 10 + which)
    addresses = [slot.base | 4 for slot in SLOTS[:count]] * 2 + [0x9999_9990]
    cycles, access, data = [], 0, 0
    for number in range(200):
        if number % 8 == 0:
            lanes, data = draw.getrandbits(4), draw.getrandbits(32)
            access = Design.request_word(draw.random() < 0.3, draw.choice(addresses), lanes)
        reply = draw.random() < 0.5 and Design.reply_word(draw.getrandbits(32), draw.random() < 0.2)
        request = access if number % 8 != 7 else 0
        cycles.append([int(draw.random() < 0.03), request, data, int(reply)])
    inputs = [design.rst, design.request, design.data, design.reply]
    outputs = [design.status, design.inner]
    expected, _ = simulate(design, design.domain.clk, inputs, outputs, cycles, {})
    for machine in machines(program):
        names = ["rst", "request", "data", "reply"]
        trace, _ = drive(machine, names, ["status", "inner"], cycles)
        assert trace == expected, type(machine).__name__
    assert len({shown for shown, _ in expected}) > 20
    return len(expected)


@pytest.mark.parametrize("which", range(len(OPTIONS)))
@pytest.mark.parametrize("count", [1, 4])
def test_busbox_own_design_runs_as_in_the_simulator(count: int, which: int, apart: Apart) -> None:
    """Master, fabric and outlets give the simulator's status in every cycle, with any options."""
    assert apart(own_design, count, which) > 200


def test_no_call_depends_on_a_reply() -> None:
    """In Busbox's design the bits of a reply reach done and data, and none of the calls."""
    for options in OPTIONS:
        design = Design(SLOTS, options)
        program = build(design, ports_of(design))
        call = ("status", CALL, len(SLOTS).bit_length())
        assert not program.reaches("reply", call)
        assert not program.reaches("reply", "inner")
        assert program.reaches("reply", ("status", 0, 3))
        assert program.reaches(("request", 2, 30), call) != options.registered_decode
        assert program.depends("status") == {"request", "reply", "rst"}


def settle_in_part() -> int:
    """Compare settling after a reply with settling everything, on both machines."""
    compared = 0
    design = Design(SLOTS, OPTIONS[0])
    program = build(design, ports_of(design))
    from busbox.engines.netlist.llvm_machine import LlvmMachine

    reply = ["reply"]
    for whole, part in (
        (PythonMachine(program), PythonMachine(program, reply)),
        (LlvmMachine(program), LlvmMachine(program, reply)),
    ):
        access = Design.request_word(False, 0x1004, 15)
        for data, refuse in itertools.product((0, 1, 0xDEADBEEF), (False, True)):
            for machine in (whole, part):
                machine.set("request", access)
                machine.set("reply", 0)
                machine.settle()
            before = whole.get("status")
            for machine in (whole, part):
                machine.set("reply", Design.reply_word(data, refuse))
            whole.settle()
            part.settle_reply()
            assert whole.get("status") == part.get("status") != before
            assert whole.edge() == part.edge()
            compared += 1
    return compared


def test_settling_after_a_reply_is_settling(apart: Apart) -> None:
    """Where only the reply changed, working out what it reaches gives what a full settle gives."""
    pytest.importorskip("llvmlite")
    assert apart(settle_in_part) == 12


def test_settling_in_part_leaves_out_what_is_not_reached() -> None:
    """The lines for some inputs hold no variable that they do not reach; no input, no line."""
    a, b, c = (Signal(8, name=name) for name in "abc")
    one, two = Signal(9, name="one"), Signal(9, name="two")
    m = Module()
    m.d.comb += [one.eq(a + b), two.eq(b + c)]
    program = build(m, {"a": a, "b": b, "c": c, "one": one, "two": two})
    source = PythonSource(program)
    assert len(source.settle()) == len(source.settle(["b"])) == 2
    assert len(source.settle(["a"])) == len(source.settle([("c", 7, 1)])) == 1
    assert source.settle([]) == []
    assert PythonSource(program, outputs=["two"]).settle(["a"]) == []


def test_bits_reach_bits() -> None:
    """Bitwise operators, slices, sums and muxes are followed bit by bit, constants cut the way."""
    a, b, s = Signal(4, name="a"), Signal(4, name="b"), Signal(name="s")
    out = {name: Signal(4, name=name) for name in ("bits", "sums", "muxed", "masked", "moved")}
    m = Module()
    m.d.comb += [
        out["bits"].eq(a ^ b),
        out["sums"].eq(a + b),
        out["muxed"].eq(Mux(s, a, b)),
        out["masked"].eq(a & 0b0110),
        out["moved"].eq(Cat(a[2:], b[:1])),
    ]
    program = build(m, {"a": a, "b": b, "s": s, **out})
    reached = {
        name: [
            "".join(str(int(program.reaches(("a", bit, 1), (name, to, 1)))) for bit in range(4))
            for to in range(4)
        ]
        for name in out
    }
    assert reached == {
        "bits": ["1000", "0100", "0010", "0001"],
        "sums": ["1000", "1100", "1110", "1111"],
        "muxed": ["1000", "0100", "0010", "0001"],
        "masked": ["0000", "0100", "0010", "0000"],
        "moved": ["0010", "0001", "0000", "0000"],
    }
    assert program.depends("muxed") == {"a", "b", "s"}
    assert program.depends(("moved", 2, 1)) == {"b"}
    assert program.depends(("moved", 3, 1)) == set()


def test_a_bit_is_no_loop() -> None:
    """A signal of which one bit follows another bit of it is worked out bit by bit."""
    key, up, out = Signal(8), Signal(name="up"), Signal(8)
    m, chain, picked = Module(), Signal(8, name="chain"), Signal(8, name="picked")
    m.d.comb += chain.eq(key)
    with m.If(up):
        m.d.comb += chain.eq(Cat(key[0], chain[:7]))
    m.d.comb += picked.eq(Mux(up, Cat(key[1], picked[:7]) & key, ~chain))
    with m.If(key[7]):
        m.d.comb += picked[3].eq(0)
    m.d.comb += out.eq(picked ^ chain)
    for machine in machines(build(m, {"key": key, "up": up, "out": out})):
        for value, direction in itertools.product((0, 1, 0x80, 0xFF, 0xA5, 0x7E, 0x7F), (0, 1)):
            machine.set("key", value)
            machine.set("up", direction)
            machine.settle()
            must_chain = (0xFF if value & 1 else 0) if direction else value
            bits = [value >> place & 1 for place in range(8)]
            for place in range(8):
                if direction:
                    bits[place] &= bits[place - 1] if place else value >> 1 & 1
                else:
                    bits[place] ^= 1
                if place == 3 and value & 0x80:
                    bits[place] = 0
            must_picked = sum(bit << place for place, bit in enumerate(bits))
            assert machine.get("out") == must_picked ^ must_chain, (value, direction)


def test_a_port_that_is_not_there_is_refused() -> None:
    """Wrong names, bits outside of a port and values too wide for one are refused with the names."""
    a, out = Signal(4), Signal(4)
    m = Module()
    m.d.comb += out.eq(a)
    program = build(m, {"a": a, "out": out})
    machine = PythonMachine(program)
    cases: list[tuple[Any, str]] = [
        (lambda: program.depends("lamp"), "lamp: the port must be one of out, not lamp"),
        (lambda: program.reaches("out", "out"), "out: the port must be one of a, not out"),
        (
            lambda: program.reaches(("a", 2, 3), "out"),
            "a: bits must lie in the 4 of the port, not 2 to 4",
        ),
        (lambda: machine.set("out", 1), "out: the input must be one of a, not out"),
        (lambda: machine.set("a", 16), "a: a value must have at most 4 bits, not 16"),
        (lambda: machine.set("a", -1), "a: a value must have at most 4 bits, not -1"),
        (lambda: machine.get("lamp"), "lamp: the port must be one of a, out, not lamp"),
        (
            lambda: PythonSource(program, outputs=["lamp"]),
            "lamp: the port must be one of out, not lamp",
        ),
    ]
    for call, message in cases:
        with pytest.raises(NetlistError) as caught:
            call()
        assert str(caught.value) == message


def test_a_register_starts_where_it_says_and_reset_brings_it_back() -> None:
    """Initial values, signed ones too, show before the first edge and after a reset."""
    domain = ClockDomain("sync")
    lever, lamp = Signal(8, init=0xA5), Signal(range(-8, 8), init=-3)
    kept = Signal(4, init=9, reset_less=True)
    m = Module()
    m.domains += domain
    m.d.sync += [lever.eq(lever + 1), lamp.eq(lamp - 1), kept.eq(kept + 1)]
    ports = {"clk": domain.clk, "rst": domain.rst, "lever": lever, "lamp": lamp, "kept": kept}
    for machine in machines(build(m, ports)):
        shown = [[machine.get(name) for name in ("lever", "lamp", "kept")]]
        for rst in (0, 0, 1):
            machine.set("rst", rst)
            machine.settle()
            machine.edge()
            machine.settle()
            shown.append([machine.get(name) for name in ("lever", "lamp", "kept")])
        assert shown == [[0xA5, 13, 9], [0xA6, 12, 10], [0xA7, 11, 11], [0xA5, 13, 12]]


def test_a_long_choice_is_no_deep_one() -> None:
    """A switch of hundreds of cases, for outputs and registers, stays within Python's own limits."""
    domain = ClockDomain("sync", reset_less=True)
    m, key, lamp, bell = Module(), Signal(9), Signal(12), Signal(12)
    m.domains += domain
    with m.Switch(key):
        for case in range(0, 400, 2):
            with m.Case(case):
                m.d.comb += lamp.eq(case * 7 + bell)
                m.d.sync += bell.eq(bell ^ case * 5)
    machine = PythonMachine(build(m, {"clk": domain.clk, "key": key, "lamp": lamp, "bell": bell}))
    kept = 0
    for value in (0, 2, 77, 200, 398, 399, 400, 511):
        machine.set("key", value)
        machine.settle()
        known = value < 400 and value % 2 == 0
        assert machine.get("lamp") == ((value * 7 + kept) % 4096 if known else 0)
        machine.edge()
        kept ^= value * 5 % 4096 if known else 0
    assert kept


def test_an_input_starts_where_it_says() -> None:
    """An input that was not set yet shows the initial value of its signal, as a bit pattern."""
    key, lamp = Signal(range(-8, 8), init=-2), Signal(4)
    m = Module()
    m.d.comb += lamp.eq(key)
    for machine in machines(build(m, {"key": key, "lamp": lamp})):
        assert machine.get("key") == machine.get("lamp") == 14
