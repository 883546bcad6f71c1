"""Byte lanes: which SEL a load or store of a CPU drives, and where its bytes land.

Sources: Wishbone B4 (OpenCores, 2010), rule 3.100 and illustration 3-19 (SEL(k) is data bits
8k+7..8k); RISC-V unprivileged ISA manual, load and store section (little-endian; sw drives F, sb at
0 1 2 3 drives 1 2 4 8, sh at 0 2 drives 3 C, loads likewise). The bus is 32 bits wide with 8-bit
granularity; the 16-bit granularity of rule 3.100 does not exist here.
"""

from __future__ import annotations

from typing import NamedTuple

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from busbox.bench.bench import Bench
from busbox.bus import wishbone
from busbox.cpu import Bus
from busbox.cpu.steps import AccessStep
from busbox.map.registers import lane_mask, show_lanes
from tests.reference.ports import bench_of, read, run, traced, write

pytestmark = pytest.mark.quick

X5 = 0x8000_0000
X6 = 0x8899_AABB

STORE = {"model": "memory", "base": X5, "size": 0x100}
LEVERS = {"model": "gpio", "base": X5, "size": 0x100}


class Case(NamedTuple):
    """A store of x6 = 8899AABB, or a load of the same place, over a word of 11223344."""

    name: str
    size: int
    offset: int
    sel: int
    word: int  # what stands in the word after the store
    loaded: int  # the little-endian number that a load of it then gives


#: RISC-V, load and store section; the words written out by hand, least significant byte lowest.
CASES = (
    Case("sw", 4, 0, 0b1111, 0x8899_AABB, 0x8899_AABB),
    Case("sb at 0", 1, 0, 0b0001, 0x1122_33BB, 0xBB),
    Case("sb at 1", 1, 1, 0b0010, 0x1122_BB44, 0xBB),
    Case("sb at 2", 1, 2, 0b0100, 0x11BB_3344, 0xBB),
    Case("sb at 3", 1, 3, 0b1000, 0xBB22_3344, 0xBB),
    Case("sh at 0", 2, 0, 0b0011, 0x1122_AABB, 0xAABB),
    Case("sh at 2", 2, 2, 0b1100, 0xAABB_3344, 0xAABB),
)
NAMES = [case.name for case in CASES]

#: The bytes of x6 that each store puts on selected lanes, by hand.
ONES = {
    "sw": 0x8899_AABB, "sb at 0": 0xBB, "sb at 1": 0xBB00, "sb at 2": 0xBB_0000,
    "sb at 3": 0xBB00_0000, "sh at 0": 0xAABB, "sh at 2": 0xAABB_0000,
}  # fmt: skip


def lanes_of(size: int, offset: int) -> int:
    """Return the SEL of a load or store, byte by byte: byte address k is SEL(k)."""
    return sum(1 << k for k in range(4) if offset <= k < offset + size)


def store(address: int, size: int, value: int, junk: int = 0) -> AccessStep:
    """Return a store: the value's bytes in their lanes, ``junk`` in those not selected."""
    lanes = lanes_of(size, address & 3)
    data = bytearray(junk.to_bytes(4, "little"))
    data[address & 3 : (address & 3) + size] = value.to_bytes(4, "little")[:size]
    return write(address & ~3, int.from_bytes(data, "little"), lanes)


def load(address: int, size: int) -> AccessStep:
    """Return a load."""
    return read(address & ~3, lanes_of(size, address & 3))


def loaded(word: int, address: int, size: int) -> int:
    """Return the number that a load takes out of the word on the bus."""
    return int.from_bytes(word.to_bytes(4, "little")[address & 3 :][:size], "little")


