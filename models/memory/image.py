"""Contents of a memory from a file: plain binary, Intel HEX or ELF."""

from __future__ import annotations

import io
import re
from pathlib import Path

from busbox.basics.errors import InputError, Mistake, format_value, limited

#: The bytes an ELF file begins with.
ELF = b"\x7fELF"
_HEX_RECORD = re.compile(r":(?:[0-9A-Fa-f]{2}){5,}")


def image_words(path: Path, base: int, size: int) -> dict[int, int]:
    """Return offset and word of every word of which a file gives a byte that lies in the slot.

    Bytes of such a word that the file does not give are 0.

    Raises
    ------
    InputError : as :func:`read_image`
    """
    words: dict[int, int] = {}
    for offset, byte in read_image(path, base, size):
        word, shift = offset & ~3, 8 * (offset & 3)
        words[word] = words.get(word, 0) & ~(0xFF << shift) | byte << shift
    return words


def read_image(path: Path, base: int, size: int) -> list[tuple[int, int]]:
    """Return (offset, byte) for every byte of a file that lies in base <= address < base + size.

    Raises
    ------
    InputError : the file cannot be read, is corrupt, or has no byte in the slot
    """
    suffix = path.suffix.lower()
    try:
        contents = path.read_bytes()
    except OSError as error:
        raise InputError.of(f"cannot be read: {error.strerror}", str(path)) from None
    if suffix in (".hex", ".ihex"):
        _check_hex(contents.decode("latin-1"), path)
    try:
        if suffix in (".hex", ".ihex"):
            pieces = _hex_pieces(contents)
        elif suffix == ".elf" or contents.startswith(ELF):
            pieces = _elf_pieces(contents)
        else:
            pieces = [(base, contents)]
            if len(contents) > size:
                raise InputError.of(
                    f"must fit into the slot's {size:#x} bytes; it has {len(contents):#x}",
                    str(path),
                )
    except InputError:
        raise
    except Exception as error:  # the libraries' readers raise many kinds on corrupt files
        what = "inconsistent or truncated"
        if suffix == ".elf" and not contents.startswith(ELF):
            what = "an ELF file must begin with the bytes 7f 45 4c 46"
        raise InputError.of(f"is not a valid memory image: {what}", str(path)) from error
    found = [
        (address + place - base, byte)
        for address, piece in pieces
        for place, byte in enumerate(piece)
    ]
    inside = [(offset, byte) for offset, byte in found if 0 <= offset < size]
    if not inside:
        raise InputError.of(
            f"must have at least one byte between {base:#010x} and {base + size - 1:#010x}, "
            f"where the slot is; it has {_where(found, base)}",
            str(path),
        )
    return inside


def _hex_pieces(contents: bytes) -> list[tuple[int, bytes]]:
    """Return (address, bytes) of an Intel HEX file whose records are valid."""
    import bincopy  # late: only a memory with a file needs it

    image = bincopy.BinFile()
    image.add_ihex(contents.decode("latin-1"))
    return [(segment.address, bytes(segment.data)) for segment in image.segments]


def _elf_pieces(contents: bytes) -> list[tuple[int, bytes]]:
    """Return (load address, bytes) of every segment that an ELF file loads.

    Segments count, not sections: a loader looks at nothing else. Source: ELF specification 1.2,
    program header, PT_LOAD.
    """
    from elftools.elf.elffile import ELFFile  # late, as above

    pieces = []
    for segment in ELFFile(io.BytesIO(contents)).iter_segments("PT_LOAD"):
        data = segment.data()
        if len(data) != segment["p_filesz"]:
            raise ValueError("a segment is truncated")
        pieces.append((segment["p_paddr"], data))
    return pieces


def _where(found: list[tuple[int, int]], base: int) -> str:
    if not found:
        return "none"
    return f"bytes from {base + found[0][0]:#010x} to {base + found[-1][0]:#010x}"


def _check_hex(text: str, path: Path) -> None:
    """Refuse Intel HEX with a corrupt record, naming its line.

    Raises
    ------
    InputError : lists every corrupt record
    """
    mistakes = [
        Mistake(f"is not a valid memory image: {problem}", str(path), line)
        for line, record in enumerate(text.splitlines(), start=1)
        if (problem := _record_problem(record.strip()))
    ]
    if mistakes:
        raise InputError(limited(mistakes, str(path)))


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
