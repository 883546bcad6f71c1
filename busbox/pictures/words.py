"""Words bit by bit, one below the other: what was read beside what was recorded or waited for.

Rows of 32 bits in groups of four, the expected word above the one that was read, so that a bit is
compared by a look down; bits that differ are hatched in both. Bits that do not count, as their lane is
not selected or a poll leaves them out, are outlined. Fields that differ are named in words below.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from busbox.map.bits import bits_in, show_bits
from busbox.map.registers import Field, lane_mask
from busbox.map.slots import AddressMap
from busbox.pictures.bits import TALL, BitGrid
from busbox.pictures.svg import LEADING, MARGIN, SMALL, Look, Sheet
from busbox.recording import Recording
from busbox.recording.parts import PollGivenUp


@dataclass(frozen=True)
class WordRow:
    """A word of a picture.

    Attributes
    ----------
    name : what it is, such as ``recorded``
    word : 32 bits
    colours : the palette's name for the cell of each bit, bit 0 first
    """

    name: str
    word: int
    colours: Sequence[str]


def words_picture(
    recording: Recording, access: int, look: Look, address_map: AddressMap | None = None
) -> str:
    """Return the word that an access read beside the recorded one, as SVG.

    Raises
    ------
    ValueError : no word was recorded for this access
    TooNarrow : it does not fit
    """
    accesses = recording.accesses
    expected, read = int(accesses.expected[access]), int(accesses.data[access])
    if expected < 0:
        raise ValueError(f"access must be a read with a recorded word, not {access}")
    selected = lane_mask(int(accesses.lanes[access]))
    rows = _compared(("recorded", expected), ("read", read), selected)
    title = f"Access {access:,}: read of {_name(recording, access, address_map)}"
    notes = _fields(recording, access, address_map, rows, selected)
    return _drawn(title, _differing(expected ^ read, selected), rows, notes, look)


def poll_picture(
    recording: Recording, poll: PollGivenUp, look: Look, address_map: AddressMap | None = None
) -> str:
    """Return the last word that a poll read beside the one that it waited for, as SVG.

    Raises
    ------
    ValueError : the poll waited for a number that is large enough, not for bits
    TooNarrow : it does not fit
    """
    if poll.at_least:
        raise ValueError("poll must wait for bits, not for a number that is large enough")
    access, read = poll.access, int(recording.accesses.data[poll.access])
    rows = _compared(("waited for", poll.value), ("last read", read), poll.mask)
    title = f"Access {access:,}: last read of {_name(recording, access, address_map)}"
    notes = _fields(recording, access, address_map, rows, poll.mask)
    return _drawn(title, _differing(poll.value ^ read, poll.mask), rows, notes, look)


def written_picture(recording: Recording, access: int, look: Look, address_map: AddressMap) -> str:
    """Return the word that an access wrote, and which of its bits the register has, as SVG.

    Raises
    ------
    ValueError : there is no register at the address
    TooNarrow : it does not fit
    """
    accesses = recording.accesses
    place = address_map.decode(int(accesses.address[access])).place
    if place is None:
        raise ValueError(f"access must reach a register, not {access}")
    word, exists = int(accesses.data[access]), place.register.mask()
    ones = word & lane_mask(int(accesses.lanes[access])) & ~exists
    colours = ["blue" if exists >> bit & 1 else "orange" if ones >> bit & 1 else "grey"
               for bit in range(32)]  # fmt: skip
    fields = ", ".join(f"{field.name} {field.bits}" for field in place.register.fields)
    about = f"Ones in bits that do not exist: {show_bits(bits_in(ones))}." if ones else ""
    title = f"Access {access:,}: write to {_name(recording, access, address_map)}"
    legend = [
        ("blue", "exists"),
        ("orange", "does not exist, written 1"),
        ("grey", "does not exist"),
    ]
    rows = [WordRow("written", word, colours)]
    return _drawn(title, about, rows, [f"The register has {fields}."], look, legend)


def _compared(one: tuple[str, int], other: tuple[str, int], mask: int) -> list[WordRow]:
    wrong = (one[1] ^ other[1]) & mask
    colours = ["orange" if wrong >> bit & 1 else "blue" if mask >> bit & 1 else "grey"
               for bit in range(32)]  # fmt: skip
    return [WordRow(*one, colours), WordRow(*other, colours)]


def _differing(difference: int, mask: int) -> str:
    wrong = bits_in(difference & mask)
    return f"Bits that differ: {show_bits(wrong)}." if wrong else "No bit differs."


def _name(recording: Recording, access: int, address_map: AddressMap | None) -> str:
    address = int(recording.accesses.address[access])
    return (address_map.decode(address).register if address_map else "") or f"{address:#010x}"


def _fields(
    recording: Recording, access: int, address_map: AddressMap | None, rows: Sequence[WordRow],
    mask: int,
) -> list[str]:  # fmt: skip
    """Return a sentence for each field of the register that differs in two words."""
    address = int(recording.accesses.address[access])
    place = address_map.decode(address).place if address_map else None
    one, other = rows
    notes = []
    for field in place.register.fields if place else ():
        if (one.word ^ other.word) & mask & field.mask:
            bit = "bit" if field.high == field.low else "bits"
            values = ", ".join(f"{row.name} {_value(field, row.word)}" for row in rows)
            notes.append(f"{field.name}, {bit} {field.bits}: {values}.")
    return notes


def _value(field: Field, word: int) -> str:
    value = (word & field.mask) >> field.low
    return f"{value:#x}" if value > 9 else str(value)


def _drawn(
    title: str, about: str, rows: Sequence[WordRow], notes: Iterable[str], look: Look,
    legend: Iterable[tuple[str, str]] = (
        ("blue", "equal"), ("orange", "different"), ("grey", "not compared"),
    ),
) -> str:  # fmt: skip
    """Return words bit by bit, with sentences below."""
    sheet, notes = Sheet(look), list(notes)
    grid = BitGrid(sheet, [row.name for row in rows], ["0x00000000"])
    y = grid.numbers(sheet.heading(title, about) + 8)
    for row in rows:
        y = grid.row(y, row.name, f"{row.word:#010x}", number=True)
        for bit, name in enumerate(row.colours):
            grid.area(bit, y, name)
            ink = "paper" if name == "blue" else "ink"
            grid.digit(bit, y, row.word >> bit & 1, ink, name == "orange")
        y += TALL + 6
    for note in notes:
        y = sheet.words(grid.left, y + 11, note, sheet.width - grid.left - MARGIN, SMALL) - 11
    used = {name for row in rows for name in row.colours}
    y = sheet.legend(y + LEADING - 8, [one for one in legend if one[0] in used])
    said = "; ".join(f"{row.name} {row.word:#010x}" for row in rows)
    return sheet.svg(y + MARGIN - 6, title, " ".join([f"{said}.", about, *notes]).strip())
