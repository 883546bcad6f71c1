"""Memory: RAM or ROM of any size."""

from __future__ import annotations

import io
import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from busbox.device import Access, Answer, Host, Setting
from busbox.errors import InputError, Mistake, shown
from busbox.model import RegisterModel
from busbox.registers import Register, RegisterTable, lane_mask
from busbox.traffic.text import limited

#: The bytes an ELF file begins with.
ELF = b"\x7fELF"
_HEX_RECORD = re.compile(r":(?:[0-9A-Fa-f]{2}){5,}")


class Memory(RegisterModel):
    """RAM or ROM, with contents from a file if there is one.

    Registers
    ---------
    ==== ==== == =========================================================
    4n   WORD rw word n of the slot (``rom``: a write is dropped)
    ==== ==== == =========================================================

    Files
    -----
    ``file`` is a plain binary (from the slot's base on), Intel HEX (``.hex``, ``.ihex``) or ELF
    (``.elf``; load addresses). The addresses of HEX and ELF are bus addresses: what lies in the slot
    is its contents, and at least one byte must.

    Timing
    ------
    A write in e shows from e + 1. A read of a word of which no byte was ever written shows 0, event
    ``uninitialised-read``; a write to ``rom`` is dropped, event ``rom-write``. A reset leaves the
    contents alone. Always at rest.
    """

    settings = (
        Setting("kind", "ram", "text", choices=("ram", "rom"), text="what it is"),
        Setting("file", None, "path", text="initial contents: binary, Intel HEX or ELF"),
    )

    def __init__(self, host: Host, **settings: Any) -> None:
        self.host = host
        self.options = settings
        self.cycle = 0
        self._words: dict[int, int] = {}
        if settings["file"] is not None:
            for offset, byte in read_image(Path(settings["file"]), host.base, host.size):
                self._store(offset & ~3, byte << 8 * (offset & 3), 0xFF << 8 * (offset & 3))

    @classmethod
    def table_for(cls, settings: Mapping[str, Any], size: int) -> RegisterTable:
        """Return one row of words that fills the slot."""
        return RegisterTable(Register("WORD", 0, "rw", "A word of memory.", count=size // 4))

    def access(self, access: Access) -> Answer:
        """Store or fetch a word."""
        self.cycle = access.cycle
        if access.write:
            if self.options["kind"] == "rom":
                self.host.event(access.cycle, "rom-write", access.number, offset=access.offset)
            elif access.lanes:
                self._store(access.offset, access.data, lane_mask(access.lanes))
            return 0
        word = self._words.get(access.offset)
        if word is None:
            self.host.event(access.cycle, "uninitialised-read", access.number, offset=access.offset)
            return 0
        return word

    def _store(self, offset: int, data: int, mask: int) -> None:
        self._words[offset] = self._words.get(offset, 0) & ~mask | data & mask

    def reset(self, cycle: int, length: int) -> None:
        """Leave the contents alone: block memory has no reset."""
        self.cycle = cycle + length

    def registers(self) -> dict[str, int]:
        """Return nothing: a memory is too large to list."""
        return {}


def read_image(path: Path, base: int, size: int) -> list[tuple[int, int]]:
    """Return (offset, byte) for every byte of a file that lies in base <= address < base + size.

    Raises
    ------
    InputError : the file cannot be read, is spoiled, or has nothing in the slot
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
    except Exception as error:  # the libraries' readers raise many kinds on spoiled files
        what = "its parts do not fit together, or it is cut short"
        if suffix == ".elf" and not contents.startswith(ELF):
            what = "an ELF file must begin with the bytes 7f 45 4c 46"
        raise InputError.of(f"is not a good memory image: {what}", str(path)) from error
    found = [
        (address + place - base, byte)
        for address, piece in pieces
        for place, byte in enumerate(piece)
    ]
    inside = [(offset, byte) for offset, byte in found if 0 <= offset < size]
    if not inside:
        raise InputError.of(
            f"must have at least one byte between {base:#x} and {base + size - 1:#x}, "
            f"where the slot is; it has {_where(found, base)}",
            str(path),
        )
    return inside


def _hex_pieces(contents: bytes) -> list[tuple[int, bytes]]:
    """Return (address, bytes) of an Intel HEX file whose records are sound."""
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
            raise ValueError("a segment is cut short")
        pieces.append((segment["p_paddr"], data))
    return pieces


def _where(found: list[tuple[int, int]], base: int) -> str:
    if not found:
        return "none at all"
    return f"bytes from {base + found[0][0]:#x} to {base + found[-1][0]:#x}"


def _check_hex(text: str, path: Path) -> None:
    """Refuse Intel HEX with a spoiled record, with its line.

    Raises
    ------
    InputError : with every record that is spoiled
    """
    mistakes = [
        Mistake(f"is not a good memory image: {problem}", str(path), line)
        for line, record in enumerate(text.splitlines(), start=1)
        if (problem := _record_problem(record.strip()))
    ]
    if mistakes:
        raise InputError(limited(mistakes, str(path)))


def _record_problem(record: str) -> str | None:
    if not record:
        return None
    if not _HEX_RECORD.fullmatch(record):
        return f"a record must be : and pairs of hexadecimal digits, not {shown(record)}"
    data = bytes.fromhex(record[1:])
    if len(data) != data[0] + 5:
        digits = 2 * data[0] + 10
        return f"a record of {data[0]} bytes must have {digits} digits, not {2 * len(data)}"
    if sum(data) & 0xFF:
        return f"the checksum must be {-sum(data[:-1]) & 0xFF:#04x}, not {data[-1]:#04x}"
    if data[3] > 5:
        return f"a record's type must be 0 to 5, not {data[3]}"
    return None
