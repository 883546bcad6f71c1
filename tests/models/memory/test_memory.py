"""Memory, sentence by sentence, each aimed at the cycle that the sentence names."""

from __future__ import annotations

import struct
from pathlib import Path

import pytest
from intelhex import IntelHex

from busbox.basics.errors import InputError
from tests.models.driving import BASE, WAITS, Drive, events, reads

pytestmark = [pytest.mark.parametrize("wait", WAITS), pytest.mark.quick]

#: C Users Journal 7.04.
JOURNAL = ":04FEDC00210080CFB2\n"
#: An 8051 assembler manual, appendix E.
MANUAL = ":10E0000002E003E4F588758910F58DF58BD28E302A\n"
SHORT = ":03012300010203D3\n"
END = ":00000001FF\n"


def test_a_write_shows_from_the_next_cycle(wait: int) -> None:
    """A word written in e = 8 over another reads old in cycle 6, new in the next read possible."""
    drive = Drive("memory", wait).write(3, 0x40, 0x1111_1111).read(6, 0x40)
    # Raised in cycle 9, the first one after e = 8, a read ends in 9 + w.
    recording = drive.write(8, 0x40, 0x2222_2222).read(9 + wait, 0x40).run()
    assert reads(recording) == {6: 0x1111_1111, 9 + wait: 0x2222_2222}


@pytest.mark.parametrize(
    ("lanes", "shown"),
    [
        (0b0001, 0x1234_56DD),
        (0b0010, 0x1234_CC78),
        (0b0100, 0x12BB_5678),
        (0b1000, 0xAA34_5678),
        (0b0110, 0x12BB_CC78),
        (0b0000, 0x1234_5678),
    ],
)
def test_a_write_changes_selected_bytes_only(wait: int, lanes: int, shown: int) -> None:
    """0xAABBCCDD written over 0x12345678 changes the selected bytes only."""
    drive = Drive("memory", wait).write(3, 0x40, 0x1234_5678).write(6, 0x40, 0xAABB_CCDD, lanes)
    assert reads(drive.read(9, 0x40).run()) == {9: shown}


@pytest.mark.parametrize("lanes", [0b0001, 0b1000, 0b0000])
def test_a_read_returns_the_whole_word_whatever_the_lanes(wait: int, lanes: int) -> None:
    """A read with one lane or none still gives all 32 bits."""
    drive = Drive("memory", wait).write(3, 0x40, 0x1234_5678).read(6, 0x40, lanes)
    assert reads(drive.run()) == {6: 0x1234_5678}


def test_every_word_of_the_slot_is_memory(wait: int) -> None:
    """First and last word of the slot, and their neighbours, each keep their own word."""
    drive = Drive("memory", wait, size=0x100)
    offsets = (0x00, 0x04, 0xF8, 0xFC)
    for place, offset in enumerate(offsets):
        drive.write(3 + 3 * place, offset, 0xC0DE_0000 | offset)
    for place, offset in enumerate(offsets):
        drive.read(20 + 3 * place, offset)
    assert reads(drive.run()) == {
        20: 0xC0DE_0000,
        23: 0xC0DE_0004,
        26: 0xC0DE_00F8,
        29: 0xC0DE_00FC,
    }


def test_each_read_of_an_unwritten_word_is_an_event_in_its_cycle(wait: int) -> None:
    """Reads in 5 and 9 of a word never written read 0, each with an event; the write ends that."""
    drive = Drive("memory", wait).read(5, 0x40).read(9, 0x40).write(12, 0x40, 0).read(15, 0x40)
    recording = drive.run()
    assert reads(recording) == {5: 0, 9: 0, 15: 0}
    assert events(recording) == [(5, "uninitialised-read", 0), (9, "uninitialised-read", 1)]


@pytest.mark.parametrize("lane", [0, 1, 2, 3])
def test_one_lane_is_enough_to_be_written(wait: int, lane: int) -> None:
    """After a write of one lane the word counts as written; its other bytes read 0."""
    drive = Drive("memory", wait).write(3, 0x40, 0x1122_3344, 1 << lane).read(6, 0x40)
    recording = drive.run()
    assert reads(recording) == {6: 0x1122_3344 & 0xFF << 8 * lane}
    assert events(recording) == []


def test_a_write_without_lanes_writes_nothing(wait: int) -> None:
    """After a write with no lane selected the word still counts as never written."""
    drive = Drive("memory", wait).write(3, 0x40, 0x1122_3344, 0).read(6, 0x40)
    recording = drive.run()
    assert reads(recording) == {6: 0}
    assert events(recording) == [(6, "uninitialised-read", 1)]


