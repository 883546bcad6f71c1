"""Programs that no core can execute, and cores that fit no program: one clear sentence each."""

from __future__ import annotations

import struct
from pathlib import Path
from typing import Any

import pytest

from busbox import Bench
from busbox.basics.errors import InputError
from busbox.bench.find import packaged_benches

pytestmark = pytest.mark.quick

CABIN = (packaged_benches()["signal_cabin"].parent / "signal_cabin.elf").read_bytes()
#: Offsets in the ELF header and a program header. Source: ELF specification 1.2, figures 1-3 and 2-1.
CLASS, DATA, TYPE, MACHINE, ENTRY, HEADERS = 4, 5, 16, 18, 24, 52
PADDR, FILESZ = 12, 16


def changed(*changes: tuple[int, bytes]) -> bytes:
    """Return the program of signal_cabin with other bytes at some places."""
    found = bytearray(CABIN)
    for place, data in changes:
        found[place : place + len(data)] = data
    return bytes(found)


def keys(name: str = "cabin.elf", **core: Any) -> dict[str, Any]:
    """Return a bench that executes a file."""
    return {
        "clock": "16 MHz",
        "slot": {"levers": {"model": "gpio", "base": 0x4000_0000, "size": 0x1000}},
        "traffic": {"file": name},
        **({"core": core} if core else {}),
    }


def refused(folder: Path, bench: dict[str, Any]) -> str:
    """Return what is said of a bench, without the folder."""
    with pytest.raises(InputError) as error:
        Bench(bench, folder=folder).system()
    return str(error.value).replace(f"{folder}/", "")


FILES = {
    "An empty file.": (
        b"",
        "must be an ELF file, which begins with the bytes 7f 45 4c 46, not nothing",
    ),
    "A text.": (
        b"lever 1",
        "must be an ELF file, which begins with the bytes 7f 45 4c 46, not 6c 65 76 65",
    ),
    "For another machine.": (changed((MACHINE, b"\x28\0")), "must be for RISC-V, not for ARM"),
    "Big-endian.": (
        # The fields of the header are read the other way round.
        changed((DATA, b"\x02"), (TYPE, b"\0\x02"), (MACHINE, b"\0\xf3")),
        "must be little-endian, not big-endian",
    ),
    "An object file.": (
        changed((TYPE, b"\x01\0")),
        "must be a linked program, not an object file",
    ),
    "A shared object.": (
        changed((TYPE, b"\x03\0")),
        "must be a linked program, not a shared object",
    ),
    "Nothing but a header.": (CABIN[:52], "is not a valid ELF file: inconsistent or truncated"),
    "A segment behind the end.": (
        changed((HEADERS + FILESZ, struct.pack("<I", 0x10_0000))),
        "is truncated: a segment ends behind the end of the file",
    ),
}


@pytest.mark.parametrize("what", FILES)
def test_a_file_that_is_no_program_is_refused(what: str, tmp_path: Path) -> None:
    """The message names the file, what it must be and what it is."""
    contents, text = FILES[what]
    (tmp_path / "cabin.elf").write_bytes(contents)
    assert refused(tmp_path, keys()) == f"cabin.elf: {text}"


def test_a_program_of_64_bits_is_refused(tmp_path: Path) -> None:
    """Its class is named. Source: ELF specification, e_ident[EI_CLASS] = 2."""
    header = bytearray(64)
    header[:7] = b"\x7fELF\x02\x01\x01"
    header[TYPE : TYPE + 8] = struct.pack("<HHI", 2, 243, 1)
    header[52:64] = struct.pack("<HHHHHH", 64, 56, 0, 64, 0, 0)
    (tmp_path / "cabin.elf").write_bytes(header)
    expected = "cabin.elf: must be an ELF file of 32 bits, not of 64"
    assert refused(tmp_path, keys()) == expected


@pytest.mark.parametrize("length", range(1, len(CABIN), 397))
def test_a_program_cut_short_is_refused(length: int, tmp_path: Path) -> None:
    """Wherever the file ends, there is one message: its section headers stand at the end."""
    (tmp_path / "cabin.elf").write_bytes(CABIN[:length])
    text = refused(tmp_path, keys())
    assert text.startswith("cabin.elf: ")
    assert "\n" not in text


