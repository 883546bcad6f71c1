"""Images of memories that are spoiled, or have nothing in the slot."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.spoiled.cabin import Spoiled, assert_told

CASES = (
    Spoiled(
        "A HEX record must begin with a colon.",
        (
            "busbox: log.hex:1: is not a valid memory image: a record must be : and pairs "
            "of hexadecimal digits, not 'lever 1'\n"
        ),
        edits=(('kind = "ram"', 'file = "log.hex"'),),
        files={"log.hex": "lever 1\n"},
    ),
    Spoiled(
        "A HEX record must have its length.",
        (
            "busbox: log.hex:2: is not a valid memory image: a record of 4 bytes must have "
            "18 digits, not 16\n"
        ),
        edits=(('kind = "ram"', 'file = "log.hex"'),),
        files={"log.hex": (":00000001FF\n:0400000001020304\n")},
    ),
    Spoiled(
        "A HEX record's checksum must be right.",
        ("busbox: log.hex:1: is not a valid memory image: the checksum must be 0xbe, not 0xbf\n"),
        edits=(('kind = "ram"', 'file = "log.hex"'),),
        files={"log.hex": ":0100000041BF\n"},
    ),
    Spoiled(
        "A HEX record's type must be known.",
        ("busbox: log.hex:1: is not a valid memory image: a record's type must be 0 to 5, not 9\n"),
        edits=(('kind = "ram"', 'file = "log.hex"'),),
        files={"log.hex": ":00000009F7\n"},
    ),
    Spoiled(
        "A HEX file of binary data is refused.",
        (
            "busbox: log.hex:1: is not a valid memory image: a record must be : and pairs "
            "of hexadecimal digits, not 'ÿ\\x00\\x80'\n"
        ),
        edits=(('kind = "ram"', 'file = "log.hex"'),),
        files={"log.hex": b"\xff\x00\x80\n"},
    ),
    Spoiled(
        "A HEX file must have something in the slot.",
        (
            "busbox: log.hex: must have at least one byte between 0x20000000 and "
            "0x200000ff, where the slot is; it has bytes from 0x00000000 to 0x00000000\n"
        ),
        edits=(('kind = "ram"', 'file = "log.hex"'),),
        files={"log.hex": (":0100000041BE\n:00000001FF\n")},
    ),
    Spoiled(
        "An empty HEX file has nothing anywhere.",
        (
            "busbox: log.hex: must have at least one byte between 0x20000000 and "
            "0x200000ff, where the slot is; it has none\n"
        ),
        edits=(('kind = "ram"', 'file = "log.hex"'),),
        files={"log.hex": ""},
    ),
    Spoiled(
        "An empty file has nothing in the slot.",
        (
            "busbox: log.bin: must have at least one byte between 0x20000000 and "
            "0x200000ff, where the slot is; it has none\n"
        ),
        edits=(('kind = "ram"', 'file = "log.bin"'),),
        files={"log.bin": ""},
    ),
    Spoiled(
        "An ELF file must begin as one.",
        (
            "busbox: log.elf: is not a valid memory image: an ELF file must begin with the "
            "bytes 7f 45 4c 46\n"
        ),
        edits=(('kind = "ram"', 'file = "log.elf"'),),
        files={"log.elf": "lever 1\n"},
    ),
    Spoiled(
        "An ELF file must be whole.",
        ("busbox: log.elf: is not a valid memory image: inconsistent or truncated\n"),
        edits=(('kind = "ram"', 'file = "log.elf"'),),
        files={"log.elf": b"\x7fELF\x01\x01\x01"},
    ),
    Spoiled(
        "What begins as an ELF file is one, whatever its name.",
        ("busbox: log.bin: is not a valid memory image: inconsistent or truncated\n"),
        edits=(('kind = "ram"', 'file = "log.bin"'),),
        files={"log.bin": b"\x7fELF\x01\x01\x01"},
    ),
)


@pytest.mark.parametrize("spoiled", CASES, ids=[case.says for case in CASES])
def test_it_is_told_and_nothing_is_left(
    spoiled: Spoiled,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Each row: its sentence holds, its whole text is told, and the folder stays as it was."""
    assert_told(spoiled, tmp_path, monkeypatch, capsys)
