"""What the name of a constant suggests, compared with the register that it reaches.

A name is cut at ``_`` and at capitals. Its end, without words such as AT, ADDR, REG or BASE, is
compared with the names of registers, and all of it with the names of slots and of their models:
``UART_STATUS`` fits the STATUS of a slot whose model is uart. In order:

1. A name that ends in a slot's and a register's name fits that register, whatever else fits. At the
   first byte of a slot, a name that ends in that of the slot or its model is the base of the slot, and
   so is one that other addresses add to, unless it names another slot.
2. A name that fits another register better, by the letters of the register's name, then by the slot's,
   means that one. A register of another slot counts only if the name names that slot and not the one
   reached, or if no other register has its name and the name names no slot.
3. A name that names slots, but not the one reached, means one of those.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

from busbox.firmware.c_uses import BASE, Constant
from busbox.map.registers import Register
from busbox.map.slots import SPACE, AddressMap, Decoded, Slot

#: Words at the end of a name that say that it is an address, not of what.
_ENDS = frozenset(
    ("at", "addr", "address", "base", "reg", "register", "ptr", "byte", "b0", "b1", "b2", "b3")
)
_CAPITALS = re.compile(r"[A-Z]+(?![a-z])|[A-Z]?[a-z]+|[0-9]+")


@dataclass(frozen=True)
class Judged:
    """An address of a header, and what is wrong with it.

    Attributes
    ----------
    constant : as in the file
    decoded : what it reaches; None if it is no address of 32 bits
    kind : ``reached``, ``base`` (of a slot), ``hole``, ``another`` (its name means another register or
        slot) or ``nowhere`` (in no slot)
    meant : what the name means instead, with its address; "" if it says nothing
    """

    constant: Constant
    decoded: Decoded | None
    kind: str
    meant: str = ""


class NameJudge:
    """Judges names by the map.

    Parameters
    ----------
    kinds : the model of each slot, by the slot's name
    """

    def __init__(self, address_map: AddressMap, kinds: Mapping[str, str]) -> None:
        self._map = address_map
        self._kinds = kinds
        self._registers = [
            (slot, register) for slot in address_map.slots for register in slot.table
        ]

    def judge(self, constant: Constant) -> Judged:
        """Return what a constant reaches, and what its name means."""
        decoded = self._map.decode(constant.value) if constant.value < SPACE else None
        words = words_of(constant.name)
        named = [slot for slot in self._map.slots if self._names(words, slot)]
        if decoded is None or decoded.slot is None:
            return Judged(constant, decoded, "nowhere", self._meant(words, named))
        slot, place = decoded.slot, decoded.place
        if not decoded.offset and self._is_base(constant, words, slot, named):
            return Judged(constant, decoded, "base")
        better = self._better(words, named, slot, place.register if place else None)
        if better:
            return Judged(constant, decoded, "another", better)
        exact = place is not None and self._exact(words, slot, place.register)
        if named and slot not in named and not exact:
            meant = " or ".join(f"{one.name} is at {one.base:#010x}" for one in named)
            return Judged(constant, decoded, "another", meant)
        return Judged(constant, decoded, "reached" if place else "hole")

    def nearest(self, constant: Constant) -> Slot | None:
        """Return the slot that an address in no slot is meant for: by its name first, then by place."""
        words = words_of(constant.name)
        named = [slot for slot in self._map.slots if self._names(words, slot)]
        if len(named) == 1:
            return named[0]
        return AddressMap(named or self._map.slots).nearest(constant.value)

    def names_a_slot(self, name: str) -> bool:
        """Return whether a name names a slot, by its name or its model."""
        words = words_of(name)
        return any(self._names(words, slot) for slot in self._map.slots)

    def _names(self, words: Sequence[str], slot: Slot) -> bool:
        """Return whether words hold the name of a slot or of its model, a final s left aside."""
        return any(_singular(part) in self._known(slot) for part in _parts(words))

    def _known(self, slot: Slot) -> set[str]:
        names = (slot.name, self._kinds.get(slot.name, ""))
        return {_singular(_flat(words_of(name))) for name in names} - {""}

    def _is_base(
        self, constant: Constant, words: Sequence[str], slot: Slot, named: Sequence[Slot]
    ) -> bool:
        """Return whether a constant at a slot's first byte is the base of the slot."""
        if any(_singular(_flat(end)) in self._known(slot) for end in _starts(words)):
            return True
        return constant.how == BASE and (slot in named or not named)

    def _exact(self, words: Sequence[str], slot: Slot, register: Register) -> bool:
        """Return whether a name ends in those of a slot and of its register."""
        wanted = _flat([*words_of(slot.name), *words_of(register.name)])
        return any(_flat(end) == wanted for end in _starts(words))

    def _better(
        self, words: Sequence[str], named: Sequence[Slot], slot: Slot, reached: Register | None
    ) -> str:
        """Return the register that a name means in place of the one reached, "" if it is that."""
        if reached is not None and self._exact(words, slot, reached):
            return ""
        mine = (_loosely(words, reached) if reached else 0, slot in named)
        best, home, found = mine, slot, None
        for other, register in self._registers:
            if register is reached and other is slot:
                continue
            own = _strictly(words, register)
            if not own or not self._counts(other, register, named, slot):
                continue
            score = (own, other in named)
            if score > best:
                best, home, found = score, other, register
        return _shown(home, found) if found else ""

    def _counts(self, other: Slot, register: Register, named: Sequence[Slot], slot: Slot) -> bool:
        if other is slot:
            return True
        if named:
            return other in named and slot not in named
        return sum(one.name == register.name for _, one in self._registers) == 1

    def _meant(self, words: Sequence[str], named: Sequence[Slot]) -> str:
        """Return the register that the name of an address in no slot means, "" if it is not clear."""
        fits = [
            (_strictly(words, register), slot, register)
            for slot, register in self._registers
            if (slot in named or not named) and _strictly(words, register)
        ]
        best = max((size for size, _, _ in fits), default=0)
        fits = [fit for fit in fits if fit[0] == best]
        if len(fits) == 1:
            return _shown(fits[0][1], fits[0][2])
        if len(named) == 1 and not fits:
            return f"{named[0].name} is at {named[0].base:#010x}"
        return ""


