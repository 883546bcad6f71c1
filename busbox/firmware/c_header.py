"""Reads the constants of a C header or C file and separates addresses from other numbers.

:mod:`busbox.firmware.c_text` finds the definitions, :mod:`busbox.firmware.c_expressions` gives them
values, :mod:`busbox.firmware.c_uses` finds how they are used; this module classifies them.

The first of these rules that applies decides. An address is a constant that

1. is cast to a pointer or dereferenced, directly or through macros ("used through a pointer");
2. is the largest summand of such an expression ("base of other addresses"); where all summands are
   below 0x1000, the name, then equality with a slot's base, then the larger value decides. The
   other summands are offsets, and accounted for by the address.

What follows is for names with a hexadecimal value that nothing uses through a pointer:

3. next to a bit operator (``& | ^ ~ << >>``), or with a name that ends in _MASK, _BIT, _FLAG,
   _SHIFT, _OFFSET, _SIZE or _END, or in _BITS where the same name with _SHIFT is defined too, it is
   not an address;
4. it is one if another name adds to it, and it is 0x1000 or more or equals a slot's base ("base of
   other addresses");
5. it is one if its value equals a slot's base other than 0, or, from 0x1000 up, lies in a slot
   whose base is not 0, between two slots with its top hexadecimal digit, or anywhere with the top
   digit of a slot if that is not 0 and the value is not a run of eight ones or more ("looks like an
   address in the map"); so a slot at 0 does not turn small numbers into addresses;
6. it is one if its name ends in _BASE, _ADDR or _ADDRESS, and it is 0x1000 or more or lies in a
   slot, or if its name ends in _AT and it lies in a slot ("named like an address");
7. it is one if it adds to a base that is an address ("added to a base").

A bare literal in code is an address by rule 1, or as an argument or list item that lies in a slot
whose base is not 0. A macro with an argument is resolved for argument 0; with step 1 and less than
0x1000 added to the argument, the argument is the base, and the macro itself is not an address.

A decimal number that is no address, but would be one in a slot if its digits were hexadecimal, is
listed among the *decimals* if it has a name, or is an argument or list item: 0x may have been left out.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

from busbox.firmware.c_expressions import Leaf, Value
from busbox.firmware.c_text import Source
from busbox.firmware.c_uses import (
    ADDRESS_NAME,
    BASE,
    COUNT_NAME,
    DECIMAL,
    NEAR,
    OTHER_NAME,
    POINTER,
    Constant,
    Evaluation,
    Unresolved,
    Uses,
    own_places,
)
from busbox.map.addresses import without_prefix
from busbox.map.registers import WORD
from busbox.map.slots import AddressMap

LOOKS = "looks like an address in the map"
NAMED = "named like an address"
SUM = "added to a base"


@dataclass(frozen=True)
class HeaderConstants:
    """All constants of a file, in order of line; every hexadecimal one is in exactly one list.

    Attributes
    ----------
    decimals : decimal numbers that would be addresses if 0x stood before them
    """

    addresses: tuple[Constant, ...]
    others: tuple[Constant, ...]
    unresolved: tuple[Unresolved, ...]
    decimals: tuple[Constant, ...] = ()


def read_header(text: str, address_map: AddressMap) -> HeaderConstants:
    """Return the constants of a C text (decoded with ``errors="replace"``), judged by the map."""
    return _Judge(Uses(Source(text), address_map)).judge()


class _Judge:
    """Judges the names that nothing uses through a pointer (rules 3 to 7)."""

    def __init__(self, uses: Uses) -> None:
        self.uses = uses
        self.others: list[Constant] = []
        self.unresolved: list[Unresolved] = []
        self.added: set[str] = set()

    def judge(self) -> HeaderConstants:
        """Judge everything, pointers first."""
        self.uses.look()
        self._judge_all()
        self._rest()
        return HeaderConstants(
            tuple(sorted(self.uses.addresses, key=lambda row: row.line)),
            tuple(sorted(self.others, key=lambda row: row.line)),
            tuple(sorted(self.unresolved, key=lambda row: row.line)),
            tuple(sorted(self._decimals(), key=lambda row: row.line)),
        )

    def _decimals(self) -> Iterator[Constant]:
        """Yield the decimal numbers that would be addresses if 0x stood before them."""
        known = {row.name for row in self.uses.addresses}
        for name, found in self.uses.plain.items():
            definition = self.uses.source.known[name]
            digits = [token.text for token in definition.body if token.text not in ("(", ")")]
            if (
                len(digits) == 1
                and DECIMAL.fullmatch(digits[0])
                and definition.title not in known
                and not (OTHER_NAME.search(name) or COUNT_NAME.search(name))
                and self._without_prefix(found.value.number)
            ):
                yield Constant(name, definition.line, found.value.number)
        for token in self.uses.bare_decimals:
            value = int(token.text.rstrip("uUlL").replace("'", ""))
            if self._without_prefix(value):
                yield Constant(token.text, token.line, value)

    def _without_prefix(self, value: int) -> bool:
        """Return whether the digits of a number would be an address in a slot if 0x stood before."""
        meant = without_prefix(value)
        return meant is not None and meant >= NEAR and self._in_slot(meant)

    def _judge_all(self) -> None:
        for name, found in self.uses.plain.items():
            base = self.uses.base_of(found.value)
            if base and len(found.value.leaves) > 1 and 2 * found.value.number >= base.number:
                self.added.update(set(base.via) - {name})
        listed: dict[str, str] = {}
        pointed = frozenset(self.uses.claimed)
        for name, found in self.uses.plain.items():
            listed[name] = self._judge(name, found, pointed)
        for name, found in self.uses.plain.items():
            base = self.uses.base_of(found.value)
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
                definition = self.uses.source.known[name]
                found = self.uses.plain[name]
                self.uses.add(
                    definition.title, definition.line, found, how, self.uses.pointers.get(name)
                )

    def _may_be(self, name: str, found: Evaluation, pointed: frozenset[int]) -> bool:
        """Return whether the name may be an address."""
        own = own_places(self.uses.source.known[name].body)
        several = len(self.uses.source.known[name].params or ()) > 1
        return not (
            several
            or found.uneven
            or name in self.uses.masked
            or OTHER_NAME.search(name)
            or (name.endswith("_BITS") and f"{name[:-5]}_SHIFT" in self.uses.source.known)
            or any(leaf.bits for leaf in found.value.leaves)
            or (own and own <= pointed)
        )

    def _judge(self, name: str, found: Evaluation, pointed: frozenset[int]) -> str:
        """Return why the name is taken for an address, "" if it is not (rules 1 to 6)."""
        value = found.value.number
        if name in self.uses.pointers:
            return POINTER
        if name in self.uses.bases:
            return BASE
        if not own_places(self.uses.source.known[name].body) or not self._may_be(
            name, found, pointed
        ):
            return ""
        if name in self.added and (value >= NEAR or value in self.uses.bases_of_slots):
            return BASE
        if self._looks(value):
            return LOOKS
        inside = any(slot.base <= value < slot.base + slot.size for slot in self.uses.slots)
        if inside and name.upper().endswith("_AT"):
            return NAMED
        return NAMED if ADDRESS_NAME.search(name) and (value >= NEAR or inside) else ""

    def _looks(self, value: int) -> bool:
        if value < NEAR:
            return value != 0 and value in self.uses.bases_of_slots
        if self._in_slot(value):
            return True
        near = [
            slot for slot in self.uses.slots if slot.base >> 28 == value >> 28 and slot.base >= NEAR
        ]
        if not near or not value >> 28:
            first = min((slot.base for slot in near), default=0)
            return first <= value < max((slot.base + slot.size for slot in near), default=0)
        run = value // (value & -value)
        return bool(run & (run + 1)) or run.bit_count() < 8

    def _in_slot(self, value: int) -> bool:
        return any(
            slot.base and slot.base <= value < slot.base + slot.size for slot in self.uses.slots
        )

    def _rest(self) -> None:
        """List the constants that no address accounts for."""
        self.unresolved = [
            row for row, own in self.uses.refused if not own or not own <= self.uses.claimed
        ]
        self.uses.claimed.update(*(own for _, own in self.uses.refused))
        for token in self.uses.bare:
            if token.place not in self.uses.claimed and self._in_slot(_hex(token.text)):
                value = Value(_hex(token.text), (Leaf(0, (), frozenset([token.place])),))
                self.uses.add(token.text, token.line, Evaluation(value), LOOKS)
        for name, found in self.uses.plain.items():
            definition = self.uses.source.known[name]
            own = own_places(definition.body) - self.uses.claimed
            if own and definition.params is None:
                self.others.append(Constant(name, definition.line, found.value.number))
                self.uses.claimed |= own
        for token in self.uses.source.hexes:
            if token.place not in self.uses.claimed and _hex(token.text) > WORD:
                why = "is wider than 32 bits"
                self.unresolved.append(
                    Unresolved(token.text[:40], token.line, token.text[:40], why)
                )
            elif token.place not in self.uses.claimed:
                self.others.append(Constant(token.text, token.line, _hex(token.text)))


def _hex(text: str) -> int:
    match = re.match("[0-9a-f]+", text[2:].replace("'", ""), re.IGNORECASE)
    return int(match[0], 16) if match else 0
