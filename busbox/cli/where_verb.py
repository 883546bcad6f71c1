"""``busbox where``."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import click

from busbox.basics.errors import InputError, Mistake, join_or, no_file
from busbox.basics.listing import counted
from busbox.basics.paper import Paper
from busbox.cli import completing
from busbox.cli.common import bench_argument, json_option, open_bench, paper, print_json, set_option
from busbox.firmware.c_header import HeaderConstants, read_header
from busbox.map.addresses import number
from busbox.map.registers import Register, show_lanes
from busbox.map.slots import SPACE, AddressMap, Decoded, Slot, show_bits

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
@set_option
@json_option
def command(bench: str, what: tuple[str, ...], values: tuple[str, ...], as_json: bool) -> int:
    """Show what answers at addresses, or at each address of a C header.

    BENCH is a folder with bench.toml, the file, or the name of one that comes with Busbox. The
    constants of a header are checked against the map: what they reach, which are not addresses, and
    which could not be resolved.
    """
    devices = open_bench(bench, values).devices()
    address_map = AddressMap([device.slot for device in devices])
    things = _read(what, address_map)
    if as_json:
        print_json(_object(address_map, things))
        return 0
    page = paper()
    for index, (text, thing) in enumerate(things):
        if index:
            page.line()
        if isinstance(thing, HeaderConstants):
            _header(page, address_map, Path(text), thing)
        else:
            _address(page, address_map, thing)
            page.table(_question(address_map, text, thing))
    page.print()
    return 0


def _read(
    what: tuple[str, ...], address_map: AddressMap
) -> list[tuple[str, int | HeaderConstants]]:
    """Return what each argument is: an address or a header.

    Raises
    ------
    InputError : with every argument that is neither an address nor a header
    """
    things: list[tuple[str, int | HeaderConstants]] = []
    mistakes: list[Mistake] = []
    for text in what:
        try:
            is_header = Path(text).suffix.lower() in _SOURCES
            things.append(
                (text, _constants(Path(text), address_map) if is_header else _parsed(text))
            )
        except InputError as error:
            mistakes += error.mistakes
    if mistakes:
        raise InputError(mistakes)
    return things


def _parsed(text: str) -> int:
    try:
        return number(text, "an address")
    except ValueError as error:
        hint = "" if text[:1].isdigit() else f" (or a C header: a file in {join_or(_SOURCES)})"
        raise InputError.of(f"{error}{hint}", "where") from None


def _suggested(address_map: AddressMap, text: str, address: int) -> int | None:
    """Return the address meant by decimal digits that reach nothing, if 0x was left out."""
    return address_map.without_prefix(address) if text.replace("_", "").isdecimal() else None


def _question(address_map: AddressMap, text: str, address: int) -> Iterator[tuple[str]]:
    suggested = _suggested(address_map, text, address)
    if suggested is not None:
        register = address_map.decode(suggested).register
        yield (f"{text} is decimal; did you mean {suggested:#010x} ({register})?",)


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
        facts.append(("register", f"none: a hole in {slot.name}, which reads 0 and ends with ACK"))
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


def _constants(path: Path, address_map: AddressMap) -> HeaderConstants:
    """Return the constants of a header.

    Raises
    ------
    InputError : it cannot be read
    """
    problem = no_file(path)
    if problem:
        raise InputError.of(problem, key="where")
    try:
        text = path.read_bytes().decode("utf-8-sig", errors="replace")
    except OSError as error:
        raise InputError.of(f"cannot be read: {error.strerror}", str(path)) from None
    return read_header(text, address_map)


def _header(page: Paper, address_map: AddressMap, path: Path, header: HeaderConstants) -> None:
    hits, misses = [], []
    for constant in header.addresses:
        found = address_map.decode(constant.value) if constant.value < SPACE else None
        row = (f"{path.name}:{constant.line}", constant.name, f"{constant.value:#010x}")
        step = f", then every {counted(constant.step, 'byte')}" if constant.step else ""
        if found is None or found.slot is None:
            misses.append((*row, _miss(address_map, constant.value) + step))
        else:
            hits.append((*row, _hit(found) + step))
    page.line((f"{counted(len(hits), 'address', 'addresses')} {_verb(hits)} a slot", "bold"))
    page.table(hits)
    page.title(f"{counted(len(misses), 'address', 'addresses')} {_verb(misses)} no slot")
    page.table(misses)
    if header.others:
        page.title(f"{counted(len(header.others), 'constant')} not used as an address")
        page.table(
            (f"{path.name}:{one.line}", one.name, f"{one.value:#x}") for one in header.others
        )
    if header.unresolved:
        page.title(f"{len(header.unresolved)} could not be resolved")
        page.table(
            (f"{path.name}:{one.line}", one.name, one.text, one.why) for one in header.unresolved
        )


def _verb(rows: Sequence[object]) -> str:
    return "reaches" if len(rows) == 1 else "reach"


def _hit(found: Decoded) -> str:
    lane = f", byte lane {found.lane}" if found.lane else ""
    image = f" (image {found.image})" if found.image else ""
    hole = " (a hole)" if found.place is None else ""
    return f"{found.register}{hole}{lane}{image}"


def _miss(address_map: AddressMap, address: int) -> str:
    suggestion = address_map.suggest(address)
    return f"no slot; {suggestion}" if suggestion else "no slot"


# As one object.


def _object(
    address_map: AddressMap, things: list[tuple[str, int | HeaderConstants]]
) -> dict[str, Any]:
    return {
        "addresses": [
            {**_decoded(address_map, thing), "did_you_mean": _suggested(address_map, text, thing)}
            for text, thing in things
            if not isinstance(thing, HeaderConstants)
        ],
        "headers": [
            _header_object(address_map, text, thing)
            for text, thing in things
            if isinstance(thing, HeaderConstants)
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
        "image": found.image,
        "images": found.slot.images,
        "offset": found.offset,
        "register": None if found.place is None else found.place.name,
        "lane": found.lane,
        "fields": [] if found.place is None else _fields(found.place.register, found.lane),
    }


def _fields(register: Register, lane: int) -> list[dict[str, Any]]:
    return [
        {"name": field.name, "bits": field.bits, "access": field.access or register.access}
        for field in register.fields
        if field.mask & 0xFF << 8 * lane
    ]


def _header_object(address_map: AddressMap, file: str, header: HeaderConstants) -> dict[str, Any]:
    return {
        "file": file,
        "addresses": [
            {"name": one.name, "line": one.line, "step": one.step or None}
            | _decoded(address_map, one.value)
            for one in header.addresses
        ],
        "others": [
            {"name": one.name, "line": one.line, "value": one.value} for one in header.others
        ],
        "unresolved": [
            {"name": one.name, "line": one.line, "text": one.text, "why": one.why}
            for one in header.unresolved
        ],
    }
