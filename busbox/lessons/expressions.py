"""Expressions in the text of a lesson: whole numbers, read once, evaluated here or by a page.

Grammar
=======
A template is text with ``{EXPRESSION}`` or ``{EXPRESSION:FORM}`` in it. An expression has whole
numbers, names, ``+ - * // % << >> & | ^ ~``, comparisons, ``and or not``, ``A if C else B``, and
parentheses, with the meaning and the order that Python gives them. A comparison is 1 or 0. Beside that,
so that every answer has a value: ``x // 0`` is 0, ``x % 0`` is x, and a shift by less than 0 or
more than 63 places gives 0.

A tree, as it is exported, is a number, a name, or a list of an operator and trees:
``base + size - 1`` is ``["-", ["+", "base", "size"], 1]``; ``-x`` is ``["neg", x]``, a condition is
``["if", C, A, B]``.

Forms: none (decimal with commas), ``address`` (0x and eight digits), ``hex`` (0x and as many
digits as it needs), ``lanes`` (four binary digits), ``plain`` (decimal without commas), ``set``
(the numbers of the bits that are 1, such as "0 and 3"), ``char`` (the character of an ASCII code),
``star`` (a star, a space for 0).
"""

from __future__ import annotations

import ast
import re
from collections.abc import Callable, Mapping, Sequence
from functools import lru_cache
from typing import TypeAlias

from busbox.basics.errors import join_and
from busbox.map.bits import bits_in

#: A number, a name, or an operator with trees.
Tree: TypeAlias = "int | str | tuple[str | Tree, ...]"
#: A piece of a template: text, or a tree and its form.
Piece: TypeAlias = "str | tuple[Tree, str]"

_TEMPLATE = re.compile(r"\{([^{}]*)\}")
_FORM = re.compile(r":\s*([a-z]+)\s*$")
#: The largest number of places of a shift.
_PLACES = 63


def _divided(left: int, right: int) -> int:
    return left // right if right else 0


def _rest(left: int, right: int) -> int:
    return left % right if right else left


def _left(value: int, places: int) -> int:
    return value << places if 0 <= places <= _PLACES else 0


def _right(value: int, places: int) -> int:
    return value >> places if 0 <= places <= _PLACES else 0


#: Operator of a tree to what it does.
OPERATORS: Mapping[str, Callable[..., int]] = {
    "+": lambda a, b: a + b,
    "-": lambda a, b: a - b,
    "*": lambda a, b: a * b,
    "//": _divided,
    "%": _rest,
    "<<": _left,
    ">>": _right,
    "&": lambda a, b: a & b,
    "|": lambda a, b: a | b,
    "^": lambda a, b: a ^ b,
    "~": lambda a: ~a,
    "neg": lambda a: -a,
    "not": lambda a: int(not a),
    "==": lambda a, b: int(a == b),
    "!=": lambda a, b: int(a != b),
    "<": lambda a, b: int(a < b),
    "<=": lambda a, b: int(a <= b),
    ">": lambda a, b: int(a > b),
    ">=": lambda a, b: int(a >= b),
    "and": lambda a, b: int(bool(a and b)),
    "or": lambda a, b: int(bool(a or b)),
    "if": lambda c, a, b: a if c else b,
}

_OF_NODE: Mapping[type[ast.AST], str] = {
    ast.Add: "+", ast.Sub: "-", ast.Mult: "*", ast.FloorDiv: "//", ast.Mod: "%",
    ast.LShift: "<<", ast.RShift: ">>", ast.BitAnd: "&", ast.BitOr: "|", ast.BitXor: "^",
    ast.Invert: "~", ast.USub: "neg", ast.Not: "not", ast.And: "and", ast.Or: "or",
    ast.Eq: "==", ast.NotEq: "!=", ast.Lt: "<", ast.LtE: "<=", ast.Gt: ">", ast.GtE: ">=",
}  # fmt: skip

#: Form of a piece to how a number is written.
FORMS: Mapping[str, Callable[[int], str]] = {
    "": lambda value: f"{value:,}",
    "address": lambda value: f"{value:#010x}",
    "hex": lambda value: f"{value:#x}",
    "lanes": lambda value: f"{value:04b}",
    "plain": str,
    "star": lambda value: "*" if value else " ",
    "char": lambda value: chr(value & 0x7F),
    "set": lambda value: join_and(map(str, bits_in(value))) if value else "none",
}


