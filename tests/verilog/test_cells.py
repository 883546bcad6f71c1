"""Every kind of cell that is built, alone, with every value of operands of up to four bits.

The numbers come from what the front end's manual says of each cell (Yosys manual, "Internal cell
library": word-level cells) by way of Python's integers.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import product
from typing import Any

import pytest
from amaranth.hdl import Cat, Elaboratable, Module, Signal
from amaranth.sim import Simulator

from busbox.verilog import operators
from busbox.verilog.netlist import Cell
from tests.verilog.expressions import mask, number

MOST = 4


@dataclass(frozen=True)
class Shape:
    """Widths and signs of a cell's operands, the width of its result, and the level of x."""

    a: int
    b: int
    y: int
    signed_a: bool
    signed_b: bool
    undefined: int

    @property
    def parameters(self) -> dict[str, str]:
        """As the netlist has them."""
        found = {"A_WIDTH": self.a, "B_WIDTH": self.b, "Y_WIDTH": self.y}
        found |= {"A_SIGNED": self.signed_a, "B_SIGNED": self.signed_b}
        return {name: f"{int(value):b}" for name, value in found.items()}

    def both(self, a: int, b: int) -> tuple[int, int]:
        """Return the operands as numbers, with signs only if both have one."""
        signed = self.signed_a and self.signed_b
        return number(a, self.a, signed), number(b, self.b, signed)


Model = Callable[[Shape, int, int], int]
#: Shapes of operands: narrower and wider than each other and than the result.
SIZES = ((1, 1, 1), (4, 4, 4), (3, 4, 6), (4, 2, 3), (2, 4, 2), (2, 3, 5), (4, 3, 9))
SHAPES = tuple(
    Shape(*sizes, *signs, undefined)
    for sizes, signs, undefined in product(SIZES, product((False, True), repeat=2), (0, 1))
)


def single(work: Callable[[int], int]) -> Model:
    """Return the model of a cell with one operand, extended by its sign."""
    return lambda shape, a, b: work(number(a, shape.a, shape.signed_a))


def double(work: Callable[[int, int], int]) -> Model:
    """Return the model of a cell with two operands, extended by their sign."""
    return lambda shape, a, b: work(*shape.both(a, b))


def divided(work: Callable[[int, int], int]) -> Model:
    """Return the model of a division of sizes; with the sign of the quotient or dividend."""

    def model(shape: Shape, a: int, b: int) -> int:
        return work(*shape.both(a, b)) if b else -shape.undefined

    return model


def shifted(shape: Shape, a: int, b: int, keep: bool) -> int:
    """Shift right; the operand has at least the width of the result."""
    bits = number(a, shape.a, shape.signed_a) & mask(max(shape.a, shape.y))
    return (number(a, shape.a, shape.signed_a) if keep else bits) >> b


def moved(shape: Shape, a: int, b: int) -> int:
    """Shift right, or left by a negative number."""
    amount = number(b, shape.b, shape.signed_b)
    bits = number(a, shape.a, shape.signed_a) & mask(max(shape.a, shape.y))
    return bits >> amount if amount >= 0 else bits << -amount


def taken(shape: Shape, a: int, b: int) -> int:
    """Take bits from a place on; those outside of the word are x."""
    first = number(b, shape.b, shape.signed_b)
    places = range(first, first + shape.y)
    bits = [a >> one & 1 if 0 <= one < shape.a else shape.undefined for one in places]
    return sum(bit << place for place, bit in enumerate(bits))


def power(shape: Shape, a: int, b: int) -> int:
    """Raise to a power (IEEE 1364-2005, table 5-6)."""
    base = number(a, shape.a, shape.signed_a)
    exponent = number(b, shape.b, shape.signed_b)
    if exponent >= 0:
        return int(base**exponent)
    base = number(base & mask(shape.y), shape.y, shape.signed_a)
    if base == 0:
        return -shape.undefined
    return {1: 1, -1: -1 if exponent & 1 else 1}.get(base, 0)


def sign(value: int) -> int:
    """Return 1 or -1."""
    return -1 if value < 0 else 1


