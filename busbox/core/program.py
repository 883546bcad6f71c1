"""The program that a core executes: what a file loads, and where it begins."""

from __future__ import annotations

import io
import json
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from busbox.basics.cache import cached, read_key
from busbox.basics.errors import InputError, format_value, no_file
from busbox.basics.files import read_file
from busbox.basics.limits import HEX_IMAGE, IMAGE
from busbox.firmware.image_file import ELF, check_segments, check_symbols, hex_pieces

if TYPE_CHECKING:
    from elftools.elf.elffile import ELFFile

#: Suffixes of files that hold a program.
HEX, BINARY, LINKED = (".hex", ".ihex"), (".bin",), (".elf",)
#: EM_RISCV. Source: RISC-V ELF psABI specification, file header.
_RISCV = "EM_RISCV"
#: How far behind a segment that is written to a symbol may stand that shows where its memory ends.
FAR = 16 << 20


@dataclass(frozen=True)
class Area:
    """Addresses that a program uses.

    Attributes
    ----------
    start, end : the first address, and the first behind it
    writable : whether the program writes there
    """

    start: int
    end: int
    writable: bool


@dataclass(frozen=True)
class Program:
    """What a file holds.

    Attributes
    ----------
    path : the file
    pieces : (address, bytes) that it loads
    start : address of the first instruction
    areas : what an ELF file says of its segments; for other files, what they load
    debug : whether it has debug information
    """

    path: str
    pieces: tuple[tuple[int, bytes], ...]
    start: int
    areas: tuple[Area, ...]
    debug: bool = False


def is_program(path: Path) -> bool:
    """Return whether a file holds a program: by its suffix, or its first bytes."""
    if path.suffix.lower() in (*HEX, *BINARY, *LINKED):
        return True
    try:
        if not path.is_file():
            return False
        with path.open("rb") as file:
            return file.read(4) == ELF
    except (OSError, ValueError):
        return False


def read_program(path: Path, name: str, at: int | None) -> Program:
    """Return the program in a file.

    Parameters
    ----------
    name : how messages call the file
    at : where a plain binary is loaded; None for other files

    Raises
    ------
    InputError : it cannot be read, is no program, or none of a 32-bit RISC-V
    """
    missing = no_file(path)
    if missing:
        raise InputError.of(missing.replace(repr(str(path)), repr(name), 1))
    suffix = path.suffix.lower()
    contents = read_file(path, HEX_IMAGE if suffix in HEX else IMAGE, name)
    if at is not None and (suffix in HEX or contents.startswith(ELF)):
        raise InputError.of("the addresses are in the file: leave out at in [traffic]", name)
    if contents.startswith(ELF) or suffix in LINKED:
        return _linked(contents, name)
    if suffix in HEX:
        return _plain(name, *hex_pieces(contents, name))
    if at is None:
        raise InputError.of(
            "a plain binary needs the address where it is loaded: at in [traffic]", name
        )
    return _plain(name, [(at, contents)], None)


def _plain(name: str, pieces: list[tuple[int, bytes]], start: int | None) -> Program:
    pieces = [piece for piece in pieces if piece[1]]
    if not pieces:
        raise InputError.of("must hold at least one byte; it holds none", name)
    if any(address + len(data) > 1 << 32 for address, data in pieces):
        raise InputError.of("must lie below address 0x100000000", name)
    areas = tuple(Area(address, address + len(data), True) for address, data in pieces)
    return Program(name, tuple(pieces), pieces[0][0] if start is None else start, areas)


def _linked(contents: bytes, name: str) -> Program:
    """Return the program in an ELF file: as it was kept, or read now and kept."""
    if not contents.startswith(ELF):
        found = contents[:4].hex(" ") or "nothing"
        text = f"must be an ELF file, which begins with the bytes 7f 45 4c 46, not {found}"
        raise InputError.of(text, name)
    import elftools  # only its version: to import all of it takes longer than to use what was kept

    key = read_key("program", contents, (elftools.__version__,), __file__)
    return _unpacked(name, cached(key, lambda: _packed(_read_linked(contents, name))))


