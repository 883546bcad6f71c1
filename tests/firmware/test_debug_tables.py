"""What debug information may hold that the cabin's firmware does not: small files made by hand."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from busbox.basics.ranges import Ranges
from busbox.firmware.program import Firmware, Source
from tests.firmware.firmware_files import (
    BLOCK,
    CODE,
    FILE,
    FUNCTION,
    HIGH,
    INLINED,
    LABEL,
    LINES,
    LINKAGE,
    LOW,
    NAME,
    ORIGIN,
    RANGES,
    SPECIFICATION,
    UNIT,
    Address,
    Entry,
    Maker,
    To,
)

pytestmark = pytest.mark.quick

TOP = {NAME: "cabin.c", LINES: 0, LOW: Address(0x100)}
PULL = {NAME: "pull", LOW: Address(0x100), HIGH: Address(0x120)}
ROWS = [(0x100, 1, 7), (0x110, 1, 0), (0x114, 2, 9), (0x118, 1, 300), (0x130, 1, 0)]


def made(
    folder: Path,
    maker: Maker,
    entries: list[Entry],
    sequences: list[list[tuple[int, int, int]]],
    more: dict[str, bytes] | None = None,
) -> Firmware:
    """Return a firmware of one unit; it has the files cabin.c and C:\\rail\\lamps.h."""
    first = 1 if maker.version < 5 else 0
    rows = [[(at, file - 1 + first, line) for at, file, line in one] for one in sequences]
    files = (("cabin.c", 2 - (maker.version >= 5)), ("C:\\rail\\lamps.h", 0))
    folders = ("src",) if maker.version >= 5 else ("/home", "src")
    sections = maker.unit(Entry(UNIT, TOP, entries)) | maker.lines(rows, files, folders)
    path = folder / "made.elf"
    path.write_bytes(maker.elf(sections | (more or {})))
    return Firmware(path)


def told(firmware: Firmware, *addresses: int) -> list[str]:
    return [str(firmware.source(address)) for address in addresses]


@pytest.mark.parametrize("version", [2, 3, 4, 5])
@pytest.mark.parametrize("bits", [32, 64])
@pytest.mark.parametrize("order", ["<", ">"])
def test_every_kind_of_file_is_read(tmp_path: Path, version: int, bits: int, order: str) -> None:
    """DWARF 2 to 5, 32 and 64 bits, both byte orders tell the same of the same program."""
    firmware = made(tmp_path, Maker(bits, order, version), [Entry(FUNCTION, PULL)], [ROWS])
    first, header = "pull, cabin.c:7", "pull, lamps.h:9"
    assert told(firmware, 0xFF, 0x100, 0x10F, 0x110) == ["None", first, first, "None"]
    assert told(firmware, 0x114, 0x118, 0x11F) == [header, *["pull, cabin.c:300"] * 2]
    assert told(firmware, 0x120, 0x130) == ["None", "None"]
    paths = [getattr(firmware.source(pc), "path", "") for pc in (0x100, 0x114)]
    assert paths == ["src/cabin.c", "C:\\rail\\lamps.h"]


def test_a_function_may_be_in_pieces(tmp_path: Path) -> None:
    """Ranges count from the unit's first address, from a base in their list, or from 0."""
    maker, entry = Maker(), Entry(FUNCTION, {NAME: "pull", RANGES: 0})
    words = [0, 8, 0xFFFF_FFFF, 0x200, 4, 8, 0, 0]
    ranges = {".debug_ranges": b"".join(maker.address(word) for word in words)}
    rows = [(0x100, 1, 7), (0x400, 1, 0)]
    firmware = made(tmp_path, maker, [entry], [rows], ranges)
    assert told(firmware, 0x107, 0x204, 0x207) == ["pull, cabin.c:7"] * 3
    assert told(firmware, 0x108, 0x1FF, 0x203, 0x208) == ["None"] * 4
    maker = Maker(version=5)  # kinds of entries: DWARF 5, section 7.25
    listed = bytes([4, 0, 8, 5]) + maker.address(0x200) + bytes([4, 4, 8])
    listed += bytes([6]) + maker.address(0x300) + maker.address(0x304)
    listed += bytes([7]) + maker.address(0x308) + bytes([4, 0])
    firmware = made(tmp_path, maker, [entry], [rows], {".debug_rnglists": listed})
    assert told(firmware, 0x107, 0x204, 0x303, 0x308, 0x30B) == ["pull, cabin.c:7"] * 5
    assert told(firmware, 0x108, 0x203, 0x208, 0x304, 0x30C) == ["None"] * 5


