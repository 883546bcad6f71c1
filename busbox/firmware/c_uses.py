"""How a C text uses its constants: which through a pointer, and which as part of those.

Rules 1 and 2 of :mod:`busbox.firmware.c_header` are applied here, the others there.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from busbox.basics.errors import InputError
from busbox.basics.limits import HEADER_WORK
from busbox.firmware.c_expressions import (
    ARGUMENT,
    Leaf,
    Parser,
    Statement,
    Value,
    read_cast,
)
from busbox.firmware.c_text import (
    DEEPEST,
    Definition,
    NoValue,
    Source,
    Token,
    closing,
    closings,
    ends_value,
    expand,
    show_tokens,
)
from busbox.map.registers import WORD
from busbox.map.slots import AddressMap

POINTER = "used through a pointer"
BASE = "base of other addresses"
#: A number below is an offset rather than an address.
NEAR = 0x1000
#: Tokens that an access in code is looked for in, at most.
_IN_CODE = 400
ADDRESS_NAME = re.compile(r"(?:^|_)(?:BASE|ADDR|ADDRESS)$", re.IGNORECASE)
OTHER_NAME = re.compile(r"(?:^|_)(?:MASK|BIT|FLAG|SHIFT|OFFSET|SIZE|END)$", re.IGNORECASE)
#: Of a decimal number that counts something.
COUNT_NAME = re.compile(r"(?:^|_)(?:LENGTH|COUNT|CYCLES|HZ|BAUD)$", re.IGNORECASE)
#: A decimal number.
DECIMAL = re.compile("(?:0|[1-9][0-9']{0,30})[uUlL]*")
_BIT_SIGNS = frozenset(("&", "|", "^", "~", "<<", ">>", "&=", "|=", "^=", "<<=", ">>="))
_SIGNS = ("*", "&", "-", "~", "+")
_OPENERS, _CLOSERS = ("(", ",", "{"), (")", ",", "}", "+")


@dataclass(frozen=True)
class Constant:
    """A number of the file.

    Attributes
    ----------
    name : its name, ``LED_COLOUR(n)`` for a macro, or its text if it has none
    line : counted from 1
    value : the number; for a macro with an argument, that for argument 0
    width : bytes of the access, if known from a pointer
    step : bytes from one argument to the next, None without an argument
    how : why it is taken for an address, "" if it is not one
    """

    name: str
    line: int
    value: int
    width: int | None = None
    step: int | None = None
    how: str = ""


@dataclass(frozen=True)
class Unresolved:
    """A text of the file that has no value here, and why."""

    name: str
    line: int
    text: str
    why: str


@dataclass
class Evaluation:
    """The value of an expression; ``uneven``: it has no constant step."""

    value: Value
    step: int | None = None
    uneven: bool = False
    names: tuple[str, ...] = ()


class Uses:
    """The uses of the constants of one text.

    Attributes
    ----------
    addresses : constants that are used through a pointer
    refused : texts without a value, each with the positions of its hexadecimal numbers
    claimed : positions of the hexadecimal numbers that are part of an address
    pointers : names that are addresses, with the bytes of the access
    bases : names to which other parts of an address are added
    plain : names of numbers that are not used through a pointer
    bare, bare_decimals : hexadecimal and decimal literals in code
    masked : names next to a bit operator
    """

    def __init__(self, source: Source, address_map: AddressMap) -> None:
        self.source = source
        self.slots = address_map.slots
        self.bases_of_slots = {slot.base for slot in self.slots}
        self.addresses: list[Constant] = []
        self.refused: list[tuple[Unresolved, set[int]]] = []
        self.hex_places = {token.place for token in source.hexes}
        self.claimed: set[int] = set()
        self.pointers: dict[str, int | None] = {}
        self.bases: set[str] = set()
        self.plain: dict[str, Evaluation] = {}
        self.bare: list[Token] = []
        self.bare_decimals: list[Token] = []
        self.masked: set[str] = set()
        self.met_pointer = False
        self._left = HEADER_WORK.most

    def _spend(self, tokens: int) -> None:
        self._left -= tokens
        if self._left < 0:
            raise InputError.of(HEADER_WORK.exceeded("what its names expand to"))

    def look(self) -> None:
        """Look at every definition and at the code."""
        source = self.source
        if source.open:
            self._refuse("/*", [source.open._replace(text="/*")], "unterminated comment")
        for old, line in source.earlier:
            if [token.text for token in old.body] != [
                token.text for token in source.known[old.name].body
            ]:
                self._refuse(old.title, old.body, f"redefined on line {line}", old.line)
            else:
                self.claimed |= own_places(old.body)
        self._masks(source.code)
        for definition in source.known.values():
            self._masks(definition.body)
            self._definition(definition)
        self._code(source.code)

    def _definition(self, definition: Definition) -> None:
        if not definition.body:
            return
        try:
            found = self._evaluate(definition.body, definition)
            if found.value.kind == "integer":
                self.plain[definition.name] = found
                return
            self._pointer(found, definition)
        except Statement:
            self._code(definition.body)
        except NoValue as why:
            listed = self.met_pointer or str(why) == "refers to itself"
            if own_places(definition.body) or (listed and definition.kind == "define"):
                self._refuse(definition.title, definition.body, str(why), definition.line)

    def _evaluate(self, tokens: Sequence[Token], definition: Definition | None) -> Evaluation:
        """Return the value for argument 0, and the step from there to arguments 1 and 2."""
        self.met_pointer = False
        params = frozenset(definition.params or () if definition else ())
        via = (definition.name,) if definition else ()
        expanded = expand(
            [
                Token("@", ARGUMENT, token.line, via)
                if token.text in params
                else token._replace(via=via)
                for token in tokens
            ],
            self.source.known,
            self._spend,
        )
        self._spend(len(tokens) + 3 * len(expanded))
        values: list[Value] = []
        for argument in range(3):
            parser = Parser(expanded, self.source.types, definition is None, argument)
            try:
                values.append(parser.whole())
            finally:
                self.met_pointer = parser.pointers
            if ARGUMENT not in values[0].places:
                return Evaluation(values[0])
        step, again = (_signed(values[at + 1].number - values[at].number) for at in (0, 1))
        return Evaluation(values[0], step, not step or step != again, tuple(parser.names))

    def _pointer(self, found: Evaluation, definition: Definition) -> None:
        several = len(definition.params or ()) > 1
        if self._accessor(found, several):
            return
        self._note(found.value, definition.name)
        if several:
            raise NoValue(f"takes {len(definition.params or ())} arguments")
        if found.uneven:
            raise NoValue("is not linear in its argument")
        self.add(definition.title, definition.line, found, POINTER)

    def _accessor(self, found: Evaluation, several: bool) -> bool:
        """Return whether the address comes from the argument alone (or is a null pointer)."""
        value = found.value
        if found.step is not None and (found.step == 1 or several) and value.number < NEAR:
            return True
        null = value.kind == "pointer" and not value.number
        return not value.fixed or (null and not value.places & self.hex_places)

    def _note(self, value: Value, root: str) -> None:
        """Note the names that are part of an address."""
        base = self.base_of(value)
        for name in base.via if base else ():
            if name != root and self._is_plain(name):
                if all(name in leaf.via for leaf in value.leaves):
                    self.pointers[name] = value.size
                else:
                    self.bases.add(name)

    def _is_plain(self, name: str) -> bool:
        return name in self.source.known and self.source.known[name].params is None

    def base_of(self, value: Value) -> Leaf | None:
        """Return the summand that is the base of the others."""

        def weight(leaf: Leaf) -> tuple[int, bool, bool, int]:
            names = [name for name in leaf.via if self._is_plain(name)]
            hint = any(ADDRESS_NAME.search(name) for name in names) - any(
                OTHER_NAME.search(name) for name in names
            )
            return hint, leaf.number in self.bases_of_slots, bool(names), leaf.number

        if any(leaf.number >= NEAR for leaf in value.fixed):
            return max(value.fixed, key=lambda leaf: leaf.number)
        return max(value.fixed, key=weight, default=None)

    def _code(self, tokens: Sequence[Token]) -> None:
        for before, token, behind in zip(tokens, tokens[1:], tokens[2:], strict=False):
            if before.text in _OPENERS and behind.text in _CLOSERS:
                if token.is_hex:
                    self.bare.append(token)
                elif DECIMAL.fullmatch(token.text):
                    self.bare_decimals.append(token)
        index, ends = 0, closings(tokens)
        while index < len(tokens):
            try:
                index = self._access(tokens, index, ends)
            except NoValue:
                index += 1

    def _access(self, tokens: Sequence[Token], index: int, ends: Mapping[int, int]) -> int:
        """List the access that begins at ``index``, if one does; return where to go on."""
        first = tokens[index].text
        before = tokens[index - 1].text if index else ""
        macro = first in self.source.known and self.source.known[first].params is not None
        if not macro and (first not in ("(", "*") or ends_value(before)):
            return index + 1
        signs = _behind_signs(tokens, index)
        if signs - index > DEEPEST:  # no expression has so many
            return signs
        part = tokens[index : self._extent(tokens, index, ends)]
        self._spend(len(part) + signs - index)
        own = any(token.is_hex or self._is_plain(token.text) for token in part)
        if not own and not macro:
            return index + 1
        try:
            found = self._evaluate(part, None)
            if found.value.kind != "integer" and (own or not found.names):
                self._list(part, found)
            return index + (1 if found.value.kind == "integer" else len(part))
        except Statement:
            return index + 1
        except NoValue as why:
            if not self.met_pointer or not own or (first == "(" and not self._cast(tokens, index)):
                return index + 1
            self._refuse(show_tokens(self._bare_text(part)), part, str(why))
            return index + len(part)

    def _cast(self, tokens: Sequence[Token], index: int) -> tuple[list[str], int] | None:
        return read_cast(tokens, index, self.source.types)

    def _extent(self, tokens: Sequence[Token], index: int, ends: Mapping[int, int]) -> int:
        """Return the end of the unary expression that begins at ``index``."""
        first = index
        while index < len(tokens):
            if index - first > _IN_CODE:
                raise NoValue("is nested too deeply")
            cast = self._cast(tokens, index) if tokens[index].text == "(" else None
            if not cast and tokens[index].text not in _SIGNS:
                break
            index = cast[1] if cast else index + 1
        index += index < len(tokens) and tokens[index].text != "("
        if index < len(tokens) and tokens[index].text == "(":
            index = _behind(index, ends)
        while index < len(tokens) and tokens[index].text == "[" and index - first <= _IN_CODE:
            index = _behind(index, ends)
        return index

    def _list(self, part: Sequence[Token], found: Evaluation) -> None:
        several = len(found.names) > 1
        if self._accessor(found, several):
            if not found.names:
                return
            raise NoValue(f"unknown name {found.names[0]}")
        self._note(found.value, "")
        if several or found.uneven:
            raise NoValue(f"unknown name {found.names[-1]}")
        self.add(show_tokens(self._bare_text(part)), part[0].line, found, POINTER)

    def _bare_text(self, part: Sequence[Token]) -> Sequence[Token]:
        while part:
            cast = self._cast(part, 0)
            if cast or part[0].text == "*":
                part = part[cast[1] if cast else 1 :]
            elif part[0].text == "(" and closing(part, 0) == len(part):
                part = part[1:-1]
            else:
                break
        return part

    def _masks(self, tokens: Sequence[Token]) -> None:
        """Note the names next to a bit operator."""
        texts = ["", "", *(token.text for token in tokens), "", ""]
        for index in range(2, len(texts) - 2):
            if texts[index] not in self.source.known:
                continue
            left, right = index - 1, index + 1
            while texts[left] == "(" and texts[right] == ")" and not ends_value(texts[left - 1]):
                left, right = left - 1, right + 1
            binary = texts[left] != "&" or ends_value(texts[left - 1])
            if (texts[left] in _BIT_SIGNS and binary) or texts[right] in _BIT_SIGNS:
                self.masked.add(texts[index])

    def add(
        self, name: str, line: int, found: Evaluation, how: str, width: int | None = None
    ) -> None:
        """List an address, and claim the numbers that are part of it."""
        value = found.value
        self.claimed |= value.places
        self.addresses.append(
            Constant(name, line, value.number, width or value.size, found.step, how)
        )

    def _refuse(self, name: str, body: Sequence[Token], why: str, line: int = 0) -> None:
        row = Unresolved(name, line or body[0].line, show_tokens(body), why)
        self.refused.append((row, own_places(body)))


def _behind_signs(tokens: Sequence[Token], index: int) -> int:
    while index < len(tokens) and tokens[index].text in _SIGNS:
        index += 1
    return index


def _behind(first: int, ends: Mapping[int, int]) -> int:
    """Return the index behind what opens at ``first``.

    Raises
    ------
    NoValue : it is not closed, or holds too many tokens
    """
    end = ends.get(first, 0)
    if not 0 < end - first <= _IN_CODE:
        raise NoValue("unclosed parenthesis")
    return end


def own_places(body: Sequence[Token]) -> set[int]:
    """Return the places of the hexadecimal numbers of a text."""
    return {token.place for token in body if token.is_hex and token.place >= 0}


def _signed(number: int) -> int:
    return (number + 0x8000_0000 & WORD) - 0x8000_0000
