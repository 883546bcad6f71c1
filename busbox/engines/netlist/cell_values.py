"""The value of each combinational cell, as an expression of its operands.

Operands are first brought to one width, with the sign if the cell says so, as the cells of
``amaranth.back.rtlil`` mean it.
"""

from __future__ import annotations

from collections.abc import Mapping

from busbox.engines.netlist.nodes import Graph, Node

_ARITHMETIC = {"$add": "add", "$sub": "sub", "$mul": "mul"}
_DIVISIONS = {"$divfloor": "div", "$modfloor": "mod"}
_COMPARISONS = ("$eq", "$ne", "$lt", "$gt", "$le", "$ge")


def cell_value(
    graph: Graph, kind: str, values: Mapping[str, Node], width: int, signed: bool
) -> Node:
    """Return the value of a cell of ``width`` bits.

    Parameters
    ----------
    values : what its ports A, B, S show, those it has
    signed : whether A (of two equal operands: both) has a sign
    """
    if kind == "$mux":
        return graph.mux(values["S"], values["B"], values["A"])
    a = values["A"]
    if "B" not in values:
        return _unary(graph, kind, a, width, signed)
    b = values["B"]
    if kind in ("$shl", "$shr", "$sshr", "$shift"):
        return _shift(graph, kind, a, b, width, signed)
    widest = max(a.width, b.width)
    if kind in _COMPARISONS:
        a, b = (_extend(graph, one, widest, signed) for one in (a, b))
        return graph.zext(_comparison(graph, kind, a, b, signed), width)
    if kind in _DIVISIONS:
        widest = max(widest, width)
        a, b = (_extend(graph, one, widest, signed) for one in (a, b))
        name = ("s" if signed else "u") + _DIVISIONS[kind]
        return graph.slice(graph.arithmetic(name, a, b), 0, width)
    a, b = (_extend(graph, one, width, signed) for one in (a, b))
    if kind in _ARITHMETIC:
        return graph.arithmetic(_ARITHMETIC[kind], a, b)
    return {"$and": graph.both, "$or": graph.either, "$xor": graph.differ}[kind](a, b)


def match(graph: Graph, test: Node, mask: int, value: int) -> Node:
    """Return whether the bits of ``test`` that ``mask`` names are those of ``value``."""
    parts, values, at = [], 0, 0
    for bit in range(test.width):
        if mask >> bit & 1:
            parts.append(graph.slice(test, bit, 1))
            values |= (value >> bit & 1) << at
            at += 1
    return graph.equal(graph.cat(*parts), graph.const(values, at))


def _extend(graph: Graph, a: Node, width: int, signed: bool) -> Node:
    return graph.sext(a, width) if signed else graph.zext(a, width)


def _unary(graph: Graph, kind: str, a: Node, width: int, signed: bool) -> Node:
    if kind == "$not":
        return graph.invert(graph.zext(a, width))
    if kind == "$neg":
        return graph.negate(_extend(graph, a, width, signed))
    if kind in ("$reduce_bool", "$reduce_or"):
        return graph.zext(graph.any(a), width)
    if kind == "$reduce_and":
        return graph.zext(graph.all(a), width)
    return graph.zext(graph.parity(a), width)


def _shift(graph: Graph, kind: str, a: Node, b: Node, width: int, signed: bool) -> Node:
    if kind == "$shl":
        return graph.shift("shl", _extend(graph, a, width, signed), b)
    widest = max(a.width, width)
    name = "sar" if signed else "shr"
    return graph.slice(graph.shift(name, _extend(graph, a, widest, signed), b), 0, width)


def _comparison(graph: Graph, kind: str, a: Node, b: Node, signed: bool) -> Node:
    if kind == "$eq":
        return graph.equal(a, b)
    if kind == "$ne":
        return graph.invert(graph.equal(a, b))
    if kind == "$lt":
        return graph.less(a, b, signed)
    if kind == "$gt":
        return graph.less(b, a, signed)
    return graph.invert(graph.less(*((b, a) if kind == "$le" else (a, b)), signed))