def test_a_function_has_the_name_of_what_it_was_made_from(tmp_path: Path) -> None:
    """Names come through origin and specification; the linker's name stands in for none."""
    entries = [
        Entry(FUNCTION, {NAME: "pull"}, label="told"),
        Entry(FUNCTION, {SPECIFICATION: To("told")}, label="origin"),
        Entry(FUNCTION, {LINKAGE: "_Z4pulli", ORIGIN: To("origin"), LOW: Address(0x100), HIGH: 8}),
        Entry(FUNCTION, {LINKAGE: "_Z4ringv", LOW: Address(0x108), HIGH: 8}),
        Entry(FUNCTION, {LOW: Address(0x110), HIGH: 8}),
    ]
    firmware = made(tmp_path, Maker(), entries, [[(0x100, 1, 7), (0x130, 1, 0)]])
    expected = ["pull, cabin.c:7", "_Z4ringv, cabin.c:7", "None"]
    assert told(firmware, 0x100, 0x108, 0x110) == expected


def test_inlined_functions_are_told_innermost_first(tmp_path: Path) -> None:
    """Blocks between do not count; two side by side at one address, or one unnamed, are unclear."""
    inner = Entry(INLINED, {NAME: "put", LOW: Address(0x104), HIGH: 8})
    outer = Entry(
        INLINED, {NAME: "say", LOW: Address(0x100), HIGH: 16}, [Entry(BLOCK, {}, [inner])]
    )
    beside = Entry(INLINED, {NAME: "ring", LOW: Address(0x10E), HIGH: 4})
    unnamed = Entry(INLINED, {LOW: Address(0x114), HIGH: 4})
    bell = Entry(INLINED, {NAME: "bell", LOW: Address(0x120), HIGH: 4})
    beside.inside.append(Entry(FUNCTION, {NAME: "own", LOW: Address(0x120), HIGH: 8}, [bell]))
    entries = [Entry(FUNCTION, PULL, [outer, beside, unnamed])]
    firmware = made(tmp_path, Maker(), entries, [[(0x100, 1, 7), (0x130, 1, 0)]])
    assert told(firmware, 0x120, 0x124) == ["bell in own, cabin.c:7", "own, cabin.c:7"]
    chains = [getattr(firmware.source(pc), "inlined", None) for pc in range(0x100, 0x118, 2)]
    say, both, ring = ("say",), ("put", "say"), ("ring",)
    assert chains == [say, say, *[both] * 4, say, None, ring, (), None, None]


def test_what_the_linker_left_out_is_not_at_address_0(tmp_path: Path) -> None:
    """At 0 stands the function the symbol table has there, with the rows that reach its end."""
    entries = [
        Entry(FUNCTION, {NAME: name, LOW: Address(low), HIGH: size})
        for name, low, size in (("gone", 0, 8), ("pull", 0, 12), ("lost", 0, 400), ("lamp", 256, 4))
    ]
    sequences = [[(0, 1, line), (end, 1, 0)] for line, end in ((5, 8), (7, 12), (5, 4))]
    others = (("lamp", 256, CODE, 1), ("gone.c", 0, FILE, 1), ("gone", 0, CODE, 0))
    symbols = Maker().symbols(*others, ("lost", 0, LABEL, 1), ("pull.part.0", 1, CODE, 1))
    firmware = made(tmp_path, Maker(), entries, sequences, symbols)
    assert told(firmware, 0, 11, 12) == ["pull, cabin.c:7", "pull, cabin.c:7", "None"]
    two = [*sequences, [(0, 1, 9), (16, 1, 0)]]
    assert told(made(tmp_path, Maker(), entries, two, symbols), 0) == ["None"]
    assert told(made(tmp_path, Maker(), entries, sequences), 0, 8, 300) == ["None"] * 3
    low = [Entry(FUNCTION, {NAME: "pull", LOW: Address(4), HIGH: 8})]
    rows = [[(0, 1, 5), (400, 1, 0)], [(4, 1, 7), (12, 1, 0)]]
    assert told(made(tmp_path, Maker(), low, rows), 0, 4) == ["None", "pull, cabin.c:7"]


