"""From an address to function and line: the cabin's firmware, and small files made by hand."""

from __future__ import annotations

import csv
import gzip
import re
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from busbox.bench import packaged_benches
from busbox.firmware import Firmware, Source
from busbox.spans import Spans
from tests.firmware_files import (
    BLOCK,
    FUNCTION,
    HIGH,
    INLINED,
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

FOLDER = packaged_benches()["signal_cabin"].parent
CODE = (FOLDER / "signal_cabin.c").read_text(encoding="utf-8")
#: `#define LAMPS 0x40002000u` and `#define LED_STATUS REG(LAMPS + 0x04)` of the C file.
BASE = re.compile(r"#define (\w+) +(0x\w+)u")
REGISTER = re.compile(r"#define (\w+)(?:\(n\))? +(REG|\(\*\(\w+ \w+ char \*\))\((\w+) \+ (0x\w+)")


@pytest.fixture(scope="module")
def cabin() -> Firmware:
    return Firmware(FOLDER / "signal_cabin.elf")


def registers() -> dict[tuple[int, str], str]:
    """Return (address, lanes) and name of every register, from the text of the C file."""
    bases = {name: int(value, 16) for name, value in BASE.findall(CODE)}
    found = {}
    for name, access, base, offset in REGISTER.findall(CODE):
        address = bases[base] + int(offset, 16)
        lanes = "1111" if access == "REG" else f"{1 << (address & 3):04b}"
        for place in range(12 if name == "LED_COLOUR" else 1):
            found[(address & ~3) + 4 * place, lanes] = name
    return found


def accesses() -> list[tuple[str, int, str, int]]:
    """Return (op, address, lanes, pc) of every access of the recorded traffic."""
    with gzip.open(FOLDER / "signal_cabin.csv.gz", "rt", encoding="utf-8", newline="") as file:
        return [
            (row["op"], int(row["address"], 16), row["lanes"], int(row["pc"], 16))
            for row in csv.DictReader(file)
        ]


def test_every_recorded_access_comes_from_a_line_with_its_register(cabin: Firmware) -> None:
    """Each of the 58,479 accesses leads to a line that names its register, a write to an "="."""
    names, recorded = registers(), accesses()
    assert (len(names), len(recorded)) == (25, 58_479)
    for op, address, lanes, pc in set(recorded):
        source = cabin.source(pc)
        assert source is not None
        text = cabin.text(source)
        assert text == CODE.splitlines()[source.line - 1].strip()
        told = re.escape(names[address, lanes]) + (r"(\(n\))? =" if op == "write" else "")
        assert re.search(rf"(?<!#define )\b{told}(?!\w)", text), (hex(pc), text)
        assert not text.startswith("#define")


@pytest.mark.parametrize(
    ("pc", "told"),
    [
        (0x5C, "show_aspects, signal_cabin.c:43"),
        (0xA4, "show_aspects, signal_cabin.c:44"),
        (0xC0, "show_aspects, signal_cabin.c:47"),
        (0xC8, "put in say, signal_cabin.c:30"),
        (0xCC, "say, signal_cabin.c:31"),
        (0x13C, "number, signal_cabin.c:37"),
        (0x178, "main, signal_cabin.c:52"),
        (0x1D4, "wait_cycles in main, signal_cabin.c:38"),
        (0x248, "put in main, signal_cabin.c:30"),
        (0x2A7, "main, signal_cabin.c:74"),
        (0x0, "None"),
        (0x2A8, "None"),
        (0x2000_0000, "None"),
        (-1, "None"),
    ],
)
def test_an_address_has_its_function_and_line(cabin: Firmware, pc: int, told: str) -> None:
    """The last row of an address counts, inlined functions are told, what has neither is None.

    Source: addr2line of GNU binutils 2.40, run by hand on every address (the start code, 0 to 0x5b,
    has lines but no function in the debug information; it takes a label of the symbol table).
    """
    assert str(cabin.source(pc)) == told


def test_a_source_has_its_parts(cabin: Firmware) -> None:
    """The parts are those that the text shows, and the path as recorded."""
    assert cabin.source(0xE8) == Source("say", "signal_cabin.c", 30, ("put",), "signal_cabin.c")
    assert str(Source("main", "a.c", 5, ("put", "say"))) == "put in say in main, a.c:5"


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
    """Address ranges count from the unit's first address, or from a base in their list."""
    maker = Maker()
    words = [0, 8, 0xFFFF_FFFF, 0x200, 4, 8, 0, 0]
    ranges = {".debug_ranges": b"".join(maker.address(word) for word in words)}
    entry = Entry(FUNCTION, {NAME: "pull", RANGES: 0})
    firmware = made(tmp_path, maker, [entry], [[(0x100, 1, 7), (0x300, 1, 0)]], ranges)
    assert told(firmware, 0x107, 0x204, 0x207) == ["pull, cabin.c:7"] * 3
    assert told(firmware, 0x108, 0x1FF, 0x203, 0x208) == ["None"] * 4


def test_a_function_has_the_name_of_what_it_was_made_from(tmp_path: Path) -> None:
    """Names come through origin and specification; the linker's name stands in for none."""
    entries = [
        Entry(FUNCTION, {NAME: "pull", LINKAGE: "_Z4pulli"}, label="told"),
        Entry(FUNCTION, {SPECIFICATION: To("told")}, label="origin"),
        Entry(FUNCTION, {ORIGIN: To("origin"), LOW: Address(0x100), HIGH: 8}),
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
    entries = [Entry(FUNCTION, PULL, [outer, beside, unnamed])]
    firmware = made(tmp_path, Maker(), entries, [[(0x100, 1, 7), (0x120, 1, 0)]])
    chains = [getattr(firmware.source(pc), "inlined", None) for pc in range(0x100, 0x118, 2)]
    say, both, ring = ("say",), ("put", "say"), ("ring",)
    assert chains == [say, say, *[both] * 4, say, None, ring, (), None, None]


def test_what_the_linker_left_out_is_not_at_address_0(tmp_path: Path) -> None:
    """At 0 stands the function the symbol table has there, with the rows that reach its end."""
    entries = [
        Entry(FUNCTION, {NAME: name, LOW: Address(0), HIGH: size})
        for name, size in (("gone", 8), ("pull", 12), ("lost", 400))
    ]
    sequences = [[(0, 1, line), (end, 1, 0)] for line, end in ((5, 8), (7, 12), (5, 4))]
    symbols = Maker().symbols({"lamp": 0x100, "pull.part.0": 1})
    firmware = made(tmp_path, Maker(), entries, sequences, symbols)
    assert told(firmware, 0, 11, 12) == ["pull, cabin.c:7", "pull, cabin.c:7", "None"]
    two = [*sequences, [(0, 1, 9), (16, 1, 0)]]
    assert told(made(tmp_path, Maker(), entries, two, symbols), 0) == ["None"]
    assert told(made(tmp_path, Maker(), entries, sequences), 0, 8, 300) == ["None"] * 3


def test_functions_at_one_address_are_told_only_if_they_agree(tmp_path: Path) -> None:
    """Where the file tells two functions, there is no answer; the same twice is one."""
    twice = [Entry(FUNCTION, PULL), Entry(FUNCTION, PULL)]
    assert told(made(tmp_path, Maker(), twice, [ROWS]), 0x100) == ["pull, cabin.c:7"]
    other = Entry(FUNCTION, {NAME: "ring", LOW: Address(0x104), HIGH: 4})
    firmware = made(tmp_path, Maker(), [*twice, other], [ROWS])
    assert told(firmware, 0x103, 0x104, 0x108) == ["pull, cabin.c:7", "None", "pull, cabin.c:7"]


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
    assert firmware.text(Source("pull", "a\0b", 1)) is None
    (tmp_path / "lamps.h").write_text("\n" * 8 + "lamp;", encoding="utf-8")
    assert firmware.text(header) == "lamp;"


@given(st.lists(st.tuples(st.integers(0, 30), st.integers(0, 30), st.integers())))
def test_spans_find_what_holds_at_an_address(spans: list[tuple[int, int, int]]) -> None:
    """At each address exactly those things are found that begin at or before and end after it."""
    found = Spans(spans)
    for address in range(-1, 32):
        expected = sorted(thing for low, high, thing in spans if low <= address < high)
        assert sorted(found.at(address)) == expected
