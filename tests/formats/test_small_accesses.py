"""Bytes and halfwords in steps: the bus access that each becomes."""

from __future__ import annotations

import ctypes
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from busbox import load_bench
from busbox.basics.errors import InputError
from busbox.cpu.steps import AccessStep, Named
from busbox.formats.text import read_text, write_text

pytestmark = pytest.mark.quick


class _Byte(ctypes.LittleEndianStructure):
    _fields_ = (("value", ctypes.c_uint8),)


class _Half(ctypes.LittleEndianStructure):
    _fields_ = (("value", ctypes.c_uint16),)


def _one(line: str) -> AccessStep:
    (step,) = read_text([line], "day.steps")
    assert isinstance(step, AccessStep)
    return step


@pytest.mark.parametrize(
    ("line", "bus"),
    [
        ("write8 0x20000012 0xAA", "write  0x20000010 0xaa0000 lanes 0100"),
        ("write16 0x20000012 0xBEEF +3", "write  0x20000010 0xbeef0000 lanes 1100 +3"),
        ("read8 0x20000013 = 0x11 pc 0x8", "read   0x20000010 = 0x11000000 lanes 1000 pc 0x8"),
        ("read16 0x20000010", "read   0x20000010 lanes 0011"),
        ("write8 levers.OUT 1", "write  levers.OUT 0x1 lanes 0001"),
    ],
)
def test_it_becomes_this_access(line: str, bus: str) -> None:
    """Address, lanes and data of the word; the first four are the table of the manual."""
    assert list(write_text([_one(line)])) == [bus]


@given(
    size=st.sampled_from([1, 2]),
    word=st.integers(0, 2**30 - 1),
    part=st.integers(0, 3),
    data=st.integers(0, 0xFFFF),
    before=st.binary(min_size=4, max_size=4),
)
def test_a_store_changes_memory_as_it_does_on_this_machine(
    size: int, word: int, part: int, data: int, before: bytes
) -> None:
    """Against the language C: a store through a pointer, by ctypes, little-endian as RISC-V is."""
    offset = part // size * size
    data &= (1 << 8 * size) - 1
    memory = ctypes.create_string_buffer(before, 4)
    (_Byte if size == 1 else _Half).from_buffer(memory, offset).value = data
    step = _one(f"write{8 * size} {4 * word + offset:#x} {data}")
    kept = sum(0xFF << 8 * lane for lane in range(4) if not step.lanes >> lane & 1)
    assert step.data is not None
    after = int.from_bytes(before, "little") & kept | step.data
    assert (step.target, after.to_bytes(4, "little")) == (4 * word, memory.raw)


@pytest.mark.parametrize(
    ("line", "message"),
    [
        ("write8 0x20000012 0x100", "data of a byte must be at most 0xff, not '0x100'"),
        ("write16 0x20000012 65536", "data of a halfword must be at most 0xffff, not '65536'"),
        ("read8 0x20000012 = 256", "data of a byte must be at most 0xff, not '256'"),
        (
            "write16 0x20000011 1",
            "the address of a halfword must be a multiple of 2, not 0x20000011 (use write with lanes)",
        ),
        (
            "read16 0x20000013",
            "the address of a halfword must be a multiple of 2, not 0x20000013 (two accesses on this "
            "bus)",
        ),
        ("write8 0x20000012", "write8 needs data after its target: write8 TARGET DATA"),
        ("write16", "write16 must be followed by an address or slot.REGISTER"),
        ("write8 0x20000012 1 lanes 0001", "unexpected 'lanes'; expected pc or +CYCLES"),
        ("read8 0x20000012 keep it", "unexpected 'keep'; expected pc or +CYCLES"),
        ("read8 0x20000012 == 1", "use = before the recorded value, not =="),
        (
            "write8 20000012 1",
            "an address must say how it is read, not '20000012': write 0x20000012",
        ),
        ("write32 0x20000012 1", "not 'write32'; did you mean 'write'?"),
    ],
)
def test_what_is_none_is_refused(line: str, message: str) -> None:
    """One message, with file and line."""
    with pytest.raises(InputError) as raised:
        list(read_text([line], "day.steps"))
    assert str(raised.value).startswith("day.steps:1: ")
    assert message in str(raised.value)


def test_a_name_is_its_lowest_bytes() -> None:
    """As a pointer to the register is in C."""
    assert _one("read16 levers.OUT").target == Named("levers", "OUT")
    assert _one("read16 levers.OUT").lanes == 0b0011


def test_a_run_compares_only_those_bytes(tmp_path: Path) -> None:
    """The example of the workshop: a byte 0xAA and a halfword 0xBEEF in 0x11223344."""
    (tmp_path / "bench.toml").write_text(
        'clock = "16 MHz"\n[slot.book]\nmodel = "memory"\nbase = 0x2000_0000\nsize = 0x2000\n'
        '[traffic]\nfile = "day.steps"\n',
        encoding="utf-8",
    )
    (tmp_path / "day.steps").write_text(
        "write 0x20000010 0x11223344\nwrite8 0x20000012 0xAA\nread 0x20000010 = 0x11AA3344\n"
        "write16 0x20000012 0xBEEF\nread 0x20000010 = 0xBEEF3344\nread8 0x20000011 = 0x33\n"
        "read16 0x20000012 = 0xBEE0\n",
        encoding="utf-8",
    )
    recording = load_bench(tmp_path).run("python")
    (finding,) = recording.findings
    assert (finding.rule, finding.line) == ("read-differs", 7)
