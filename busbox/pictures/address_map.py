"""The address map to scale.

Two bars from the lowest address at the top to the highest: the left one is the whole space of 4 GiB to
scale, in which a slot is often thinner than a hair; the right one is stretched where the slots are, and
shows every gap at the same height with its size in words. Grey lines join both, so that the eye finds
the slot again. Names stand right of the right bar, as there is room for words of any length. An access
that is shown beside the map has an arrow into its piece of the right bar, and a line across the left
bar at its address.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

from busbox.basics.listing import counted
from busbox.map.bits import show_bits
from busbox.map.slots import SPACE, AddressMap, Slot
from busbox.pictures.svg import LEADING, MARGIN, SMALL, Look, Sheet, TooNarrow, wrap
from busbox.system.hardware import SystemHardware

#: Images of a slot that get their own piece of the right bar; of more, these many are shown.
SHOWN_IMAGES = 3
#: Images whose places are drawn in the left bar, and counted in a gap, at most.
COUNTED = 4096
_ABOUT = (
    "Left: all 4 GiB to scale. Right: stretched where slots are. Blue, plain: a slot; orange, hatched: "
    "an image of one; grey outline: nothing answers. A slot thinner than a line is drawn as one."
)
_UNITS = ((1 << 30, "GiB"), (1 << 20, "MiB"), (1 << 10, "KiB"), (1, "bytes"))


@dataclass(frozen=True)
class _Bars:
    """Left edges and widths of the whole and the stretched bar, and the left edge of names."""

    whole: float = 112.0
    whole_wide: float = 40.0
    stretched: float = 224.0
    stretched_wide: float = 68.0
    names: float = 306.0


#: For a sheet on which names would not fit else.
_THIN = _Bars(92.0, 26.0, 148.0, 32.0, 190.0)


@dataclass(frozen=True)
class Piece:
    """A range of addresses in the right bar: of a slot (and which image), or between them."""

    first: int
    last: int
    slot: Slot | None
    image: int = 0


def size_words(size: int) -> str:
    """Return a number of bytes in words, exact: ``1 GiB 64 MiB``."""
    parts = []
    for unit, name in _UNITS:
        count, size = divmod(size, unit)
        if count:
            parts.append("1 byte" if (count, unit) == (1, 1) else f"{count:,} {name}")
    return " ".join(parts) or "0 bytes"


def map_picture(
    mapped: AddressMap | SystemHardware, look: Look, access: tuple[int, int] | None = None
) -> str:
    """Return the address map as SVG.

    Parameters
    ----------
    access : (number, address) of an access that is shown beside the map

    Raises
    ------
    TooNarrow : a name does not fit
    """
    address_map = map_of(mapped)
    try:
        return _Drawing(address_map, look, _Bars(), access).drawn()
    except TooNarrow:
        return _Drawing(address_map, look, _THIN, access).drawn()


def map_of(mapped: AddressMap | SystemHardware) -> AddressMap:
    """Return the address map of a system, or the map itself."""
    if isinstance(mapped, AddressMap):
        return mapped
    return AddressMap([device.slot for device in mapped.devices])


def pieces_of(address_map: AddressMap) -> list[Piece]:
    """Return the pieces of the right bar, lowest address first; together they are all addresses."""
    ends = {0, SPACE}
    for slot in address_map.slots:
        block = slot.size << _adjacent(slot)
        ends |= {slot.base // block * block, slot.base // block * block + block}
        for image in range(_shown(slot)):
            start = image_base(slot, image)
            ends |= {start, start + slot.size}
    pieces: list[Piece] = []
    for first, end in pairwise(sorted(one for one in ends if one <= SPACE)):
        found = address_map.decode(first)
        slot_, image = found.slot, found.image
        if slot_ is None or image >= _shown(slot_):
            slot_, image = None, 0
        last = pieces[-1] if pieces else None
        if slot_ and last is not None and (last.slot, last.image) == (slot_, image):
            pieces[-1] = Piece(last.first, end - 1, slot_, image)
        else:
            pieces.append(Piece(first, end - 1, slot_, image))
    return pieces


def _shown(slot: Slot) -> int:
    """Return how many images of a slot have their own piece, with the one at its base."""
    return min(slot.images, SHOWN_IMAGES + 1)


def _adjacent(slot: Slot) -> int:
    """Return how many free bits lie right above the slot: so the images next to it leave no gap."""
    count = 0
    while slot.inner_bits + count in slot.free_bits:
        count += 1
    return count


def image_base(slot: Slot, image: int) -> int:
    """Return the first address of an image of a slot."""
    bits = (1 << bit for place, bit in enumerate(slot.free_bits) if image >> place & 1)
    return slot.base ^ sum(bits)


def _images(address_map: AddressMap, slot: Slot) -> list[tuple[int, int]]:
    """Return the ranges (first, end) of a slot's images, those without a gap between them as one."""
    ranges: list[tuple[int, int]] = []
    for first in sorted(image_base(slot, image) for image in range(1, min(slot.images, COUNTED))):
        if address_map.decode(first).slot is not slot:
            continue
        if ranges and ranges[-1][1] == first:
            ranges[-1] = ranges[-1][0], first + slot.size
        else:
            ranges.append((first, first + slot.size))
    return ranges


