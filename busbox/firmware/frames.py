"""Who called: the frame information of an ELF file, ``.debug_frame`` and ``.eh_frame``.

Source of all rules: DWARF 5 standard, section 6.4 (call frame information); for ``.eh_frame``, Linux
Standard Base Core, chapter "Exception Frames"; numbers of registers: RISC-V ELF psABI specification,
"DWARF Register Numbers" (x0 to x31 are 0 to 31).
"""

from __future__ import annotations

import io
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

from busbox.basics.ranges import Ranges
from busbox.firmware.debug_lines import Unusable

#: The stack pointer; what it was in the caller is the canonical frame address, if no rule says more.
#: Source: RISC-V ELF psABI specification, "Register Convention".
STACK = 2

#: Words of registers by number, None where a word is not known any more.
Words = Sequence[int | None]
#: Returns the word at an address of a memory, or None.
Read = Callable[[int], int | None]


@dataclass(frozen=True)
class Frame:
    """A frame: what is known of a caller.

    Attributes
    ----------
    pc : the address that is returned to
    registers : the words in x0 to x31, as the caller had them
    """

    pc: int
    registers: tuple[int | None, ...]


class Frames:
    """The frame information of an ELF file.

    Parameters
    ----------
    contents : the file

    Raises
    ------
    Unusable : the frame information is inconsistent
    """

    def __init__(self, contents: bytes) -> None:
        from elftools.dwarf.callframe import FDE  # late: only a firmware needs it
        from elftools.elf.elffile import ELFFile

        try:
            dwarf = ELFFile(io.BytesIO(contents)).get_dwarf_info(
                relocate_dwarf_sections=False, follow_links=False
            )
            entries: list[Any] = list(dwarf.CFI_entries()) if dwarf.has_CFI() else []
            entries += list(dwarf.EH_CFI_entries()) if dwarf.has_EH_CFI() else []
            self._entries: Ranges[Any] = Ranges(
                _span(entry) for entry in entries if isinstance(entry, FDE)
            )
        except Exception as error:  # the library's reader raises many kinds on corrupt files
            raise Unusable("has inconsistent frame information") from error

    def start(self, pc: int) -> int | None:
        """Return the first address of the function, or other piece, that an address is in."""
        entry = next(iter(self._entries.at(pc)), None)
        return None if entry is None else int(entry.header["initial_location"])

    def caller(self, pc: int, registers: Words, read: Read) -> Frame | None:
        """Return the frame of the caller, or None: nothing is known, or there is no caller.

        Parameters
        ----------
        pc : an address in the instruction that is executed, or that calls
        registers : the words in x0 to x31 there
        """
        entry = next(iter(self._entries.at(pc)), None)
        row = None if entry is None else _row(entry, pc)
        if entry is None or row is None or row["cfa"].reg is None:
            return None
        base = registers[row["cfa"].reg]
        if base is None:
            return None
        frame = base + row["cfa"].offset & 0xFFFFFFFF
        words = list(registers)
        words[STACK] = frame
        for number, rule in row.items():
            if isinstance(number, int) and number < len(words):
                words[number] = _restored(rule, frame, registers, number, read)
        back = words[entry.cie.header["return_address_register"]]
        return None if back is None else Frame(back, tuple(words))


def _span(entry: Any) -> tuple[int, int, Any]:
    start, length = entry.header["initial_location"], entry.header["address_range"]
    return start, start + length, entry


def _row(entry: Any, pc: int) -> dict[Any, Any] | None:
    """Return the rules that hold at an address."""
    try:
        rows = [row for row in entry.get_decoded().table if row["pc"] <= pc]
    except Exception as error:  # see above
        raise Unusable("has inconsistent frame information") from error
    return rows[-1] if rows else None


def _restored(rule: Any, frame: int, registers: Words, number: int, read: Read) -> int | None:
    """Return the word that a register had in the caller, or None if the rule does not give it."""
    if rule.type == "OFFSET":
        return read(frame + rule.arg & 0xFFFFFFFF)
    if rule.type == "VAL_OFFSET":
        return int(frame + rule.arg & 0xFFFFFFFF)
    if rule.type == "REGISTER":
        return registers[int(rule.arg)]
    if rule.type == "SAME_VALUE":
        return registers[number]
    return None
