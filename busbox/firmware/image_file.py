"""What a file of memory contents holds: Intel HEX, or the segments that an ELF file loads."""

from __future__ import annotations

import io
import re

from busbox.basics.errors import InputError, Mistake, format_value, limited

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

    pieces = []
    for segment in ELFFile(io.BytesIO(contents)).iter_segments("PT_LOAD"):
        data = segment.data()
        if len(data) != segment["p_filesz"]:
            raise ValueError("a segment is truncated")
        pieces.append((segment["p_paddr"], data))
    return pieces


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
