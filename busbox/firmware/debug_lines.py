"""The line table of one unit of a firmware: from an address to a file and a line.

Source of all rules: DWARF 5 standard, section 6.2 (line number information), and the same section
of DWARF 2 to 4 for what differs.
"""

from __future__ import annotations

from itertools import pairwise
from pathlib import PurePosixPath
from typing import Any

from busbox.basics.ranges import Ranges


class Unusable(ValueError):
    """Debug information that cannot be used; the text says why."""


def plain(name: bytes) -> str:
    """Return a name of the debug information; bytes that are not UTF-8 are shown as ``\\xff``."""
    return name.decode("utf-8", "backslashreplace")


def read_lines(dwarf: Any, unit: Any, from_zero: int) -> Ranges[tuple[str, int]]:
    """Return the (file with its folder as recorded, line) of a unit's addresses.

    Where several rows have the same address, the last one counts. Line 0 means "no line".

    Parameters
    ----------
    dwarf, unit : pyelftools' objects of the whole and of the unit
    from_zero : the address after the unit's function that begins at 0, or 0 if there is none. Rows
        that seem to begin at 0 and do not reach so far are those of code that was left out by the
        linker, which writes 0 where its address was.

    Raises
    ------
    Unusable : a row contradicts the others, or refers to no file
    """
    start = unit.get_top_DIE().attributes.get("DW_AT_stmt_list")
    if start is None:
        return Ranges([])
    _check_header(dwarf.debug_line_sec.stream, unit.structs, start.value)
    program = dwarf.line_program_for_CU(unit)
    paths: dict[int, str] = {}
    spans = []
    for rows in _sequences(program):
        if rows[0].address == 0 and not 0 < from_zero <= rows[-1].address:
            continue
        for row, following in pairwise(rows):
            if row.line > 0:
                if row.file not in paths:
                    paths[row.file] = _path(program.header, row.file)
                spans.append((row.address, following.address, (paths[row.file], row.line)))
    return Ranges(spans)


def _sequences(program: Any) -> list[list[Any]]:
    """Return the rows of each sequence; the last one is where it ends.

    Raises
    ------
    Unusable : an address goes back, or a sequence has no end
    """
    sequences: list[list[Any]] = []
    rows: list[Any] = []
    for entry in program.get_entries():
        row = entry.state
        if row is None:
            continue
        if rows and row.address < rows[-1].address:
            raise Unusable(
                f"addresses in the line table must ascend, not go from {rows[-1].address:#010x} "
                f"to {row.address:#010x}"
            )
        rows.append(row)
        if row.end_sequence:
            sequences.append(rows)
            rows = []
    if rows:
        raise Unusable(f"the line table has no end after its row at {rows[-1].address:#010x}")
    return sequences


def _path(header: Any, index: int) -> str:
    """Return a file's name, with its folder unless that is the one of the compilation.

    Both tables count from 0 in DWARF 5; before, from 1, and folder 0 is that of the compilation.

    Raises
    ------
    Unusable : there is no file or folder of that number
    """
    first = 0 if header["version"] >= 5 else 1
    entry = _numbered(header["file_entry"], index, first, "file")
    name, folder = plain(entry["name"]), entry["dir_index"]
    if not folder:
        return name
    folders = header["include_directory"]
    return str(PurePosixPath(plain(_numbered(folders, folder, first, "folder")), name))


def _numbered(table: Any, index: int, first: int, what: str) -> Any:
    if not first <= index < first + len(table):
        raise Unusable(f"the line table has no {what} number {index}; it has {len(table)}")
    return table[index - first]


def _check_header(stream: Any, structs: Any, start: int) -> None:
    """Refuse a line table that pyelftools would misread, or never finish.

    It reads the table in its unit's form, 32 or 64 bits. It makes as many file names as the table
    says there are, which is endless for a spoiled count of names that take no bytes, as nothing
    but the end of the section stops it. Source: DWARF 5, sections 7.4 (forms) and 6.2.4 (layout).

    Raises
    ------
    Unusable : the forms differ, or a name takes no bytes
    """
    from elftools.common.utils import struct_parse  # late, as in busbox.firmware.program
    from elftools.dwarf.enums import DW_FORM_raw2name

    byte, leb = structs.the_Dwarf_uint8, structs.the_Dwarf_uleb128
    bits = 64 if struct_parse(structs.the_Dwarf_uint32, stream, start) == 0xFFFFFFFF else 32
    if bits != structs.dwarf_format:
        raise Unusable(
            f"the line table must use the {structs.dwarf_format}-bit format of its unit, "
            f"not {bits} bits"
        )
    stream.seek(start + structs.initial_length_field_size())
    if struct_parse(structs.the_Dwarf_uint16, stream) < 5:
        return
    stream.seek(2 + structs.dwarf_format // 8 + 5, 1)
    stream.seek(struct_parse(byte, stream) - 1, 1)
    for _ in ("folders", "files"):
        count = struct_parse(byte, stream)
        fields = [(struct_parse(leb, stream), struct_parse(leb, stream)) for _ in range(count)]
        for _ in range(struct_parse(leb, stream)):
            before = stream.tell()
            for _, form in fields:
                struct_parse(structs.Dwarf_dw_form[DW_FORM_raw2name[form]], stream)
            if stream.tell() == before:
                raise Unusable("a file name in the line table must have at least one byte")
