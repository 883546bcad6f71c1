"""Arithmetic at the widths and numbers where it goes wrong, against Python's own numbers."""

from __future__ import annotations

import importlib.util
import operator
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from amaranth.hdl import Module, Signal, signed, unsigned
from amaranth.sim import Simulator

from busbox.engines.netlist import Input, Output, Program, PythonMachine, build
from busbox.engines.netlist.nodes import Graph
from tests.engines.netlist.apart import Apart
from tests.engines.netlist.running import Machine

pytestmark = pytest.mark.quick

#: Around machine words, and around the 65 to 128 bits that native code has no division for.
WIDTHS = (1, 8, 31, 32, 33, 63, 64, 65, 128, 129, 200)


def machines(program: Program) -> Iterator[Machine]:
    """Yield a machine of every kind that can be had."""
    yield PythonMachine(program)
    if importlib.util.find_spec("llvmlite"):
        from busbox.engines.netlist.llvm_machine import LlvmMachine

        yield LlvmMachine(program)


def corners(width: int, sign: bool) -> list[int]:
    """Return numbers at and beside the ends, and two in between."""
    low, high = (-(1 << width - 1), (1 << width - 1) - 1) if sign else (0, (1 << width) - 1)
    middle = 0x5DEECE66D_12345678_9ABCDEF0_0F1E2D3C_4B5A6978_87969FA5 >> 3
    some = [low, low + 1, -7, -1, 0, 1, 2, 7, high - 1, high, middle % (high + 1), high // 3]
    return sorted({one for one in some if low <= one <= high})


def quotient(a: int, b: int) -> int:
    """Return a / b rounded to minus infinity, 0 for b = 0. Source: Amaranth's simulator."""
    return a // b if b else 0


def remainder(a: int, b: int) -> int:
    """Return what is left of that division, 0 for b = 0. Source: Amaranth's simulator."""
    return a % b if b else 0


OPERATORS: dict[str, tuple[Callable[[Any, Any], Any], Callable[[int, int], int]]] = {
    "+": (operator.add, operator.add),
    "-": (operator.sub, operator.sub),
    "*": (operator.mul, operator.mul),
    "//": (operator.floordiv, quotient),
    "%": (operator.mod, remainder),
    "<": (operator.lt, operator.lt),
    "<=": (operator.le, operator.le),
    ">": (operator.gt, operator.gt),
    ">=": (operator.ge, operator.ge),
    "==": (operator.eq, operator.eq),
}


def compute(width: int, a_sign: bool, b_sign: bool) -> int:
    """Compare all operators on all pairs of corner numbers; return how many results there were."""
    shapes = (signed if a_sign else unsigned)(width), (signed if b_sign else unsigned)(width)
    a, b = Signal(shapes[0], name="a"), Signal(shapes[1], name="b")
    m, ports = Module(), {"a": a, "b": b}
    for place, (make, _) in enumerate(OPERATORS.values()):
        value = make(a, b)
        result = Signal(value.shape(), name=f"result{place}")
        m.d.comb += result.eq(value)
        ports[result.name] = result
    compared = 0
    for machine in machines(build(m, ports)):
        for first in corners(width, a_sign):
            for second in corners(width, b_sign):
                machine.set("a", first % (1 << width))
                machine.set("b", second % (1 << width))
                machine.settle()
                for place, (name, (_, must)) in enumerate(OPERATORS.items()):
                    port = f"result{place}"
                    expected = must(first, second) % (1 << len(ports[port]))
                    said = f"{type(machine).__name__}: {first} {name} {second}"
                    assert machine.get(port) == expected, said
                    compared += 1
    return compared


@pytest.mark.parametrize("width", WIDTHS)
def test_arithmetic_is_that_of_whole_numbers(width: int, apart: Apart) -> None:
    """Sums, products, divisions and comparisons of corner numbers are Python's, signed or not."""
    for a_sign, b_sign in ((False, False), (True, True), (True, False)):
        assert apart(compute, width, a_sign, b_sign) > 10


UNARY: dict[str, tuple[Callable[[Any], Any], Callable[[int, int], int]]] = {
    "~": (operator.invert, lambda a, width: ~a),
    "-": (operator.neg, lambda a, width: -a),
    "abs": (abs, lambda a, width: abs(a)),
    "any": (lambda a: a.any(), lambda a, width: int(a != 0)),
    "bool": (lambda a: a.bool(), lambda a, width: int(a != 0)),
    "all": (lambda a: a.all(), lambda a, width: int(a % (1 << width) == (1 << width) - 1)),
    "xor": (lambda a: a.xor(), lambda a, width: (a % (1 << width)).bit_count() % 2),
}


def compute_one(width: int, sign: bool) -> int:
    """Compare all operators of one operand on corner numbers and single bits."""
    a, m = Signal(signed(width) if sign else width, name="a"), Module()
    ports = {"a": a}
    for place, (make, _) in enumerate(UNARY.values()):
        value = make(a)
        result = Signal(value.shape(), name=f"result{place}")
        m.d.comb += result.eq(value)
        ports[result.name] = result
    compared = 0
    bits = [(1 << bit) - (sign and bit == width - 1) * (2 << bit) for bit in range(width)]
    for machine in machines(build(m, ports)):
        for number in corners(width, sign) + bits:
            machine.set("a", number % (1 << width))
            machine.settle()
            for place, (name, (_, must)) in enumerate(UNARY.items()):
                port = f"result{place}"
                expected = must(number, width) % (1 << len(ports[port]))
                assert machine.get(port) == expected, f"{type(machine).__name__}: {name} {number}"
                compared += 1
    return compared


@pytest.mark.parametrize("width", WIDTHS)
def test_operators_of_one_number_are_right(width: int, apart: Apart) -> None:
    """Complement, negation, magnitude and reductions of any width are those of whole numbers."""
    for sign in (False, True):
        assert apart(compute_one, width, sign) > 10


def far_left() -> int:
    """Shift left by a number of 100 bits, which no design of Amaranth's can, but an expression."""
    graph = Graph()
    a, by = graph.node("input", 8, extra=0), graph.node("input", 100, extra=1)
    program = Program(
        clock=None,
        inputs=(Input("a", 8, 0), Input("by", 100, 0)),
        outputs=(Output("out", 8, graph.shift("shl", a, by)),),
        registers=(),
        memories=(),
        unexecuted=(),
    )
    compared = 0
    for machine in machines(program):
        for places in (0, 1, 7, 8, 9, 63, 64, 1 << 64, (1 << 100) - 1):
            machine.set("a", 0xB5)
            machine.set("by", places)
            machine.settle()
            assert machine.get("out") == (0xB5 << min(places, 8)) % 256, places
            compared += 1
    return compared


def test_a_left_shift_may_be_by_any_number(apart: Apart) -> None:
    """A left shift by a number that no memory could hold as zeros gives 0."""
    assert apart(far_left) >= 9


def shift(width: int, sign: bool, places: int) -> int:
    """Shift corner numbers by every number of a few bits and some large ones."""
    a = Signal(signed(width) if sign else width, name="a")
    by, few = Signal(places, name="by"), Signal(min(places, 4), name="few")
    m, right, left = Module(), Signal(width, name="right"), Signal(width + 15, name="left")
    m.d.comb += [right.eq(a >> by), left.eq(a << few)]
    program = build(m, {"a": a, "by": by, "few": few, "right": right, "left": left})
    compared = 0
    numbers = {one % (1 << places) for one in (0, 1, width - 1, width, width + 1, 63, 64, 65, -1)}
    for machine in machines(program):
        for value in corners(width, sign):
            for by_value in sorted(numbers):
                few_value = by_value % (1 << len(few))
                for name, one in (
                    ("a", value % (1 << width)),
                    ("by", by_value),
                    ("few", few_value),
                ):
                    machine.set(name, one)
                machine.settle()
                said = f"{type(machine).__name__}: {value} by {by_value}"
                assert machine.get("right") == (value >> by_value) % (1 << width), said
                assert machine.get("left") == (value << few_value) % (1 << width + 15), said
                compared += 1
    return compared


@pytest.mark.parametrize("width", [1, 5, 8, 32, 33, 64, 65, 130])
def test_a_shift_by_the_width_or_more_leaves_zeros_or_the_sign(width: int, apart: Apart) -> None:
    """Shifts by any number of places are Python's; what is shifted by may be much wider."""
    for sign in (False, True):
        for places in (3, 9, 100):
            assert apart(shift, width, sign, places) > 3


#: Each operation on numbers below 2**width, the second a constant; ``signed`` gives them their signs.
ARITHMETIC: dict[str, Callable[[int, int, int], int]] = {
    "add": lambda a, b, width: a + b,
    "sub": lambda a, b, width: a - b,
    "mul": lambda a, b, width: a * b,
    "udiv": lambda a, b, width: quotient(a, b),
    "umod": lambda a, b, width: remainder(a, b),
    "sdiv": lambda a, b, width: quotient(with_sign(a, width), with_sign(b, width)),
    "smod": lambda a, b, width: remainder(with_sign(a, width), with_sign(b, width)),
}
MOVES: dict[str, Callable[[int, int, int], int]] = {
    "shl": lambda a, places, width: a << places,
    "shr": lambda a, places, width: a >> places,
    "sar": lambda a, places, width: with_sign(a, width) >> places,
}


def with_sign(number: int, width: int) -> int:
    """Return the signed number that so many bits show."""
    return number - (number >> width - 1 << width)


def with_constants(width: int) -> int:
    """Compare operations with a constant; the other operand is any number, or begins with 0 or 1."""
    graph = Graph()
    a = graph.node("input", width, extra=0)
    below, half = graph.slice(a, 0, width - 1), 1 << width - 1
    operands = ((a, lambda n: n),
                (graph.cat(below, graph.const(0, 1)), lambda n: n % half),
                (graph.cat(below, graph.const(1, 1)), lambda n: n % half + half))  # fmt: skip
    outputs, musts = [], {}
    for operand, number in operands:
        for kind, must in (ARITHMETIC | MOVES).items():
            places = (0, 1, width - 1, width, width + 1, 2 * width + 3)
            for constant in corners(width, False) if kind in ARITHMETIC else places:
                name = f"out{len(outputs)}"
                if kind in ARITHMETIC:
                    value = graph.arithmetic(kind, operand, graph.const(constant, width))
                else:
                    value = graph.shift(kind, operand, graph.const(constant, width + 3))
                outputs.append(Output(name, width, value))
                musts[name] = kind, must, number, constant
    program = Program(clock=None, inputs=(Input("a", width, 0),), outputs=tuple(outputs),
                      registers=(), memories=(), unexecuted=())  # fmt: skip
    compared = 0
    for machine in machines(program):
        for given in corners(width, False):
            machine.set("a", given)
            machine.settle()
            for name, (kind, must, number, constant) in musts.items():
                expected = must(number(given), constant, width) % (1 << width)
                said = f"{type(machine).__name__}: {kind} {number(given)}, {constant}"
                assert machine.get(name) == expected, said
                compared += 1
    return compared


@pytest.mark.parametrize("width", [2, 8, 33, 64, 65])
def test_operations_with_a_constant_are_those_of_whole_numbers(width: int, apart: Apart) -> None:
    """Constants that use the highest bit, that are negative, and shifts by the width or more."""
    assert apart(with_constants, width) > 100


def test_the_end_of_an_expression_is_its_shape() -> None:
    """``(~a).bit_select(4, 4)`` on 4 bits is 0, where Amaranth's simulator lets ones through.

    Source: the netlist that Amaranth writes; the simulator keeps ``~a`` as a negative number.
    """
    a, at, out = Signal(4), Signal(3), Signal(4)
    m = Module()
    m.d.comb += out.eq((~a).bit_select(at, 4))
    seen = []

    async def bench(ctx: Any) -> None:
        ctx.set(at, 4)
        seen.append(ctx.get(out))

    simulator = Simulator(m)
    simulator.add_testbench(bench)
    simulator.run()
    assert seen == [15]
    for machine in machines(build(m, {"a": a, "at": at, "out": out})):
        machine.set("at", 4)
        machine.settle()
        assert machine.get("out") == 0