def _packed(program: Program) -> bytes:
    pieces = [(address, data.hex()) for address, data in program.pieces]
    areas = [(area.start, area.end, area.writable) for area in program.areas]
    return json.dumps([pieces, program.start, areas, program.debug]).encode()


def _unpacked(name: str, text: bytes) -> Program:
    pieces, start, areas, debug = json.loads(text)
    return Program(
        name,
        tuple((address, bytes.fromhex(data)) for address, data in pieces),
        start,
        tuple(Area(*area) for area in areas),
        debug,
    )


def _read_linked(contents: bytes, name: str) -> Program:
    from elftools.elf.elffile import ELFFile  # late: only an ELF file that was not kept needs it

    try:
        file = ELFFile(io.BytesIO(contents))
        _check_header(file, name)
        return _loaded(file, name)
    except InputError:
        raise
    except Exception as error:  # the library's reader raises many kinds on corrupt files
        raise InputError.of("is not a valid ELF file: inconsistent or truncated", name) from error


def _check_header(file: ELFFile, name: str) -> None:
    if file.elfclass != 32:
        raise InputError.of(f"must be an ELF file of 32 bits, not of {file.elfclass}", name)
    if file["e_machine"] != _RISCV:
        found = str(file["e_machine"]).removeprefix("EM_")
        raise InputError.of(f"must be for RISC-V, not for {found}", name)
    if not file.little_endian:
        raise InputError.of("must be little-endian, not big-endian", name)
    if file["e_type"] != "ET_EXEC":
        what = {"ET_REL": "an object file", "ET_DYN": "a shared object"}.get(str(file["e_type"]))
        raise InputError.of(
            f"must be a linked program, not {what or format_value(file['e_type'])}", name
        )


def _loaded(file: ELFFile, name: str) -> Program:
    pieces, areas = [], []
    check_segments(file)
    for segment in file.iter_segments("PT_LOAD"):
        data = segment.data()
        if len(data) != segment["p_filesz"]:
            raise InputError.of("is truncated: a segment ends behind the end of the file", name)
        writable = bool(segment["p_flags"] & 2)
        load, run = segment["p_paddr"], segment["p_vaddr"]
        if max(load + len(data), run + segment["p_memsz"]) > 1 << 32:
            raise InputError.of("a segment must lie below address 0x100000000", name)
        if data:
            pieces.append((load, data))
            areas.append(Area(load, load + len(data), writable and load == run))
        if segment["p_memsz"]:
            areas.append(Area(run, run + segment["p_memsz"], writable))
    if not pieces:
        raise InputError.of(
            "must have a segment to load (PT_LOAD with contents); it has none", name
        )
    check_symbols(file)
    symbols = list(_symbols(file))
    areas = [_up_to_a_symbol(area, areas, symbols) for area in areas]
    debug = bool(file.get_section_by_name(".debug_line"))
    return Program(name, tuple(pieces), file["e_entry"], tuple(areas), debug)


def _symbols(file: ELFFile) -> Iterable[int]:
    table: Any = file.get_section_by_name(".symtab")
    if table is None:
        return []
    return [
        symbol["st_value"] for symbol in table.iter_symbols() if symbol["st_shndx"] != "SHN_UNDEF"
    ]


def _up_to_a_symbol(area: Area, areas: list[Area], symbols: Iterable[int]) -> Area:
    """Return an area that is written to, extended to the last symbol behind it.

    Link scripts name the ends of heap and stack, which no segment holds. A symbol counts if no other
    segment lies in between, and if it is no further than :data:`FAR`.
    """
    if not area.writable:
        return area
    following = min((one.start for one in areas if one.start >= area.end), default=1 << 32)
    last = min(following, area.end + FAR)
    return Area(
        area.start, max([area.end, *(one for one in symbols if area.end < one <= last)]), True
    )