@pytest.mark.parametrize("lane", range(4))
def test_sel_k_is_byte_k(lane: int) -> None:
    """SEL(k) alone is data bits 8k+7..8k, in masks, in text and on the wire."""
    # Wishbone B4, rule 3.100, illustration 3-19.
    high, low = ((7, 0), (15, 8), (23, 16), (31, 24))[lane]
    assert lane_mask(1 << lane) == (1 << high + 1) - (1 << low)
    assert show_lanes(1 << lane) == ("0001", "0010", "0100", "1000")[lane]
    assert (wishbone.LANES, wishbone.DATA_BITS) == (4, 32)
    steps = [write(X5, 0), write(X5, 0xFFFF_FFFF, 1 << lane), read(X5)]
    recording, traces = traced(bench_of({"store": STORE}, steps))
    assert recording.accesses.data[2] == (0xFF, 0xFF00, 0xFF_0000, 0xFF00_0000)[lane]
    cycles = [cycle for cycle in traces["store"] if cycle.stb]
    assert [cycle.sel for cycle in cycles] == [0xF, 1 << lane, 0xF]


@pytest.mark.parametrize("case", CASES, ids=NAMES)
def test_stores_and_loads_of_a_memory(case: Case) -> None:
    """A store changes its own bytes of a word in memory, and a load of that size finds them."""
    # RISC-V, load and store section; Wishbone B4, rule 3.100.
    address = X5 + case.offset
    steps = [
        write(X5, 0x1122_3344), store(address, case.size, X6, junk=0x5566_7788), read(X5),
        load(address, case.size),
    ]  # fmt: skip
    recording, traces = traced(bench_of({"store": STORE}, steps))
    accesses = recording.accesses
    assert accesses.lanes.tolist() == [0xF, case.sel, 0xF, case.sel]
    for port in ("cpu", "store"):
        ends = [cycle.sel for cycle in traces[port] if cycle.ack]
        assert ends == [0xF, case.sel, 0xF, case.sel]
    assert accesses.data[2] == case.word
    assert loaded(int(accesses.data[3]), address, case.size) == case.loaded
    # ADR is n..2: all bytes of a word have the same word address.
    assert {cycle.adr for cycle in traces["cpu"] if cycle.stb} == {X5 >> 2}