MODELS: dict[str, Model] = {
    "$not": single(lambda a: ~a),
    "$pos": single(lambda a: a),
    "$neg": single(lambda a: -a),
    "$and": double(lambda a, b: a & b),
    "$or": double(lambda a, b: a | b),
    "$xor": double(lambda a, b: a ^ b),
    "$xnor": double(lambda a, b: ~(a ^ b)),
    "$add": double(lambda a, b: a + b),
    "$sub": double(lambda a, b: a - b),
    "$mul": double(lambda a, b: a * b),
    "$div": divided(lambda a, b: abs(a) // abs(b) * sign(a) * sign(b)),
    "$mod": divided(lambda a, b: abs(a) % abs(b) * sign(a)),
    "$pow": power,
    "$reduce_and": lambda shape, a, b: a == mask(shape.a),
    "$reduce_or": lambda shape, a, b: a != 0,
    "$reduce_bool": lambda shape, a, b: a != 0,
    "$reduce_xor": lambda shape, a, b: a.bit_count() & 1,
    "$reduce_xnor": lambda shape, a, b: ~a.bit_count() & 1,
    "$logic_not": lambda shape, a, b: not a,
    "$logic_and": lambda shape, a, b: bool(a and b),
    "$logic_or": lambda shape, a, b: bool(a or b),
    "$eq": double(lambda a, b: a == b),
    "$ne": double(lambda a, b: a != b),
    "$eqx": double(lambda a, b: a == b),
    "$nex": double(lambda a, b: a != b),
    "$lt": double(lambda a, b: a < b),
    "$le": double(lambda a, b: a <= b),
    "$gt": double(lambda a, b: a > b),
    "$ge": double(lambda a, b: a >= b),
    "$shl": lambda shape, a, b: number(a, shape.a, shape.signed_a) << b,
    "$sshl": lambda shape, a, b: number(a, shape.a, shape.signed_a) << b,
    "$shr": lambda shape, a, b: shifted(shape, a, b, False),
    "$sshr": lambda shape, a, b: shifted(shape, a, b, shape.signed_a),
    "$shift": moved,
    "$shiftx": taken,
}
#: Cells that choose between words of two bits by S: A and B with one bit, A and two words with two.
CHOICES: dict[str, Callable[[int, int, int], int | None]] = {
    "$mux": lambda a, b, s: b & 3 if s & 1 else a & 3,
    "$pmux": lambda a, b, s: {0: a & 3, 1: b & 3, 2: b >> 2}.get(s),
}


class Cells(Elaboratable):
    """Cells of one kind, of each shape, side by side."""

    def __init__(self, kind: str, module: Any) -> None:
        self.kind, self.module = kind, module
        self.inputs = [Signal(MOST, name=name) for name in "abs"]
        shapes = SHAPES if kind in MODELS else SHAPES[:1]
        self.outputs = {shape: Signal(shape.y if kind in MODELS else 2) for shape in shapes}

    def elaborate(self, platform: object) -> Module:
        m = Module()
        a, b, s = self.inputs

        def kept(value: Any) -> Signal:
            signal = Signal(len(value))
            m.d.comb += signal.eq(value)
            return signal

        for shape, output in self.outputs.items():
            cell = Cell("cell", self.kind, shape.parameters, {"B": list(range(shape.b))}, "")
            given = {"A": a[: shape.a], "B": b[: shape.b]}
            if self.kind in CHOICES:
                many = self.kind == "$pmux"
                cell = Cell("cell", self.kind, {"WIDTH": "10"}, {}, "")
                given = {"A": a[:2], "B": b if many else b[:2], "S": s[: 1 + many]}
            values = {name: kept(value) for name, value in given.items()}
            operands = self.module.Operands(cell, values.__getitem__, kept, shape.undefined)
            m.d.comb += output.eq(self.module.OPERATORS[self.kind](operands))
        return m


def differences(kind: str, module: Any = operators) -> Iterator[str]:
    """Yield where a kind of cell, as a module builds it, does not compute what its model does."""
    cells = Cells(kind, module)
    shown = Signal(sum(len(one) for one in cells.outputs.values()))
    m, found = Module(), []
    m.submodules.cells = cells
    m.d.comb += shown.eq(Cat(cells.outputs.values()))
    vectors = list(product(range(16), range(16), range(3) if kind in CHOICES else (0,)))

    async def ask(context: Any) -> None:
        for vector in vectors:
            for signal, value in zip(cells.inputs, vector, strict=True):
                context.set(signal, value)
            await context.delay(1e-6)
            found.append(context.get(shown))

    simulator = Simulator(m)
    simulator.add_testbench(ask)
    simulator.run()
    for (a, b, s), word in zip(vectors, found, strict=True):
        low = 0
        for shape, output in cells.outputs.items():
            width, right = len(output), expected(kind, shape, a, b, s)
            given = word >> low & mask(width)
            low += width
            if right is not None and given != right & mask(width):
                yield f"{kind} of {a}, {b}, {s} in {shape}: {given}, not {right & mask(width)}"


def expected(kind: str, shape: Shape, a: int, b: int, s: int) -> int | None:
    """Return what a cell must show; None if anything is right."""
    if kind in CHOICES:
        return CHOICES[kind](a, b, s)
    return int(MODELS[kind](shape, a & mask(shape.a), b & mask(shape.b)))


@pytest.mark.parametrize("kind", operators.OPERATORS)
def test_a_cell_computes_what_the_manual_says(kind: str) -> None:
    """Every kind, in every shape, with both levels of undefined bits."""
    assert next(differences(kind), None) is None