def test_functions_at_one_address_are_told_only_if_they_agree(tmp_path: Path) -> None:
    """Where the file tells two functions, there is no answer; the same twice is one."""
    maker, twice = Maker(), [Entry(FUNCTION, PULL), Entry(FUNCTION, PULL)]
    assert told(made(tmp_path, maker, twice, [ROWS]), 0x100) == ["pull, cabin.c:7"]
    unclear = Entry(FUNCTION, PULL, [Entry(INLINED, {LOW: Address(0x100), HIGH: 4})])
    firmware = made(tmp_path, maker, [*twice, unclear], [ROWS])
    assert told(firmware, 0x103, 0x104) == ["None", "pull, cabin.c:7"]
    other = Entry(FUNCTION, {NAME: "ring", LOW: Address(0x104), HIGH: 4})
    firmware = made(tmp_path, maker, [*twice, other], [ROWS])
    assert told(firmware, 0x103, 0x104, 0x108) == ["pull, cabin.c:7", "None", "pull, cabin.c:7"]


def test_a_function_told_by_two_units_needs_its_lines_in_both(tmp_path: Path) -> None:
    """A unit that has the function but no line for it leaves the address without an answer."""
    maker = Maker()
    sections = maker.unit(Entry(UNIT, TOP, [Entry(FUNCTION, PULL)]))
    table, info = maker.lines([ROWS], (("cabin.c", 0),) * 2)[".debug_line"], sections[".debug_info"]
    second = info.replace(b"cabin.c\0" + bytes(4), b"cabin.c\0" + maker.number("I", len(table)))
    for more, expected in ((info, "pull, cabin.c:7"), (second, "None")):
        sections |= {".debug_info": info + more}
        lines = {".debug_line": table + maker.lines([])[".debug_line"]}
        (tmp_path / "made.elf").write_bytes(maker.elf(sections | lines))
        assert told(Firmware(tmp_path / "made.elf"), 0x100) == [expected]


def test_relocations_that_were_kept_are_not_added_again(tmp_path: Path) -> None:
    """A linked program's addresses are final, even if its relocations are still in it.

    Source of the numbers: RISC-V ELF specification, R_RISCV_ADD32 = 35.
    """
    maker, size = Maker(), Maker().number("I", 0x1C)
    entries = [Entry(FUNCTION, PULL | {HIGH: 0x1C})]
    place = maker.unit(Entry(UNIT, TOP, entries))[".debug_info"].index(size)
    more = maker.symbols(("pull", 0x100, CODE, 1))
    more[".rela.debug_info"] = maker.number("III", place, 1 << 8 | 35, 0)
    firmware = made(tmp_path, maker, entries, [[(0x100, 1, 7), (0x300, 1, 0)]], more)
    assert told(firmware, 0x11B, 0x11C) == ["pull, cabin.c:7", "None"]


def test_a_line_is_looked_for_at_its_path_then_beside(tmp_path: Path) -> None:
    """The recorded relative path counts first; no file, line or UTF-8 gives None, no error."""
    firmware = made(tmp_path, Maker(), [Entry(FUNCTION, PULL)], [ROWS])
    source, header = firmware.source(0x100), firmware.source(0x114)
    assert source is not None
    assert header is not None
    assert firmware.text(source) is None
    (tmp_path / "cabin.c").write_bytes(b"\n" * 6 + b"\t beside;\r\n\xff")
    assert firmware.text(source) == "beside;"
    (tmp_path / "src").mkdir()
    (tmp_path / "src" / "cabin.c").write_bytes(b"\x0c\r" + b"\n" * 6 + b" there; ")
    assert firmware.text(source) == "there;"
    assert firmware.text(Source("pull", "cabin.c", 8)) is None
    assert firmware.text(Source("pull", "cabin.c", 9)) is None
    assert firmware.text(Source("pull", "cabin.c", 0)) is None
    assert firmware.text(Source("pull", "src", 1)) is None
    there = str(tmp_path / "src" / "cabin.c")
    assert firmware.text(Source("pull", "moved.c", 7, path=there)) is None
    assert firmware.text(Source("pull", "a\0b", 1)) is None
    (tmp_path / "lamps.h").write_text("\n" * 8 + "lamp;", encoding="utf-8")
    assert firmware.text(header) == "lamp;"


@given(st.lists(st.tuples(st.integers(0, 30), st.integers(0, 30), st.integers())))
def test_spans_find_what_holds_at_an_address(spans: list[tuple[int, int, int]]) -> None:
    """At each address exactly those things are found that begin at or before and end after it."""
    found = Ranges(spans)
    for address in range(-1, 32):
        expected = sorted(thing for low, high, thing in spans if low <= address < high)
        assert sorted(found.at(address)) == expected