@pytest.mark.parametrize("case", CASES, ids=NAMES)
def test_stores_to_output_pins(case: Case) -> None:
    """A store to OUT moves the pins of its own bytes and leaves the other pins alone."""
    # RISC-V, load and store section; Wishbone B4, rule 3.100.
    steps = [write(X5, 0x1122_3344), store(X5 + case.offset, case.size, X6, junk=0xFFFF_FFFF)]
    recording = run(bench_of({"levers": LEVERS}, steps))
    assert recording.registers["levers"]["OUT"] == case.word
    ends = recording.accesses.end.tolist()
    for bit in range(32):
        cycles, levels = recording.edges(f"levers.out.{bit}")
        history = list(zip(cycles.tolist(), levels.tolist(), strict=True))
        expected, level = [(0, 0)], 0
        for end, word in zip(ends, (0x1122_3344, case.word), strict=True):
            if word >> bit & 1 != level:
                level ^= 1
                expected.append((end + 1, level))
        assert history == expected
    touched = {pin for pin in range(32) if case.sel >> pin // 8 & 1}
    moved = {
        pin for pin in range(32) if ends[1] + 1 in recording.edges(f"levers.out.{pin}")[0].tolist()
    }
    assert moved <= touched


@pytest.mark.parametrize("register", ["SET", "CLEAR", "TOGGLE"])
@pytest.mark.parametrize("case", CASES, ids=NAMES)
def test_a_lane_that_is_not_selected_does_not_act(case: Case, register: str) -> None:
    """A store to a register whose ones act does so in its own lanes only."""
    # RISC-V, load and store section; Wishbone B4, rule 3.100.
    offset = {"SET": 4, "CLEAR": 8, "TOGGLE": 12}[register]
    before, ones = 0x0F0F_0F0F, ONES[case.name]
    step = store(X5 + offset + case.offset, case.size, X6, junk=0xFFFF_FFFF)
    recording = run(bench_of({"levers": LEVERS}, [write(X5, before), step]))
    after = {"SET": before | ones, "CLEAR": before & ~ones, "TOGGLE": before ^ ones}[register]
    assert recording.registers["levers"]["OUT"] == after


def decode_load_or_store(word: int, x5: int, x6: int) -> AccessStep | None:
    """Return the access of a 32-bit instruction word, or None where it makes none.

    RISC-V: opcode 0100011 is a store (immediate in bits 31..25 and 11..7, value in rs2), 0000011 a
    load (immediate in bits 31..20); funct3 is the logarithm of the size.
    """
    registers = {5: x5, 6: x6}
    opcode, size, base = word & 0x7F, 1 << (word >> 12 & 3), word >> 15 & 31
    if opcode == 0b0100011:
        immediate = word >> 25 << 5 | word >> 7 & 31
        return store(registers[base] + immediate, size, registers[word >> 20 & 31])
    if opcode == 0b0000011:
        return load(registers[base] + (word >> 20), size)
    return None


def test_instruction_words_reach_their_lanes() -> None:
    """The printed instruction words, played on the bus, drive the printed SEL values."""
    # RISC-V: nop 00000013; sw x6,0(x5) 0062A023; sb x6,1(x5) 006280A3; sh x6,2(x5) 00629123;
    # lw x7,0(x5) 0002A383; with x5 = 80000000 and x6 = 8899AABB.
    words = (0x0000_0013, 0x0062_A023, 0x0062_80A3, 0x0062_9123, 0x0002_A383)
    steps = [step for word in words if (step := decode_load_or_store(word, X5, X6)) is not None]
    recording, traces = traced(bench_of({"store": STORE}, steps))
    assert recording.accesses.write.tolist() == [True, True, True, False]
    assert [cycle.sel for cycle in traces["store"] if cycle.ack] == [0xF, 0x2, 0xC, 0xF]
    # 8899AABB, then BB in byte 1, then AABB in bytes 3 and 2.
    assert recording.accesses.data[3] == 0xAABB_BBBB


def test_a_load_whose_result_is_dropped_is_on_the_bus() -> None:
    """A read that nobody looks at is an access like any other, its side effects included."""

    # RISC-V: a load to x0 keeps its side effects: the read goes on the bus.
    def firmware(bus: Bus) -> None:
        bus.read(X5)

    bench = Bench({"clock": "16 MHz", "slot": {"store": STORE}, "traffic": firmware})
    recording, traces = traced(bench)
    assert [cycle.we for cycle in traces["store"] if cycle.ack] == [0]
    assert [event.kind for event in recording.events] == ["uninitialised-read"]


_transfer = st.tuples(
    st.booleans(),
    st.sampled_from((1, 1, 2, 4)),
    st.integers(0, 15),
    st.integers(0, 0xFFFF_FFFF),
    st.integers(0, 0xFFFF_FFFF),
)


@settings(
    max_examples=25,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.function_scoped_fixture],
)
@given(transfers=st.lists(_transfer, min_size=10, max_size=40))
def test_any_stores_and_loads_are_those_of_bytes(
    transfers: list[tuple[bool, int, int, int, int]],
) -> None:
    """Stores and loads of bytes, halves and words are those of an array of bytes."""
    # RISC-V: memory is byte-addressed and little-endian.
    memory = bytearray(16)
    steps = [write(X5 + 4 * n, 0) for n in range(4)]
    expected: list[tuple[int, int, int, int]] = []
    for is_store, size, place, value, junk in transfers:
        offset = place & ~(size - 1)
        if is_store:
            memory[offset : offset + size] = value.to_bytes(4, "little")[:size]
            steps.append(store(X5 + offset, size, value, junk))
        else:
            number = int.from_bytes(memory[offset : offset + size], "little")
            expected.append((len(steps), X5 + offset, size, number))
            steps.append(load(X5 + offset, size))
    steps += [read(X5 + 4 * n) for n in range(4)]
    recording = run(bench_of({"store": STORE | {"wait": 0}}, steps))
    data = recording.accesses.data.tolist()
    for number, address, size, value in expected:
        assert loaded(data[number], address, size) == value
    assert b"".join(word.to_bytes(4, "little") for word in data[-4:]) == bytes(memory)
