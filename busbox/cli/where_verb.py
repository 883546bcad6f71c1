"""``busbox where``."""

from __future__ import annotations

from pathlib import Path

import click

from busbox.basics.errors import InputError, join_or, no_file
from busbox.basics.paper import Paper
from busbox.cli.common import open_bench, paper, set_option
from busbox.firmware.c_header import read_header
from busbox.map.addresses import number
from busbox.map.registers import show_lanes
from busbox.map.slots import SPACE, AddressMap, Decoded, Slot, show_bits

_SOURCES = (".h", ".c", ".hh", ".hpp", ".inc")


@click.command("where")
@click.argument("bench")
@click.argument("what", metavar="ADDRESS|FILE.h")
@set_option
def command(bench: str, what: str, values: tuple[str, ...]) -> int:
    """Say what answers at an address, or at every address of a C header.

    BENCH is a folder with bench.toml, the file, or the name of one that comes with Busbox. With a
    header, its constants are checked against the map: what they reach, what is no address, and what
    could not be resolved.
    """
    devices = open_bench(bench, values).devices()
    address_map = AddressMap([device.slot for device in devices])
    page = paper()
    if Path(what).suffix.lower() in _SOURCES:
        _header(page, address_map, Path(what))
    else:
        _address(page, address_map, _parsed(what))
    page.print()
    return 0


def _parsed(text: str) -> int:
    try:
        return number(text, "an address")
    except ValueError as error:
        hint = "" if text[:1].isdigit() else f" (or a C header: a file in {join_or(_SOURCES)})"
        raise InputError.of(f"{error}{hint}", "where") from None


# One address.


def _address(page: Paper, address_map: AddressMap, address: int) -> None:
    found = address_map.decode(address)
    page.line((f"{address:#010x}", "bold"))
    if found.slot is None:
        _nothing(page, address_map, address)
        return
    page.table(list(_facts(found, found.slot)))


def _facts(found: Decoded, slot: Slot) -> list[tuple[str, str]]:
    facts = [
        ("slot", f"{slot.name} at {slot.base:#010x}, {slot.size:#x} bytes"),
        ("decoding", slot.how),
        ("image", _image(found, slot)),
        ("offset", f"{found.offset:#x}"),
    ]
    place = found.place
    if place is None:
        facts.append(("register", f"none: a hole in {slot.name}; it reads 0 and is acknowledged"))
    else:
        register = place.register
        facts.append(("register", f"{slot.name}.{place.name} ({register.access}): {register.text}"))
    lane = found.lane
    facts.append(
        ("byte lane", f"{lane}: SEL({lane}), data bits {8 * lane + 7}..{8 * lane}, "
                      f"lanes {show_lanes(1 << lane)}")
    )  # fmt: skip
    if place is not None:
        for field in place.register.fields:
            if field.mask & 0xFF << 8 * lane:
                access = field.access or place.register.access
                text = f": {field.text}" if field.text else ""
                facts.append(("field", f"{field.name}, bits {field.bits} ({access}){text}"))
    return facts


def _image(found: Decoded, slot: Slot) -> str:
    if slot.images == 1:
        return "none: only one address range"
    which = "the one at the base" if found.image == 0 else f"begins at {_start(found):#010x}"
    return (
        f"{found.image} of {slot.images:,} ({which}); "
        f"bits {show_bits(slot.free_bits)} are not compared"
    )


def _start(found: Decoded) -> int:
    return found.address - found.offset


def _nothing(page: Paper, address_map: AddressMap, address: int) -> None:
    page.line("  no slot answers:")
    page.table(((slot.name, _why_not(slot, address)) for slot in address_map.slots), indent=4)
    suggestion = address_map.suggest(address)
    if suggestion:
        page.line(f"  {suggestion}")


def _why_not(slot: Slot, address: int) -> str:
    if slot.decode == "range":
        return f"answers from {slot.base:#010x} to {slot.base + slot.size - 1:#010x} only"
    term = slot.terms[0]
    wrong = [bit for bit in range(32) if (address ^ term.value) & term.mask & 1 << bit]
    bits, differ = ("bit", "differs") if len(wrong) == 1 else ("bits", "differ")
    return f"{slot.how}; {bits} {show_bits(wrong)} of the address {differ} from {slot.base:#010x}"


# A header.


def _header(page: Paper, address_map: AddressMap, path: Path) -> None:
    problem = no_file(path)
    if problem:
        raise InputError.of(problem, key="where")
    try:
        text = path.read_bytes().decode("utf-8-sig", errors="replace")
    except OSError as error:
        raise InputError.of(f"cannot be read: {error.strerror}", str(path)) from None
    header = read_header(text, address_map)
    hits, misses = [], []
    for constant in header.addresses:
        found = address_map.decode(constant.value) if constant.value < SPACE else None
        row = (f"{path.name}:{constant.line}", constant.name, f"{constant.value:#010x}")
        step = f", then every {constant.step} bytes" if constant.step else ""
        if found is None or found.slot is None:
            misses.append((*row, _miss(address_map, constant.value) + step))
        else:
            hits.append((*row, _hit(found) + step))
    page.line((f"{len(hits)} addresses reach a slot", "bold"))
    page.table(hits)
    page.title(f"{len(misses)} addresses reach nothing")
    page.table(misses)
    if header.others:
        page.title(f"{len(header.others)} constants are used as no address")
        page.table(
            (f"{path.name}:{one.line}", one.name, f"{one.value:#x}") for one in header.others
        )
    if header.unresolved:
        page.title(f"{len(header.unresolved)} could not be resolved")
        page.table(
            (f"{path.name}:{one.line}", one.name, one.text, one.why) for one in header.unresolved
        )


def _hit(found: Decoded) -> str:
    lane = f", byte lane {found.lane}" if found.lane else ""
    image = f" (image {found.image})" if found.image else ""
    hole = " (a hole)" if found.place is None else ""
    return f"{found.register}{hole}{lane}{image}"


def _miss(address_map: AddressMap, address: int) -> str:
    suggestion = address_map.suggest(address)
    return f"no slot; {suggestion}" if suggestion else "no slot"
