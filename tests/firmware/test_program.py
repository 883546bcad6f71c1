"""From an address to function and line of the cabin's firmware."""

from __future__ import annotations

import csv
import gzip
import re

import pytest

from busbox.bench.find import packaged_benches
from busbox.firmware.program import Firmware, Source

pytestmark = pytest.mark.quick

FOLDER = packaged_benches()["signal_cabin_recorded"].parent
TEXT = (FOLDER / "signal_cabin.c").read_text(encoding="utf-8")
#: `#define LAMPS 0x40002000u` and `#define LED_STATUS REG(LAMPS + 0x04)` of the C file.
BASE = re.compile(r"#define (\w+) +(0x\w+)u")
REGISTER = re.compile(r"#define (\w+)(?:\(n\))? +(REG|\(\*\(\w+ \w+ char \*\))\((\w+) \+ (0x\w+)")


@pytest.fixture(scope="module")
def cabin() -> Firmware:
    return Firmware(FOLDER / "signal_cabin.elf")


def registers() -> dict[tuple[int, str], str]:
    """Return (address, lanes) and name of every register, from the text of the C file."""
    bases = {name: int(value, 16) for name, value in BASE.findall(TEXT)}
    found = {}
    for name, access, base, offset in REGISTER.findall(TEXT):
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
        assert text == TEXT.splitlines()[source.line - 1].strip()
        told = re.escape(names[address, lanes]) + (r"(\(n\))? =" if op == "write" else "")
        assert not text.startswith("#define"), hex(pc)
        assert re.search(rf"\b{told}(?!\w)", text), (hex(pc), text)


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
