"""An address map as a drawing of text: a bar from address 0 upwards, with slots, images and gaps.

Most maps are a few kibibytes in four gibibytes: to scale, a slot would be thinner than any line of
text. So what is larger is only higher, in three steps, and its size stands beside it.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

from busbox.basics.listing import counted
from busbox.basics.paper import Paper
from busbox.map.slots import AddressMap, Slot

#: Parts that are drawn, at most; a map with more has many images, and its list says as much.
MOST = 40
#: Images that are looked at, at most.
MOST_IMAGES = 1 << 14
#: Sizes from which a part is two and three lines high.
HIGHER = (1 << 16, 1 << 28)
#: How many characters wide the bar is: a page of 40 columns has room for the words beside it.
BAR = 2
_UNITS = (("GiB", 1 << 30), ("MiB", 1 << 20), ("KiB", 1 << 10))


class Part(NamedTuple):
    """A run of addresses: of one slot, of images of one slot, or of none."""

    first: int
    last: int
    slot: Slot | None
    images: int = 0


def write_drawing(address_map: AddressMap, paper: Paper) -> None:
    """Write the drawing; a sentence in its place where it would not be exact."""
    paper.title("Address space from 0 upwards (larger parts are higher; not to scale)")
    if address_map.overlaps() or any(slot.yields_to for slot in address_map.slots):
        paper.line("  not drawn: slots overlap")
        return
    many = sum(slot.images for slot in address_map.slots) > MOST_IMAGES
    parts = [] if many else list(_parts(address_map))
    if many or len(parts) > MOST:
        paper.line(f"  not drawn: it has more than {MOST} parts, most of them images")
        return
    solid, hatched = ("\u2588", "\u2592") if paper.blocks else ("#", "/")
    rows: list[tuple[object, ...]] = []
    for part in parts:
        letter = " " if part.slot is None else hatched if part.images else solid
        style = "bold" if part.slot is not None else ""
        bar = [("|", ""), (letter * BAR, style), ("|", "")]
        rows.append((f"{part.first:#010x}", bar, _text(part)))
        rows += [("", bar, "")] * sum(part.last - part.first + 1 >= size for size in HIGHER)
    paper.table(rows)


def _text(part: Part) -> str:
    size = _size(part.last - part.first + 1)
    if part.slot is None:
        return f"{size}, nothing answers"
    if not part.images:
        return f"{part.slot.name}, {size}"
    return f"{part.slot.name}, {size}: {counted(part.images, 'image')}"


def _size(count: int) -> str:
    """Return a size in the largest unit that divides it."""
    for unit, size in _UNITS:
        if not count % size:
            return f"{count // size:,} {unit}"
    return counted(count, "byte")


def _parts(address_map: AddressMap) -> Iterator[Part]:
    """Yield what the bar consists of; images of a slot that follow each other are one part.

    It ends early where there are more than are drawn.
    """
    runs, complete = address_map.runs(MOST + 1)
    images: Part | None = None
    for part in (
        part for first, last, taken in runs for part in _of(first, last, taken, address_map)
    ):
        if images is not None and part.images and part.slot is images.slot:
            images = images._replace(last=part.last, images=images.images + 1)
            continue
        if images is not None:
            yield images
        images = part if part.images else None
        if images is None:
            yield part
    if images is not None:
        yield images
    if not complete:
        yield from [Part(0, 0, None)] * (MOST + 1)


def _of(first: int, last: int, taken: bool, address_map: AddressMap) -> Iterator[Part]:
    """Yield the parts of a run of addresses at which something answers, or nothing does."""
    if not taken:
        yield Part(first, last, None)
        return
    at = first
    while at <= last:
        slot = address_map.decode(at).slot
        assert slot is not None
        end = min(last, at - slot.offset(at) + slot.size - 1)
        yield Part(at, end, slot, int(at - slot.offset(at) != slot.base))
        at = end + 1
