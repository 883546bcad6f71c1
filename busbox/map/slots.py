"""The address map: which slot answers at an address, and why.

A slot answers where the *compared* bits of the address equal those of its base. Bits that are
neither compared nor used inside the device create images (also called aliases): further addresses at
which it answers.
The number of images is 2 ** (bits neither compared nor inside). Source of the match rule
``((address ^ base) & ~(size - 1)) == 0``: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from itertools import combinations

from busbox.map.addresses import without_prefix
from busbox.map.bits import show_bits
from busbox.map.registers import WORD, Place, RegisterTable
from busbox.plugins import as_html, as_svg

SPACE = 1 << 32
DECODES = ("full", "compare", "range")


@dataclass(frozen=True)
class Term:
    """A set of addresses: those whose bits in ``mask`` equal ``value``."""

    mask: int
    value: int

    def holds(self, address: int) -> bool:
        """Return whether ``address`` is in the set."""
        return address & self.mask == self.value

    def meets(self, other: Term) -> bool:
        """Return whether the two sets share an address."""
        return not (self.value ^ other.value) & self.mask & other.mask


@dataclass(frozen=True)
class Slot:
    """A device's place in the address map.

    Attributes
    ----------
    name : as in the bench
    base, size : bytes; multiples of 4
    decode : ``full``, ``compare`` or ``range`` (semantics page, rule 26)
    compare : numbers of the compared address bits, only for ``compare``
    wait : wait states
    yields_to : names of slots that take precedence where both would answer
    table : the device's registers
    """

    name: str
    base: int
    size: int
    decode: str = "full"
    compare: frozenset[int] = frozenset()
    wait: int = 1
    yields_to: tuple[str, ...] = ()
    table: RegisterTable = field(default_factory=RegisterTable, compare=False)

    def mistakes(self) -> Iterator[tuple[str, str]]:
        """Yield (key, what is wrong with it) for every mistake in the slot's own numbers."""
        aligned = True
        for key, value in (("base", self.base), ("size", self.size)):
            if value % 4:
                aligned = False
                yield key, f"must be a multiple of 4, not {value:#x}"
        if self.size <= 0:
            yield "size", f"must be at least 4, not {self.size}"
            return
        if not 0 <= self.base < SPACE or self.base + self.size > SPACE:
            yield (
                "base",
                f"must leave room for {self.size:#x} bytes below 2^32, not {self.base:#010x}",
            )
            return
        if self.decode != "range" and aligned:
            yield from self._window_mistakes()
        if self.decode == "compare":
            inside = sorted(bit for bit in self.compare if bit < self.inner_bits)
            if inside and self.size & (self.size - 1) == 0:
                yield (
                    "compare",
                    (
                        f"must name bits above the slot's own {self.size:#x} bytes "
                        f"(31..{self.inner_bits}), not {show_bits(inside)}"
                    ),
                )

    def _window_mistakes(self) -> Iterator[tuple[str, str]]:
        if self.size & (self.size - 1):
            yield (
                "size",
                (f'must be a power of two, not {self.size:#x} (any size: decode = "range")'),
            )
        elif self.base % self.size:
            yield (
                "base",
                (
                    f"must be a multiple of the size {self.size:#x}, not {self.base:#010x} "
                    f'(any base: decode = "range"){self._without_prefix()}'
                ),
            )

    def _without_prefix(self) -> str:
        """Ask whether ``0x`` was left out of the base, if that would be a good one."""
        meant = without_prefix(self.base)
        if meant is None or meant % self.size or meant + self.size > SPACE:
            return ""
        return f"; {self.base} is decimal: did you mean {meant:#010x}?"

    @cached_property
    def inner_bits(self) -> int:
        """Number of address bits that lie inside the slot (byte address)."""
        return (self.size - 1).bit_length()

    @cached_property
    def terms(self) -> tuple[Term, ...]:
        """The addresses at which the slot's decoder answers, as disjoint sets."""
        if self.decode == "compare":
            mask = sum(1 << bit for bit in self.compare)
            return (Term(mask, self.base & mask),)
        if self.decode == "full":
            return (Term(WORD & ~(self.size - 1), self.base),)
        return tuple(_range_terms(self.base, self.base + self.size))

    def answers(self, address: int) -> bool:
        """Return whether the slot's own decoder matches, ignoring ``yields_to``."""
        if self.decode == "range":
            return self.base <= address < self.base + self.size
        return self.terms[0].holds(address)

    def offset(self, address: int) -> int:
        """Return the byte offset inside the device of an address at which the slot answers."""
        return (address - self.base) % self.size

    @cached_property
    def free_bits(self) -> tuple[int, ...]:
        """Address bits that are neither compared nor inside: they create the images."""
        if self.decode != "compare":
            return ()
        return tuple(bit for bit in range(self.inner_bits, 32) if bit not in self.compare)

    @property
    def images(self) -> int:
        """Number of address ranges at which the slot answers, including the one at its base."""
        return 1 << len(self.free_bits)

    def image(self, address: int) -> int:
        """Return which image holds ``address``: 0 is the one at the base."""
        differ = address ^ self.base
        return sum(1 << place for place, bit in enumerate(self.free_bits) if differ >> bit & 1)

    @property
    def how(self) -> str:
        """How the slot is decoded, as text."""
        if self.decode == "full":
            return f"full (compares bits {show_bits(range(self.inner_bits, 32))})"
        if self.decode == "range":
            return f"range {self.base:#010x}..{self.base + self.size - 1:#010x}"
        return f"partial (compares bits {show_bits(self.compare)})"