class _Drawing:
    """The sheet with both bars."""

    def __init__(
        self, address_map: AddressMap, look: Look, bars: _Bars, access: tuple[int, int] | None
    ) -> None:
        self.address_map, self.sheet, self.access = address_map, Sheet(look), access
        self.pieces = pieces_of(address_map)
        self.bars, self.room = bars, look.width - MARGIN / 2 - bars.names
        self.top = self.bottom = 0.0

    def drawn(self) -> str:
        """Return the picture."""
        title = "Address map" if self.access is None else _said(self.address_map, *self.access)
        self.top = y = self.sheet.heading(title, _ABOUT)
        places = []
        for piece in self.pieces:
            tall = self._height(piece)
            places.append((piece, y, tall))
            y += tall
        self.bottom = max(self.top + 300, y)
        self._whole()
        for piece, y, tall in places:
            self._draw(piece, y, tall)
            if piece.slot is not None or self._is_at(piece):
                self._join(piece, y, tall)
        return self.sheet.svg(self.bottom + MARGIN, title, _description(self.pieces))

    def _whole(self) -> None:
        """Draw the left bar, with its addresses at its left."""
        left, wide = self.bars.whole, self.bars.whole_wide
        self.sheet.area(left, self.top, wide, self.bottom - self.top, "grey")
        for quarter in range(5):
            y = self.top + (self.bottom - self.top) * quarter / 4
            address = f"{min(quarter * SPACE // 4, SPACE - 1):#010x}"
            self.sheet.line([(left - 5, y), (left, y)], "grey")
            self.sheet.text(left - 8, y + 4, address, SMALL, mono=True, anchor="end")
        for slot in self.address_map.slots:
            for first, end in _images(self.address_map, slot):
                y, tall = self._to_scale(first, end - first)
                self.sheet.area(left, y, wide, tall, "orange")
        for slot in self.address_map.slots:
            y, tall = self._to_scale(slot.base, slot.size)
            self.sheet.area(left, y, wide, tall, "blue")
        if self.access is not None:
            y, _ = self._to_scale(self.access[1], 4)
            self.sheet.line([(left - 5, y), (left + wide + 5, y)], width=2)

    def _to_scale(self, first: int, size: int) -> tuple[float, float]:
        """Return y and height of a range of addresses in the left bar."""
        whole = self.bottom - self.top
        tall = max(1.5, whole * size / SPACE)
        return min(self.top + whole * first / SPACE, self.bottom - tall), tall

    def _join(self, piece: Piece, y: float, tall: float) -> None:
        """Draw the lines from a piece to its place in the left bar."""
        left, thin = self._to_scale(piece.first, piece.last + 1 - piece.first)
        for there, here in ((left, y), (left + thin, y + tall)):
            line = [(self.bars.whole + self.bars.whole_wide, there), (self.bars.stretched, here)]
            self.sheet.line(line, "grey", 0.8)

    def _is_at(self, piece: Piece) -> bool:
        """Return whether the access that is shown reaches a piece."""
        return self.access is not None and piece.first <= self.access[1] <= piece.last

    def _words(self, piece: Piece) -> list[str]:
        """Return the last lines of words beside a piece."""
        size = size_words(piece.last + 1 - piece.first)
        if piece.slot is None:
            return wrap(_hidden(self.address_map, piece) or f"gap: {size}", self.room, SMALL)
        return wrap(size + _more(piece.slot, piece.image), self.room, SMALL)

    def _height(self, piece: Piece) -> int:
        """Return the pixels that a piece of the right bar takes."""
        return (
            (60 if piece.slot else 34)
            + (LEADING - 2) * (len(self._words(piece)) - 1)
            + (LEADING if self._is_at(piece) else 0)
        )

    def _draw(self, piece: Piece, y: float, tall: float) -> None:
        hidden = "" if piece.slot else _hidden(self.address_map, piece)
        name = "orange" if piece.image or hidden else "blue" if piece.slot else "grey"
        self.sheet.area(self.bars.stretched, y + 1.5, self.bars.stretched_wide, tall - 3, name)
        x, ink = self.bars.names, "ink" if piece.slot else "grey"
        y += 17 + 4
        if piece.slot is not None:
            label = piece.slot.name + (f", image {piece.image:,}" if piece.image else "")
            self.sheet.text(x, y - 3, label, bold=True)
            span = f"{piece.first:#010x}..{piece.last:#010x}"
            self.sheet.text(x, y - 3 + LEADING, span, SMALL, mono=True)
            y += 2 * LEADING - 5
        for line in self._words(piece):
            self.sheet.text(x, y, line, SMALL, name=ink)
            y += LEADING - 2
        if self.access is not None and self._is_at(piece):
            self._arrow(*self.access, y + 2)

    def _arrow(self, number: int, address: int, y: float) -> None:
        """Draw the access, with an arrow into its piece of the right bar."""
        self.sheet.text(self.bars.names, y, f"access {number:,}: {address:#010x}", SMALL, bold=True)
        tip, y = self.bars.stretched + self.bars.stretched_wide / 2, y - 4
        self.sheet.line([(self.bars.names - 4, y), (tip, y)], width=2)
        self.sheet.line([(tip + 7, y - 5), (tip, y), (tip + 7, y + 5)], width=2)


