"""Runs a design on Amaranth's simulator and on machines, with the same inputs, and compares."""

from __future__ import annotations

import random
from collections.abc import Mapping, Sequence
from typing import Any, Protocol

from amaranth.hdl import Cat, Signal, Value
from amaranth.sim import Simulator


class Machine(Protocol):
    """What the machines have in common."""

    def set(self, name: str, value: int) -> None: ...
    def get(self, name: str) -> int: ...
    def settle(self) -> None: ...
    def edge(self) -> bool: ...
    def peek_memory(self, name: str, index: int) -> int: ...


#: Outputs of one moment: after inputs, after the edge, ...
Trace = list[tuple[int, ...]]


def random_inputs(widths: Sequence[int], cycles: int, seed: int) -> list[list[int]]:
    """Return values for the inputs in each cycle; some cycles repeat, some are all 0 or all 1."""
    draw = random.Random(seed)
    found: list[list[int]] = []
    for _ in range(cycles):
        kind = draw.randrange(8)
        if kind == 0 and found:
            found.append(found[-1])
        else:
            extremes = kind == 1
            found.append(
                [
                    (draw.choice((0, (1 << width) - 1)) if extremes else _value(draw, width))
                    for width in widths
                ]
            )
    return found


def _value(draw: random.Random, width: int) -> int:
    small = draw.random() < 0.3
    return draw.getrandbits(min(width, 3) if small else width)


def simulate(
    design: Any,
    clock: Signal,
    inputs: Sequence[Signal],
    outputs: Sequence[Value],
    cycles: Sequence[Sequence[int]],
    memories: Mapping[str, Any],
) -> tuple[Trace, dict[str, list[int]]]:
    """Return what Amaranth's simulator shows at the start, after each cycle's inputs and each edge.

    Also the contents of memories at the end (bit patterns).
    """
    trace: Trace = []
    words: dict[str, list[int]] = {}
    shown, driven = Cat(*outputs), Cat(*inputs)

    async def bench(ctx: Any) -> None:
        def look() -> None:
            trace.append(split(ctx.get(shown), [len(one) for one in outputs]))

        look()
        for cycle in cycles:
            ctx.set(driven, joined(cycle, [len(one) for one in inputs]))
            look()
            ctx.set(clock, 1)
            ctx.set(clock, 0)
            look()
        for name, memory in memories.items():
            every = (1 << len(Value.cast(memory.data[0]))) - 1 if memory.depth else 0
            words[name] = [ctx.get(memory.data[at]) & every for at in range(memory.depth)]

    simulator = Simulator(design)
    simulator.add_testbench(bench)
    simulator.run()
    return trace, words


def drive(
    machine: Machine,
    inputs: Sequence[str],
    outputs: Sequence[str],
    cycles: Sequence[Sequence[int]],
) -> tuple[Trace, list[bool]]:
    """Return the same of a machine, and what its edges said of changes."""
    trace: Trace = [tuple(machine.get(name) for name in outputs)]
    changes = []
    for cycle in cycles:
        for name, value in zip(inputs, cycle, strict=True):
            machine.set(name, value)
        machine.settle()
        trace.append(tuple(machine.get(name) for name in outputs))
        changes.append(machine.edge())
        machine.settle()
        trace.append(tuple(machine.get(name) for name in outputs))
    return trace, changes


def joined(values: Sequence[int], widths: Sequence[int]) -> int:
    """Return values side by side, the first one lowest."""
    whole, at = 0, 0
    for value, width in zip(values, widths, strict=True):
        whole |= value << at
        at += width
    return whole


def split(whole: int, widths: Sequence[int]) -> tuple[int, ...]:
    """Return the values that stand side by side."""
    found = []
    for width in widths:
        found.append(whole & (1 << width) - 1)
        whole >>= width
    return tuple(found)
