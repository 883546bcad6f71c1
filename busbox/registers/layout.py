"""What all artefacts are made of: slots with their registers, each with the stem of its names."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from busbox.map.registers import Field, Register
from busbox.map.slots import SPACE, AddressMap, Slot
from busbox.registers.names import Names, stem


@dataclass(frozen=True)
class NamedField:
    """A field and its stem, which begins with that of its slot: ``LAMPS_HIGH_ZERO``."""

    field: Field
    stem: str
    access: str

    @property
    def readable(self) -> bool:
        """Whether a read shows it."""
        return self.access in ("rw", "ro", "ones_clear")

    @property
    def stored(self) -> bool:
        """Whether a write stores a value in it."""
        return self.access in ("rw", "wo")


@dataclass(frozen=True)
class NamedRegister:
    """A register at its address.

    Attributes
    ----------
    address : of the register, of the first one of an array
    stem : begins with that of its slot: ``LAMPS_HIGH``
    fields : as declared, in order of their lowest bit; none if the register is one value
    """

    register: Register
    address: int
    stem: str
    fields: tuple[NamedField, ...]

    def mask(self, *access: str) -> int:
        """Return the bits of those access types."""
        return self.register.mask(*access)

    @property
    def readable(self) -> bool:
        """Whether a read shows any bit."""
        return bool(self.mask("rw", "ro", "ones_clear"))

    @property
    def stored(self) -> bool:
        """Whether a write stores any bit."""
        return bool(self.mask("rw", "wo"))

    @property
    def value(self) -> Field | None:
        """The bits of a register that is one value; None if it declares fields."""
        return None if self.fields else self.register.fields[0]


@dataclass(frozen=True)
class NamedSlot:
    """A slot of the map.

    Attributes
    ----------
    kind : the model, as the bench names it
    registers : those that an access at their own address reaches
    hidden : (register, name of the slot that answers there) for the others; "" if none does
    """

    slot: Slot
    kind: str
    stem: str
    registers: tuple[NamedRegister, ...]
    hidden: tuple[tuple[Register, str], ...] = ()

    def tail(self, name: str) -> str:
        """Return a stem of this slot without the slot's own."""
        return name.removeprefix(f"{self.stem}_")


@dataclass(frozen=True)
class Layout:
    """The registers of a bench.

    Attributes
    ----------
    name : the bench's
    prefix : of every constant in the C header, in capitals
    slots : in the order of the bench, or those that were asked for
    """

    name: str
    prefix: str
    slots: tuple[NamedSlot, ...]


def layout_of(
    name: str, prefix: str, devices: Sequence[tuple[Slot, str]], only: Sequence[str] = ()
) -> Layout:
    """Return the layout of slots, each given with its model's name.

    Parameters
    ----------
    prefix : of the constants; "" takes the bench's name
    only : names of the slots to show; none shows all. Stems do not depend on it
    """
    address_map = AddressMap([slot for slot, _ in devices])
    names = Names(_wanted(devices))
    slots = [_slot(slot, kind, names, address_map) for slot, kind in devices]
    shown = tuple(slot for slot in slots if not only or slot.slot.name in only)
    return Layout(name, prefix or prefix_of(name), shown)


def prefix_of(name: str) -> str:
    """Return the prefix that a bench's name gives: ``SIGNAL_CABIN``."""
    found = stem(name)
    return f"BENCH_{found}" if found[0].isdigit() else found


def declares_fields(register: Register) -> bool:
    """Return whether a register declares fields, and not just one value."""
    return [field.name for field in register.fields] != ["VALUE"]


def _wanted(devices: Sequence[tuple[Slot, str]]) -> Iterator[str]:
    for slot, _ in devices:
        yield stem(slot.name)
        for register in slot.table:
            yield stem(slot.name, register.name)
            for field in register.fields:
                yield stem(slot.name, register.name, field.name)


def _slot(slot: Slot, kind: str, names: Names, address_map: AddressMap) -> NamedSlot:
    own = names.give(stem(slot.name))
    found, hidden = [], []
    for register in slot.table:
        name = names.give(f"{own}_{stem(register.name)}")
        other = _hidden_by(slot, register, address_map)
        if other is not None:
            hidden.append((register, other))
            continue
        fields = sorted(register.fields, key=lambda field: field.low)
        named = tuple(
            NamedField(
                field,
                names.give(f"{name}_{stem(field.name)}"),
                field.access or register.access,
            )
            for field in (fields if declares_fields(register) else ())
        )
        found.append(NamedRegister(register, slot.base + register.offset, name, named))
    return NamedSlot(slot, kind, own, tuple(found), tuple(hidden))


def _hidden_by(slot: Slot, register: Register, address_map: AddressMap) -> str | None:
    """Return the slot that answers in place of a register; None if the register itself does."""
    first, words = slot.base + register.offset, max(1, register.count)
    if register.offset + 4 * words <= slot.size and not slot.yields_to:
        return None
    for address in range(first, first + 4 * words, 4):
        found = address_map.decode(address) if address < SPACE else None
        if found is None or found.slot is None:
            return ""
        if found.slot.name != slot.name or found.place is None:
            return found.slot.name
        if found.place.register != register:
            return slot.name
    return None
