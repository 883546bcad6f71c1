"""``busbox where``."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import click

from busbox.basics.errors import InputError, Mistake, join_and, join_or
from busbox.basics.paper import Paper
from busbox.cli import completing
from busbox.cli.common import bench_argument, json_option, open_bench, paper, print_json, set_option
from busbox.cli.where_header import CheckedHeader, check_header, header_object, show_header
from busbox.map.addresses import typed_number
from busbox.map.bits import show_bits
from busbox.map.registers import Register, show_lanes
from busbox.map.shared import rivals
from busbox.map.slots import SPACE, AddressMap, Decoded, Slot

_SOURCES = (".h", ".c", ".hh", ".hpp", ".inc")


@click.command("where")
@bench_argument
@click.argument(
    "what",
    metavar="ADDRESS|FILE.h...",
    nargs=-1,
    required=True,
    shell_complete=completing.addresses,
)
@click.option(
    "--strict",
    is_flag=True,
    help="End with exit code 1 if an address reaches no register, no slot, or something other than its "
    "name suggests.",
)
@set_option
@json_option
def command(
    bench: str, what: tuple[str, ...], strict: bool, values: tuple[str, ...], as_json: bool
) -> int:
    """Show what answers at addresses, or at each address of a C header.

    BENCH is a folder with bench.toml, the file, or the name of one that comes with Busbox. The
    constants of a header are checked against the map: what they reach, whether that is what their
    names say, which are not addresses, and which could not be resolved.
    """
    devices = open_bench(bench, values).devices()
    address_map = AddressMap([device.slot for device in devices])
    things = _read(what, address_map, {device.name: device.kind for device in devices})
    has_mistakes = any(_has_mistakes(address_map, thing) for _, thing in things)
    if as_json:
        print_json(_object(address_map, things))
    else:
        _show(address_map, things)
    return int(strict and has_mistakes)


def _has_mistakes(address_map: AddressMap, thing: int | CheckedHeader) -> bool:
    """Return whether an address reaches no register, or a header has mistakes."""
    if isinstance(thing, CheckedHeader):
        return thing.has_mistakes
    return address_map.decode(thing).place is None


def _show(address_map: AddressMap, things: list[tuple[str, int | CheckedHeader]]) -> None:
    page = paper()
    for index, (_, thing) in enumerate(things):
        if index:
            page.line()
        if isinstance(thing, CheckedHeader):
            show_header(page, address_map, thing)
        else:
            _address(page, address_map, thing)
    page.print()


def _read(
    what: tuple[str, ...], address_map: AddressMap, kinds: Mapping[str, str]
) -> list[tuple[str, int | CheckedHeader]]:
    """Return what each argument is: an address or a header.

    Raises
    ------
    InputError : with every argument that is neither an address nor a header
    """
    things: list[tuple[str, int | CheckedHeader]] = []
    mistakes: list[Mistake] = []
    thing: int | CheckedHeader
    for text in what:
        try:
            is_header = Path(text).suffix.lower() in _SOURCES
            thing = check_header(Path(text), address_map, kinds) if is_header else _parsed(text)
            things.append((text, thing))
        except InputError as error:
            mistakes += error.mistakes
    if mistakes:
        raise InputError(mistakes)
    return things


def _parsed(text: str) -> int:
    try:
        return typed_number(text)
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
    page.table(list(_facts(address_map, found, found.slot)))


def _facts(address_map: AddressMap, found: Decoded, slot: Slot) -> list[tuple[str, str]]:
    facts = [
        ("slot", f"{slot.name} at {slot.base:#010x}, {slot.size:#x} bytes"),
        ("decoding", slot.how),
        *_who_wins(address_map, found, slot),
        ("image", _image(found, slot)),
        ("offset", f"{found.offset:#x}"),
    ]
    place = found.place
    if place is None:
        facts.append(("register", f"none: a hole in {slot.name}, which reads 0 and ends with ACK"))
    else:
        register = place.register
        facts.append(("register", f"{slot.name}.{place.name} ({register.access}): {register.text}"))
    lane = found.lane
    facts.append(
        ("byte lane", f"{lane}: SEL({lane}), data bits {8 * lane + 7}..{8 * lane}, "
                      f"lanes {show_lanes(1 << lane)}{_halfword(lane)}")
    )  # fmt: skip
    if place is not None:
        for field in place.register.fields:
            if field.mask & 0xFF << 8 * lane:
                access = field.access or place.register.access
                text = f": {field.text}" if field.text else ""
                facts.append(("field", f"{field.name}, bits {field.bits} ({access}){text}"))
    return facts


def _who_wins(address_map: AddressMap, found: Decoded, slot: Slot) -> Iterator[tuple[str, str]]:
    """Yield who would answer without the slot that wins."""
    others = [rival.name for rival in rivals(address_map, found.address)]
    if others:
        verb = "decodes" if len(others) == 1 else "decode"
        way = "gives" if len(others) == 1 else "give"
        yield (
            "who wins",
            f"{slot.name}: {join_and(others)} {verb} this address too, and {way} way to {slot.name}",
        )


def _image(found: Decoded, slot: Slot) -> str:
    if slot.images == 1:
        return "none: only one address range"
    which = "the one at the base" if found.image == 0 else f"begins at {_start(found):#010x}"
    return (
        f"{found.image} of {slot.images:,}, counted from 0 ({which}); "
        f"bits {show_bits(slot.free_bits)} are not compared"
    )


def _halfword(lane: int) -> str:
    """Return the lanes of a halfword that begins at a byte, "" where none does."""
    if lane % 2:
        return ""
    bits = f"{8 * lane + 15}..{8 * lane}"
    return f"; of a halfword: data bits {bits}, lanes {show_lanes(0b11 << lane)}"


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


# As one object.


def _object(
    address_map: AddressMap, things: list[tuple[str, int | CheckedHeader]]
) -> dict[str, Any]:
    return {
        "addresses": [
            _decoded(address_map, thing)
            for _, thing in things
            if not isinstance(thing, CheckedHeader)
        ],
        "headers": [
            header_object(address_map, text, thing, _decoded)
            for text, thing in things
            if isinstance(thing, CheckedHeader)
        ],
    }


def _decoded(address_map: AddressMap, address: int) -> dict[str, Any]:
    """Return what answers at an address; what does not exist is null."""
    found = address_map.decode(address) if address < SPACE else None
    if found is None or found.slot is None:
        nearest = address_map.nearest(address)
        return {
            "address": address,
            "slot": None,
            "nearest": None if nearest is None else nearest.name,
        }
    return {
        "address": address,
        "slot": found.slot.name,
        "base": found.slot.base,
        "size": found.slot.size,
        "decoded_by": found.slot.how,
        "wins_over": [slot.name for slot in rivals(address_map, address)],
        "image": found.image,
        "images": found.slot.images,
        "offset": found.offset,
        "register": None if found.place is None else found.place.name,
        "lane": found.lane,
        "byte_lanes": show_lanes(1 << found.lane),
        "halfword_lanes": None if found.lane % 2 else show_lanes(0b11 << found.lane),
        "fields": [] if found.place is None else _fields(found.place.register, found.lane),
    }


def _fields(register: Register, lane: int) -> list[dict[str, Any]]:
    return [
        {"name": field.name, "bits": field.bits, "access": field.access or register.access}
        for field in register.fields
        if field.mask & 0xFF << 8 * lane
    ]