@lru_cache(maxsize=4096)
def words_of(name: str) -> tuple[str, ...]:
    """Return the words of a name, in small letters; what stands in parentheses is no part of it."""
    return tuple(
        word.lower()
        for part in name.partition("(")[0].split("_")
        for word in _CAPITALS.findall(part)
    )


def _flat(words: Sequence[str]) -> str:
    return "".join(words)


def _parts(words: Sequence[str]) -> set[str]:
    """Return every run of words, without gaps."""
    ends = range(1, len(words) + 1)
    return {_flat(words[first:last]) for last in ends for first in range(last)}


def _singular(text: str) -> str:
    return text[:-1] if len(text) > 3 and text.endswith("s") else text


def _ends(words: Sequence[str]) -> Iterator[Sequence[str]]:
    """Yield a name without 0, 1, 2, ... of the words that say that it is an address, or a number."""
    yield words
    while words and (words[-1] in _ENDS or words[-1].isdigit()):
        words = words[:-1]
        yield words


def _starts(words: Sequence[str]) -> Iterator[Sequence[str]]:
    """Yield the ends of a name, each without what says that it is an address."""
    for end in _ends(words):
        yield from (end[first:] for first in range(len(end)))


def _strictly(words: Sequence[str], register: Register) -> int:
    """Return the letters of a register's name if a name ends in it, else 0."""
    wanted = _flat(words_of(register.name))
    return len(wanted) if any(_flat(end) == wanted for end in _starts(words)) else 0


def _loosely(words: Sequence[str], register: Register) -> int:
    """Return the letters of a register's name, or of its last words, that a name holds anywhere."""
    own = words_of(register.name)
    inside, tails = _parts(words), (_flat(own[at:]) for at in range(len(own)))
    return max((len(tail) for tail in tails if tail in inside), default=0)


def _shown(slot: Slot, register: Register) -> str:
    return f"{slot.name}.{register.name_of(0)} is at {slot.base + register.offset:#010x}"
