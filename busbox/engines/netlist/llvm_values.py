"""Expressions as LLVM instructions, of any width.

Where LLVM leaves a result open, or its code generator on common machines fails, the text does not rely
on it: a shift by the width or more is guarded; a divisor of 0 is replaced; a signed division in one
machine word is a bit wider than its numbers (the smallest number divided by -1). A division of more
than a machine word is long division in this module's own text: LLVM would make it a call of a library
function that need not be there, and narrows a wider one until it is such a call.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

from busbox.engines.netlist.layout import WORD, Layout, Place
from busbox.engines.netlist.nodes import Node
from busbox.engines.netlist.program import Program

DIVISIONS = ("udiv", "umod", "sdiv", "smod")


class Values:
    """Writes nodes as instructions of one function over the block ``%s``, which has memories
    in ``%m``; each node once."""

    def __init__(self, program: Program, layout: Layout) -> None:
        self._program, self._layout = program, layout
        self.lines: list[str] = []
        self._known: dict[Node, str] = {}
        self._count = 0
        self._input_places = [layout.inputs[one.name] for one in program.inputs]
        self._memory_places = [layout.memories[one.name] for one in program.memories]

    def add(self, text: str) -> str:
        """Append an instruction; return the name of its result."""
        name = f"%v{self._count}"
        self._count += 1
        self.lines.append(f"{name} = {text}")
        return name

    def value(self, node: Node) -> str:
        """Return the text that stands for a node; its operands have been written before."""
        if node.kind == "const":
            return str(node.extra)
        found = self._known.get(node)
        if found is None:
            found = self._known[node] = _WRITE[node.kind](self, node)
        return found

    # Loads and stores.

    def pointer(self, place: Place) -> str:
        """Return a pointer to the number at a place."""
        return self.add(f"getelementptr inbounds i8, ptr %s, i64 {place.offset}")

    def element(self, place: Place, index: str) -> str:
        """Return a pointer to one of the numbers at a place; the index has 64 bits."""
        scaled = self.add(f"mul i64 {index}, {place.size}")
        moved = self.add(f"add i64 {scaled}, {place.offset}")
        return self.add(f"getelementptr inbounds i8, ptr %m, i64 {moved}")

    def load(self, pointer: str, place: Place) -> str:
        """Return the number at a pointer."""
        bits = 8 * place.size
        found = self.add(f"load i{bits}, ptr {pointer}, align {min(place.size, 8)}")
        return self.resized(found, bits, place.width)

    def store(self, pointer: str, place: Place, value: str) -> None:
        """Store a number at a pointer."""
        bits = 8 * place.size
        wide = self.resized(value, place.width, bits)
        self.lines.append(f"store i{bits} {wide}, ptr {pointer}, align {min(place.size, 8)}")

    def resized(self, value: str, width: int, new: int, how: str = "zext") -> str:
        """Return a number cut or extended to ``new`` bits."""
        if width == new:
            return value
        if width == 0:
            return "0"
        word = "trunc" if new < width else how
        return self.add(f"{word} i{width} {value} to i{new}")

    def index(self, address: Node, depth: int) -> tuple[str, str | None]:
        """Return an address as a safe index of 64 bits, and whether it is inside (None: always)."""
        value = self.value(address)
        inside = None
        if 1 << address.width > depth:
            inside = self.add(f"icmp ult i{address.width} {value}, {depth}")
            value = self.add(f"select i1 {inside}, i{address.width} {value}, i{address.width} 0")
        return self.resized(value, address.width, WORD), inside

    def memory_place(self, number: int) -> Place:
        """Return the place of a memory."""
        return self._memory_places[number]

    def input(self, node: Node) -> str:
        """Write the load of an input."""
        place = self._input_places[node.extra]
        return self.load(self.pointer(place), place)

    def register(self, node: Node) -> str:
        """Write the load of a register."""
        place = self._layout.registers[node.extra]
        return self.load(self.pointer(place), place)

    def memory(self, node: Node) -> str:
        """Write the read of a memory: 0 outside of it."""
        place = self._memory_places[node.extra]
        index, inside = self.index(node.args[0], place.count)
        word = self.load(self.element(place, index), place)
        if inside is None:
            return word
        return self.add(f"select i1 {inside}, i{node.width} {word}, i{node.width} 0")


def _plain(word: str) -> Callable[[Values, Node], str]:
    def write(values: Values, node: Node) -> str:
        a, b = (values.value(one) for one in node.args)
        return values.add(f"{word} i{node.args[0].width} {a}, {b}")

    return write


def _not(values: Values, node: Node) -> str:
    return values.add(f"xor i{node.width} {values.value(node.args[0])}, -1")


def _neg(values: Values, node: Node) -> str:
    return values.add(f"sub i{node.width} 0, {values.value(node.args[0])}")


def _any(values: Values, node: Node) -> str:
    (a,) = node.args
    return values.add(f"icmp ne i{a.width} {values.value(a)}, 0")


def _parity(values: Values, node: Node) -> str:
    (a,) = node.args
    value, folded = values.value(a), ""
    for low in range(0, a.width, WORD):
        part = values.add(f"lshr i{a.width} {value}, {low}") if low else value
        part = values.resized(part, a.width, WORD)
        folded = values.add(f"xor i64 {folded}, {part}") if folded else part
    count = values.add(f"call i64 @llvm.ctpop.i64(i64 {folded})")
    return values.add(f"trunc i64 {count} to i1")


def _mux(values: Values, node: Node) -> str:
    s, a, b = (values.value(one) for one in node.args)
    return values.add(f"select i1 {s}, i{node.width} {a}, i{node.width} {b}")


def _slice(values: Values, node: Node) -> str:
    (a,) = node.args
    value = values.value(a)
    if node.extra:
        value = values.add(f"lshr i{a.width} {value}, {node.extra}")
    return values.resized(value, a.width, node.width)


def _cat(values: Values, node: Node) -> str:
    whole, at = "", 0
    for part in node.args:
        if part.kind != "const" or part.extra:
            value = values.resized(values.value(part), part.width, node.width)
            if part.kind == "const":
                value = str(part.extra << at)
            elif at:
                value = values.add(f"shl i{node.width} {value}, {at}")
            whole = values.add(f"or i{node.width} {whole}, {value}") if whole else value
        at += part.width
    return whole or "0"


def _sext(values: Values, node: Node) -> str:
    (a,) = node.args
    return values.resized(values.value(a), a.width, node.width, "sext")


def _shift(word: str) -> Callable[[Values, Node], str]:
    def write(values: Values, node: Node) -> str:
        a, b = node.args
        value, places, width = values.value(a), values.value(b), node.width
        inside = ""
        if 1 << b.width > width:
            inside = values.add(f"icmp ult i{b.width} {places}, {width}")
            places = values.add(f"select i1 {inside}, i{b.width} {places}, i{b.width} 0")
        places = values.resized(places, b.width, width)
        moved = values.add(f"{word} i{width} {value}, {places}")
        if not inside:
            return moved
        rest = values.add(f"ashr i{width} {value}, {width - 1}") if word == "ashr" else "0"
        return values.add(f"select i1 {inside}, i{width} {moved}, i{width} {rest}")

    return write


def division_width(node: Node) -> int | None:
    """Return the width of the long division that a node needs, or None where it needs none."""
    signed = node.kind[0] == "s"
    return None if node.width + signed <= WORD else -(-node.width // WORD) * WORD


#: Long division, bit by bit from the top: quotient and remainder of two numbers, the second not 0.
_LONG_DIVISION = """
define internal {{ i{w}, i{w} }} @divide_{w}(i{w} %a, i{w} %b) noinline {{
entry:
  %wide_b = zext i{w} %b to i{v}
  br label %next
next:
  %at = phi i32 [ {w}, %entry ], [ %lower, %next ]
  %quotient = phi i{w} [ 0, %entry ], [ %new_quotient, %next ]
  %rest = phi i{v} [ 0, %entry ], [ %new_rest, %next ]
  %left = phi i{w} [ %a, %entry ], [ %new_left, %next ]
  %lower = sub i32 %at, 1
  %top = lshr i{w} %left, {last}
  %new_left = shl i{w} %left, 1
  %doubled = shl i{v} %rest, 1
  %digit = zext i{w} %top to i{v}
  %brought = or i{v} %doubled, %digit
  %fits = icmp uge i{v} %brought, %wide_b
  %less = sub i{v} %brought, %wide_b
  %new_rest = select i1 %fits, i{v} %less, i{v} %brought
  %shifted = shl i{w} %quotient, 1
  %one = zext i1 %fits to i{w}
  %new_quotient = or i{w} %shifted, %one
  %done = icmp eq i32 %lower, 0
  br i1 %done, label %end, label %next
end:
  %remainder = trunc i{v} %new_rest to i{w}
  %first = insertvalue {{ i{w}, i{w} }} undef, i{w} %new_quotient, 0
  %both = insertvalue {{ i{w}, i{w} }} %first, i{w} %remainder, 1
  ret {{ i{w}, i{w} }} %both
}}
"""


def long_division(width: int) -> str:
    """Return the function that divides numbers of ``width`` bits: ``@divide_`` and the width."""
    return _LONG_DIVISION.format(w=width, v=width + WORD, last=width - 1)


def _division(signed: bool, remainder: bool) -> Callable[[Values, Node], str]:
    def write(values: Values, node: Node) -> str:
        long = division_width(node)
        width = long or (32 if node.width < 32 else WORD)
        a, b = (_divided(values, one, width, signed) for one in node.args)
        none = values.add(f"icmp eq i{width} {b}, 0")
        b = values.add(f"select i1 {none}, i{width} 1, i{width} {b}")
        if long:
            found = _long(values, width, a, b, signed, remainder)
        elif signed:
            found = _floored(values, width, a, b, remainder)
        else:
            found = values.add(f"{'urem' if remainder else 'udiv'} i{width} {a}, {b}")
        found = values.add(f"select i1 {none}, i{width} 0, i{width} {found}")
        return values.resized(found, width, node.width)

    return write


def _divided(values: Values, node: Node, width: int, signed: bool) -> str:
    """Return an operand of a division in its wider type."""
    if node.kind == "const":
        return str(_number(node, signed))
    how = "sext" if signed else "zext"
    return values.resized(values.value(node), node.width, width, how)


def _long(values: Values, width: int, a: str, b: str, signed: bool, remainder: bool) -> str:
    """Write a long division: of the numbers without their signs, and then put right for those."""
    a_negative = b_negative = ""
    if signed:
        a, a_negative = _magnitude(values, width, a)
        b, b_negative = _magnitude(values, width, b)
    pair = f"{{ i{width}, i{width} }}"
    both = values.add(f"call {pair} @divide_{width}(i{width} {a}, i{width} {b})")
    quotient = values.add(f"extractvalue {pair} {both}, 0")
    rest = values.add(f"extractvalue {pair} {both}, 1")
    if not signed:
        return rest if remainder else quotient
    differ = values.add(f"xor i1 {a_negative}, {b_negative}")
    uneven = values.add(f"icmp ne i{width} {rest}, 0")
    wrong = values.add(f"and i1 {differ}, {uneven}")
    if remainder:
        other = values.add(f"sub i{width} {b}, {rest}")
        found = values.add(f"select i1 {wrong}, i{width} {other}, i{width} {rest}")
        return _negated_if(values, width, found, b_negative)
    more = values.add(f"zext i1 {wrong} to i{width}")
    return _negated_if(values, width, values.add(f"add i{width} {quotient}, {more}"), differ)


def _magnitude(values: Values, width: int, a: str) -> tuple[str, str]:
    """Return a number without its sign, and whether it is negative."""
    negative = values.add(f"icmp slt i{width} {a}, 0")
    return _negated_if(values, width, a, negative), negative


def _negated_if(values: Values, width: int, a: str, condition: str) -> str:
    minus = values.add(f"sub i{width} 0, {a}")
    return values.add(f"select i1 {condition}, i{width} {minus}, i{width} {a}")


def _number(node: Node, signed: bool) -> int:
    """Return a constant's number, with its sign if it has one."""
    return node.extra - (node.extra >> node.width - 1 << node.width if signed else 0)


