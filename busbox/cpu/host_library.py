"""A shared library with a driver in C: whether it can run here, and where its addresses come from."""

from __future__ import annotations

import io
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path, PurePath
from typing import TYPE_CHECKING, Any

from busbox.basics.errors import InputError, format_value, join_and, nearest, no_file
from busbox.basics.files import read_file
from busbox.basics.limits import IMAGE
from busbox.cpu.host_process import CONNECT
from busbox.firmware.program import ELF, Firmware, Source

if TYPE_CHECKING:
    from elftools.elf.elffile import ELFFile

#: What busbox.h declares.
FUNCTIONS = frozenset(
    f"bus_{name}"
    for name in ("read32", "read16", "read8", "write32", "write16", "write8", "error", "idle")
)
_ADVICE = "compile busbox.c into it (busbox new host_driver writes that file)"


@dataclass(frozen=True)
class Place:
    """Where in a driver an access was made.

    Attributes
    ----------
    pc : address of the call in the library; None if it is not known
    function : name of the function; "" if not known
    file, line : of the source, None if not known
    """

    pc: int | None = None
    function: str = ""
    file: str | None = None
    line: int | None = None

    def __str__(self) -> str:
        """Return ``in say, driver.c:37``, or as much as is known, such as ``at 0x1139``."""
        if self.file is not None:
            return f"in {self.function}, {self.file}:{self.line}"
        return "" if self.pc is None else f"at {self.pc:#x}"


class HostLibrary:
    """A file with a driver, read once; what is known of it, if it is an ELF file.

    Parameters
    ----------
    path : the file
    name : how messages call it

    Raises
    ------
    InputError : there is no such file, or it cannot be read
    """

    def __init__(self, path: Path, name: str) -> None:
        self.path, self.name = path, name
        missing = no_file(path)
        if missing:
            raise InputError.of(missing.replace(repr(str(path)), repr(name), 1))
        try:
            with path.open("rb") as file:
                self.is_elf = file.read(len(ELF)) == ELF
        except OSError as error:
            raise InputError.of(f"cannot be read: {error.strerror}", name) from None
        self._firmware: Firmware | None = None
        self.has_lines = self.is_elf and self._has_lines()
        self.place = lru_cache(maxsize=None)(self._place)

    def check(self, function: str) -> None:
        """Refuse a library that cannot run here, as far as its file says so: only an ELF file does.

        Raises
        ------
        InputError : it is no shared library, is made for another machine, or lacks the function or
            those of the bus
        """
        if not self.is_elf:
            return
        with self._reading() as elf:
            problem = _wrong_kind(elf) or _wrong_machine(elf)
            defined, needed = _symbols(elf) if problem is None else ({}, set())
        if problem is None:
            lacking = sorted(needed & FUNCTIONS)
            if lacking:
                problem = f"lacks the bus functions {join_and(lacking)}: {_ADVICE}"
            elif CONNECT not in defined:
                problem = self.no_bus
            elif function not in defined:
                problem = self.no_function(function, defined)
        if problem:
            raise InputError.of(problem, self.name)

    #: The library has none of the bus functions, or other ones.
    no_bus = f"lacks the function {CONNECT} of the bus: {_ADVICE}"

    def no_function(self, function: str, known: dict[str, int] | None = None) -> str:
        """Return that the library lacks a function."""
        hint = nearest(function, [name for name in known or () if name not in FUNCTIONS])
        return f"has no function {function!r} that others may call{hint}"

    def address_of(self, function: str) -> int | None:
        """Return the address of a function in the file, or None if it is not known."""
        if not self.is_elf:
            return None
        with self._reading() as elf:
            return _symbols(elf)[0].get(function)

    def _place(self, pc: int) -> Place:
        """Return what is known of an address in the file."""
        if not 0 <= pc < self._end():
            return Place()
        source = self._source(pc)
        if source is None:
            return Place(pc)
        file = self._shown(source)
        return Place(pc, " in ".join((*source.inlined, source.function)), file, source.line)

    def _end(self) -> int:
        with self._reading() as elf:
            loaded = elf.iter_segments("PT_LOAD")
            return max((one["p_vaddr"] + one["p_memsz"] for one in loaded), default=0)

    def _source(self, pc: int) -> Source | None:
        if not self.has_lines:
            return None
        if self._firmware is None:
            self._firmware = Firmware(self.path)
        return self._firmware.source(pc)

    @staticmethod
    def _shown(source: Source) -> str:
        """Return the name of a source file: with its folder, if that is inside of the compiler's."""
        path = PurePath(source.path)
        outside = path.is_absolute() or ".." in path.parts
        return source.file if outside else path.as_posix()

    @contextmanager
    def _reading(self) -> Iterator[ELFFile]:
        """Open the file; what its reader raises meanwhile is an InputError."""
        from elftools.elf.elffile import ELFFile  # late: only such a library needs it

        try:
            yield ELFFile(io.BytesIO(read_file(self.path, IMAGE, self.name)))
        except InputError:
            raise
        except Exception as error:  # the library's reader raises many kinds on corrupt files
            raise InputError.of(_CORRUPT, self.name) from error

    def _has_lines(self) -> bool:
        try:
            with self._reading() as elf:
                return elf.get_section_by_name(".debug_line") is not None
        except InputError:  # reported when the library is run
            return False


_CORRUPT = "is not a valid ELF file: inconsistent or truncated"


def _wrong_kind(elf: ELFFile) -> str | None:
    """Return that a file is not a shared library. Source: ELF specification 1.2, e_type."""
    if elf["e_type"] == "ET_DYN" and not any(elf.iter_segments("PT_INTERP")):
        return None
    what = {"ET_REL": "an object file", "ET_DYN": "a program", "ET_EXEC": "a program"}
    found = what.get(str(elf["e_type"]), format_value(elf["e_type"]))
    return f"must be a shared library (link with -shared), not {found}"


def _wrong_machine(elf: ELFFile) -> str | None:
    """Return that a file is made for another machine than that of the Python that runs."""
    from elftools.elf.descriptions import describe_e_machine
    from elftools.elf.elffile import ELFFile

    def machine(one: ELFFile) -> tuple[str, int]:
        return str(describe_e_machine(one["e_machine"])), one.elfclass

    try:
        with Path(sys.executable).open("rb") as file:
            here = machine(ELFFile(file))
    except Exception:  # Python is a script or of another format: loading will tell
        return None
    found = machine(elf)
    if found == here:
        return None
    return (
        f"is made for another machine, {found[0]} of {found[1]} bits: compile it for this one, "
        f"{here[0]} of {here[1]} bits"
    )


def _symbols(elf: ELFFile) -> tuple[dict[str, int], set[str]]:
    """Return the functions that others may call, with their addresses, and what is needed."""
    table: Any = elf.get_section_by_name(".dynsym")
    defined, needed = {}, set()
    for symbol in table.iter_symbols() if table is not None else ():
        if symbol["st_shndx"] == "SHN_UNDEF":
            needed.add(symbol.name)
        elif symbol["st_info"]["type"] == "STT_FUNC":
            defined[symbol.name] = symbol["st_value"]
    return defined, needed
