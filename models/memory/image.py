"""Contents of a memory from a file: plain binary, Intel HEX or ELF."""

from __future__ import annotations

from pathlib import Path

from busbox.basics.errors import InputError
from busbox.firmware.image_file import ELF, elf_pieces, hex_pieces


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
    try:
        if suffix in (".hex", ".ihex"):
            pieces, _ = hex_pieces(contents, str(path))
        elif suffix == ".elf" or contents.startswith(ELF):
            pieces = elf_pieces(contents)
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


def _where(found: list[tuple[int, int]], base: int) -> str:
    if not found:
        return "none"
    return f"bytes from {base + found[0][0]:#010x} to {base + found[-1][0]:#010x}"
