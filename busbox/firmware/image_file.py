"""What a file of memory contents holds: Intel HEX, or the segments that an ELF file loads."""

from __future__ import annotations

import io
import re
from typing import TYPE_CHECKING

from busbox.basics.errors import InputError, Mistake, format_value, limited
from busbox.basics.limits import IMAGE

if TYPE_CHECKING:
    from elftools.elf.elffile import ELFFile

#: The bytes an ELF file begins with. Source: ELF specification 1.2, e_ident.
ELF = b"\x7fELF"
_HEX_RECORD = re.compile(r":(?:[0-9A-Fa-f]{2}){5,}")


def hex_pieces(contents: bytes, name: str) -> tuple[list[tuple[int, bytes]], int | None]:
    """Return (address, bytes) of an Intel HEX file, and the start address if a record gives it.

    Raises
    ------
    InputError : lists every corrupt record with its line
    """
    import bincopy  # late: only a file needs it

    text = contents.decode("latin-1")
    _check_hex(text, name)
    image = bincopy.BinFile()
    image.add_ihex(text)
    pieces = [(segment.address, bytes(segment.data)) for segment in image.segments]
    return pieces, image.execution_start_address


def elf_pieces(contents: bytes) -> list[tuple[int, bytes]]:
    """Return (load address, bytes) of every segment that an ELF file loads.

    Segments count, not sections: a loader looks at nothing else. Source: ELF specification 1.2,
    program header, PT_LOAD.

    Raises
    ------
    ValueError : a segment is truncated; on corrupt files the library's reader raises other kinds
    """
    from elftools.elf.elffile import ELFFile  # late, as above

    pieces, file = [], ELFFile(io.BytesIO(contents))
    check_segments(file)
    for segment in file.iter_segments("PT_LOAD"):
        data = segment.data()
        if len(data) != segment["p_filesz"]:
            raise ValueError("a segment is truncated")
        pieces.append((segment["p_paddr"], data))
    return pieces


def check_segments(file: ELFFile) -> None:
    """Refuse segments that are larger than the limit, all together, before they are read.

    Raises
    ------
    InputError : names the limit
    """
    loaded = sum(segment["p_filesz"] for segment in file.iter_segments("PT_LOAD"))
    IMAGE.check(loaded, "what its segments load")


def check_symbols(file: ELFFile) -> None:
    """Refuse a table of symbols whose entries overlap, so that there seem to be many more.

    Raises
    ------
    ValueError : an entry is too small. Source: ELF specification 1.2, symbol table
    """
    table = file.get_section_by_name(".symtab")
    if table is not None and table["sh_entsize"] < (24 if file.elfclass == 64 else 16):
        raise ValueError("the entries of its symbol table are too small")


def _check_hex(text: str, name: str) -> None:
    """Refuse Intel HEX with a corrupt record, naming its line."""
    mistakes = [
        Mistake(f"is not a valid memory image: {problem}", name, line)
        for line, record in enumerate(text.splitlines(), start=1)
        if (problem := _record_problem(record.strip()))
    ]
    if mistakes:
        raise InputError(limited(mistakes, name))


def _record_problem(record: str) -> str | None:
    if not record:
        return None
    if not _HEX_RECORD.fullmatch(record):
        return f"a record must be : and pairs of hexadecimal digits, not {format_value(record)}"
    data = bytes.fromhex(record[1:])
    if len(data) != data[0] + 5:
        digits = 2 * data[0] + 10
        return f"a record of {data[0]} bytes must have {digits} digits, not {2 * len(data)}"
    if sum(data) & 0xFF:
        return f"the checksum must be {-sum(data[:-1]) & 0xFF:#04x}, not {data[-1]:#04x}"
    if data[3] > 5:
        return f"a record's type must be 0 to 5, not {data[3]}"
    return None
