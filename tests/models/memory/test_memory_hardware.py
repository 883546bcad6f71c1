"""The memory in Amaranth, in every cycle beside its model; every word is looked at in every cycle."""

from __future__ import annotations

import random
from pathlib import Path

import pytest
from amaranth.back import rtlil
from intelhex import IntelHex

from busbox.device import Site
from busbox.models.memory import Memory
from busbox.models.memory.hardware import MemoryHardware
from tests.models.hardware_harness import Aimed, Case, Pair

BASE = 0x4000_0000
SIZE = 0x14  # five words: no power of two
ONES = 0xFFFF_FFFF

waits = pytest.mark.parametrize("wait", [1, 2])
kinds = pytest.mark.parametrize("kind", ["ram", "rom"])


class ListedMemory(Memory):
    """The model, with all of its words among its registers."""

    def registers(self) -> dict[str, int]:
        """Return every word."""
        return {f"WORD.{n}": self._words.get(4 * n, 0) for n in range(self.host.size // 4)}


def memories(kind: str = "ram", file: Path | None = None, size: int = SIZE) -> Pair:
    """Return a memory and its twin."""
    return Pair(ListedMemory, size, BASE, kind=kind, file=None if file is None else str(file))


def heard(pair: Pair) -> list[tuple[int, str, int, int]]:
    """Return (cycle, kind, access, offset) of what the twin's note reader has reported."""
    return [(e.cycle, e.kind, e.access, e.details["offset"]) for e in pair.hosts[1].events]


@waits
def test_a_write_shows_from_the_next_cycle(wait: int) -> None:
    """A word written in cycle 8 is old in cycle 8, new in 9, and in the next read that fits."""
    pair = memories()
    accesses = [Aimed(4, 4, 0x1111_1111), Aimed(8, 4, 0x2222_2222), Aimed(9 + wait, 4)]
    assert pair.play(Case(accesses), 16, wait) == [0x2222_2222]
    assert heard(pair) == []


@pytest.mark.parametrize("lanes", range(16))
def test_a_write_changes_selected_bytes_only(lanes: int) -> None:
    """0xAABBCCDD over 0x12345678; the word is read back with no lane selected."""
    accesses = [Aimed(3, 8, 0x1234_5678), Aimed(5, 8, 0xAABB_CCDD, lanes), Aimed(7, 8, lanes=0)]
    memories().play(Case(accesses), 10, wait=1)


@waits
@pytest.mark.parametrize("size", [4, 8, 0x14, 0x20])
def test_every_word_of_the_slot_is_memory(wait: int, size: int) -> None:
    """Each word keeps its own value: all are written, then all are read in another order."""
    pair, step = memories(size=size), wait + 1
    offsets = range(0, size, 4)
    writes = [Aimed(3 + step * n, at, 0xC0DE_0000 | at) for n, at in enumerate(offsets)]
    first = writes[-1].end + step
    reads = [Aimed(first + step * n, at) for n, at in enumerate(reversed(offsets))]
    words = pair.play(Case([*writes, *reads]), reads[-1].end + 2, wait)
    assert words == [0xC0DE_0000 | at for at in reversed(offsets)]


@pytest.mark.parametrize(("lanes", "empty"), [(0b0000, True), (0b0001, False), (0b1000, False)])
def test_a_word_is_empty_until_a_byte_is_written(lanes: int, empty: bool) -> None:
    """A read before and after a write by lanes: each read of an empty word is an event of its cycle."""
    pair = memories()
    pair.play(Case([Aimed(3, 4), Aimed(6, 4, 7, lanes), Aimed(9, 4), Aimed(12, 8)]), 15, wait=1)
    late = [(9, "uninitialised-read", 2, 4)] if empty else []
    assert heard(pair) == [
        (3, "uninitialised-read", 0, 4), *late, (12, "uninitialised-read", 3, 8)
    ]  # fmt: skip


@pytest.mark.parametrize("lanes", [0b1111, 0b0100, 0b0000])
def test_a_rom_drops_writes(lanes: int) -> None:
    """A write to a rom is acknowledged, changes nothing, and is an event of its cycle."""
    pair = memories("rom")
    assert pair.play(Case([Aimed(4, 0x10, ONES, lanes), Aimed(7, 0x10)]), 10, wait=1) == [0]
    assert heard(pair) == [(4, "rom-write", 0, 0x10), (7, "uninitialised-read", 1, 0x10)]


@kinds
def test_contents_come_from_a_file(tmp_path: Path, kind: str) -> None:
    """A binary that ends inside a word: the first words are given, the rest is empty."""
    (tmp_path / "levers.bin").write_bytes(bytes(range(1, 7)))
    pair = memories(kind, tmp_path / "levers.bin")
    accesses = [Aimed(3, 0), Aimed(6, 4), Aimed(9, 8), Aimed(12, 4, 0, 0b0001), Aimed(15, 4)]
    words = pair.play(Case(accesses), 18, wait=1)
    assert words == [0x0403_0201, 0x0605, 0, 0x0600 if kind == "ram" else 0x0605]
    dropped = [(12, "rom-write", 3, 4)] if kind == "rom" else []
    assert heard(pair) == [(9, "uninitialised-read", 2, 8), *dropped]


def test_intel_hex_addresses_are_bus_addresses(tmp_path: Path) -> None:
    """Bytes around both ends of the slot: what lies in it is its contents."""
    image = IntelHex()
    image.puts(BASE - 2, b"\x11\x22\x33")
    image.puts(BASE + SIZE - 1, b"\x44\x55")
    image.write_hex_file(str(tmp_path / "levers.hex"))
    pair = memories("rom", tmp_path / "levers.hex")
    words = pair.play(Case([Aimed(3, 0), Aimed(6, 0x10), Aimed(9, 0x0C)]), 12, wait=1)
    assert words == [0x33, 0x4400_0000, 0]
    assert heard(pair) == [(9, "uninitialised-read", 2, 0x0C)]


@waits
@pytest.mark.parametrize("cycle", range(6, 10))
@pytest.mark.parametrize("length", [1, 3])
def test_a_reset_leaves_the_contents(wait: int, cycle: int, length: int) -> None:
    """RST around a write in cycle 8: the write happens unless RST meets it; what was written stays."""
    pair = memories()
    accesses = [
        Aimed(4, 0, 0x1234_5678), Aimed(8, 4, 0x9ABC_DEF0), Aimed(15, 0), Aimed(18, 4)
    ]  # fmt: skip
    words = pair.play(Case(accesses, resets=[(cycle, length)]), 21, wait)
    cut = cycle + length > 8 - wait and cycle <= 8
    assert words == [0x1234_5678, 0 if cut else 0x9ABC_DEF0]
    assert len(heard(pair)) == cut


@pytest.mark.parametrize("wait", [1, 2, 3])
@kinds
def test_random_traffic(tmp_path: Path, wait: int, kind: str) -> None:
    """The twin is the model's equal in every cycle of random traffic, most of it back to back."""
    dice = random.Random(f"memory {wait} {kind}")
    (tmp_path / "levers.bin").write_bytes(dice.randbytes(9))
    file = tmp_path / "levers.bin" if dice.random() < 0.7 else None
    accesses: list[Aimed] = []
    cycle = 0
    while len(accesses) < 150:
        cycle += 1 + wait + dice.choice([0, 0, 0, 1, 4])
        data = dice.getrandbits(32) if dice.random() < 0.5 else None
        lanes = dice.choice([0b1111, 0b1111, dice.randrange(16)])
        accesses.append(Aimed(cycle, 4 * dice.randrange(13), data, lanes))
    resets = [(at + dice.randrange(30), dice.randrange(1, 4)) for at in range(40, cycle, 60)]
    pair = memories(kind, file, 4 * 13)
    pair.play(Case(accesses, resets=resets), cycle + 3, wait)
    assert heard(pair)


def test_it_needs_a_wait_state() -> None:
    """Without a wait state the read port shows the word of the address of the cycle before."""
    assert MemoryHardware.least_wait == 1
    pair = memories()
    pair.play(Case([Aimed(3, 4, 7), Aimed(6, 4), Aimed(9, 8, 9), Aimed(12, 4)]), 15, wait=1)
    pair = memories()
    with pytest.raises(AssertionError, match=r"Aimed\(end=12"):
        pair.play(Case([Aimed(3, 4, 7), Aimed(11, 8, 9), Aimed(12, 4)]), 15, wait=0)


@kinds
@pytest.mark.parametrize("size", [4, 0x14, 0x1000])
def test_it_converts(kind: str, size: int) -> None:
    """The twin is hardware: one memory, whose read port of the bus has a clock."""
    settings = {"kind": kind, "file": None}
    text = rtlil.convert(MemoryHardware(Site("dev", BASE, size, 1), **settings), emit_src=False)
    assert text.count("cell $memrd_v2") == 2
    assert text.count("cell $memwr_v2") == (kind == "ram")
    assert text.count("parameter \\CLK_ENABLE 1\n") == 1 + (kind == "ram")
