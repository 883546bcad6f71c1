"""What each operator of a netlist computes, as an expression of Amaranth.

Source: the front end's description of its cells (Yosys manual, "Internal cell library": word-level
cells), and IEEE 1364-2005, sections 5.1 (operators) and 5.5 (signed expressions). An operand is
extended to the width of the result, by its sign if the cell says that it is signed; the result is cut
to its width. Where Verilog says x (a division by zero, a bit outside of a word), the result is the
level of undefined bits.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

from amaranth.hdl import Cat, Const, Mux, Value

from busbox.verilog.netlist import Bit, Cell


class Operands:
    """The operands of a cell.

    Parameters
    ----------
    cell : the cell
    value : returns the value that is connected to a port of it
    keep : returns a signal that carries a value, so that it is computed once
    undefined : level of undefined bits, 0 or 1
    """

    def __init__(
        self,
        cell: Cell,
        value: Callable[[str], Value],
        keep: Callable[[Any], Value],
        undefined: int,
    ) -> None:
        self.cell, self.value, self.keep, self.undefined = cell, value, keep, undefined

    def number(self, parameter: str) -> int:
        """Return a parameter as a number."""
        return self.cell.number(parameter)

    def bits(self, port: str) -> Sequence[Bit]:
        """Return the bits that are connected to a port, the lowest first."""
        return self.cell.connections[port]

    @property
    def width(self) -> int:
        """The width of the result."""
        return self.number("Y_WIDTH") if "Y_WIDTH" in self.cell.parameters else self.number("WIDTH")

    def signed(self, port: str) -> bool:
        """Return whether an operand is signed."""
        return bool(self.number(f"{port}_SIGNED"))

    def taken(self, port: str, signed: bool | None = None) -> Any:
        """Return an operand as a number with or without a sign."""
        value = self.value(port)
        signed = self.signed(port) if signed is None else signed
        return value.as_signed() if signed and len(value) else value.as_unsigned()

    @property
    def both(self) -> tuple[Any, Any]:
        """Both operands, with a sign only if both are signed."""
        signed = self.signed("A") and self.signed("B")
        return self.taken("A", signed), self.taken("B", signed)

    def fill(self, width: int) -> Value:
        """Return undefined bits."""
        return Const(-self.undefined & (1 << width) - 1, width)


Operator = Callable[[Operands], Any]


def _bitwise(combine: Callable[[Any, Any], Any]) -> Operator:
    def built(given: Operands) -> Any:
        a, b = given.both
        return combine(_extended(a, given.width), _extended(b, given.width))

    return built


def _extended(value: Any, width: int) -> Any:
    """Return a value in exactly ``width`` bits."""
    if len(value) >= width:
        return Cat(value[:width]) if width else Const(0, 0)
    sign = value[-1] if len(value) and value.shape().signed else Const(0, 1)
    return Cat(value.as_unsigned(), sign.replicate(width - len(value)))


def _compared(compare: Callable[[Any, Any], Any]) -> Operator:
    return lambda given: compare(*given.both)


def _shifted_left(given: Operands) -> Any:
    a, amount = _extended(given.taken("A"), given.width), given.value("B")
    needed = max(1, given.width.bit_length())
    shifted = (a << amount[:needed])[: given.width] if len(amount) else a
    return Mux(amount >= given.width, 0, shifted)


def _shifted_right(arithmetic: bool) -> Operator:
    def built(given: Operands) -> Any:
        a = _extended(given.taken("A"), max(given.width, given.number("A_WIDTH")))
        a = a.as_signed() if arithmetic and given.signed("A") else a
        return a >> given.value("B")

    return built


def _shifted_either(outside_undefined: bool) -> Operator:
    """Shift right by a number that may be negative; ``$shiftx`` shows x outside of the word."""

    def built(given: Operands) -> Any:
        word, amount, width = given.value("A"), given.taken("B"), given.width
        outside: Any = given.fill(width) if outside_undefined else Const(0, width)
        if not outside_undefined:
            word = _extended(given.taken("A"), max(width, len(word)))
        below = outside if amount.shape().signed else Const(0, 0)
        line, place = Cat(below, word, outside), amount + len(below)
        places = len(below) + len(word)
        few = place.as_unsigned()[: places.bit_length()]
        return Mux((place >= 0) & (place < places), (line >> few)[:width], outside)

    return built


def _divided(remainder: bool) -> Operator:
    """Divide, towards zero; a remainder has the sign of the dividend (IEEE 1364-2005, 5.1.5)."""

    def built(given: Operands) -> Any:
        a, b = given.both
        width = max(len(a), len(b), given.width) + 1
        if not a.shape().signed:
            result = a % b if remainder else a // b
        else:
            size_a, size_b = _size(a, width), _size(b, width)
            if remainder:
                left = size_a % size_b
                result = Mux(a < 0, -left, left)
            else:
                ratio = size_a // size_b
                result = Mux((a < 0) ^ (b < 0), -ratio, ratio)
        return Mux(b == 0, given.fill(given.width), _extended(result, given.width))

    return built


def _size(value: Any, width: int) -> Any:
    """Return the absolute value."""
    return Mux(value < 0, -value, value).as_unsigned()[:width]


def _power(given: Operands) -> Any:
    """Multiply the squares that the bits of the exponent ask for (IEEE 1364-2005, table 5-6)."""
    width, times = given.width, given.value("B")
    used = max((place + 1 for place, bit in enumerate(given.bits("B")) if bit != "0"), default=0)
    base = _extended(given.taken("A"), width)
    result: Any = Const(1, width)
    square = base
    for bit in times[:used]:
        result = given.keep(Mux(bit, (result * square)[:width], result))
        square = given.keep((square * square)[:width])
    if not given.signed("B"):
        return result
    least = base.all() if given.signed("A") else Const(0)  # -1
    small = Mux(base == 1, 1, Mux(least, Mux(times[0], base, 1), 0))
    return Mux(times[-1], Mux(base == 0, given.fill(width), small), result)


def _selected(given: Operands) -> Any:
    return Mux(given.value("S"), given.value("B"), given.value("A"))


def _selected_one_hot(given: Operands) -> Any:
    """``$pmux``: the word of the one select bit that is high; A if none is."""
    word, choices, select = given.value("A"), given.value("B"), given.value("S")
    width = given.number("WIDTH")
    for place in reversed(range(len(select))):
        word = Mux(select[place], choices[place * width : (place + 1) * width], word)
    return word


#: The operators, by kind of cell.
OPERATORS: dict[str, Operator] = {
    "$not": lambda given: ~_extended(given.taken("A"), given.width),
    "$pos": lambda given: _extended(given.taken("A"), given.width),
    "$neg": lambda given: -_extended(given.taken("A"), given.width),
    "$and": _bitwise(lambda a, b: a & b),
    "$or": _bitwise(lambda a, b: a | b),
    "$xor": _bitwise(lambda a, b: a ^ b),
    "$xnor": _bitwise(lambda a, b: ~(a ^ b)),
    "$add": _bitwise(lambda a, b: a + b),
    "$sub": _bitwise(lambda a, b: a - b),
    "$mul": _bitwise(lambda a, b: a * b),
    "$div": _divided(remainder=False),
    "$mod": _divided(remainder=True),
    "$pow": _power,
    "$reduce_and": lambda given: given.value("A").all(),
    "$reduce_or": lambda given: given.value("A").any(),
    "$reduce_bool": lambda given: given.value("A").any(),
    "$reduce_xor": lambda given: given.value("A").xor(),
    "$reduce_xnor": lambda given: ~given.value("A").xor(),
    "$logic_not": lambda given: ~given.value("A").any(),
    "$logic_and": lambda given: given.value("A").any() & given.value("B").any(),
    "$logic_or": lambda given: given.value("A").any() | given.value("B").any(),
    "$eq": _compared(lambda a, b: a == b),
    "$ne": _compared(lambda a, b: a != b),
    "$eqx": _compared(lambda a, b: a == b),
    "$nex": _compared(lambda a, b: a != b),
    "$lt": _compared(lambda a, b: a < b),
    "$le": _compared(lambda a, b: a <= b),
    "$gt": _compared(lambda a, b: a > b),
    "$ge": _compared(lambda a, b: a >= b),
    "$shl": _shifted_left,
    "$sshl": _shifted_left,
    "$shr": _shifted_right(arithmetic=False),
    "$sshr": _shifted_right(arithmetic=True),
    "$shift": _shifted_either(outside_undefined=False),
    "$shiftx": _shifted_either(outside_undefined=True),
    "$mux": _selected,
    "$pmux": _selected_one_hot,
}
