"""Makes small ELF files with debug information, of any width, byte order and DWARF version.

Source of all numbers: ELF specification 1.2 (and its 64-bit edition), DWARF 5 standard, section 7.5
(entries), 6.2.4 and 7.22 (line table), and the same sections of DWARF 2 to 4.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass, field

UNIT, FUNCTION, INLINED, BLOCK = 0x11, 0x2E, 0x1D, 0x0B
NAME, LINES, LOW, HIGH, ORIGIN = 0x03, 0x10, 0x11, 0x12, 0x31
SPECIFICATION, RANGES, LINKAGE, ELSEWHERE = 0x47, 0x55, 0x6E, 0x76
#: Kinds of symbols.
LABEL, CODE, FILE = 0x10, 0x12, 0x04
_ADDRESS, _DATA4, _STRING, _REFERENCE, _PLACE = 0x01, 0x06, 0x08, 0x13, 0x17
#: Kind, section it refers to and bytes an entry (of 32 bits) of sections that are no plain data.
_SPECIAL = {
    ".symtab": (2, ".strtab", 16),
    ".strtab": (3, "", 0),
    ".shstrtab": (3, "", 0),
    ".rela.debug_info": (4, ".symtab", 12),
}


@dataclass(frozen=True)
class Address:
    """A value that is written as an address."""

    value: int


@dataclass(frozen=True)
class To:
    """A reference to the entry of that label."""

    label: str


@dataclass
class Entry:
    """An entry of the debug information: a text, number, :class:`Address` or :class:`To` each."""

    tag: int
    values: dict[int, str | int | Address | To]
    inside: list[Entry] = field(default_factory=list)
    label: str = ""


@dataclass
class Maker:
    """Makes the parts of one file."""

    bits: int = 32
    order: str = "<"
    version: int = 4

    def address(self, value: int) -> bytes:
        """Return a number as wide as an address."""
        return struct.pack(self.order + ("I" if self.bits == 32 else "Q"), value)

    def number(self, form: str, *values: int) -> bytes:
        """Return numbers as :mod:`struct` packs them, in the file's byte order."""
        return struct.pack(self.order + form, *values)

    def unit(self, top: Entry) -> dict[str, bytes]:
        """Return the sections of one unit; every entry has its own abbreviation."""
        width = self.bits // 8
        head = [self.number("H", self.version)]
        if self.version >= 5:
            head += [bytes([1, width]), self.number("I", 0)]
        else:
            head += [self.number("I", 0), bytes([width])]
        unit = _Unit(self, bytearray(b"".join(head)))
        unit.add(top)
        unit.body += bytes(2)  # as some compilers fill units up
        for place, label in unit.open:
            unit.body[place : place + 4] = self.number("I", unit.labels[label])
        info = self.number("I", len(unit.body)) + bytes(unit.body)
        return {".debug_info": info, ".debug_abbrev": bytes(unit.kinds) + b"\0"}

    def lines(
        self,
        sequences: list[list[tuple[int, int, int]]],
        files: tuple[tuple[str, int], ...] = (("cabin.c", 0),),
        folders: tuple[str, ...] = (),
    ) -> dict[str, bytes]:
        """Return the line table of sequences of (address, file, line); the last of each is its end.

        ``files`` are (name, number of its folder); the folders do not count that of compilation.
        """
        head = bytes([1, *([1] if self.version >= 4 else []), 1, 251, 14, 10])
        head += bytes([0, 1, 1, 1, 1, 0, 0, 0, 1])
        if self.version >= 5:
            head += bytes([1, 1, 8, 1 + len(folders)]) + b"/home\0"
        head += b"".join(one.encode() + b"\0" for one in folders)
        if self.version >= 5:
            head += bytes([2, 1, 8, 2, 15, len(files)])
            head += b"".join(name.encode() + bytes([0, folder]) for name, folder in files)
        else:
            named = (name.encode() + bytes([0, folder, 0, 0]) for name, folder in files)
            head += b"\0" + b"".join(named) + b"\0"
        begin = bytes([self.bits // 8, 0]) if self.version >= 5 else b""
        body = self.number("H", self.version) + begin + self.number("I", len(head)) + head
        body += b"".join(self._sequence(rows) for rows in sequences)
        return {".debug_line": self.number("I", len(body)) + body}

    def _sequence(self, rows: list[tuple[int, int, int]]) -> bytes:
        made, at_line = b"", 1
        for address, file, line in rows[:-1]:
            step = line - at_line
            made += bytes([0, 1 + self.bits // 8, 2]) + self.address(address)
            made += bytes([4, file, 3, (step & 0x7F) | 0x80, (step >> 7) & 0x7F, 1])
            at_line = line
        last = self.address(rows[-1][0])
        return made + bytes([0, 1 + self.bits // 8, 2]) + last + bytes([0, 1, 1])

    def symbols(self, *symbols: tuple[str, int, int, int]) -> dict[str, bytes]:
        """Return the sections of a symbol table: (name, address, kind, section) of each."""
        table, texts = bytes(16 if self.bits == 32 else 24), b"\0"
        for name, address, kind, section in symbols:
            if self.bits == 32:
                table += self.number("IIIBBH", len(texts), address, 4, kind, 0, section)
            else:
                table += self.number("IBBHQQ", len(texts), kind, 0, section, address, 4)
            texts += name.encode() + b"\0"
        return {".symtab": table, ".strtab": texts}

    def elf(self, sections: dict[str, bytes], kind: int = 2) -> bytes:
        """Return the file: header, sections, section headers. ``kind`` 2: program, 1: object."""
        texts, head = b"\0", 52 if self.bits == 32 else 64
        body, headers = b"", bytes(40 if self.bits == 32 else 64)
        everything = {**sections, ".shstrtab": b""}
        names = list(everything)
        for name in names:
            texts += name.encode() + b"\0"
        everything[".shstrtab"] = texts
        for name, data in everything.items():
            kind_of, linked, width = _SPECIAL.get(name, (1, "", 0))
            link = 1 + names.index(linked) if linked else 0
            width = width if self.bits == 32 else 2 * width - 8 * (name == ".symtab")
            place = texts.index(b"\0" + name.encode() + b"\0") + 1
            form = "IIIIIIIIII" if self.bits == 32 else "IIQQQQIIQQ"
            headers += self.number(
                form, place, kind_of, 0, 0, head + len(body), len(data), link, 0, 1, width
            )
            body += data
        ident = b"\x7fELF" + bytes([self.bits // 32, 1 if self.order == "<" else 2, 1]) + bytes(9)
        words = self.number("HHI", kind, 243, 1)
        words += self.address(0) * 2 + self.address(head + len(body))
        sizes = (0, head, 0, 0, 40 if self.bits == 32 else 64, 1 + len(everything), len(everything))
        return ident + words + self.number("IHHHHHH", *sizes) + body + headers


@dataclass
class _Unit:
    """One unit in the making: its bytes, abbreviations, and references that are still open."""

    maker: Maker
    body: bytearray
    kinds: bytearray = field(default_factory=bytearray)
    labels: dict[str, int] = field(default_factory=dict)
    open: list[tuple[int, str]] = field(default_factory=list)
    count: int = 0

    def add(self, entry: Entry) -> None:
        """Write an entry and all inside."""
        self.count += 1
        self.labels[entry.label] = 4 + len(self.body)
        self.body.append(self.count)
        self.kinds += bytes([self.count, entry.tag, bool(entry.inside)])
        for key, value in entry.values.items():
            form, data = self._value(key, value)
            self.kinds += bytes([key, form])
            self.body += data
        self.kinds += b"\0\0"
        for one in entry.inside:
            self.add(one)
        if entry.inside:
            self.body.append(0)

    def _value(self, key: int, value: str | int | Address | To) -> tuple[int, bytes]:
        """Return form and bytes; from DWARF 4 on, a place in another section has its own form."""
        if isinstance(value, Address):
            return _ADDRESS, self.maker.address(value.value)
        if isinstance(value, To):
            self.open.append((len(self.body), value.label))
            return _REFERENCE, bytes(4)
        if isinstance(value, str):
            return _STRING, value.encode("latin-1") + b"\0"
        is_place = key in (LINES, RANGES) and self.maker.version >= 4
        return _PLACE if is_place else _DATA4, self.maker.number("I", value)
