"""The picture of a task, in plain characters: a map, an address bit by bit, or one access."""

from __future__ import annotations

from collections.abc import Mapping

from busbox.basics.listing import counted
from busbox.basics.paper import Paper
from busbox.bus.transfers import ACK, ERR, WATCHDOG
from busbox.cli.map_drawing import write_drawing
from busbox.lessons.declaring import Picture
from busbox.lessons.expressions import evaluate, parse
from busbox.lessons.playing import run, slot_table
from busbox.lessons.steps import parse_steps, played
from busbox.lessons.task_facts import map_of
from busbox.map.bits import bits_in, show_bits
from busbox.map.slots import AddressMap, Slot
from busbox.recording import Recording

_HEAD = "31   27   23   19   15   11   7    3"


def write_picture(page: Paper, picture: Picture, numbers: Mapping[str, int]) -> None:
    """Write a picture."""
    tables = [slot_table(table, numbers) for table in picture.slots]
    address_map = map_of(picture, numbers)
    if picture.kind == "map":
        write_drawing(address_map, page)
    elif picture.kind == "decode":
        write_decoding(page, address_map, evaluate(parse(picture.address), numbers))
    else:
        steps = list(played(parse_steps(picture.step), numbers))
        write_access(page, run(tables, {}, steps).recording)


def decoding_rows(address_map: AddressMap, address: int) -> list[tuple[str, str]]:
    """Return the bits of an address, and what each slot's decoder makes of them, 32 signs a row."""
    rows = [("address", f"{address:032b}")]
    for slot in address_map.slots:
        rows.append((slot.name, "".join(_cell(slot, address, bit) for bit in range(31, -1, -1))))
    return rows


def write_decoding(page: Paper, address_map: AddressMap, address: int) -> None:
    """Write what each slot's decoder makes of the bits of an address."""
    page.title(f"Decoding of {address:#010x}, bit by bit")
    winner = address_map.decode(address).slot
    words = ["", *(_word(slot, address, winner) for slot in address_map.slots)]
    rows = [("bit", _HEAD, "")]
    for (name, cells), word in zip(decoding_rows(address_map, address), words, strict=True):
        rows.append((name, _in_fours(cells), word))
    page.table(rows)
    page.line()
    page.line("  0 1  compared and equal, a bit of the base    x  compared and different")
    page.line("  o    inside the slot, not compared            .  neither of the two")


def _in_fours(cells: str) -> str:
    return " ".join(cells[at : at + 4] for at in range(0, 32, 4))


def _cell(slot: Slot, address: int, bit: int) -> str:
    if not slot.terms[0].mask >> bit & 1:
        return "o" if bit < slot.inner_bits else "."
    differs = (slot.base ^ address) >> bit & 1
    return "x" if differs else str(slot.base >> bit & 1)


def _word(slot: Slot, address: int, winner: Slot | None) -> str:
    if slot is winner:
        return "answers"
    if slot.answers(address):
        return f"gives way to {winner.name}" if winner else ""
    wrong = bits_in((slot.base ^ address) & slot.terms[0].mask)
    return f"bit {wrong[0]} differs" if len(wrong) == 1 else f"bits {show_bits(wrong)} differ"


def write_access(page: Paper, recording: Recording) -> None:
    """Write the signals of the accesses of a short run, one column per cycle."""
    accesses = recording.accesses
    cycles = range(int(accesses.end[-1]) + 2)
    up = {}
    for access in range(len(accesses)):
        for cycle in range(int(accesses.start[access]), int(accesses.end[access]) + 1):
            up[cycle] = access
    page.title("An example on the bus, one column per cycle")
    ends = {int(end): kind for end, kind in zip(accesses.end, accesses.terminator, strict=True)}
    rows = [
        ("cycle", *cycles),
        ("CYC, STB", *("#" if cycle in up else "." for cycle in cycles)),
        ("WE", *("#" if cycle in up and accesses.write[up[cycle]] else "." for cycle in cycles)),
        ("ACK", *("#" if ends.get(cycle) == ACK else "." for cycle in cycles)),
        ("ERR", *("#" if ends.get(cycle) in (ERR, WATCHDOG) else "." for cycle in cycles)),
    ]
    page.table(rows, numbers=range(1, len(cycles) + 1))
    page.line()
    page.line("  # high    . low")
    for access in range(len(accesses)):
        kind, word = ("write", "DATA") if accesses.write[access] else ("read", "DATA back")
        used = counted(int(accesses.end[access]) - int(accesses.start[access]) + 1, "cycle")
        page.line(
            f"  {kind}: ADR {accesses.address[access]:#010x}, SEL {accesses.lanes[access]:04b}, "
            f"{word} {accesses.data[access]:#010x}; {used}",
            hang=2,
        )
