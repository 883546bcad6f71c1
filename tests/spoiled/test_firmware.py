"""Firmware files that are no ELF, spoiled, or without what is looked for."""

from __future__ import annotations

import random
from pathlib import Path

import pytest

from busbox.basics.errors import InputError
from busbox.bench.find import packaged_benches
from busbox.firmware.program import Firmware, Source
from tests.firmware.firmware_files import (
    ELSEWHERE,
    FUNCTION,
    HIGH,
    LINES,
    LOW,
    NAME,
    ORIGIN,
    UNIT,
    Address,
    Entry,
    Maker,
    To,
)

CABIN = (packaged_benches()["signal_cabin"].parent / "signal_cabin.elf").read_bytes()
#: Where its debug sections and its section headers begin. Source: readelf of GNU binutils 2.40.
DEBUG, HEADERS = 0x2000, 12940
MAKER = Maker(version=5)
PULL = Entry(FUNCTION, {NAME: "pull", LOW: Address(0x100), HIGH: 0x20})
ROWS = [(0x100, 0, 7), (0x120, 0, 0)]
UNSOUND = "is not a valid ELF file: inconsistent or truncated"
SHORT = "is truncated: it must have 13,580 bytes, not"


def unit(*entries: Entry) -> dict[str, bytes]:
    """Return the sections of a unit with these entries."""
    return MAKER.unit(Entry(UNIT, {NAME: "cabin.c", LINES: 0}, list(entries)))


def changed(place: int, data: bytes) -> bytes:
    """Return the cabin's firmware with other bytes at a place."""
    return CABIN[:place] + data + CABIN[place + len(data) :]


def lines_with(old: bytes, new: bytes) -> bytes:
    """Return a small firmware whose line table has other bytes."""
    table = MAKER.lines([ROWS])[".debug_line"]
    assert table.count(old) == 1
    return MAKER.elf(unit(PULL) | {".debug_line": table.replace(old, new)})


ITSELF = Entry(FUNCTION, {ORIGIN: To("a"), LOW: Address(0x100), HIGH: 8}, label="a")
BACK = [(0x104, 0, 7), (0x100, 0, 8), (0x120, 0, 0)]
STRANGE = [(0x100, 3, 7), (0x120, 0, 0)]
CASES = {
    "A text is no ELF file.": (
        b"lever 1\n",
        "must be an ELF file, which begins with the bytes 7f 45 4c 46, not with 6c 65 76 65",
    ),
    "An empty file is no ELF file.": (
        b"",
        "must be an ELF file, which begins with the bytes 7f 45 4c 46, not with nothing",
    ),
    "The first bytes alone are no file.": (CABIN[:4], UNSOUND),
    "A header must be whole.": (CABIN[:51], UNSOUND),
    "What follows the header must be there.": (CABIN[:52], f"{SHORT} 52"),
    "The code must be whole.": (CABIN[:0x1100], f"{SHORT} 4,352"),
    "The debug information must be whole.": (CABIN[: DEBUG + 100], f"{SHORT} 8,292"),
    "The section headers must be there.": (CABIN[:HEADERS], f"{SHORT} 12,940"),
    "The last section header must be whole.": (CABIN[:-1], f"{SHORT} 13,579"),
    "A section must be whole.": (
        changed(HEADERS + 40 + 20, b"\xff\xff\0\0"),
        "is truncated: it must have 69,631 bytes, not 13,580",
    ),
    "The width must be known.": (changed(4, b"\3"), UNSOUND),
    "A file without sections has no debug information.": (
        changed(32, bytes(4))[:48] + bytes(4) + CABIN[52:],
        "must have debug information (compile with -g); its section .debug_info is missing or empty",
    ),
    "A file with other sections has no debug information.": (
        MAKER.elf({".text": b"code"}),
        "must have debug information (compile with -g); its section .debug_info is missing or empty",
    ),
    "A file must have a line table.": (
        MAKER.elf(unit(PULL)),
        "must have debug information (compile with -g); its section .debug_line is missing or empty",
    ),
    "A line table must have something in it.": (
        MAKER.elf(unit(PULL) | {".debug_line": b""}),
        "must have debug information (compile with -g); its section .debug_line is missing or empty",
    ),
    "An object file has no addresses.": (
        MAKER.elf(unit(PULL) | MAKER.lines([ROWS]), kind=1),
        "must be a linked program; this is an object file, and its addresses are not final",
    ),
    "The debug information must be in the file.": (
        MAKER.elf(MAKER.unit(Entry(UNIT, {ELSEWHERE: "cabin.rest"})) | MAKER.lines([ROWS])),
        "the debug information must be in this file, not in 'cabin.rest'; "
        "compile without -gsplit-dwarf",
    ),
    "A function must not be made from itself.": (
        MAKER.elf(unit(ITSELF) | MAKER.lines([ROWS])),
        "a function's origin must be another function, not itself",
    ),
    "Addresses must go up.": (
        MAKER.elf(unit(PULL) | MAKER.lines([BACK])),
        "addresses in the line table must ascend, not go from 0x00000104 to 0x00000100",
    ),
    "A row must have a file of the table.": (
        MAKER.elf(unit(PULL) | MAKER.lines([STRANGE])),
        "the line table has no file number 3; it has 1",
    ),
    "Before DWARF 5, files count from 1.": (
        Maker().elf(Maker().unit(Entry(UNIT, {LINES: 0}, [PULL])) | Maker().lines([ROWS])),
        "the line table has no file number 0; it has 1",
    ),
    "A file must have a folder of the table.": (
        MAKER.elf(unit(PULL) | MAKER.lines([ROWS], (("cabin.c", 2),))),
        "the line table has no folder number 2; it has 1",
    ),
    "A sequence must have an end.": (
        lines_with(b"\x20\1\0\0\0\1\1", b"\x20\1\0\0\1\1\1"),
        "the line table has no end after its row at 0x00000120",
    ),
    "A file name must take bytes, or there is no end of them.": (
        lines_with(b"\2\1\x08\2\x0f\1cabin.c\0\0", b"\0\xff\xff\xff\xff\xff\xff\xff\xff\x7f     "),
        "a file name in the line table must have at least one byte",
    ),
    "Unit and line table must be of one form.": (
        MAKER.elf(unit(PULL) | {".debug_line": b"\xff\xff\xff\xff" + bytes(40)}),
        "the line table must use the 32-bit format of its unit, not 64 bits",
    ),
}


