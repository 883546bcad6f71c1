"""Registers: one declaration serves decoding, lanes, access types, messages and documentation.

A device declares its registers once, as a :class:`RegisterTable`. Models, hardware, ``busbox where``
and every finding use that same declaration.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

from busbox.basics.declaring import (
    check_choice,
    check_name,
    check_number,
    each,
    known,
    with_known_keywords,
)
from busbox.basics.errors import format_value

#: The number of a row of an array.
_INDEX = re.compile(r"[0-9]{1,9}")

WORD = 0xFFFF_FFFF

#: What each access type means for a read and for a write.
ACCESS_TYPES = {
    "rw": "reads the stored value; a write stores the selected lanes",
    "ro": "reads what the device provides; a write is ignored",
    "wo": "reads 0; a write stores the selected lanes",
    "ones_clear": "reads the stored value; writing 1 clears a bit; unselected lanes are ignored",
    "ones_act": "reads 0; writing 1 to a bit acts on it; unselected lanes are ignored",
}

#: The mask of every set of lanes, by its four bits (see :func:`lane_mask`).
LANE_MASKS = tuple(
    sum(0xFF << 8 * lane for lane in range(4) if lanes >> lane & 1) for lanes in range(16)
)


def lane_mask(lanes: int) -> int:
    """Return the 32-bit mask of the selected lanes (bit k of ``lanes`` = SEL(k) = byte k).

    Source: Wishbone B4, rule 3.100 (8-bit granularity, little-endian).
    """
    return LANE_MASKS[lanes]


def show_lanes(lanes: int) -> str:
    """Return lanes as four binary digits, SEL(3) first."""
    return f"{lanes:04b}"


@with_known_keywords
@dataclass(frozen=True)
class Field:
    """Some bits of a register.

    Attributes
    ----------
    name : upper case
    high, low : bit numbers, both included
    access : one of :data:`ACCESS_TYPES`, or "" for the access of its register
    reset : value after reset
    text : one sentence
    """

    name: str
    high: int
    low: int
    access: str = ""
    reset: int = 0
    text: str = ""

    @property
    def mask(self) -> int:
        """The field's bits inside the 32-bit word."""
        return ((1 << self.high - self.low + 1) - 1) << self.low

    @property
    def bits(self) -> str:
        """The bit numbers as people write them: ``7..0`` or ``3``."""
        return str(self.low) if self.high == self.low else f"{self.high}..{self.low}"


@with_known_keywords
@dataclass(frozen=True)
class Register:
    """One 32-bit register, or an array of identical ones.

    Attributes
    ----------
    name : upper case
    offset : bytes from the start of the slot, a multiple of 4
    access : of every field without its own, one of :data:`ACCESS_TYPES`; ``ones_clear`` is also known
        as write 1 to clear, ``ones_act`` as write-1 strobe
    text : one sentence
    fields : its fields; if there are none, ``width`` bits are one field named VALUE
    width : number of bits if there are no fields, 1 to 32
    reset : reset value if there are no fields
    count : number of registers in an array, 4 bytes apart; 0 for a single register
    whole : lanes that an access must select to have any effect (bits as in SEL); 0: any lane will do
    kept : it is memory, whose contents survive a reset
    """

    name: str
    offset: int
    access: str = "rw"
    text: str = ""
    fields: tuple[Field, ...] = ()
    width: int = 32
    reset: int = 0
    count: int = 0
    whole: int = 0
    kept: bool = False

    def __post_init__(self) -> None:
        check_name("the name of a register", self.name, "LEVEL")
        check_number(f"offset of {self.name}", self.offset, 0, 0xFFFF_FFFC)
        if self.offset % 4:
            raise ValueError(f"offset of {self.name} must be a multiple of 4, not {self.offset:#x}")
        object.__setattr__(self, "fields", each(f"fields of {self.name}", self.fields, Field))
        if not self.fields:
            check_number(f"width of {self.name}", self.width, 1, 32)
            whole = Field("VALUE", self.width - 1, 0, self.access, self.reset, self.text)
            object.__setattr__(self, "fields", (whole,))
        seen = 0
        for field in self.fields:
            what = f"{self.name}.{field.name}"
            check_name(f"the name of a field of {self.name}", field.name, "BUSY")
            if not all(type(bit) is int for bit in (field.high, field.low)) or not (
                31 >= field.high >= field.low >= 0
            ):
                raise ValueError(
                    f"{what} must lie in bits 31..0, the high one given first, not {field.bits}"
                )
            check_choice(f"access of {what}", field.access or self.access, ACCESS_TYPES)
            check_number(f"reset of {what}", field.reset, 0, field.mask >> field.low)
            if seen & field.mask:
                raise ValueError(f"{self.name}.{field.name} overlaps another field")
            seen |= field.mask

    def mask(self, *types: str) -> int:
        """Return the bits whose access is one of ``types``; without any, the bits of all fields."""
        total = 0
        for field in self.fields:
            if not types or (field.access or self.access) in types:
                total |= field.mask
        return total

    @property
    def reset_value(self) -> int:
        """The word after reset."""
        return sum(field.reset << field.low for field in self.fields)

    def with_reset(self, word: int) -> Register:
        """Return the same register with another reset value (see :meth:`RegisterTable.with_resets`)."""
        fields = tuple(
            replace(field, reset=(word & field.mask) >> field.low) for field in self.fields
        )
        made = replace(self, fields=fields)
        if made.reset_value != word:
            raise ValueError(f"{self.name} does not hold {format_value(word)} after a reset")
        return made

    def name_of(self, index: int) -> str:
        """Return the name of one register of an array, ``COLOUR.3``, or of a single one, ``COUNT``."""
        return f"{self.name}.{index}" if self.count else self.name


