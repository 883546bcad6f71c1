"""Memory: RAM or ROM of any size."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from busbox.device import Access, Answer, Host, Setting
from busbox.errors import InputError
from busbox.model import RegisterModel
from busbox.registers import Register, RegisterTable, lane_mask


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
    import bincopy  # late: only a memory with a file needs it

    image = bincopy.BinFile()
    try:
        contents = path.read_bytes()
        if contents.startswith(b"\x7fELF"):
            image.add_elf(contents)
        elif path.suffix.lower() in (".hex", ".ihex"):
            image.add_ihex(contents.decode("ascii"))
        else:
            image.add_binary(contents, base)
    except OSError as error:
        raise InputError.of(f"cannot be read: {error.strerror}", str(path)) from None
    except Exception as error:  # the library's readers raise many kinds on spoiled files
        raise InputError.of(f"is not a good memory image: {error}", str(path)) from None
    found = [
        (segment.address + place - base, byte)
        for segment in image.segments
        for place, byte in enumerate(segment.data)
    ]
    inside = [(offset, byte) for offset, byte in found if 0 <= offset < size]
    if not inside:
        raise InputError.of(
            f"has nothing between {base:#x} and {base + size - 1:#x}, where the slot is", str(path)
        )
    return inside