def _floored(values: Values, width: int, a: str, b: str, remainder: bool) -> str:
    """Write a division to minus infinity: LLVM's rounds to 0, so correct it where signs differ."""
    rest = values.add(f"srem i{width} {a}, {b}")
    uneven = values.add(f"icmp ne i{width} {rest}, 0")
    signs = values.add(f"xor i{width} {a}, {b}")
    differ = values.add(f"icmp slt i{width} {signs}, 0")
    wrong = values.add(f"and i1 {uneven}, {differ}")
    if remainder:
        more = values.add(f"add i{width} {rest}, {b}")
        return values.add(f"select i1 {wrong}, i{width} {more}, i{width} {rest}")
    quotient = values.add(f"sdiv i{width} {a}, {b}")
    less = values.add(f"zext i1 {wrong} to i{width}")
    return values.add(f"sub i{width} {quotient}, {less}")


_WRITE: Mapping[str, Callable[[Values, Node], str]] = {
    "input": Values.input,
    "reg": Values.register,
    "mem": Values.memory,
    "not": _not,
    "neg": _neg,
    "and": _plain("and"),
    "or": _plain("or"),
    "xor": _plain("xor"),
    "add": _plain("add"),
    "sub": _plain("sub"),
    "mul": _plain("mul"),
    "eq": _plain("icmp eq"),
    "ult": _plain("icmp ult"),
    "slt": _plain("icmp slt"),
    "udiv": _division(signed=False, remainder=False),
    "umod": _division(signed=False, remainder=True),
    "sdiv": _division(signed=True, remainder=False),
    "smod": _division(signed=True, remainder=True),
    "shl": _shift("shl"),
    "shr": _shift("lshr"),
    "sar": _shift("ashr"),
    "any": _any,
    "parity": _parity,
    "mux": _mux,
    "slice": _slice,
    "cat": _cat,
    "sext": _sext,
}