def test_a_write_of_one_word_is_none_of_its_neighbours(wait: int) -> None:
    """Words beside the one written still count as never written."""
    drive = Drive("memory", wait).write(3, 0x40, 1).read(6, 0x3C).read(9, 0x44)
    assert events(drive.run()) == [(6, "uninitialised-read", 1), (9, "uninitialised-read", 2)]


def test_a_reset_leaves_contents_and_what_was_written(wait: int) -> None:
    """A word written before a reset in cycle 9 reads the same after it, without an event."""
    drive = Drive("memory", wait, resets=[(9, 2)]).write(5, 0x40, 0x1234_5678).read(16, 0x40)
    recording = drive.read(20, 0x44).run()
    assert reads(recording) == {16: 0x1234_5678, 20: 0}
    assert events(recording) == [(20, "uninitialised-read", 2)]


def test_a_write_that_a_reset_cuts_off_stores_nothing(wait: int) -> None:
    """A write aimed at the first cycle of a reset is lost; one in the cycle before is kept."""
    lost = Drive("memory", wait, resets=[(9, 1)]).write(9, 0x40, 7).read(16, 0x40).run()
    assert (reads(lost), events(lost)) == ({16: 0}, [(16, "uninitialised-read", 1)])
    kept = Drive("memory", wait, resets=[(9, 1)]).write(8, 0x40, 7).read(16, 0x40).run()
    assert (reads(kept), events(kept)) == ({16: 7}, [])


def test_a_rom_drops_writes_with_an_event(wait: int) -> None:
    """Every write to a rom is dropped: event in its cycle e, and the word still reads 0."""
    drive = Drive("memory", wait, kind="rom").write(5, 0x40, 7).write(9, 0x40, 7, 0b0100)
    recording = drive.read(12, 0x40).run()
    assert reads(recording) == {12: 0}
    assert events(recording) == [
        (5, "rom-write", 0), (9, "rom-write", 1), (12, "uninitialised-read", 2)
    ]  # fmt: skip


def test_a_rom_without_contents_was_never_written(wait: int) -> None:
    """Every read of a rom without contents is an event, each time."""
    recording = Drive("memory", wait, kind="rom").read(5, 0).read(8, 0).run()
    assert events(recording) == [(5, "uninitialised-read", 0), (8, "uninitialised-read", 1)]


def test_memory_is_always_at_rest(wait: int) -> None:
    """The run ends in the cycle after the last access; there are no pins."""
    recording = Drive("memory", wait).write(5, 0, 7).run()
    assert (recording.cycles, recording.ended) == (7, "done")
    assert not recording.lines


def test_the_kind_is_ram_or_rom(wait: int) -> None:
    """Any other kind is refused."""
    with pytest.raises(InputError, match="one of ram, rom"):
        Drive("memory", wait, kind="tape").run()


# Contents from files. Four reads, three cycles apart, from cycle 5 on.


