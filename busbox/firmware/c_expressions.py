"""C expressions: from expanded tokens to a 32-bit unsigned value and its summands."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import NamedTuple

from busbox.firmware.c_text import (
    DEEPEST,
    IDENTIFIER,
    KEYWORDS,
    NoValue,
    Token,
    begins_word,
)
from busbox.firmware.c_types import (
    INT,
    SIZED,
    SIZES,
    UNSIGNED,
    Type,
    common,
    literal_type,
    narrowed,
    size_of,
    type_of,
)
from busbox.map.registers import WORD

#: The place of the token that stands for the argument of a macro.
ARGUMENT = -1

_NUMBER = re.compile(r"(?:0x([0-9a-f]+)|0b([01]+)|0([0-7]*)|([1-9][0-9]*))[ul]*", re.IGNORECASE)
_RANKS = {"|": 1, "^": 2, "&": 3, "<<": 4, ">>": 4, "+": 5, "-": 5, "*": 6, "/": 6, "%": 6}
_QUALIFIERS = frozenset(("const", "volatile", "restrict", "__restrict"))


class Statement(NoValue):
    """The text is not a constant expression, so it is read as code."""


class Leaf(NamedTuple):
    """A summand; ``via`` names the definitions it came through, ``bits`` that ``|`` added it."""

    number: int
    via: tuple[str, ...]
    places: frozenset[int]
    bits: bool = False


@dataclass(frozen=True)
class Value:
    """The value of an expression.

    Attributes
    ----------
    number : its low 32 bits, unsigned
    leaves : its summands
    kind : ``integer``, ``pointer``, or ``register`` for what a pointer points at
    size : bytes of what a pointer points at, None if unknown
    type : of an integer
    """

    number: int
    leaves: tuple[Leaf, ...] = ()
    kind: str = "integer"
    size: int | None = None
    type: Type = INT
    high: int = 0

    @property
    def exact(self) -> int:
        """The value in its type; ``high`` holds the bits above 32, if it has any."""
        return self.type.wrapped(self.high << 32 | self.number)

    def of(self, exact: int, type: Type) -> Value:
        """Return the value with another number of a type."""
        return replace(self, number=exact & WORD, high=exact >> 32 & WORD, type=type)

    @property
    def places(self) -> frozenset[int]:
        """The positions in the file of the numbers that it is made of."""
        return frozenset().union(*(leaf.places for leaf in self.leaves))

    @property
    def fixed(self) -> tuple[Leaf, ...]:
        """The summands without an argument."""
        return tuple(leaf for leaf in self.leaves if ARGUMENT not in leaf.places)


def read_cast(
    tokens: Sequence[Token], first: int, types: Mapping[str, list[str]]
) -> tuple[list[str], int] | None:
    """Return the words of the cast that begins at ``first`` and the index behind it, or None."""
    words: list[str] = []
    index = first + 1
    while index < len(tokens) and (
        tokens[index].text == "*" or IDENTIFIER.match(tokens[index].text)
    ):
        words += types.get(tokens[index].text, [tokens[index].text])
        index += 1
    behind = tokens[index + 1].text if index + 1 < len(tokens) else ""
    if not behind or tokens[index].text != ")" or not words or words[0] == "*":
        return None
    if "*" in words:
        tail = set(words[words.index("*") :])
        ok = tail <= {"*"} | _QUALIFIERS and (behind in "(*&~-+@" or begins_word(behind))
    else:
        ok = all(
            word in SIZES or word in _QUALIFIERS or word.endswith("_t") or SIZED.fullmatch(word)
            for word in words
        ) or begins_word(behind)
    return (words, index + 1) if ok else None


def _literal(text: str) -> int:
    match = _NUMBER.fullmatch(text.replace("'", "") if text[0] != "'" else "")
    if not match and len(text) == 3 and text[0] == text[2] == "'":
        return ord(text[1])
    if not match:
        raise NoValue(f"{text[:24]} is not an integer")
    for digits, base in zip(match.groups(), (16, 2, 8, 10), strict=True):
        if digits is not None:
            number = int(digits or "0", base) if len(digits) < 99 else WORD + 1
    if number > WORD:
        raise NoValue(f"{text[:24]} is wider than 32 bits")
    return number


def _merge(number: int, *values: Value) -> Value:
    leaves = [leaf for value in values for leaf in value.leaves]
    shared = [
        name
        for name in (leaves[0].via if leaves else ())
        if all(name in leaf.via for leaf in leaves)
    ]
    places = frozenset().union(*(value.places for value in values))
    return Value(number, (Leaf(number, tuple(shared), places),))


def _combine(sign: str, left: Value, right: Value) -> Value:
    """Return ``left sign right``, with 32-bit wrap-around and pointer arithmetic."""
    if "register" in (left.kind, right.kind):
        raise Statement("reads a register")
    if right.kind == "pointer":
        if sign != "+" or left.kind == "pointer":
            raise NoValue("computes with a pointer")
        left, right = right, left
    if left.kind == "pointer":
        if sign not in ("+", "-"):
            raise NoValue("computes with a pointer")
        if left.size is None:
            raise NoValue("adds to a pointer to a type of unknown size")
        if left.size > 1:
            right = _merge(right.number * left.size & WORD, right)
    if left.kind == "pointer":
        exact, type = _number(sign, left.number, right.number, UNSIGNED), UNSIGNED
    else:
        type = left.type if sign in ("<<", ">>") else common(left.type, right.type)
        count = right.exact if sign in ("<<", ">>") else type.wrapped(right.exact)
        exact = type.wrapped(_number(sign, type.wrapped(left.exact), count, type))
    if sign not in ("+", "-", "|"):
        return _merge(exact & WORD, left, right).of(exact, type)
    more = [leaf._replace(number=-leaf.number) if sign == "-" else leaf for leaf in right.leaves]
    leaves = (*left.leaves, *more)
    if sign == "|":
        leaves = tuple(leaf._replace(bits=True) for leaf in leaves)
    return replace(left, leaves=leaves).of(exact, type)


def _number(sign: str, left: int, right: int, type: Type) -> int:
    """Return the number that two of a type give; division goes towards 0 (ISO C11, 6.5.5)."""
    if sign in ("/", "%"):
        if not right:
            raise NoValue("divides by 0")
        quotient = abs(left) // abs(right) * (1 if (left < 0) == (right < 0) else -1)
        return quotient if sign == "/" else left - quotient * right
    if sign in ("<<", ">>"):
        if not 0 <= right < type.bits:
            raise NoValue(f"shifts by {right} bits")
        return left << right if sign == "<<" else left >> right
    return {
        "|": left | right,
        "^": left ^ right,
        "&": left & right,
        "+": left + right,
        "-": left - right,
        "*": left * right,
    }[sign]


@dataclass
class Parser:
    """Reads expanded tokens; in a loose one, an unknown name stands for the argument.

    Attributes
    ----------
    tokens, types : what is read, and the types that it may name
    loose : whether unknown names are allowed
    argument : the number that stands for the argument
    pointers : whether a pointer occurred
    names : unknown names that occurred
    """

    tokens: Sequence[Token]
    types: Mapping[str, list[str]]
    loose: bool
    argument: int = 0
    index: int = 0
    depth: int = 0
    pointers: bool = False
    names: list[str] = field(default_factory=list)

    def whole(self) -> Value:
        """Return the value of all the tokens.

        Raises
        ------
        Statement : they are not a constant expression
        NoValue : they are one, but it has no value here
        """
        value = self.binary(1)
        if self.index < len(self.tokens):
            raise Statement(f"cannot read {self.peek()!r}")
        if value.kind == "integer" and not -0x8000_0000 <= value.exact <= WORD:
            raise NoValue("is wider than 32 bits")
        return value

    def peek(self) -> str:
        """Return the next token's text, "" at the end."""
        return self.tokens[self.index].text if self.index < len(self.tokens) else ""

    def take(self, wanted: str = "") -> Token:
        """Return the next token, which must be ``wanted`` if that is given, and advance."""
        if self.index == len(self.tokens):
            raise NoValue("ends too early")
        if wanted and self.peek() != wanted:
            raise Statement(f"cannot read {self.peek()!r}")
        self.index += 1
        return self.tokens[self.index - 1]

    def binary(self, level: int) -> Value:
        """Return the value of operands joined by signs of at least this rank."""
        left = self.unary()
        while (rank := _RANKS.get(self.peek(), 0)) >= level:
            sign = self.take().text
            left = _combine(sign, left, self.binary(rank + 1))
        return left

    def unary(self) -> Value:
        """Return the value of an operand with its casts, signs and indices."""
        self.depth += 1
        if self.depth > DEEPEST:
            raise NoValue("is nested too deeply")
        cast = read_cast(self.tokens, self.index, self.types) if self.peek() == "(" else None
        if cast:
            self.index = cast[1]
            self.pointers = self.pointers or "*" in cast[0]
            value = self._convert(cast[0], self.unary())
        elif self.peek() in ("+", "-", "~", "*", "&"):
            value = self._prefix(self.take().text, self.unary())
        else:
            value = self.primary()
            while self.peek() == "[":
                self.take()
                value = self._prefix("*", _combine("+", value, self.binary(1)))
                self.take("]")
        self.depth -= 1
        return value

    def _convert(self, words: list[str], value: Value) -> Value:
        if value.kind == "register":
            raise Statement("reads a register")
        if "*" in words:
            star = words.index("*")
            size = 4 if words.count("*") > 1 else size_of(words[:star])
            return replace(value, kind="pointer", size=size)
        size = size_of(words)
        type = type_of(words, size)
        before = UNSIGNED.wrapped(value.number) if value.kind == "pointer" else value.exact
        exact = narrowed(before, words, size)
        exact, type = (exact, value.type) if type is None else (type.wrapped(exact), type)
        if exact & WORD != value.number:
            return _merge(exact & WORD, value).of(exact, type)
        return replace(value, kind="integer").of(exact, type)

    def _prefix(self, sign: str, value: Value) -> Value:
        kind = {"*": "pointer", "&": "register"}.get(sign, "integer")
        if value.kind != kind:
            raise Statement("is not a constant expression")
        if sign in ("*", "&"):
            return replace(value, kind="register" if sign == "*" else "pointer")
        if sign == "~":
            return _merge(~value.number & WORD, value).of(~value.exact, value.type)
        return _combine(sign, Value(0), value)

    def primary(self) -> Value:
        """Return the value of a number, a name or a parenthesised expression."""
        token = self.take()
        if token.text == "(":
            value = self.binary(1)
            self.take(")")
            return value
        if token.place == ARGUMENT or (IDENTIFIER.match(token.text) and self._unknown(token)):
            return Value(self.argument, (Leaf(self.argument, (), frozenset([ARGUMENT])),))
        if token.text[0] in ".'" or token.text[0].isdigit():
            number = _literal(token.text)
            leaves = (Leaf(number, token.via, frozenset([token.place])),)
            return Value(number, leaves, type=literal_type(token.text, number))
        if token.text in ("#", "##"):
            raise NoValue("pastes tokens with ##")
        raise Statement(f"cannot read {token.text!r}")

    def _unknown(self, token: Token) -> bool:
        if token.text in KEYWORDS:
            raise Statement("is not a constant expression")
        if self.peek() == "(":
            raise NoValue(f"calls {token.text}()")
        if self.peek() == "##":
            raise NoValue("pastes tokens with ##")
        if token.text in token.via:
            raise NoValue("refers to itself")
        if not self.loose:
            raise NoValue(f"unknown name {token.text}")
        if token.text not in self.names:
            self.names.append(token.text)
        return True