@dataclass(frozen=True)
class Place:
    """The register at an offset; ``index`` is its index in an array, 0 for a single one."""

    register: Register
    index: int

    @property
    def name(self) -> str:
        """The register's name with its index."""
        return self.register.name_of(self.index)


class RegisterTable:
    """All registers of a device, in order of offset.

    Attributes
    ----------
    registers : they
    file : the file that they were read from, other than one in Python; ""

    Raises
    ------
    ValueError : two registers share an offset or a name
    """

    def __init__(self, *registers: Register) -> None:
        for one in registers:
            if not isinstance(one, Register):
                raise ValueError(
                    "RegisterTable takes registers, one after the other: RegisterTable(Register(...), "
                    f"Register(...)), not {format_value(one)}"
                )
        self.file = ""
        self.registers = tuple(sorted(registers, key=lambda register: register.offset))
        self._singles = {
            register.offset: Place(register, 0) for register in self.registers if not register.count
        }
        self._arrays = tuple(register for register in self.registers if register.count)
        self._by_name = {register.name: register for register in self.registers}
        if len(self._by_name) < len(self.registers):
            names = [register.name for register in self.registers]
            twice = next(name for name in names if names.count(name) > 1)
            raise ValueError(f"two registers are called {twice}")
        for before, after in zip(self.registers, self.registers[1:], strict=False):
            if after.offset < before.offset + 4 * max(1, before.count):
                raise ValueError(f"{before.name} and {after.name} share offset {after.offset:#x}")

    def __iter__(self) -> Iterator[Register]:
        return iter(self.registers)

    def with_resets(self, words: Mapping[str, int]) -> RegisterTable:
        """Return the same registers, of which some have other reset values.

        Parameters
        ----------
        words : by the name of a register; of an array, every element has it

        Raises
        ------
        ValueError : there is no such register, or its fields do not hold the word
        """
        if not words:
            return self
        for name in words:
            if name not in self._by_name:
                raise ValueError(f"there is no register {name!r}{known(name, self._by_name)}")
        changed = (
            one.with_reset(words[one.name]) if one.name in words else one for one in self.registers
        )
        table = RegisterTable(*changed)
        table.file = self.file
        return table

    def places(self) -> Iterator[tuple[int, Place]]:
        """Yield (offset, place) for every register, including each element of an array."""
        for register in self.registers:
            for index in range(max(1, register.count)):
                yield register.offset + 4 * index, Place(register, index)

    def at(self, offset: int) -> Place | None:
        """Return the register whose word holds byte ``offset``, or None in a hole."""
        word = offset & ~3
        single = self._singles.get(word)
        if single is not None:
            return single
        for array in self._arrays:
            index = (word - array.offset) // 4
            if 0 <= index < array.count:
                return Place(array, index)
        return None

    def offset_of(self, name: str) -> int | None:
        """Return the offset of ``COUNT`` or ``COLOUR.3``, or None if there is no such register."""
        stem, dot, number = name.partition(".")
        register = self._by_name.get(stem)
        if register is None or bool(dot) != bool(register.count):
            return None
        if not dot:
            return register.offset
        if _INDEX.fullmatch(number) is None or int(number) >= register.count:
            return None
        return register.offset + 4 * int(number)

    @property
    def names(self) -> list[str]:
        """All names; for an array, those of its first and last element."""
        names = []
        for register in self.registers:
            names.append(register.name_of(0))
            if register.count > 1:
                names.append(register.name_of(register.count - 1))
        return names

    @property
    def end(self) -> int:
        """Bytes from the start of the slot to the end of the last register."""
        return max(
            (last.offset + 4 * max(1, last.count) for last in self.registers[-1:]), default=0
        )