def _said(address_map: AddressMap, number: int, address: int) -> str:
    """Return the title beside an access."""
    found = address_map.decode(address)
    if found.slot is None:
        return f"Access {number:,}: no slot answers at {address:#010x}"
    image = f" in image {found.image:,} of {found.slot.name}" if found.image else ""
    return f"Access {number:,}: {address:#010x} is {found.register}{image}"


def _more(slot: Slot, image: int) -> str:
    if image or slot.images == 1:
        return ""
    return f"; {counted(slot.images - 1, 'image')}: {_bits(slot)} not compared"


def _bits(slot: Slot) -> str:
    bits = show_bits(slot.free_bits)
    return f"bit {bits} is" if len(slot.free_bits) == 1 else f"bits {bits} are"


def _hidden(address_map: AddressMap, piece: Piece) -> str:
    """Return which images lie in a piece of the bar without having their own, "" if none."""
    found, free = [], piece.last + 1 - piece.first
    for slot in address_map.slots:
        if slot.images > COUNTED:
            found.append(f"images of {slot.name}")
            continue
        bases = (image_base(slot, image) for image in range(_shown(slot), slot.images))
        inside = sum(piece.first <= base <= piece.last for base in bases)
        free -= inside * slot.size
        if inside:
            found.append(f"{counted(inside, 'more image')} of {slot.name}")
    return ", ".join(found) + (", and gaps" if found and free > 0 else "")


def _description(pieces: list[Piece]) -> str:
    parts = []
    for piece in pieces:
        span = f"{piece.first:#010x} to {piece.last:#010x}"
        image = f", image {piece.image}" if piece.image else ""
        parts.append(
            f"{span}: {piece.slot.name + image if piece.slot else 'gap or further images'}"
        )
    return "; ".join(parts) + "."