@dataclass(frozen=True)
class Decoded:
    """How the map decodes one address.

    Attributes
    ----------
    address : the byte address
    slot : the slot that answers, or None
    offset : bytes inside the device (0 without a slot)
    image : number of the image that holds the address, 0 = the one at the base
    place : the register, or None in a hole or without a slot
    lane : byte lane of the address, 0 to 3
    """

    address: int
    slot: Slot | None
    offset: int
    image: int
    place: Place | None

    @property
    def lane(self) -> int:
        """Byte lane k of the address (SEL(k), data bits 8k+7..8k)."""
        return self.address & 3

    @property
    def register(self) -> str:
        """``levers.OUT``, ``levers+0x20`` in a hole, or "" without a slot."""
        if self.slot is None:
            return ""
        if self.place is None:
            return f"{self.slot.name}+{self.offset & ~3:#x}"
        return f"{self.slot.name}.{self.place.name}"


class AddressMap:
    """All slots of a system. Slots are numbered as given; ``overlaps()`` must be empty to run."""

    def __init__(self, slots: Sequence[Slot]) -> None:
        self.slots = tuple(slots)
        self._by_name = {slot.name: slot for slot in self.slots}
        self._decoded: dict[int, Decoded] = {}

    def _repr_html_(self) -> str:
        return as_html(self)

    def _repr_svg_(self) -> str | None:
        return as_svg(self)

    def slot(self, name: str) -> Slot | None:
        """Return the slot of that name."""
        return self._by_name.get(name)

    def decode(self, address: int) -> Decoded:
        """Return what answers at ``address``."""
        decoded = self._decoded.get(address)
        if decoded is None:
            decoded = self._decode(address)
            if len(self._decoded) < 65536:
                self._decoded[address] = decoded
        return decoded

    def _decode(self, address: int) -> Decoded:
        hits = [slot for slot in self.slots if slot.answers(address)]
        names = {slot.name for slot in hits}
        slot = next((hit for hit in hits if not names.intersection(hit.yields_to)), None)
        if slot is None:
            return Decoded(address, None, 0, 0, None)
        offset = slot.offset(address)
        return Decoded(address, slot, offset, slot.image(address), slot.table.at(offset))

    def address_of(self, slot: str, register: str) -> int | None:
        """Return the address of a register by name, or None if the slot has none of that name."""
        home = self._by_name.get(slot)
        offset = home.table.offset_of(register) if home else None
        return None if home is None or offset is None else home.base + offset

    def overlaps(self) -> list[tuple[Slot, Slot, int, int]]:
        """Return (slot, slot, first, last address) for every pair of slots that both answer.

        A pair in which one yields to the other does not overlap. The range is the lowest run of
        addresses that both decode.
        """
        overlaps = []
        for slot, other in combinations(self.slots, 2):
            if slot.name in other.yields_to or other.name in slot.yields_to:
                continue
            shared = _first_shared(slot, other)
            if shared is not None:
                overlaps.append((slot, other, *shared))
        return overlaps

    def nearest(self, address: int) -> Slot | None:
        """Return the slot whose window is the fewest bytes away from ``address``."""

        def distance(slot: Slot) -> tuple[int, int]:
            away = max(slot.base - address, address - (slot.base + slot.size - 1), 0)
            return away, (slot.base ^ address).bit_count()

        return min(self.slots, key=distance, default=None)

    def without_prefix(self, address: int) -> int | None:
        """Return the mapped address that was intended if ``0x`` was left out of an unmapped one.

        None if a slot answers at ``address``, or none at the other.
        """
        other = without_prefix(address)
        if other is None or self.decode(address).slot or self.decode(other).slot is None:
            return None
        return other

    def suggest(self, address: int, slot: Slot | None = None) -> str:
        """Return a suggestion for an address that no slot decodes, "" if there is no slot.

        It names the nearest slot, or the given one, and its register at the offset that the address
        would have there.
        """
        slot = slot or self.nearest(address)
        if slot is None:
            return ""
        offset = address & (1 << slot.inner_bits) - 1
        place = slot.table.at(offset)
        same = f"{slot.name}.{place.name} ({slot.base + offset:#010x})" if place else ""
        return (
            f"the nearest slot is {slot.name} at {slot.base:#010x}..{slot.base + slot.size - 1:#010x}"
            + (f"; the same offset there is {same}" if same else "")
        )

    def runs(self, limit: int = 64) -> tuple[list[tuple[int, int, bool]], bool]:
        """Return runs (first, last address, mapped) in order, and whether the list is complete.

        Slots with many scattered images make many runs; at most ``limit`` are returned.
        """
        runs: list[tuple[int, int, bool]] = []
        terms = [term for slot in self.slots for term in slot.terms]
        for first, last, mapped in _split(terms, 0, 32):
            if runs and runs[-1][2] == mapped:
                runs[-1] = (runs[-1][0], last, mapped)
            elif len(runs) == limit:
                return runs, False
            else:
                runs.append((first, last, mapped))
        return runs, True

    def gaps(self, limit: int = 64) -> tuple[list[tuple[int, int]], bool]:
        """Return the unmapped ranges (first, last address), and whether the list is complete."""
        runs, complete = self.runs(limit)
        return [(first, last) for first, last, mapped in runs if not mapped], complete


