"""A program with held inputs, cut into parts, against the whole."""

from __future__ import annotations

import random

import pytest

from busbox.engines.netlist import Program, PythonMachine, build
from busbox.engines.netlist.parts import hold, split
from tests.engines.netlist.designs import RandomDesign
from tests.engines.netlist.running import random_inputs

CYCLES = 16


def grouped(draw: random.Random, names: list[str]) -> list[list[str]]:
    """Return names in groups of one to three."""
    groups = []
    while names:
        count = draw.randint(1, 3)
        groups.append(names[:count])
        names = names[count:]
    return groups


@pytest.mark.parametrize("first", range(0, 40, 10))
def test_parts_do_together_what_the_whole_does(first: int) -> None:
    """In every cycle each part shows the whole's outputs, and the whole changes if one part does."""
    for seed in range(first, first + 10):
        draw = random.Random(seed)
        design = RandomDesign(seed)
        program = build(design, design.ports)
        names = [one.name for one in program.inputs]
        held = {name: 0 for name in names if draw.random() < 0.6}
        held |= {one.name: draw.getrandbits(one.width) for one in program.inputs
                 if one.name in held and draw.random() < 0.3}  # fmt: skip
        groups = grouped(draw, [one.name for one in program.outputs])
        parts = split(hold(program, held), groups, draw.choice((1, 3, 60)))
        compare(program, parts, held, seed)
        shown = sorted(one.name for part in parts for one in part.outputs)
        assert shown == sorted(one.name for one in program.outputs)


def compare(program: Program, parts: list[Program], held: dict[str, int], seed: int) -> None:
    """Drive the whole and every part on its own."""
    whole, machines = PythonMachine(program), [PythonMachine(part) for part in parts]
    widths = [one.width for one in program.inputs]
    for cycle, values in enumerate(random_inputs(widths, CYCLES, seed)):
        for one, value in zip(program.inputs, values, strict=True):
            for machine in (whole, *machines):
                machine.set(one.name, held.get(one.name, value))
        whole.settle()
        changed = []
        for part, machine in zip(parts, machines, strict=True):
            machine.settle()
            for output in part.outputs:
                got, must = machine.get(output.name), whole.get(output.name)
                assert got == must, f"seed {seed}, cycle {cycle}, {output.name}"
            changed.append(machine.edge())
        assert whole.edge() == any(changed), f"seed {seed}, cycle {cycle}"


def test_outputs_of_a_group_come_into_one_part() -> None:
    """Two counters that hear nothing of each other are two parts, or one if a group shows both."""
    from amaranth.hdl import ClockDomain, Module, Signal

    def program() -> Program:
        m = Module()
        m.domains += (domain := ClockDomain("sync"))
        one, other, go = Signal(3), Signal(5), Signal()
        m.d.sync += [one.eq(one + 1), other.eq(other + go)]
        shown = {"one": Signal(3), "other": Signal(5)}
        m.d.comb += [shown["one"].eq(one), shown["other"].eq(other)]
        ports = {"clk": domain.clk, "rst": domain.rst, "go": go, **shown}
        return hold(build(m, ports), {"rst": 0})

    names = [
        [one.name for one in part.outputs] for part in split(program(), [["one"], ["other"]], 9)
    ]
    assert [name for name in names if name] == [["one"], ["other"]]
    names = [[one.name for one in part.outputs] for part in split(program(), [["one", "other"]], 9)]
    assert [name for name in names if name] == [["one", "other"]]
    # With its input held, the second counter stands still: it is in no part, and shows one number.
    standing = hold(program(), {"go": 0})
    moving = [
        [place for place, one in enumerate(part.registers) if one.next.kind != "reg"]
        for part in split(standing, [["one"], ["other"]], 9)
    ]
    assert sum(map(len, moving)) == 1
