"""From the address of an instruction to its function and source line."""

from __future__ import annotations

import io
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path, PureWindowsPath
from typing import TYPE_CHECKING, Any

from busbox.basics.errors import InputError, no_file
from busbox.basics.files import read_file
from busbox.basics.limits import IMAGE
from busbox.basics.ranges import Ranges
from busbox.firmware.debug_functions import Function, read_functions
from busbox.firmware.debug_lines import Unusable
from busbox.firmware.frames import Frames
from busbox.firmware.function_table import kept_functions
from busbox.firmware.image_file import check_symbols

if TYPE_CHECKING:
    from elftools.elf.elffile import ELFFile

#: The bytes an ELF file begins with. Source: ELF specification 1.2, e_ident.
ELF = b"\x7fELF"


@dataclass(frozen=True)
class Source:
    """Where in the source an instruction comes from.

    Attributes
    ----------
    function : the function at that address
    file : name of the source file, without folders
    line : line in that file, counted from 1
    inlined : the functions inlined there, innermost first; empty if there are none
    path : the file as the debug information names it, with its folder unless that is the folder of
        the compilation
    """

    function: str
    file: str
    line: int
    inlined: tuple[str, ...] = ()
    path: str = ""

    def __str__(self) -> str:
        """Return ``put in say, signal_cabin.c:37``."""
        return f"{' in '.join((*self.inlined, self.function))}, {self.file}:{self.line}"


class Firmware:
    """The debug information (DWARF 2 to 5) of a linked ELF file, for any processor.

    Parameters
    ----------
    path : the ELF file; it is read here, and not again

    Raises
    ------
    InputError : it cannot be read, is not an ELF file or a linked program, is truncated, or has no
        debug information, or inconsistent debug information

    >>> from busbox.bench.find import packaged_benches
    >>> cabin = Firmware(packaged_benches()["signal_cabin"].with_name("signal_cabin.elf"))
    >>> source = cabin.source(0xE8)
    >>> print(source)
    put in say, signal_cabin.c:30
    >>> cabin.text(source)
    'static void put(char c) { while (!(UART_STATUS & 1u)) { } UART_DATA = (u32)c; }'
    """

    def __init__(self, path: str | Path) -> None:
        self.path = Path(path)
        self._contents = contents = _contents(self.path)
        try:
            self._functions = kept_functions(contents, _functions)
        except Unusable as error:
            raise InputError.of(str(error), str(path)) from error
        except Exception as error:  # the library's reader raises many kinds on corrupt files
            raise InputError.of(
                "is not a valid ELF file: inconsistent or truncated",
                str(path),
            ) from error

    @cached_property
    def frames(self) -> Frames:
        """The frame information; without any, no address is described.

        Raises
        ------
        InputError : it is inconsistent
        """
        try:
            return Frames(self._contents)
        except Unusable as error:
            raise InputError.of(str(error), str(self.path)) from error

    def source(self, pc: int) -> Source | None:
        """Return where the instruction at an address comes from.

        None if its function or line is unknown, or if the file gives several: linkers write 0 for the
        address of code that they left out, and merge functions with identical code.
        """
        sources = {
            source for function in self._functions.at(pc) for source in _sources(function, pc)
        }
        return sources.pop() if len(sources) == 1 else None

    def text(self, source: Source) -> str | None:
        """Return the source line as its file has it now, without surrounding space.

        None if the file or line is missing, or not UTF-8.
        """
        file = self.text_file(source)
        try:
            if file is None or source.line <= 0:
                return None
            return [b"", *read_file(file, IMAGE).split(b"\n")][source.line].decode().strip()
        except (InputError, ValueError, IndexError):
            return None

    def text_file(self, source: Source) -> Path | None:
        """Return the file of the source text, or None if it is not there.

        It is looked for at the path in the debug information, relative to the ELF file's folder, then
        by its name beside the ELF file.
        """
        for name in (_relative(source.path), source.file):
            try:
                if name and (self.path.parent / name).is_file():
                    return self.path.parent / name
            except (OSError, ValueError):
                return None
        return None


def _contents(path: Path) -> bytes:
    """Return the bytes of an ELF file.

    Raises
    ------
    InputError : it cannot be read, or does not begin like one
    """
    problem = no_file(path)
    if problem:
        raise InputError.of(problem)
    contents = read_file(path, IMAGE)
    if not contents.startswith(ELF):
        found = contents[: len(ELF)].hex(" ") or "nothing"
        raise InputError.of(
            f"must be an ELF file, which begins with the bytes {ELF.hex(' ')}, not with {found}",
            str(path),
        )
    return contents


def _functions(contents: bytes) -> Ranges[Function]:
    """Return the functions of an ELF file.

    Raises
    ------
    Unusable : it is not a linked program, is truncated, or has no debug information
    """
    from elftools.elf.elffile import ELFFile  # late: only a firmware needs it

    elf = ELFFile(io.BytesIO(contents))
    if elf["e_type"] == "ET_REL":
        raise Unusable(
            "must be a linked program; this is an object file, and its addresses are not final"
        )
    _check_length(elf, len(contents))
    check_symbols(elf)
    # A linked program's addresses are final: relocations that were kept must not be added again.
    dwarf = elf.get_dwarf_info(relocate_dwarf_sections=False, follow_links=False)
    for name, section in (("info", dwarf.debug_info_sec), ("line", dwarf.debug_line_sec)):
        if section is None or section.size == 0:
            raise Unusable(
                "must have debug information (compile with -g); its section "
                f".debug_{name} is missing or empty"
            )
    return read_functions(dwarf, _names_at_zero(elf))


def _check_length(elf: ELFFile, length: int) -> None:
    """Refuse a file that is shorter than its sections.

    Raises
    ------
    Unusable : gives both lengths, in bytes
    """
    needed = elf["e_shoff"] + elf.num_sections() * elf["e_shentsize"]
    if needed <= length:
        ends = [
            section["sh_offset"] + section["sh_size"]
            for section in elf.iter_sections()
            if section["sh_type"] != "SHT_NOBITS"
        ]
        needed = max(ends, default=0)
    if needed > length:
        raise Unusable(f"is truncated: it must have {needed:,} bytes, not {length:,}")
    unpacked = sum(one.data_size for one in elf.iter_sections() if one.compressed)
    if unpacked > IMAGE.most:
        raise Unusable(IMAGE.exceeded("what its compressed sections unpack to"))


def _names_at_zero(elf: ELFFile) -> set[str]:
    """Return the names of the functions that the linker put at address 0.

    Bit 0 of a symbol may encode the instruction set, and a compiler's copy of a function has a dot
    after its name (the first by the ELF supplement of such processors, the second from memory).
    """
    table: Any = elf.get_section_by_name(".symtab")
    return {
        name
        for symbol in (table.iter_symbols() if table is not None else ())
        if symbol["st_value"] in (0, 1)
        and symbol["st_info"]["type"] == "STT_FUNC"
        and symbol["st_shndx"] != "SHN_UNDEF"
        for name in (symbol.name, symbol.name.partition(".")[0])
    }


def _sources(function: Function, pc: int) -> set[Source | None]:
    inlined = function.chain(pc)
    if inlined is None:
        return {None}
    return {
        Source(function.names[0], PureWindowsPath(path).name, line, inlined, path)
        for path, line in function.lines.at(pc)
    } or {None}


def _relative(path: str) -> str:
    """Return a recorded path with /, or "" if it is absolute, on any system."""
    parted = PureWindowsPath(path)
    return "" if parted.anchor else parted.as_posix()
