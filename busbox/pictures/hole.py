"""An offset at which a device has no register, beside the registers around it.

A bar of blocks, lowest offset at the top as in the map: the register before, the hole, the register
after. An arrow from the left, with the number of the access, points at the hole; the words at the right
say what is where. So an offset that is one register too far is seen at once.
"""

from __future__ import annotations

from busbox.map.registers import Place
from busbox.map.slots import AddressMap, Slot
from busbox.pictures.svg import LEADING, MARGIN, SMALL, Look, Sheet, text_width
from busbox.recording import Recording

_TALL, _BAR, _ARROW, _BESIDE = 44.0, 48.0, 30.0, 12.0


def hole_picture(recording: Recording, access: int, look: Look, address_map: AddressMap) -> str:
    """Return where an access went that reached a slot but no register, as SVG.

    Raises
    ------
    ValueError : there is a register, or no slot
    TooNarrow : a name does not fit
    """
    address = int(recording.accesses.address[access])
    found = address_map.decode(address)
    if found.slot is None or found.place is not None:
        raise ValueError(f"access must reach a slot but no register, not {access}")
    sheet, slot, offset = Sheet(look), found.slot, found.offset & ~3
    title = f"Access {access:,}: {slot.name} has no register at offset {offset:#x}"
    y = sheet.heading(title, f"The registers around {address:#010x}.") + 4
    label = f"access {access:,}"
    bar = MARGIN + text_width(label, bold=True) + _ARROW + _BESIDE
    said = []
    for place_offset, place in around(slot, offset):
        name = f"{slot.name}.{place.name}" if place else "no register"
        where = f"offset {place_offset:#x}, {slot.base + place_offset:#010x}"
        sheet.area(bar, y + 1.5, _BAR, _TALL - 3, "blue" if place else "grey")
        sheet.text(bar + _BAR + _BESIDE, y + 18, name, bold=place is None)
        sheet.text(bar + _BAR + _BESIDE, y + 18 + LEADING, where, SMALL)
        if place is None:
            _arrow(sheet, label, bar, y + _TALL / 2)
        said.append(f"{where}: {name}")
        y += _TALL
    return sheet.svg(y + MARGIN, title, "; ".join(said) + ".")


def around(slot: Slot, offset: int) -> list[tuple[int, Place | None]]:
    """Return (offset, register) of the register before a hole, of the hole, and of the one after."""
    places: list[tuple[int, Place | None]] = sorted(slot.table.places(), key=lambda one: one[0])
    before = [one for one in places if one[0] < offset]
    after = [one for one in places if one[0] > offset]
    return [*before[-1:], (offset, None), *after[:1]]


def _arrow(sheet: Sheet, label: str, tip: float, y: float) -> None:
    sheet.text(MARGIN, y + 4, label, bold=True)
    tip -= 3
    sheet.line([(tip - _ARROW, y), (tip, y)], width=1.6)
    sheet.line([(tip - 6, y - 5), (tip, y), (tip - 6, y + 5)], width=1.6)