@pytest.mark.parametrize("says", CASES)
def test_a_file_that_cannot_be_used_is_told(says: str, tmp_path: Path) -> None:
    """Each row: its sentence holds, and the whole text is the file and what must be."""
    contents, text = CASES[says]
    path = tmp_path / "cabin.elf"
    path.write_bytes(contents)
    with pytest.raises(InputError) as told:
        Firmware(path)
    assert str(told.value) == f"{path}: {text}"


def test_memory_that_is_not_in_the_file_may_be_long(tmp_path: Path) -> None:
    """The length of the cabin's section of zeros, which the file does not hold, is no matter."""
    path = tmp_path / "cabin.elf"
    path.write_bytes(changed(HEADERS + 3 * 40 + 20, b"\xff\xff\xff\0"))
    assert Firmware(path).source(0xAC) is not None


def test_a_file_that_is_not_there_is_told(tmp_path: Path) -> None:
    """A missing file, with the nearest name, and a folder are no firmware."""
    (tmp_path / "cabin.elf").mkdir()
    (tmp_path / "cabins.elf").touch()
    with pytest.raises(InputError) as told:
        Firmware(tmp_path / "cabin.elf")
    assert str(told.value) == f"must be a file, not the folder '{tmp_path / 'cabin.elf'}'"
    with pytest.raises(InputError) as told:
        Firmware(str(tmp_path / "cabinx.elf"))
    missing = tmp_path / "cabinx.elf"
    assert str(told.value) == f"there is no file '{missing}'; did you mean 'cabins.elf'?"


@pytest.mark.parametrize("seed", range(8))
def test_one_spoiled_byte_gives_a_table_or_an_error(seed: int, tmp_path: Path) -> None:
    """A byte of the debug sections may be anything: there is a table, or the file is refused."""
    draw, path, refused = random.Random(seed), tmp_path / "cabin.elf", []
    for _ in range(25):
        path.write_bytes(changed(draw.randrange(DEBUG, 0x2E6D), draw.randbytes(1)))
        try:
            firmware = Firmware(path)
        except InputError as error:
            refused.append(str(error))
            continue
        found = [firmware.source(pc) for pc in range(0, 0x2B0, 4)]
        assert all(isinstance(one, Source) for one in found if one is not None)
    assert 0 < len(refused) < 25
    assert all(text.startswith(f"{path}: ") for text in refused)