def _range_terms(first: int, end: int) -> Iterator[Term]:
    """Cut first <= address < end into aligned power-of-two blocks."""
    while first < end:
        size = first & -first or SPACE
        while size > end - first:
            size >>= 1
        yield Term(WORD & ~(size - 1), first)
        first += size


def _first_shared(slot: Slot, other: Slot) -> tuple[int, int] | None:
    runs = []
    for left in slot.terms:
        for right in other.terms:
            if left.meets(right):
                mask, value = left.mask | right.mask, left.value | right.value
                free = ~mask & WORD
                size = (~free & (free + 1)) if free != WORD else SPACE
                runs.append((value, value + size - 1))
    if not runs:
        return None
    runs.sort()
    first, last = runs[0]
    for begin, end in runs[1:]:
        if begin == last + 1:
            last = end
    return first, last


def _split(terms: list[Term], first: int, bits: int) -> Iterator[tuple[int, int, bool]]:
    """Yield (first, last, mapped) blocks of the space of ``bits`` bits that begins at ``first``."""
    outer = WORD & ~((1 << bits) - 1)
    met = [term for term in terms if not (term.value ^ first) & term.mask & outer]
    last = first + (1 << bits) - 1
    if not met:
        yield first, last, False
    elif any(not term.mask & ~outer for term in met):
        yield first, last, True
    else:
        half = 1 << bits - 1
        yield from _split(met, first, bits - 1)
        yield from _split(met, first + half, bits - 1)
