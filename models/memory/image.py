"""Contents of a memory from a file: plain binary, Intel HEX or ELF."""

from __future__ import annotations

from pathlib import Path

from busbox.basics.errors import InputError
from busbox.basics.files import read_file
from busbox.basics.limits import HEX_IMAGE, IMAGE
from busbox.firmware.image_file import ELF, elf_pieces, hex_pieces


def image_words(path: Path, base: int, size: int) -> dict[int, int]:
    """Return offset and word of every word of which a file gives a byte that lies in the slot.

    Bytes of such a word that the file does not give are 0.

    Raises
    ------
    InputError : the file cannot be read, is corrupt, or has no byte in the slot
    """
    words: dict[int, int] = {}
    for offset, data in _inside(_pieces(path, base, size), str(path), base, size):
        first = offset & ~3
        whole = bytes(offset - first) + data
        whole += bytes(-len(whole) % 4)
        given = bytes(offset - first) + b"\xff" * len(data)
        given += bytes(-len(given) % 4)
        for place in range(0, len(whole), 4):
            mask = int.from_bytes(given[place : place + 4], "little")
            word = int.from_bytes(whole[place : place + 4], "little")
            words[first + place] = words.get(first + place, 0) & ~mask | word
    return words


def _pieces(path: Path, base: int, size: int) -> list[tuple[int, bytes]]:
    """Return (address, bytes) of all that a file holds."""
    suffix = path.suffix.lower()
    contents = read_file(path, HEX_IMAGE if suffix in (".hex", ".ihex") else IMAGE)
    try:
        if suffix in (".hex", ".ihex"):
            return hex_pieces(contents, str(path))[0]
        if suffix == ".elf" or contents.startswith(ELF):
            return elf_pieces(contents)
    except InputError as error:
        raise InputError.of(str(error), "" if str(path) in str(error) else str(path)) from None
    except Exception as error:  # the libraries' readers raise many kinds on corrupt files
        what = "inconsistent or truncated"
        if suffix == ".elf" and not contents.startswith(ELF):
            what = "an ELF file must begin with the bytes 7f 45 4c 46"
        raise InputError.of(f"is not a valid memory image: {what}", str(path)) from error
    if len(contents) > size:
        text = f"must fit into the slot's {size:#x} bytes; it has {len(contents):#x}"
        raise InputError.of(text, str(path))
    return [(base, contents)]


def _inside(
    pieces: list[tuple[int, bytes]], name: str, base: int, size: int
) -> list[tuple[int, bytes]]:
    """Return (offset, bytes) of what lies in the slot."""
    found = []
    for address, data in pieces:
        first, end = max(address, base), min(address + len(data), base + size)
        if first < end:
            found.append((first - base, data[first - address : end - address]))
    if not found:
        raise InputError.of(
            f"must have at least one byte between {base:#010x} and {base + size - 1:#010x}, "
            f"where the slot is; it has {_where(pieces)}",
            name,
        )
    return found


def _where(pieces: list[tuple[int, bytes]]) -> str:
    filled = [(address, data) for address, data in pieces if data]
    if not filled:
        return "none"
    (first, _), (last, data) = filled[0], filled[-1]
    return f"bytes from {first:#010x} to {last + len(data) - 1:#010x}"
