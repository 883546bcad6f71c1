"""Reads the constants of a C header or C file and tells addresses from other numbers.

:mod:`busbox.firmware.c_text` finds the definitions, :mod:`busbox.firmware.c_expressions` gives them
values; here they are judged.

The first of these rules that fits judges a constant. An address is a constant that

1. is cast to a pointer or dereferenced, directly or through macros ("used through a pointer");
2. is the largest summand of such an expression ("base of other addresses"); where all summands are
   below 0x1000, the name, then equality with a slot's base, then the larger value decides. The
   other summands are offsets, and accounted for by the address.

What follows is for names with a hexadecimal value that nothing uses through a pointer:

3. beside a bit operator (``& | ^ ~ << >>``), or with a name that ends in _MASK, _BIT, _FLAG,
   _SHIFT, _OFFSET, _SIZE or _END, it is no address;
4. it is one if another name adds to it, and it is 0x1000 or more or equals a slot's base ("base of
   other addresses");
5. it is one if its value equals a slot's base other than 0, or, from 0x1000 up, lies in a slot
   whose base is not 0, between two slots with its top hexadecimal digit, or anywhere with the top
   digit of a slot if that is not 0 and the value is no run of eight ones or more ("looks like an
   address of the map"); so a slot at 0 makes no address of a small number;
6. it is one if its name ends in _BASE, _ADDR or _ADDRESS, and it is 0x1000 or more or lies in a
   slot ("named like an address");
7. it is one if it adds to a base that is an address ("added to a base").

A bare literal in code is an address by rule 1, or as an argument or list item that lies in a slot
whose base is not 0. A macro with an argument is resolved for argument 0; with step 1 and less than
0x1000 besides the argument, the argument is the base, and the macro itself no address.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from busbox.firmware.c_expressions import (
    ARGUMENT,
    Leaf,
    Parser,
    Statement,
    Value,
    read_cast,
)
from busbox.firmware.c_text import (
    Definition,
    NoValue,
    Source,
    Token,
    closing,
    ends_value,
    expand,
    show_tokens,
)
from busbox.map.registers import WORD
from busbox.map.slots import AddressMap

POINTER = "used through a pointer"
BASE = "base of other addresses"
LOOKS = "looks like an address of the map"
NAMED = "named like an address"
SUM = "added to a base"
NEAR = 0x1000
#: Tokens that an access in code is looked for in, at most.
_IN_CODE = 400
_ADDRESS_NAME = re.compile(r"(?:^|_)(?:BASE|ADDR|ADDRESS)$", re.IGNORECASE)
_OTHER_NAME = re.compile(r"(?:^|_)(?:MASK|BIT|FLAG|SHIFT|OFFSET|SIZE|END)$", re.IGNORECASE)
_BIT_SIGNS = frozenset(("&", "|", "^", "~", "<<", ">>", "&=", "|=", "^=", "<<=", ">>="))
_OPENERS, _CLOSERS = ("(", ",", "{"), (")", ",", "}", "+")


@dataclass(frozen=True)
class Constant:
    """A number of the file.

    Attributes
    ----------
    name : the name it has, ``LED_COLOUR(n)`` for a macro, else its text
    line : counted from 1
    value : the number; for a macro with an argument, that for argument 0
    width : bytes of the access if a pointer tells it
    step : bytes from one argument to the next, None without an argument
    how : how it was found to be an address, "" if it is none
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


@dataclass(frozen=True)
class HeaderConstants:
    """All constants of a file, in order of line; every hexadecimal one is in exactly one list."""

    addresses: tuple[Constant, ...]
    others: tuple[Constant, ...]
    unresolved: tuple[Unresolved, ...]


def read_header(text: str, address_map: AddressMap) -> HeaderConstants:
    """Return the constants of a C text (decoded with ``errors="replace"``), judged by the map."""
    return _Reader(Source(text), address_map).read()


@dataclass
class _Found:
    """What an expression came to; ``uneven``: it has no constant step."""

    value: Value
    step: int | None = None
    uneven: bool = False
    names: tuple[str, ...] = ()


