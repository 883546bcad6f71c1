"""The functions that reach a register: which there are, their names, and what is to be known of each.

The C header and the Python class offer the same ones. None of them reads a register in order to write
it, and each makes one access of a whole word:

* ``get``: read the word; of a field, its value in that word. Not for what only reads 0.
* ``put``: write the word. Only where a write stores some bits.
* ``clear``, ``act``: write the word of ones that clear their bits, or act. Only where a write stores no
  bit, for otherwise the zeros in that word would be stored.
* ``take``, ``place``: the value of a field in a word, and the word with another value; no access.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from busbox.map.registers import show_lanes
from busbox.registers.layout import NamedField, NamedRegister

ONES = {"ones_clear": "clear", "ones_act": "act"}


@dataclass(frozen=True)
class Call:
    """One function of a register.

    Attributes
    ----------
    verb : ``get``, ``put``, ``clear``, ``act``, ``take`` or ``place``
    stem : of the register or of the field
    register : what it reaches
    field : the field it is about, None for the whole word
    mask : of ``clear`` and ``act``: the bits that a one may be written to
    """

    verb: str
    stem: str
    register: NamedRegister
    field: NamedField | None = None
    mask: int = 0


def calls_of(register: NamedRegister) -> Iterator[Call]:
    """Yield the functions of a register and its fields."""
    if register.readable:
        yield Call("get", register.stem, register)
    if register.stored:
        yield Call("put", register.stem, register)
    for access, verb in ONES.items():
        mask = register.mask(access)
        if mask and not register.stored:
            yield Call(verb, register.stem, register, None, mask)
    for field in register.fields:
        if field.readable:
            yield Call("get", field.stem, register, field)
            yield Call("take", field.stem, register, field)
        if field.stored:
            yield Call("place", field.stem, register, field)


def notes_of(register: NamedRegister) -> Iterator[str]:
    """Yield sentences on what a driver must know of a register beyond its access type."""
    whole, ones = register.register.whole, ("ones_clear", "ones_act")
    if whole:
        yield (
            f"An access acts only if it selects lanes {show_lanes(whole)}; a whole word selects all."
        )
    if register.register.kept:
        yield "A reset keeps the contents."
    if register.stored and register.mask(*ones):
        yield "A write stores the rw and wo bits too, whatever it does to the others."