@lru_cache(4096)
def parse(text: str) -> Tree:
    """Return the tree of an expression.

    Raises
    ------
    ValueError : it is none, with what stands in the way
    """
    try:
        return _tree(ast.parse(text.strip(), mode="eval").body)
    except SyntaxError:
        raise ValueError(f"{text!r} is no expression") from None


def _tree(node: ast.expr) -> Tree:
    match node:
        case ast.Constant(value=int() as value) if not isinstance(value, bool):
            return value
        case ast.Name(id=name):
            return name
        case ast.Attribute(value=ast.Name(id="answer"), attr=name):
            return f"answer.{name}"
        case ast.BinOp(left=left, op=op, right=right) if type(op) in _OF_NODE:
            return (_OF_NODE[type(op)], _tree(left), _tree(right))
        case ast.UnaryOp(op=op, operand=operand) if type(op) in _OF_NODE:
            return (_OF_NODE[type(op)], _tree(operand))
        case ast.BoolOp(op=op, values=values):
            return _chained(_OF_NODE[type(op)], [_tree(value) for value in values])
        case ast.Compare(left=left, ops=ops, comparators=rights):
            return _compared(_tree(left), ops, [_tree(right) for right in rights])
        case ast.IfExp(test=test, body=body, orelse=other):
            return ("if", _tree(test), _tree(body), _tree(other))
    raise ValueError(f"{ast.unparse(node)!r} is not allowed in an expression")


def _chained(operator: str, trees: Sequence[Tree]) -> Tree:
    first, *rest = trees
    for tree in rest:
        first = (operator, first, tree)
    return first


def _compared(left: Tree, ops: Sequence[ast.cmpop], rights: Sequence[Tree]) -> Tree:
    pairs: list[Tree] = []
    for op, right in zip(ops, rights, strict=True):
        if type(op) not in _OF_NODE:
            raise ValueError("only ==, !=, <, <=, > and >= compare numbers in an expression")
        pairs.append((_OF_NODE[type(op)], left, right))
        left = right
    return _chained("and", pairs)


def evaluate(tree: Tree, values: Mapping[str, int]) -> int:
    """Return the value of a tree.

    Raises
    ------
    ValueError : a name has no value
    """
    if isinstance(tree, int):
        return tree
    if isinstance(tree, str):
        if tree not in values:
            raise ValueError(f"{tree!r} has no value; known are {', '.join(values) or 'none'}")
        return values[tree]
    operator, *operands = tree
    assert isinstance(operator, str)
    return OPERATORS[operator](*(evaluate(operand, values) for operand in operands))


def folded(tree: Tree, values: Mapping[str, int]) -> Tree:
    """Return the tree with values in the place of names, and every part that needs no name computed."""
    if isinstance(tree, int):
        return tree
    if isinstance(tree, str):
        return values.get(tree, tree)
    operator, *operands = tree
    assert isinstance(operator, str)
    done = [folded(operand, values) for operand in operands]
    if all(isinstance(one, int) for one in done):
        return OPERATORS[operator](*done)
    return (operator, *done)


def names_in(tree: Tree) -> set[str]:
    """Return the names in a tree."""
    if isinstance(tree, int):
        return set()
    if isinstance(tree, str):
        return {tree}
    return set().union(*(names_in(operand) for operand in tree[1:]))


@lru_cache(4096)
def pieces(text: str) -> tuple[Piece, ...]:
    """Return the pieces of a template.

    Raises
    ------
    ValueError : an expression or a form in it is none
    """
    found: list[Piece] = []
    at = 0
    for match in _TEMPLATE.finditer(text):
        if match.start() > at:
            found.append(text[at : match.start()])
        inside, form = match[1], ""
        named = _FORM.search(inside)
        if named:
            inside, form = inside[: named.start()], named[1]
        if form not in FORMS:
            raise ValueError(f"{form!r} is no form of a number; known are {', '.join(FORMS)}")
        found.append((parse(inside), form))
        at = match.end()
    if at < len(text):
        found.append(text[at:])
    return tuple(found)


def filled(text: str, values: Mapping[str, int], words: Mapping[str, str] | None = None) -> str:
    """Return a template with the values of its expressions.

    Parameters
    ----------
    words : text for names that stand alone, such as the name of a slot that answered

    Raises
    ------
    ValueError : an expression is none, or a name has no value
    """
    return "".join(
        piece if isinstance(piece, str) else _written(piece, values, words or {})
        for piece in pieces(text)
    )


def _written(piece: tuple[Tree, str], values: Mapping[str, int], words: Mapping[str, str]) -> str:
    tree, form = piece
    if isinstance(tree, str) and tree in words:
        return words[tree]
    return FORMS[form](evaluate(tree, values))