CORES = {
    "An entry in no memory.": (
        changed((ENTRY, struct.pack("<I", 0x9000_0000))),
        {},
        "core.start: the entry of cabin.elf must be in a memory of the core, not 0x90000000",
    ),
    "A start between two instructions.": (
        CABIN,
        {"start": 2, "isa": "rv32im"},
        "core.start: start of cabin.elf must be a multiple of 4, not 0x00000002",
    ),
    "A segment that overlaps a slot.": (
        changed((HEADERS + PADDR, struct.pack("<I", 0x4000_0800))),
        {"start": 0x4000_0800},
        "core: the core's memory 0x40000800 to 0x40000ad3 overlaps slot levers, which begins at "
        "0x40000000",
    ),
    "A program in none of the memories.": (
        CABIN,
        {"memory": [{"at": 0x2000_0000, "size": 0x100}], "start": 0x2000_0000},
        "core.memory: cabin.elf loads 0x00000000 to 0x000002d3, which is in no [[core.memory]]",
    ),
    "Memories that overlap.": (
        CABIN,
        {"memory": [{"at": 0, "size": 0x1000}, {"at": 0x800, "size": 0x1000}]},
        "core.memory: the memories at 0x00000000 and 0x00000800 overlap",
    ),
    "An instruction set that there is not.": (
        CABIN,
        {"isa": "rv32imac"},
        "core.isa: must be 'rv32i', 'rv32im', 'rv32ic' or 'rv32imc', not 'rv32imac'; did you mean "
        "'rv32imc'?",
    ),
    "A class of clocks that there is not.": (
        CABIN,
        {"clocks": {"jmp": 3}},
        "core.clocks.jmp: unknown key 'jmp'; did you mean 'jump'? (known: base, load, store, multiply, "
        "divide, branch_taken, branch_not_taken, jump, csr, fence, trap or return)",
    ),
    "No clocks.": (
        CABIN,
        {"clocks": 0},
        "core.clocks: must be a whole number of cycles from 1 on, or a table, not 0",
    ),
    "An access raised behind its load.": (
        CABIN,
        {"access_at": 4},
        "core.access_at: must be at most the clocks of load and store, 3, not 4",
    ),
    "A pin that there is not.": (
        CABIN,
        {"interrupt": "levers.interupt"},
        "core.interrupt: levers has no pin 'interupt'; did you mean 'interrupt'?",
    ),
    "A size that is no multiple of 4.": (
        CABIN,
        {"memory": [{"at": 0, "size": 0x1002}]},
        "core.memory.0.size: must be a multiple of 4, not 0x1002",
    ),
    "A memory without a size.": (
        CABIN,
        {"memory": [{"at": 0}]},
        "core.memory.0: must have a key size, such as size = 0x1_0000",
    ),
}


@pytest.mark.parametrize("what", CORES)
def test_a_core_that_cannot_be_is_refused(what: str, tmp_path: Path) -> None:
    """The message names the key, what is there and what must be."""
    contents, core, text = CORES[what]
    (tmp_path / "cabin.elf").write_bytes(contents)
    assert text in refused(tmp_path, keys(**core))


def test_a_core_needs_a_program(tmp_path: Path) -> None:
    """[core] beside steps is a mistake, and so is a plain binary without its address."""
    (tmp_path / "evening.steps").write_text("write levers.OUT 1\n", encoding="utf-8")
    (tmp_path / "cabin.bin").write_bytes(bytes(8))
    expected = "core: is for traffic that is a program: an ELF, Intel HEX or binary file"
    assert refused(tmp_path, keys("evening.steps", isa="rv32i")) == expected
    expected = "cabin.bin: a plain binary needs the address where it is loaded: at in [traffic]"
    assert refused(tmp_path, keys("cabin.bin")) == expected
    steps = keys("evening.steps")
    steps["traffic"]["at"] = 0
    assert "at is for a program in a plain binary" in refused(tmp_path, steps)
    elf = keys()
    (tmp_path / "cabin.elf").write_bytes(CABIN)
    elf["traffic"]["at"] = 0
    expected = "cabin.elf: the addresses are in the file: leave out at in [traffic]"
    assert refused(tmp_path, elf) == expected
    assert refused(tmp_path, {**keys(), "after_reset": "continue"}) == (
        "after_reset: must be 'restart' for a core: a reset restarts it"
    )