def _words(drive: Drive, *offsets: int) -> tuple[list[int], list[int]]:
    """Return the words at these offsets, and the offsets that count as never written."""
    for place, offset in enumerate(offsets):
        drive.read(5 + 3 * place, offset)
    recording = drive.run()
    assert all(event.kind == "uninitialised-read" for event in recording.events)
    empty = [offsets[(event.cycle - 5) // 3] for event in recording.events]
    return list(reads(recording).values()), empty


@pytest.mark.parametrize("kind", ["ram", "rom"])
def test_a_binary_begins_at_the_base(wait: int, tmp_path: Path, kind: str) -> None:
    """Byte k of a binary is byte k of the slot, little-endian; a word it does not reach is empty."""
    (tmp_path / "levers.bin").write_bytes(bytes(range(1, 7)))
    drive = Drive("memory", wait, kind=kind, folder=tmp_path, file="levers.bin")
    assert _words(drive, 0, 4, 8) == ([0x0403_0201, 0x0000_0605, 0], [8])


def test_a_binary_may_fill_the_slot_but_not_more(wait: int, tmp_path: Path) -> None:
    """Of 256 bytes a slot of 256 holds every one; a byte more is refused, not dropped."""
    (tmp_path / "levers.bin").write_bytes(bytes(k % 251 for k in range(256)))
    drive = Drive("memory", wait, folder=tmp_path, file="levers.bin", size=0x100)
    # 252 to 255 modulo 251 are 1 to 4.
    assert _words(drive, 0, 0xFC) == ([0x0302_0100, 0x0403_0201], [])
    (tmp_path / "levers.bin").write_bytes(bytes(257))
    with pytest.raises(InputError, match="must fit into the slot's 0x100 bytes; it has 0x101"):
        Drive("memory", wait, folder=tmp_path, file="levers.bin", size=0x100).run()


def test_contents_survive_writes_elsewhere_and_resets(wait: int, tmp_path: Path) -> None:
    """After a write of one lane and a reset, the other bytes still are those of the file."""
    (tmp_path / "levers.bin").write_bytes(bytes(range(1, 9)))
    drive = Drive("memory", wait, folder=tmp_path, file="levers.bin", resets=[(9, 1)])
    drive.write(5, 4, 0xAABB_CCDD, 0b0100).read(16, 0).read(20, 4)
    assert reads(drive.run()) == {16: 0x0403_0201, 20: 0x08BB_0605}


def test_a_rom_keeps_its_contents(wait: int, tmp_path: Path) -> None:
    """A write to a rom with contents leaves the word as the file has it."""
    (tmp_path / "levers.bin").write_bytes(bytes(range(1, 9)))
    drive = Drive("memory", wait, kind="rom", folder=tmp_path, file="levers.bin")
    recording = drive.write(5, 4, 0).read(9, 4).run()
    assert reads(recording) == {9: 0x0807_0605}
    assert events(recording) == [(5, "rom-write", 0)]


@pytest.mark.parametrize("name", ["levers.hex", "levers.ihex", "LEVERS.HEX"])
def test_intel_hex_addresses_are_bus_addresses(wait: int, tmp_path: Path, name: str) -> None:
    """What an independent writer puts at base + 8 is word 2 of the slot; the rest is empty."""
    image = IntelHex()
    image.puts(BASE + 8, b"\x11\x22\x33\x44\x55")
    image.write_hex_file(str(tmp_path / name))
    drive = Drive("memory", wait, folder=tmp_path, file=name)
    assert _words(drive, 4, 8, 12, 16) == ([0, 0x4433_2211, 0x55, 0], [4, 16])


def test_intel_hex_outside_the_slot_is_left_out(wait: int, tmp_path: Path) -> None:
    """Bytes before the base and behind the end are no contents: the slot keeps what lies in it."""
    image = IntelHex()
    image.puts(BASE - 4, bytes(range(1, 9)))
    image.puts(BASE + 0xFC, bytes(range(0x21, 0x29)))
    image.write_hex_file(str(tmp_path / "levers.hex"))
    drive = Drive("memory", wait, folder=tmp_path, file="levers.hex", size=0x100)
    assert _words(drive, 0, 4, 0xFC) == ([0x0807_0605, 0, 0x2423_2221], [4])


@pytest.mark.parametrize(
    ("record", "words"),
    [
        # 4 bytes at 0xFEDC: 21 00 80 CF.
        (JOURNAL, {0xFED8: 0, 0xFEDC: 0xCF80_0021, 0xFEE0: 0}),
        # 16 bytes at 0xE000: 02 E0 03 E4, F5 88 75 89, 10 F5 8D F5, 8B D2 8E 30.
        (
            MANUAL,
            {0xE000: 0xE403_E002, 0xE004: 0x8975_88F5, 0xE008: 0xF58D_F510, 0xE00C: 0x308E_D28B},
        ),
        # 3 bytes at 0x0123: 01 in the highest lane of word 0x120, then 02 03.
        (SHORT, {0x011C: 0, 0x0120: 0x0100_0000, 0x0124: 0x0000_0302}),
    ],
)
def test_published_records_read_as_published(
    wait: int, tmp_path: Path, record: str, words: dict[int, int]
) -> None:
    """Published Intel HEX records give the published bytes at the published addresses."""
    (tmp_path / "levers.hex").write_text(record + END, encoding="utf-8")
    drive = Drive("memory", wait, base=0, size=0x1_0000, folder=tmp_path, file="levers.hex")
    assert _words(drive, *words)[0] == list(words.values())


@pytest.mark.parametrize(
    "text",
    [
        ":04FEDC00210080CFB3\n" + END,  # the checksum is B2
        JOURNAL.replace(":", "") + END,
        ":04FEDC00210080\n" + END,
        "lever 1\n",
    ],
)
def test_a_spoiled_record_is_refused(wait: int, tmp_path: Path, text: str) -> None:
    """A record with a wrong checksum, without its colon or cut short is refused, with the file."""
    (tmp_path / "levers.hex").write_text(text, encoding="utf-8")
    drive = Drive("memory", wait, base=0, size=0x1_0000, folder=tmp_path, file="levers.hex")
    with pytest.raises(InputError, match=r"levers\.hex.*not a valid memory image"):
        drive.run()


def _elf(*segments: tuple[int, int, bytes], left_out: int = 0) -> bytes:
    """Return a 32-bit little-endian ELF with (virtual address, load address, bytes) segments.

    Each segment has one section of the same bytes, without the last ``left_out`` of them. Source:
    the ELF specification, version 1.2.
    """
    names = b"\0.text\0.shstrtab\0"
    header, entry, section = 52, 32, 40
    at = header + entry * len(segments)
    programs, sections, blob = b"", bytes(section), b""
    for virtual, load, data in segments:
        place = at + len(blob)
        size = len(data)
        programs += struct.pack("<8I", 1, place, virtual, load, size, size, 5, 4)
        sections += struct.pack("<10I", 1, 1, 2 | 4, virtual, place, size - left_out, 0, 0, 4, 0)
        blob += data
    sections += struct.pack("<10I", 7, 3, 0, 0, at + len(blob), len(names), 0, 0, 1, 0)
    blob += names
    count = len(segments)
    ident = b"\x7fELF\x01\x01\x01" + bytes(9)
    rest = struct.pack(
        "<2H5I6H", 2, 243, 1, 0, header, at + len(blob), 0, header, entry, count, section,
        count + 2, count + 1,
    )  # fmt: skip
    return ident + rest + programs + blob + sections


@pytest.mark.parametrize("name", ["levers.elf", "levers"])
def test_an_elf_is_loaded_at_its_load_addresses(wait: int, tmp_path: Path, name: str) -> None:
    """Bytes with the load address base + 4 are word 1, whatever their virtual address."""
    image = _elf((0x8000, BASE + 4, b"\x01\x02\x03\x04"), (BASE + 0x20, BASE + 0x10, b"\x05\x06"))
    (tmp_path / name).write_bytes(image)
    drive = Drive("memory", wait, folder=tmp_path, file=name)
    assert _words(drive, 0, 4, 0x10, 0x20) == ([0, 0x0403_0201, 0x0605, 0], [0, 0x20])


@pytest.mark.parametrize("left_out", [4, 8])
def test_an_elf_is_loaded_by_its_segments(wait: int, tmp_path: Path, left_out: int) -> None:
    """Segments say what is loaded: bytes that belong to no section are contents too."""
    image = _elf((BASE, BASE, bytes(range(1, 9))), left_out=left_out)
    (tmp_path / "levers.elf").write_bytes(image)
    drive = Drive("memory", wait, folder=tmp_path, file="levers.elf")
    assert _words(drive, 0, 4) == ([0x0403_0201, 0x0807_0605], [])


def test_a_cut_elf_is_refused(wait: int, tmp_path: Path) -> None:
    """An ELF that ends in the middle of its header is refused, with the file."""
    (tmp_path / "levers.elf").write_bytes(_elf((0, BASE, b"\x01\x02\x03\x04"))[:40])
    with pytest.raises(InputError, match=r"levers\.elf.*not a valid memory image"):
        Drive("memory", wait, folder=tmp_path, file="levers.elf").run()


@pytest.mark.parametrize("address", [BASE - 4, BASE + 0x1000])
def test_a_file_with_nothing_in_the_slot_is_refused(
    wait: int, tmp_path: Path, address: int
) -> None:
    """At least one byte must lie in the slot: just below or behind it is refused, with its place."""
    image = IntelHex()
    image.puts(address, b"\x01\x02\x03\x04")
    image.write_hex_file(str(tmp_path / "levers.hex"))
    drive = Drive("memory", wait, folder=tmp_path, file="levers.hex")
    with pytest.raises(InputError, match="0x40000000 and 0x40000fff"):
        drive.run()


def test_a_file_that_is_not_there_is_refused(wait: int, tmp_path: Path) -> None:
    """A file that does not exist is refused when the bench is built."""
    with pytest.raises(InputError, match=r"no file 'levers\.bin'"):
        Drive("memory", wait, folder=tmp_path, file="levers.bin").run()
