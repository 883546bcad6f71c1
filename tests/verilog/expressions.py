"""Random expressions of Verilog, and what they are worth by IEEE 1364-2005.

The numbers are worked out by the rules of the standard alone, on Python's integers: widths by table
5-22, types and extension by section 5.5, operators by section 5.1. Nothing here knows a netlist.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Mapping
from dataclasses import dataclass

#: Inputs of an expression: name to (width, signed).
INPUTS = {
    "a": (1, False), "b": (4, False), "c": (5, True), "d": (8, True), "e": (13, False),
    "f": (16, True), "g": (3, True), "h": (33, False),
}  # fmt: skip

Values = Mapping[str, int]


class Undefined(Exception):
    """The standard says that the result is, or may be, x."""


@dataclass(frozen=True)
class Expression:
    """An expression.

    Attributes
    ----------
    text : in Verilog
    width, signed : its own, by table 5-22 and section 5.5.1
    value : its bits, in a context of some width that is signed or not
    """

    text: str
    width: int
    signed: bool
    value: Callable[[Values, int, bool], int]

    def own(self, values: Values) -> int:
        """Return its bits where it is self-determined."""
        return self.value(values, self.width, self.signed)

    def number(self, values: Values) -> int:
        """Return its own value as a number."""
        return number(self.own(values), self.width, self.signed)


def mask(width: int) -> int:
    """Return as many ones."""
    return (1 << width) - 1


def number(bits: int, width: int, signed: bool) -> int:
    """Return what bits mean."""
    return bits - (1 << width) if signed and bits >> width - 1 & 1 else bits


def leaf(text: str, width: int, signed: bool, own: Callable[[Values], int]) -> Expression:
    """Return an operand: it is extended by its sign if the whole is signed (section 5.5.2)."""

    def value(values: Values, wanted: int, as_signed: bool) -> int:
        return number(own(values), width, as_signed) & mask(wanted)

    return Expression(text, width, signed, value)


def name(text: str) -> Expression:
    """Return an input."""
    width, signed = INPUTS[text]
    return leaf(text, width, signed, lambda values: values[text])


def constant(text: str, width: int, signed: bool, bits: int) -> Expression:
    """Return a number as it is written."""
    return leaf(text, width, signed, lambda values: bits)


def plain(operator: str, left: Expression, right: Expression) -> Expression:
    """Return ``left operator right`` where both are determined by the context."""

    def value(values: Values, width: int, signed: bool) -> int:
        a, b = left.value(values, width, signed), right.value(values, width, signed)
        x, y = number(a, width, signed), number(b, width, signed)
        if operator in "/%" and not y:
            raise Undefined  # section 5.1.5
        size = abs(x) // abs(y) if operator == "/" else abs(x) % abs(y) if operator == "%" else 0
        found = {
            "+": a + b, "-": a - b, "*": a * b, "&": a & b, "|": a | b, "^": a ^ b,
            "~^": ~(a ^ b), "/": size if (x < 0) == (y < 0) else -size, "%": -size if x < 0 else size,
        }  # fmt: skip
        return found[operator] & mask(width)

    width, signed = max(left.width, right.width), left.signed and right.signed
    return Expression(f"({left.text} {operator} {right.text})", width, signed, value)


def single(operator: str, operand: Expression) -> Expression:
    """Return ``+``, ``-`` or ``~`` of an operand."""

    def value(values: Values, width: int, signed: bool) -> int:
        a = operand.value(values, width, signed)
        return {"+": a, "-": -a, "~": ~a}[operator] & mask(width)

    return Expression(f"({operator} {operand.text})", operand.width, operand.signed, value)


def compared(operator: str, left: Expression, right: Expression) -> Expression:
    """Return a comparison: its operands have the width of the wider one (table 5-22)."""
    width, signed = max(left.width, right.width), left.signed and right.signed

    def own(values: Values) -> int:
        x, y = (number(one.value(values, width, signed), width, signed) for one in (left, right))
        return {
            "==": x == y, "!=": x != y, "===": x == y, "!==": x != y, "<": x < y, "<=": x <= y,
            ">": x > y, ">=": x >= y,
        }[operator]  # fmt: skip

    return leaf(f"({left.text} {operator} {right.text})", 1, False, lambda v: int(own(v)))


def logical(operator: str, left: Expression, right: Expression) -> Expression:
    """Return ``&&`` or ``||``; its operands are self-determined."""

    def own(values: Values) -> int:
        x, y = bool(left.own(values)), bool(right.own(values))
        return int(x and y if operator == "&&" else x or y)

    return leaf(f"({left.text} {operator} {right.text})", 1, False, own)


def reduced(operator: str, operand: Expression) -> Expression:
    """Return a reduction, or ``!``; its operand is self-determined."""

    def own(values: Values) -> int:
        bits = operand.own(values)
        every, odd = bits == mask(operand.width), bits.bit_count() & 1
        return int({
            "&": every, "~&": not every, "|": bool(bits), "~|": not bits, "!": not bits,
            "^": bool(odd), "~^": not odd,
        }[operator])  # fmt: skip

    return leaf(f"({operator} {operand.text})", 1, False, own)


def shifted(operator: str, left: Expression, right: Expression) -> Expression:
    """Return a shift: the amount is self-determined and never negative (section 5.1.12)."""

    def value(values: Values, width: int, signed: bool) -> int:
        a, amount = left.value(values, width, signed), right.own(values)
        if operator in ("<<", "<<<"):
            return a << min(amount, width) & mask(width)
        kept = number(a, width, signed and operator == ">>>")
        return kept >> min(amount, width) & mask(width)

    text = f"({left.text} {operator} {right.text})"
    return Expression(text, left.width, left.signed, value)


def power(left: Expression, right: Expression) -> Expression:
    """Return ``left ** right`` (table 5-6); the exponent is self-determined."""

    def value(values: Values, width: int, signed: bool) -> int:
        x = number(left.value(values, width, signed), width, signed)
        y = right.number(values)
        if y >= 0:
            return pow(x, y, 1 << width)
        if x == 0:
            raise Undefined
        small = {1: 1, -1: -1 if y & 1 else 1}.get(x, 0)
        return small & mask(width)

    return Expression(f"({left.text} ** {right.text})", left.width, left.signed, value)


def chosen(select: Expression, left: Expression, right: Expression) -> Expression:
    """Return ``select ? left : right``."""

    def value(values: Values, width: int, signed: bool) -> int:
        return (left if select.own(values) else right).value(values, width, signed)

    width, signed = max(left.width, right.width), left.signed and right.signed
    return Expression(f"({select.text} ? {left.text} : {right.text})", width, signed, value)


def joined(*parts: Expression) -> Expression:
    """Return a concatenation."""

    def own(values: Values) -> int:
        bits = 0
        for part in parts:
            bits = bits << part.width | part.own(values)
        return bits

    text = ", ".join(part.text for part in parts)
    return leaf(f"{{{text}}}", sum(part.width for part in parts), False, own)


def repeated(times: int, part: Expression) -> Expression:
    """Return a replication."""
    return leaf(
        f"{{{times}{{{part.text}}}}}", times * part.width, False,
        lambda values: sum(part.own(values) << part.width * place for place in range(times)),
    )  # fmt: skip


def cast(to_signed: bool, part: Expression) -> Expression:
    """Return ``$signed`` or ``$unsigned`` of a self-determined operand."""
    word = "$signed" if to_signed else "$unsigned"
    return leaf(f"{word}({part.text})", part.width, to_signed, part.own)


def selected(source: str, index: Expression, width: int, way: str) -> Expression:
    """Return ``source[index]``, ``source[index +: width]`` or ``source[index -: width]``."""
    most = INPUTS[source][0]

    def own(values: Values) -> int:
        low = index.number(values) - (width - 1 if way == "-:" else 0)
        if low < 0 or low + width > most:
            raise Undefined  # section 5.2.1
        return values[source] >> low & mask(width)

    text = f"{source}[{index.text}{f' {way} {width}' if way else ''}]"
    return leaf(text, width, False, own)


class Maker:
    """Makes random expressions."""

    def __init__(self, dice: random.Random) -> None:
        self._dice = dice

    def make(self, depth: int) -> Expression:
        """Return one, nested as deep at the most."""
        dice = self._dice
        if depth <= 0 or dice.random() < 0.15:
            return self._leaf()

        def some() -> Expression:
            return self.make(depth - 1)

        makers: list[Callable[[], Expression]] = [
            lambda: plain(
                dice.choice(["+", "-", "*", "&", "|", "^", "~^", "/", "%"]), some(), some()
            ),
            lambda: plain(
                dice.choice(["+", "-", "*", "&", "|", "^", "~^", "/", "%"]), some(), some()
            ),
            lambda: single(dice.choice("+-~"), some()),
            lambda: compared(
                dice.choice(["==", "!=", "===", "!==", "<", "<=", ">", ">="]), some(), some()
            ),
            lambda: logical(dice.choice(("&&", "||")), some(), some()),
            lambda: reduced(dice.choice(["&", "~&", "|", "~|", "^", "~^", "!"]), some()),
            lambda: shifted(dice.choice(["<<", ">>", "<<<", ">>>"]), some(), some()),
            lambda: shifted(dice.choice(["<<", ">>", "<<<", ">>>"]), some(), self._leaf()),
            self._power,
            lambda: chosen(some(), some(), some()),
            lambda: joined(*(self._sized(depth - 1) for _ in range(dice.randrange(1, 4)))),
            lambda: repeated(dice.randrange(1, 4), self._sized(depth - 1)),
            lambda: cast(dice.random() < 0.7, some()),
            self._selection,
        ]
        return dice.choice(makers)()

    def _power(self) -> Expression:
        """Return a power that the front end evaluates as the standard says.

        It takes a signed exponent beside an unsigned base as unsigned, and x to some power as 0.
        """
        dice = self._dice
        if dice.random() < 0.5:
            base = dice.choice((constant("2", 32, True, 2), constant("12'd2", 12, False, 2)))
            return power(base, name(dice.choice("ab")))
        exponent = dice.randrange(8)
        return power(self._leaf(), constant(str(exponent), 32, True, exponent))

    def _selection(self) -> Expression:
        dice = self._dice
        source = dice.choice("bcdefh")
        most = INPUTS[source][0]
        if dice.random() < 0.3:
            high = dice.randrange(most)
            low = dice.randrange(high + 1)
            return leaf(
                f"{source}[{high}:{low}]", high - low + 1, False,
                lambda values: values[source] >> low & mask(high - low + 1),
            )  # fmt: skip
        index = name(dice.choice("abcg"))
        if dice.random() < 0.5:
            return selected(source, index, 1, "")
        return selected(source, index, dice.randrange(1, most), dice.choice(("+:", "-:")))

    def _sized(self, depth: int) -> Expression:
        found = self.make(depth)
        return name("e") if found.text.isdigit() or found.width > 64 else found

    def _leaf(self) -> Expression:
        dice = self._dice
        if dice.random() < 0.75:
            return name(dice.choice(list(INPUTS)))
        if dice.random() < 0.3:
            value = dice.choice((0, 1, 2, 3, 5, 7, 255, 12345))
            return constant(str(value), 32, True, value)
        width, signed = dice.randrange(1, 12), dice.random() < 0.5
        bits = dice.choice((0, 1, mask(width), 1 << width - 1, dice.randrange(1 << width)))
        return constant(f"{width}'{'s' if signed else ''}h{bits:x}", width, signed, bits)


def drawn_values(dice: random.Random) -> dict[str, int]:
    """Return values of the inputs: every bit pattern, corners more often."""
    found = {}
    for key, (width, _) in INPUTS.items():
        corners = (0, 1, mask(width), 1 << width - 1, mask(width) >> 1)
        found[key] = dice.choice((*corners, *(dice.randrange(1 << width) for _ in range(5))))
    return found
