"""How an address is decoded, bit by bit.

The bits of the address stand on top, in groups of four as its digits; below, a row a slot says for each
bit what that slot's decoder makes of it, and a line of words says what follows. The winner's name
stands at the end of its row, where the eye arrives after reading the bits; on a narrow sheet all names
stand above their rows.
"""

from __future__ import annotations

from busbox.map.bits import bits_in, show_bits
from busbox.map.slots import AddressMap, Slot
from busbox.pictures.address_map import map_of
from busbox.pictures.bits import TALL, BitGrid
from busbox.pictures.svg import LEADING, MARGIN, SMALL, Look, Sheet
from busbox.system.hardware import SystemHardware

_LEGEND = (
    ("blue", "compared and equal"),
    ("orange", "compared and different"),
    ("grey", "not compared"),
    ("purple", "inside the slot"),
)


def decode_picture(mapped: AddressMap | SystemHardware, address: int, look: Look) -> str:
    """Return how each slot's decoder compares an address, as SVG.

    Raises
    ------
    TooNarrow : a name does not fit
    """
    address_map = map_of(mapped)
    sheet = Sheet(look)
    names = [slot.name for slot in address_map.slots]
    grid = BitGrid(sheet, ["address", *names], names or [""])
    found = address_map.decode(address)
    answer = f"{found.register} answers" if found.slot else "no slot answers"
    title = f"Decoding of {address:#010x}: {answer}"
    image = f" It is image {found.image:,} of the slot." if found.image else ""
    y = sheet.heading(title, f"Each row is a slot; digits are the bits of its base.{image}") + 8
    y = _address(sheet, grid, address, y)
    for slot in address_map.slots:
        y = _row(sheet, grid, slot, address, y, slot is found.slot, address_map)
    y = sheet.legend(y + 4, _LEGEND)
    verdicts = (f"{slot.name}: {_verdict(slot, address, found.slot)}" for slot in address_map.slots)
    return sheet.svg(y + MARGIN - 6, title, "; ".join(verdicts) or "There is no slot.")


def _address(sheet: Sheet, grid: BitGrid, address: int, y: float) -> float:
    y = grid.numbers(y)
    y = grid.row(y, "address")
    grid.word(y, address)
    sheet.line([(grid.left, y + TALL + 2), (grid.right, y + TALL + 2)])
    return y + TALL + 14


def _row(
    sheet: Sheet, grid: BitGrid, slot: Slot, address: int, y: float, wins: bool, all_: AddressMap
) -> float:
    y = grid.row(y, slot.name, slot.name if wins else "", bold=wins)
    if slot.decode == "range":
        inside = slot.answers(address)
        sheet.area(grid.left, y, grid.right - grid.left, TALL, "blue" if inside else "orange")
    else:
        for bit in range(31, -1, -1):
            name = cell_colour(slot, address, bit)
            grid.area(bit, y, name)
            if name in ("blue", "orange"):
                ink = "paper" if name == "blue" else "ink"
                grid.digit(bit, y, slot.base >> bit & 1, ink, name == "orange")
    words = _verdict(slot, address, all_.decode(address).slot)
    below = sheet.words(grid.left, y + TALL + 13, words, grid.right - grid.left, SMALL)
    return below - LEADING + 20


def cell_colour(slot: Slot, address: int, bit: int) -> str:
    """Return the colour of a bit in the row of a slot that compares bits."""
    if slot.terms[0].mask >> bit & 1:
        return "orange" if (slot.base ^ address) >> bit & 1 else "blue"
    return "purple" if bit < slot.inner_bits else "grey"


def _verdict(slot: Slot, address: int, winner: Slot | None) -> str:
    """Return in words what a slot's decoder says."""
    if slot is winner:
        return f"answers, at offset {slot.offset(address):#x}"
    if slot.answers(address):
        assert winner is not None
        return f"would answer, but gives way to {winner.name}"
    if slot.decode == "range":
        where = "below" if address < slot.base else "above"
        return (
            f"{where} {slot.base:#010x}..{slot.base + slot.size - 1:#010x}, all that it answers at"
        )
    wrong = bits_in((slot.base ^ address) & slot.terms[0].mask)
    return f"bit {wrong[0]} differs" if len(wrong) == 1 else f"bits {show_bits(wrong)} differ"