class _Reader:
    def __init__(self, source: Source, address_map: AddressMap) -> None:
        self.source = source
        self.slots = address_map.slots
        self.bases_of_slots = {slot.base for slot in self.slots}
        self.addresses: list[Constant] = []
        self.others: list[Constant] = []
        self.unresolved: list[Unresolved] = []
        self.refused: list[tuple[Unresolved, set[int]]] = []
        self.hex_places = {token.place for token in source.hexes}
        self.claimed: set[int] = set()
        self.pointers: dict[str, int | None] = {}
        self.bases: set[str] = set()
        self.added: set[str] = set()
        self.plain: dict[str, _Found] = {}
        self.bare: list[Token] = []
        self.masked: set[str] = set()
        self.met_pointer = False

    def read(self) -> HeaderConstants:
        """Judge everything, pointers first."""
        source = self.source
        if source.open:
            self._refuse("/*", [source.open._replace(text="/*")], "comment without an end")
        for old, line in source.earlier:
            if [token.text for token in old.body] != [
                token.text for token in source.known[old.name].body
            ]:
                self._refuse(old.title, old.body, f"defined again in line {line}", old.line)
            else:
                self.claimed |= _own(old.body)
        self._masks(source.code)
        for definition in source.known.values():
            self._masks(definition.body)
            self._definition(definition)
        self._code(source.code)
        self._judge_all()
        self._rest()
        return HeaderConstants(
            tuple(sorted(self.addresses, key=lambda row: row.line)),
            tuple(sorted(self.others, key=lambda row: row.line)),
            tuple(sorted(self.unresolved, key=lambda row: row.line)),
        )

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
            if _own(definition.body) or (listed and definition.kind == "define"):
                self._refuse(definition.title, definition.body, str(why), definition.line)

    def _evaluate(self, tokens: Sequence[Token], definition: Definition | None) -> _Found:
        """Return the value for argument 0, and the step from there to arguments 1 and 2."""
        self.met_pointer = False
        params = definition.params or () if definition else ()
        via = (definition.name,) if definition else ()
        expanded = expand(
            [
                Token("@", ARGUMENT, token.line, via)
                if token.text in params
                else token._replace(via=via)
                for token in tokens
            ],
            self.source.known,
        )
        values: list[Value] = []
        for argument in range(3):
            parser = Parser(expanded, self.source.types, definition is None, argument)
            try:
                values.append(parser.whole())
            finally:
                self.met_pointer = parser.pointers
            if ARGUMENT not in values[0].places:
                return _Found(values[0])
        step, again = (_signed(values[at + 1].number - values[at].number) for at in (0, 1))
        return _Found(values[0], step, not step or step != again, tuple(parser.names))

    def _pointer(self, found: _Found, definition: Definition) -> None:
        several = len(definition.params or ()) > 1
        if self._accessor(found, several):
            return
        self._note(found.value, definition.name)
        if several:
            raise NoValue(f"takes {len(definition.params or ())} arguments")
        if found.uneven:
            raise NoValue("does not step evenly with its argument")
        self._add(definition.title, definition.line, found, POINTER)

    def _accessor(self, found: _Found, several: bool) -> bool:
        """Return whether the address comes from the argument alone (or is a null pointer)."""
        value = found.value
        if found.step is not None and (found.step == 1 or several) and value.number < NEAR:
            return True
        null = value.kind == "pointer" and not value.number
        return not value.fixed or (null and not value.places & self.hex_places)

    def _note(self, value: Value, root: str) -> None:
        """Note the names that an address is made of."""
        base = self._base(value)
        for name in base.via if base else ():
            if name != root and self._is_plain(name):
                if all(name in leaf.via for leaf in value.leaves):
                    self.pointers[name] = value.size
                else:
                    self.bases.add(name)

    def _is_plain(self, name: str) -> bool:
        return name in self.source.known and self.source.known[name].params is None

    def _base(self, value: Value) -> Leaf | None:
        """Return the summand that is the base of the others."""

        def weight(leaf: Leaf) -> tuple[int, bool, bool, int]:
            names = [name for name in leaf.via if self._is_plain(name)]
            hint = any(_ADDRESS_NAME.search(name) for name in names) - any(
                _OTHER_NAME.search(name) for name in names
            )
            return hint, leaf.number in self.bases_of_slots, bool(names), leaf.number

        if any(leaf.number >= NEAR for leaf in value.fixed):
            return max(value.fixed, key=lambda leaf: leaf.number)
        return max(value.fixed, key=weight, default=None)

    def _code(self, tokens: Sequence[Token]) -> None:
        for before, token, behind in zip(tokens, tokens[1:], tokens[2:], strict=False):
            if token.is_hex and before.text in _OPENERS and behind.text in _CLOSERS:
                self.bare.append(token)
        index = 0
        while index < len(tokens):
            try:
                index = self._access(tokens, index)
            except NoValue:
                index += 1

    def _access(self, tokens: Sequence[Token], index: int) -> int:
        """List the access that begins at ``index``, if one does; return where to go on."""
        first = tokens[index].text
        before = tokens[index - 1].text if index else ""
        macro = first in self.source.known and self.source.known[first].params is not None
        if not macro and (first not in ("(", "*") or ends_value(before)):
            return index + 1
        part = tokens[index : self._extent(tokens, index)]
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

    def _extent(self, tokens: Sequence[Token], index: int) -> int:
        """Return the end of the unary expression that begins at ``index``."""
        while index < len(tokens):
            cast = self._cast(tokens, index) if tokens[index].text == "(" else None
            if not cast and tokens[index].text not in ("*", "&", "-", "~", "+"):
                break
            index = cast[1] if cast else index + 1
        index += tokens[index : index + 1] != [] and tokens[index].text != "("
        if index < len(tokens) and tokens[index].text == "(":
            index = closing(tokens, index, _IN_CODE)
        while index < len(tokens) and tokens[index].text == "[":
            index = closing(tokens, index, _IN_CODE)
        return index

    def _list(self, part: Sequence[Token], found: _Found) -> None:
        several = len(found.names) > 1
        if self._accessor(found, several):
            if not found.names:
                return
            raise NoValue(f"unknown name {found.names[0]}")
        self._note(found.value, "")
        if several or found.uneven:
            raise NoValue(f"unknown name {found.names[-1]}")
        self._add(show_tokens(self._bare_text(part)), part[0].line, found, POINTER)

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
        """Note the names that stand beside a bit operator."""
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

    def _judge_all(self) -> None:
        for name, found in self.plain.items():
            base = self._base(found.value)
            if base and len(found.value.leaves) > 1 and 2 * found.value.number >= base.number:
                self.added.update(set(base.via) - {name})
        listed: dict[str, str] = {}
        pointed = frozenset(self.claimed)
        for name, found in self.plain.items():
            listed[name] = self._judge(name, found, pointed)
        for name, found in self.plain.items():
            base = self._base(found.value)
            if (
                not listed[name]
                and base
                and self._may_be(name, found, pointed)
                and any(listed.get(other) for other in base.via if other != name)
                and 2 * found.value.number >= base.number
            ):
                listed[name] = SUM
        for name, how in listed.items():
            if how:
                definition = self.source.known[name]
                found = self.plain[name]
                self._add(definition.title, definition.line, found, how, self.pointers.get(name))

    def _may_be(self, name: str, found: _Found, pointed: frozenset[int]) -> bool:
        """Return whether nothing speaks against the name being an address."""
        own = _own(self.source.known[name].body)
        several = len(self.source.known[name].params or ()) > 1
        return not (
            several
            or found.uneven
            or name in self.masked
            or _OTHER_NAME.search(name)
            or any(leaf.bits for leaf in found.value.leaves)
            or (own and own <= pointed)
        )

    def _judge(self, name: str, found: _Found, pointed: frozenset[int]) -> str:
        """Return how the name was found to be an address, "" if it is none (rules 1 to 6)."""
        value = found.value.number
        if name in self.pointers:
            return POINTER
        if name in self.bases:
            return BASE
        if not _own(self.source.known[name].body) or not self._may_be(name, found, pointed):
            return ""
        if name in self.added and (value >= NEAR or value in self.bases_of_slots):
            return BASE
        if self._looks(value):
            return LOOKS
        inside = any(slot.base <= value < slot.base + slot.size for slot in self.slots)
        return NAMED if _ADDRESS_NAME.search(name) and (value >= NEAR or inside) else ""

    def _looks(self, value: int) -> bool:
        if value < NEAR:
            return value != 0 and value in self.bases_of_slots
        if self._in_slot(value):
            return True
        near = [slot for slot in self.slots if slot.base >> 28 == value >> 28 and slot.base >= NEAR]
        if not near or not value >> 28:
            first = min((slot.base for slot in near), default=0)
            return first <= value < max((slot.base + slot.size for slot in near), default=0)
        run = value // (value & -value)
        return bool(run & (run + 1)) or run.bit_count() < 8

    def _in_slot(self, value: int) -> bool:
        return any(slot.base and slot.base <= value < slot.base + slot.size for slot in self.slots)

    def _rest(self) -> None:
        """List what no address accounts for."""
        self.unresolved = [row for row, own in self.refused if not own or not own <= self.claimed]
        self.claimed.update(*(own for _, own in self.refused))
        for token in self.bare:
            if token.place not in self.claimed and self._in_slot(_hex(token.text)):
                value = Value(_hex(token.text), (Leaf(0, (), frozenset([token.place])),))
                self._add(token.text, token.line, _Found(value), LOOKS)
        for name, found in self.plain.items():
            definition = self.source.known[name]
            own = _own(definition.body) - self.claimed
            if own and definition.params is None:
                self.others.append(Constant(name, definition.line, found.value.number))
                self.claimed |= own
        for token in self.source.hexes:
            if token.place not in self.claimed:
                self.others.append(Constant(token.text, token.line, _hex(token.text)))

    def _add(self, name: str, line: int, found: _Found, how: str, width: int | None = None) -> None:
        value = found.value
        self.claimed |= value.places
        self.addresses.append(
            Constant(name, line, value.number, width or value.size, found.step, how)
        )

    def _refuse(self, name: str, body: Sequence[Token], why: str, line: int = 0) -> None:
        row = Unresolved(name, line or body[0].line, show_tokens(body), why)
        self.refused.append((row, _own(body)))


def _own(body: Sequence[Token]) -> set[int]:
    return {token.place for token in body if token.is_hex and token.place >= 0}


def _hex(text: str) -> int:
    match = re.match("[0-9a-f]+", text[2:].replace("'", ""), re.IGNORECASE)
    return int(match[0], 16) if match else 0


def _signed(number: int) -> int:
    return (number + 0x8000_0000 & WORD) - 0x8000_0000
