"""Expressions: a graph in which equal nodes are one node, with constants folded.

A node is a number of ``width`` bits, 0 <= value < 2**width, a function of its operands. The kinds,
with operands a, b, s and the result's width w:

``const`` (``extra`` the value); ``input``, ``reg`` (``extra`` the place in the program's list);
``mem`` (``extra`` the memory; a the address; 0 outside of it);
``not``, ``and``, ``or``, ``xor``, ``add``, ``sub``, ``mul``, ``neg``: modulo 2**w, all of width w;
``udiv``, ``umod``, ``sdiv``, ``smod``: rounded to minus infinity, 0 where b is 0, all of width w;
``shl``, ``shr``, ``sar``: a of width w, b any number of places, however large;
``eq``, ``ult``, ``slt``: a and b of one width, w = 1; ``any``, ``parity``: of a, w = 1;
``mux``: a if s else b (operands in the order s, a, b);
``slice``: w bits of a from ``extra`` on; ``cat``: operands side by side, the first one lowest;
``sext``: a with its highest bit repeated.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

#: Kinds without operands.
ATOMS: Final = ("const", "input", "reg")


class Node:
    """A node; equal nodes of one graph are the same object."""

    __slots__ = ("args", "extra", "kind", "number", "width")

    def __init__(self, kind: str, width: int, args: tuple[Node, ...], extra: int, number: int):
        self.kind, self.width, self.args = kind, width, args
        self.extra, self.number = extra, number

    def __repr__(self) -> str:
        return f"<{self.kind} {self.number}: {self.width} bits>"


class BitGraph:
    """Makes nodes of bits: constants, slices, and parts side by side."""

    def __init__(self) -> None:
        self._known: dict[tuple[object, ...], Node] = {}

    def node(self, kind: str, width: int, *args: Node, extra: int = 0) -> Node:
        """Return the one node that is exactly this."""
        key = (kind, width, extra, *args)
        found = self._known.get(key)
        if found is None:
            found = self._known[key] = Node(kind, width, args, extra, len(self._known))
        return found

    def const(self, value: int, width: int) -> Node:
        """Return a constant, modulo 2**width."""
        return self.node("const", width, extra=value & (1 << width) - 1)

    def slice(self, a: Node, low: int, width: int) -> Node:
        """Return ``width`` bits of ``a`` from ``low`` on."""
        if width == a.width:
            return a
        if width == 0:
            return self.const(0, 0)
        if a.kind == "const":
            return self.const(a.extra >> low, width)
        if a.kind == "slice":
            return self.slice(a.args[0], a.extra + low, width)
        if a.kind == "cat":
            return self._slice_of_cat(a, low, width)
        if a.kind == "sext":
            inner = a.args[0]
            kept = self.slice(
                inner, min(low, inner.width - 1), max(1, min(width, inner.width - low))
            )
            return self.sext(kept, width)
        return self.node("slice", width, a, extra=low)

    def _slice_of_cat(self, a: Node, low: int, width: int) -> Node:
        parts = []
        for part in a.args:
            first, last = max(low, 0), min(low + width, part.width)
            if first < last:
                parts.append(self.slice(part, first, last - first))
            low -= part.width
        return self.cat(*parts)

    def cat(self, *parts: Node) -> Node:
        """Return the parts side by side, the first one lowest."""
        flat: list[Node] = []
        for part in parts:
            for one in part.args if part.kind == "cat" else (part,):
                joined = self._joined(flat[-1], one) if flat else None
                if joined is not None:
                    flat[-1] = joined
                elif one.width:
                    flat.append(one)
        if not flat:
            return self.const(0, 0)
        if len(flat) == 1:
            return flat[0]
        return self.node("cat", sum(part.width for part in flat), *flat)

    def _joined(self, low: Node, high: Node) -> Node | None:
        """Return two neighbours as one node that is no ``cat``, or None."""
        width = low.width + high.width
        if low.kind == high.kind == "const":
            return self.const(low.extra | high.extra << low.width, width)
        sliced = low.kind == high.kind == "slice" and low.args == high.args
        if sliced and low.extra + low.width == high.extra:
            return self.slice(low.args[0], low.extra, width)
        if not 0 < high.width <= width - 1:
            return None
        top = low.args[0] if low.kind == "sext" else low
        bit = high.args[0] if high.kind == "sext" else high
        if bit.width == 1 and top.kind != "const" and self._top_bit(top) is bit:
            return self.sext(top, width)
        return None

    def _top_bit(self, a: Node) -> Node:
        return self.slice(a, a.width - 1, 1)

    def zext(self, a: Node, width: int) -> Node:
        """Return ``a`` with zeros above, or cut to ``width``."""
        if width <= a.width:
            return self.slice(a, 0, width)
        return self.cat(a, self.const(0, width - a.width))

    def sext(self, a: Node, width: int) -> Node:
        """Return ``a`` with its highest bit repeated above, or cut to ``width``."""
        if width <= a.width:
            return self.slice(a, 0, width)
        if a.width == 0:
            return self.const(0, width)
        if a.kind == "const":
            return self.const(a.extra - (a.extra >> a.width - 1 << a.width), width)
        if a.kind == "sext":
            return self.sext(a.args[0], width)
        if a.kind == "cat" and a.args[-1].kind == "const":
            top = a.args[-1]
            return self.cat(*a.args[:-1], self.sext(top, top.width + width - a.width))
        return self.node("sext", width, a)


class Graph(BitGraph):
    """Makes nodes. Every method returns the simplest node that it knows for what is asked."""

    # Logic.

    def invert(self, a: Node) -> Node:
        """Return ``not a``."""
        if a.kind == "const":
            return self.const(~a.extra, a.width)
        if a.kind == "not":
            return a.args[0]
        return self.node("not", a.width, a)

    def both(self, a: Node, b: Node) -> Node:
        """Return ``a and b``."""
        a, b = _constant_last(a, b)
        if a is b or _is_ones(b):
            return a
        if b.kind == "const" and (a.kind == "const" or not b.extra):
            return self.const(a.extra & b.extra if a.kind == "const" else 0, a.width)
        if self.invert(a) is b:
            return self.const(0, a.width)
        return self.node("and", a.width, a, b)

    def either(self, a: Node, b: Node) -> Node:
        """Return ``a or b``."""
        a, b = _constant_last(a, b)
        if a is b or (b.kind == "const" and not b.extra):
            return a
        if b.kind == "const" and (a.kind == "const" or _is_ones(b)):
            return self.const(a.extra | b.extra if a.kind == "const" else b.extra, a.width)
        if self.invert(a) is b:
            return self.const(-1, a.width)
        return self.node("or", a.width, a, b)

    def differ(self, a: Node, b: Node) -> Node:
        """Return ``a xor b``."""
        a, b = _constant_last(a, b)
        if a is b:
            return self.const(0, a.width)
        if a.kind == b.kind == "const":
            return self.const(a.extra ^ b.extra, a.width)
        if b.kind == "const" and not b.extra:
            return a
        if _is_ones(b):
            return self.invert(a)
        return self.node("xor", a.width, a, b)

    def any(self, a: Node) -> Node:
        """Return whether a bit of ``a`` is 1."""
        if a.kind == "const":
            return self.const(int(a.extra != 0), 1)
        if a.width == 1:
            return a
        if a.kind == "sext":
            return self.any(a.args[0])
        if a.kind == "cat":
            found = self.const(0, 1)
            for part in a.args:
                found = self.either(found, self.any(part))
            return found
        return self.node("any", 1, a)

    def all(self, a: Node) -> Node:
        """Return whether every bit of ``a`` is 1."""
        return self.invert(self.any(self.invert_parts(a)))

    def invert_parts(self, a: Node) -> Node:
        """Return ``not a``, part by part where it is put together of parts."""
        if a.kind == "cat":
            return self.cat(*(self.invert(part) for part in a.args))
        return self.invert(a)

    def parity(self, a: Node) -> Node:
        """Return the exclusive or of all bits of ``a``."""
        if a.kind == "const":
            return self.const(a.extra.bit_count(), 1)
        return a if a.width == 1 else self.node("parity", 1, a)

    def mux(self, s: Node, a: Node, b: Node) -> Node:
        """Return ``a if s else b``."""
        if s.kind == "const":
            return a if s.extra else b
        if s.kind == "not":
            return self.mux(s.args[0], b, a)
        if a.kind == "mux" and a.args[0] is s:
            return self.mux(s, a.args[1], b)
        if b.kind == "mux" and b.args[0] is s:
            return self.mux(s, a, b.args[2])
        if a is b:
            return a
        if a.width == 1:
            if a.kind == "const":
                return self.either(s, b) if a.extra else self.both(self.invert(s), b)
            if b.kind == "const":
                return self.either(self.invert(s), a) if b.extra else self.both(s, a)
        return self.node("mux", a.width, s, a, b)

    # Comparisons.

    def equal(self, a: Node, b: Node) -> Node:
        """Return ``a == b``."""
        a, b = _constant_last(a, b)
        if a is b:
            return self.const(1, 1)
        if b.kind == "const":
            if a.kind == "const":
                return self.const(int(a.extra == b.extra), 1)
            if not b.extra:
                return self.invert(self.any(a))
            if a.width == 1:
                return a
            if a.kind == "cat" and a.args[-1].kind == "const":
                return self._equal_below(a, b)
        return self.node("eq", 1, a, b)

    def _equal_below(self, a: Node, b: Node) -> Node:
        """Compare with a constant where the upper part of ``a`` is one too."""
        top = a.args[-1]
        low = a.width - top.width
        if b.extra >> low != top.extra:
            return self.const(0, 1)
        return self.equal(self.cat(*a.args[:-1]), self.const(b.extra, low))

    def less(self, a: Node, b: Node, signed: bool) -> Node:
        """Return ``a < b``."""
        if a is b or a.width == 0:
            return self.const(0, 1)
        if a.kind == b.kind == "const":
            if signed:
                return self.const(int(_signed(a) < _signed(b)), 1)
            return self.const(int(a.extra < b.extra), 1)
        if not signed:
            if b.kind == "const" and not b.extra:
                return self.const(0, 1)
            if a.kind == "const" and not a.extra:
                return self.any(b)
        return self.node("slt" if signed else "ult", 1, a, b)

    # Arithmetic.

    def arithmetic(self, kind: str, a: Node, b: Node) -> Node:
        """Return ``add``, ``sub``, ``mul``, or one of the divisions."""
        if a.width == 0:
            return a
        if a.kind == b.kind == "const":
            return self.const(_FOLD[kind](a, b), a.width)
        if kind == "add" or kind == "mul":
            a, b = _constant_last(a, b)
        if b.kind == "const":
            if not b.extra:
                return a if kind in ("add", "sub") else b
            if kind == "mul" and b.extra.bit_count() == 1:
                return self.shift("shl", a, self.const(b.extra.bit_length() - 1, a.width))
        return self.node(kind, a.width, a, b)

    def negate(self, a: Node) -> Node:
        """Return ``-a``."""
        return self.const(-a.extra, a.width) if a.kind == "const" else self.node("neg", a.width, a)

    def shift(self, kind: str, a: Node, b: Node) -> Node:
        """Return ``shl``, ``shr`` or ``sar``."""
        if a.width == 0 or (b.kind == "const" and not b.extra) or b.width == 0:
            return a
        if b.kind != "const":
            return self.node(kind, a.width, a, b)
        places = min(b.extra, a.width)
        kept = a.width - places
        if kind == "shl":
            return self.cat(self.const(0, places), self.slice(a, 0, kept))
        if kind == "shr" or kept:
            moved = self.slice(a, places, kept)
            return (self.zext if kind == "shr" else self.sext)(moved, a.width)
        return self.sext(self._top_bit(a), a.width)


def _constant_last(a: Node, b: Node) -> tuple[Node, Node]:
    return (b, a) if a.kind == "const" and b.kind != "const" else (a, b)


def _is_ones(a: Node) -> bool:
    return a.kind == "const" and a.extra == (1 << a.width) - 1


def _signed(a: Node) -> int:
    return a.extra - (a.extra >> a.width - 1 << a.width)


_FOLD: dict[str, Callable[[Node, Node], int]] = {
    "add": lambda a, b: a.extra + b.extra,
    "sub": lambda a, b: a.extra - b.extra,
    "mul": lambda a, b: a.extra * b.extra,
    "udiv": lambda a, b: a.extra // b.extra if b.extra else 0,
    "umod": lambda a, b: a.extra % b.extra if b.extra else 0,
    "sdiv": lambda a, b: _signed(a) // _signed(b) if b.extra else 0,
    "smod": lambda a, b: _signed(a) % _signed(b) if b.extra else 0,
}
