"""Address decoding: the worked examples of others, and a decoder that compares bit by bit.

Each example is checked through the address map (every word of its space, and its images) and
through real runs at the edges of its windows: the word before a window, its first and its last
word, and the word after it. Random addresses would miss an off-by-one at the end.

Spaces of fewer than 32 bits: the upper bits of the bus are *compared* with 0, so that the example's
space lies at the bottom, nothing answers above it, and numbers of images are the source's own.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from busbox.basics.errors import InputError
from busbox.bench.bench import Bench
from busbox.bus.wishbone import WORD_ADDRESS_BITS
from busbox.bus.wishbone.fabric import address_bits
from busbox.cpu.steps import Step
from busbox.map.bits import parse_bits
from busbox.map.slots import AddressMap, Slot
from busbox.system.hardware import FabricOptions
from tests.reference.ports import Rig, bench_of, play, read, run, write

WORD = 0xFFFF_FFFF
Window = tuple[str, int, int]  # slot, first and last address


def every(name: str, first: int, last: int, step: int, count: int) -> list[Window]:
    """Return ``count`` windows, ``step`` apart."""
    return [(name, first + n * step, last + n * step) for n in range(count)]


@dataclass(frozen=True)
class Example:
    """One row of the table: how it is decoded, and who answers where.

    Attributes
    ----------
    source : where it comes from
    space : size of its address space
    slots : name to base, size and decoding, as in a bench
    windows : every place at which a slot answers, as the source gives it
    images : name to the number of places
    edges : windows whose edges are run; all, if it is None
    """

    source: str
    space: int
    slots: dict[str, dict[str, Any]]
    windows: list[Window]
    images: dict[str, int]
    edges: list[Window] | None = field(default=None)

    def expected(self, address: int) -> str | None:
        """Return who answers."""
        found = [name for name, first, last in self.windows if first <= address <= last]
        assert len(found) <= 1
        return found[0] if found else None

    def bench(self, steps: Iterable[Step]) -> Bench:
        """Return a bench with a memory in every slot."""
        slots = {name: {"model": "memory", "wait": 0, **keys} for name, keys in self.slots.items()}
        return bench_of(slots, list(steps))

    def map(self) -> AddressMap:
        """Return the address map, built without a bench."""
        return AddressMap(
            [
                Slot(
                    name,
                    keys["base"],
                    keys["size"],
                    "compare" if "compare" in keys else keys.get("decode", "full"),
                    parse_bits(keys["compare"]) if "compare" in keys else frozenset(),
                )
                for name, keys in self.slots.items()
            ]
        )


def window(base: int, size: int, compare: str = "", decode: str = "") -> dict[str, Any]:
    """Return the keys of a slot."""
    keys: dict[str, Any] = {"base": base, "size": size}
    return keys | ({"compare": compare} if compare else {"decode": decode} if decode else {})


def _decoder(compare: str = "", decode: str = "") -> Example:
    outputs = {"two": 0x2000, "four": 0x4000, "seven": 0x7000}
    return Example(
        "3-to-8 decoder on A14..A12, enabled by A15 = 0: course slides on a 16-bit "
        "microprocessor's memory interface",
        1 << 16,
        {name: window(base, 0x1000, compare, decode) for name, base in outputs.items()},
        [("two", 0x2000, 0x2FFF), ("four", 0x4000, 0x4FFF), ("seven", 0x7000, 0x7FFF)],
        dict.fromkeys(outputs, 1),
    )


def _four(names: list[str], size: int, compare: str, source: str) -> Example:
    return Example(
        source,
        4 * size,
        {name: window(n * size, size, compare) for n, name in enumerate(names)},
        [(name, n * size, (n + 1) * size - 1) for n, name in enumerate(names)],
        dict.fromkeys(names, 1),
    )


_SLAVES = ["levers", "telegraph", "lamps", "clock"]
_K64 = every("store", 0, 0x3FF, 0x400, 64)
_M1 = every("store", 0, 0x7FF, 0x800, 512)
_RAM = [("ram", base, base + 0x7FF) for base in (0x0000, 0x0800, 0x1000, 0x1800)]
_EIGHT = every("registers", 0x2000, 0x2007, 8, 1024)
_PORT = every("port", 0x2E8, 0x2EF, 0x400, 64)

EXAMPLES = {
    "decoder, bits": _decoder(compare="31..12"),
    "decoder, full": _decoder(),
    "decoder, range": _decoder(decode="range"),
    "gates": Example(
        "gates on A15..A12 = 0011, 4 K device: course slides on a 16-bit microprocessor's "
        "memory interface",
        1 << 16,
        {"store": window(0x3000, 0x1000, "31..16, 15..12")},
        [("store", 0x3000, 0x3FFF)],
        {"store": 1},
    ),
    "64 images": Example(
        "64 K space, 1 K device on A9..A0, A15..A10 not decoded: 2^6 = 64 images, every 0x400: "
        "computer organisation exercise",
        1 << 16,
        {"store": window(0, 0x400, "31..16")},
        _K64,
        {"store": 64},
        [_K64[n] for n in (0, 1, 31, 62, 63)],
    ),
    "512 images": Example(
        "1 M space, 2 K device, 9 top bits not decoded: 2^9 = 512 images: course notes",
        1 << 20,
        {"store": window(0, 0x800, "31..20")},
        _M1,
        {"store": 512},
        [_M1[n] for n in (0, 1, 255, 256, 510, 511)],
    ),
    "RAM and registers": Example(
        "2 K RAM in 0000-1FFF with A12, A11 ignored, 8 registers in 2000-3FFF: public memory-map "
        "description of an 8-bit game console",
        1 << 16,
        {
            "ram": window(0x0000, 0x800, "31..13"),
            "registers": window(0x2000, 8, "31..13"),
        },
        _RAM + _EIGHT,
        {"ram": 4, "registers": 1024},
        [*_RAM, *(_EIGHT[n] for n in (0, 1, 511, 512, 1022, 1023))],
    ),
    "ports": Example(
        "16-bit port space, A9..A0 decoded: 64 images, step 0x400: public PC I/O notes",
        1 << 16,
        {"port": window(0x2E8, 8, "31..16, 9..3")},
        _PORT,
        {"port": 64},
        [_PORT[n] for n in (0, 1, 31, 62, 63)],
    ),
    "A15 A14": _four(
        _SLAVES,
        0x4000,
        "31..14",
        "16-bit space, four slaves on A15, A14: Wishbone B4, illustration 8-21",
    ),
    "5 bits": _four(
        _SLAVES, 8, "31..3", "5-bit space, four slaves of 8: Wishbone B4, table A-7"
    ),
    "PCI": Example(
        "size a power of two; 4 K may sit at 0x1000 or 0xABCD000: PCI local bus specification",
        1 << 28,
        {"low": window(0x1000, 0x1000), "high": window(0xABC_D000, 0x1000)},
        [("low", 0x1000, 0x1FFF), ("high", 0xABC_D000, 0xABC_DFFF)],
        {"low": 1, "high": 1},
    ),
}  # fmt: skip


@pytest.fixture(params=EXAMPLES, ids=str)
def example(request: pytest.FixtureRequest) -> Example:
    """Each of the examples."""
    return EXAMPLES[request.param]


def name_of(slot: Slot | None) -> str | None:
    """Return the name of a slot that may be missing."""
    return None if slot is None else slot.name


def test_every_address_is_decoded_as_the_source_says(example: Example) -> None:
    """In the whole space, and above it, the slot, offset and image are the source's."""
    # Source: `example.source`.
    found = example.map()
    assert [list(slot.mistakes()) for slot in found.slots] == [[]] * len(found.slots)
    assert found.overlaps() == []
    firsts: dict[str, list[int]] = {name: [] for name in example.slots}
    for name, first, _ in example.windows:
        firsts[name].append(first)
    for name, first, last in example.windows:
        slot = example.slots[name]
        for address in {first, first + 1, (first + last) // 2, last - 1, last}:
            decoded = found.decode(address)
            assert name_of(decoded.slot) == name
            assert decoded.offset == address - first
            assert decoded.image == firsts[name].index(first)
            assert decoded.lane == address % 4
        assert last - first + 1 == slot["size"]
        for address in (first - 1, last + 1):
            if address >= 0:
                assert name_of(found.decode(address).slot) == example.expected(address)
    for address in (example.space, example.space + 0x2000, WORD & -example.space, WORD):
        assert found.decode(address).slot is None


def test_a_small_space_is_decoded_word_by_word() -> None:
    """In the spaces of at most 64 K every word has the slot that the source gives it."""
    # Sources: those of the examples.
    for example in EXAMPLES.values():
        if example.space > 1 << 16:
            continue
        table: list[str | None] = [None] * (example.space // 4)
        for name, first, last in example.windows:
            table[first // 4 : last // 4 + 1] = [name] * (last // 4 - first // 4 + 1)
        found = example.map()
        assert [name_of(found.decode(4 * n).slot) for n in range(len(table))] == table


def test_images_are_counted(example: Example) -> None:
    """The number of images is 2^(bits neither decoded nor used inside)."""
    # Source: `example.source`.
    found = {slot.name: slot for slot in example.map().slots}
    assert {name: slot.images for name, slot in found.items()} == example.images
    for name, count in example.images.items():
        assert len([one for one in example.windows if one[0] == name]) == count
        assert 1 << len(found[name].free_bits) == count


def test_runs_and_gaps_are_the_windows(example: Example) -> None:
    """The runs of the map are the windows, joined where they touch, with gaps between them."""
    # Source: `example.source`.
    joined: list[list[int]] = []
    for _, first, last in sorted(example.windows, key=lambda one: one[1]):
        if joined and joined[-1][1] == first - 1:
            joined[-1][1] = last
        else:
            joined.append([first, last])
    ends = [-1, *(last for _, last in joined)]
    starts = [*(first for first, _ in joined), WORD + 1]
    gaps = [(end + 1, start - 1) for end, start in zip(ends, starts, strict=True)]
    gaps = [(first, last) for first, last in gaps if first <= last]
    runs, complete = example.map().runs(200)
    assert complete
    assert [[first, last] for first, last, mapped in runs if mapped] == joined
    assert example.map().gaps(200) == (gaps, True)


def test_runs_end_at_the_edges_of_windows(example: Example) -> None:
    """In a run the words at and beside a window's edges reach the slot of the source, or ERR."""
    # Source: `example.source`; what nobody decodes gets ERR (observation 3.35 of Wishbone B4).
    chosen = example.windows if example.edges is None else example.edges
    words = {
        address
        for _, first, last in chosen
        for address in (first - 4, first, last - 3, last + 1)
        if 0 <= address <= WORD - 3
    }
    words |= {example.space, 0x8000_0000, 0xFFFF_FFFC}
    names = list(example.slots)
    cells: dict[tuple[str, int], int] = {}
    steps: list[Step] = []
    expected: list[tuple[int, str, int]] = []
    for number, address in enumerate(sorted(words)):
        name = example.expected(address)
        steps += [write(address, 0xCAB0_0000 + number), read(address)]
        slot = -1 if name is None else names.index(name)
        word = 0xCAB0_0000 + number
        if name is not None:
            cells[name, address % example.slots[name]["size"]] = word
        terminator = "error" if name is None else "ack"
        expected += [(slot, terminator, word), (slot, terminator, 0 if name is None else word)]
    # Once more at the end: what an image wrote last is read at every image.
    for address in sorted(words):
        name = example.expected(address)
        if name is not None:
            steps.append(read(address))
            cell = cells[name, address % example.slots[name]["size"]]
            expected.append((names.index(name), "ack", cell))
    accesses = run(example.bench(steps)).accesses
    found = zip(accesses.slot.tolist(), accesses.terminators, accesses.data.tolist(), strict=True)
    assert list(found) == expected


def test_a_cell_is_one_in_all_images_of_a_run() -> None:
    """A word written at one image of the 1 K device is read at all 64, and nowhere else."""
    # Computer organisation exercise: 64 images, every 0x400.
    steps = [write(0x0544, 0x600D_CE11), *(read(0x144 + 0x400 * n) for n in range(64))]
    steps += [read(0x148 + 0x400 * n) for n in range(64)]
    accesses = run(EXAMPLES["64 images"].bench(steps)).accesses
    assert accesses.data[1:].tolist() == [0x600D_CE11] * 64 + [0] * 64
    assert set(accesses.terminators) == {"ack"}


@pytest.mark.parametrize("x", [0x0000_0, 0x0080_0, 0x1234_4, 0x7F80_0, 0x8000_4, 0xFFFF_C])
def test_x_and_x_mod_2048_are_one_cell(x: int) -> None:
    """In the 1 M space an address and its remainder by 2048 name one cell, both ways."""
    # Course notes: x and x mod 2048 are one cell.
    steps = [write(x, 0x1111_0000 + (x >> 4)), read(x % 2048), write(x % 2048, 7), read(x)]
    accesses = run(EXAMPLES["512 images"].bench(steps)).accesses
    assert accesses.data[[1, 3]].tolist() == [0x1111_0000 + (x >> 4), 7]


def test_port_2ea_is_also_6ea() -> None:
    """A byte written at port 2EA is read at 6EA: both are byte 2 of one word."""
    # Public PC I/O notes: 2EA is also 6EA.
    found = EXAMPLES["ports"].map()
    one, other = found.decode(0x2EA), found.decode(0x6EA)
    assert (one.offset, other.offset) == (2, 2)
    assert (one.image, other.image) == (0, 1)
    steps = [write(0x2E8, 0x00A5_0000, 0b0100), read(0x6E8, 0b0100), read(0x3E8)]
    accesses = run(EXAMPLES["ports"].bench(steps)).accesses
    assert accesses.data.tolist() == [0x00A5_0000, 0x00A5_0000, 0]
    assert accesses.terminators == ["ack", "ack", "error"]


@pytest.mark.parametrize(
    ("size", "bits"), [(4, 0), (8, 1), (16, 2), (0x1000, 10), (0x1400, 11), (1 << 31, 29)]
)
def test_a_slave_sees_the_address_bits_of_its_registers(size: int, bits: int) -> None:
    """A slave with 4 registers sees 2 address bits, and the interconnect decodes the others."""
    # Wishbone B4, section 8.10.4: 2 of 32 address bits go to a slave with 4 registers, and the
    # interconnect decodes 30. The bus here has 30 word-address bits (two more are lanes): 2 and 28.
    slot = Slot("levers", 0, size, "full" if size & (size - 1) == 0 else "range")
    assert address_bits(slot) == bits
    rig = Rig([slot])
    assert len(rig.ports[0].adr) == bits
    assert len(rig.fabric.bus.adr) == WORD_ADDRESS_BITS == 30
    seen = set()

    async def process(ctx: Any) -> None:
        for bit in range(30):
            rig.ask(ctx, read(4 << bit))
            for _ in range(slot.wait):
                rig.tick(ctx)
            if ctx.get(rig.ports[0].stb):
                seen.add(bit)
                assert ctx.get(rig.ports[0].adr) == 1 << bit
            for _ in range(2):
                rig.ask(ctx, None)
                rig.tick(ctx)

    play(rig, process)
    # The bits that the slave does not see are all decoded: a one in any of them is another place.
    assert seen == {bit for bit in range(30) if 4 << bit < size}


@pytest.mark.parametrize(
    ("base", "size", "wrong"),
    [
        (0x0000_1000, 0x1000, ()),
        (0x0ABC_D000, 0x1000, ()),
        (0x0000_1080, 0x1000, ("base",)),
        (0x0ABC_D800, 0x1000, ("base",)),
        (0x0000_1080, 0x0080, ()),
        (0x0000_1000, 0x1800, ("size",)),
        (0x0000_1000, 0x0C00, ("size",)),
        (0xFFFF_F000, 0x1000, ()),
        (0xFFFF_F000, 0x2000, ("base",)),
    ],
)
def test_a_window_is_a_power_of_two_at_a_multiple_of_it(
    base: int, size: int, wrong: tuple[str, ...]
) -> None:
    """A window that is no power of two, or not at a multiple of its size, is refused."""
    # PCI local bus specification: 4 K may sit at 0x1000 or 0xABCD000, not at 0x1080.
    assert tuple(key for key, _ in Slot("store", base, size).mistakes()) == wrong
    bench = bench_of({"store": {"model": "memory", "base": base, "size": size}}, [read(base)])
    if wrong:
        with pytest.raises(InputError) as caught:
            bench.run()
        assert [mistake.key for mistake in caught.value.mistakes] == [
            f"slot.store.{key}" for key in wrong
        ]
    else:
        assert run(bench).accesses.terminators == ["ack"]


def test_the_mask_of_a_window_is_what_its_base_register_reads() -> None:
    """The compared bits of a 4 K window are FFFFF000, as its base register reads after ones."""
    # PCI local bus specification: reads FFFFF00x after writing ones.
    (term,) = Slot("store", 0x1000, 0x1000).terms
    assert (term.mask, term.value) == (0xFFFF_F000, 0x1000)


# --------------------------------------------------------------- against a decoder bit by bit


def decodes(slot: Slot, address: int) -> bool:
    """Compare bit after bit (Wishbone B4 has no such rule; common practice, no source)."""
    if slot.decode == "range":
        return address in range(slot.base, slot.base + slot.size)
    for bit in range(32):
        compared = bit in slot.compare if slot.decode == "compare" else 1 << bit >= slot.size
        if compared and (address >> bit & 1) != (slot.base >> bit & 1):
            return False
    return True


def who(slots: list[Slot], address: int) -> set[str]:
    """Return the slots that answer, those left out that give way to one that would."""
    matching = [slot for slot in slots if decodes(slot, address)]
    names = {slot.name for slot in matching}
    return {slot.name for slot in matching if not names & set(slot.yields_to)}


@st.composite
def slots_in(draw: st.DrawFn, bits: int, top: int, gives_way: bool = False) -> list[Slot]:
    """Draw slots of all kinds in the lowest ``bits`` bits, so close that many overlap.

    Bits from ``bits`` to ``top - 1`` are compared or not, those from ``top`` on always compared.
    """
    slots: list[Slot] = []
    for number in range(draw(st.integers(1, 4))):
        decode = draw(st.sampled_from(("full", "compare", "range")))
        if decode == "range":
            size = 4 * draw(st.integers(1, (1 << bits - 2) // 2))
            base = 4 * draw(st.integers(0, (1 << bits - 2) - 1 - size // 4))
        else:
            size = 1 << draw(st.integers(2, bits - 1))
            base = size * draw(st.integers(0, (1 << bits) // size - 1))
        compare: frozenset[int] = frozenset()
        if decode == "compare":
            inner = size.bit_length() - 1
            free = draw(st.sets(st.integers(inner, top - 1), max_size=5))
            compare = frozenset(range(inner, 32)) - free
        yields: tuple[str, ...] = ()
        if gives_way:
            yields = tuple(slot.name for slot in slots)
        elif slots and draw(st.booleans()):
            yields = (draw(st.sampled_from([slot.name for slot in slots])),)
        slots.append(Slot(f"slot_{number}", base, size, decode, compare, 0, yields))
    return slots


def edges_of(slots: list[Slot]) -> list[int]:
    """Return base-1, base, end-1 and end of every window, and those with one bit turned over."""
    edges = {
        address
        for slot in slots
        for address in (slot.base - 1, slot.base, slot.base + slot.size - 1, slot.base + slot.size)
    }
    turned = {address ^ 1 << bit for address in edges for bit in range(2, 32)}
    return sorted(address for address in edges | turned if 0 <= address <= WORD)


_SETTINGS: dict[str, Any] = {
    "deadline": None,
    "suppress_health_check": [HealthCheck.too_slow, HealthCheck.function_scoped_fixture],
}


@settings(max_examples=120, **_SETTINGS)
@given(slots=slots_in(12, 32), more=st.lists(st.integers(0, WORD), max_size=8))
def test_the_map_compares_as_a_decoder_bit_by_bit(slots: list[Slot], more: list[int]) -> None:
    """Slot, offset and image of any address are those of a decoder that compares bit by bit."""
    # Match ((address ^ base) & ~(size - 1)) == 0, addresses from window edges: common practice,
    # no source.
    found = AddressMap(slots)
    for address in edges_of(slots) + more:
        for slot in slots:
            assert slot.answers(address) == decodes(slot, address)
            assert any(term.holds(address) for term in slot.terms) == decodes(slot, address)
        decoded, expected = found.decode(address), who(slots, address)
        if not expected:
            assert decoded.slot is None
            continue
        assert decoded.slot is not None
        assert decoded.slot.name in expected
        assert 0 <= decoded.offset < decoded.slot.size
        if decoded.slot.decode == "range":
            assert decoded.offset == address - decoded.slot.base
        else:
            assert decoded.offset == address & decoded.slot.size - 1
        inside = decoded.slot.base + decoded.offset
        assert (decoded.image == 0) == (address == inside)


@settings(max_examples=120, **_SETTINGS)
@given(slots=slots_in(9, 9))
def test_a_map_of_a_small_space_is_right_at_every_word(slots: list[Slot]) -> None:
    """Overlaps, runs, gaps and images equal what a look at each word of the space gives."""
    # Two aligned power-of-two windows are disjoint or nested, images = 2^(free bits): common
    # practice, no source.
    found, words = AddressMap(slots), range(0, 1 << 10, 4)
    matches = {slot.name: [decodes(slot, word) for word in words] for slot in slots}
    expected = []
    for number, one in enumerate(slots):
        for other in slots[number + 1 :]:
            both = [a and b for a, b in zip(matches[one.name], matches[other.name], strict=True)]
            if True in both and one.name not in other.yields_to:
                first = both.index(True)
                last = both.index(False, first) - 1
                expected.append((one.name, other.name, 4 * first, 4 * last + 3))
    overlaps = [(a.name, b.name, first, last) for a, b, first, last in found.overlaps()]
    assert overlaps == expected

    mapped = [any(decodes(slot, word) for slot in slots) for word in words]
    runs: list[tuple[int, int, bool]] = []
    for word, answers in zip(words, mapped, strict=True):
        first = runs.pop()[0] if runs and runs[-1][2] == answers else word
        runs.append((first, word + 3, answers))
    runs[-1] = (runs[-1][0], WORD, False)  # nothing answers above the space
    assert found.runs(1000) == (runs, True)
    assert found.gaps(1000) == ([run[:2] for run in runs if not run[2]], True)
    for limit in (1, 2, len(runs)):
        assert found.runs(limit) == (runs[:limit], limit >= len(runs))

    for slot in slots:
        assert slot.images == 1 << len(slot.free_bits)
        assert sum(matches[slot.name]) * 4 == slot.images * slot.size
        images = {found.slots[slots.index(slot)].image(4 * n) for n in range(256)
                  if matches[slot.name][n]}  # fmt: skip
        assert images == set(range(slot.images))


@settings(max_examples=80, **_SETTINGS)
@given(slots=slots_in(12, 32))
def test_runs_and_overlaps_hold_at_the_edges(slots: list[Slot]) -> None:
    """In the whole space the runs' edges, and the addresses of an overlap, are as they are said."""
    # Common practice, no source.
    found = AddressMap(slots)
    runs, _ = found.runs(64)
    assert runs[0][0] == 0
    for (_, last, mapped), (first, _, then) in pairwise(runs):
        assert (first, then) == (last + 1, not mapped)
    for first, last, mapped in runs:
        for address in (first, last, (first + last) // 2):
            assert any(decodes(slot, address) for slot in slots) == mapped
    overlapping = {(one.name, other.name) for one, other, _, _ in found.overlaps()}
    for one, other, first, last in found.overlaps():
        for address in (first, last):
            assert decodes(one, address)
            assert decodes(other, address)
        for address in (first - 1, last + 1):
            assert not 0 <= address <= WORD or not (
                decodes(one, address) and decodes(other, address)
            )
    for address in edges_of(slots):
        hits = [slot for slot in slots if decodes(slot, address)]
        for number, one in enumerate(hits):
            for other in hits[number + 1 :]:
                if one.name not in other.yields_to:
                    assert (one.name, other.name) in overlapping


@settings(max_examples=30, **_SETTINGS)
@given(slots=slots_in(12, 32, gives_way=True), registered=st.booleans())
def test_the_fabric_decodes_as_the_map(slots: list[Slot], registered: bool) -> None:
    """The decoder in hardware picks the slot and offset of the map, which is that of the bits."""
    # A slot that gives way in both: semantics page, rule 26. Common practice, no source.
    assert AddressMap(slots).overlaps() == []
    rig = Rig(slots, FabricOptions(registered_decode=registered))
    found, names = AddressMap(slots), [slot.name for slot in slots]

    async def process(ctx: Any) -> None:
        for address in {address & ~3 for address in edges_of(slots)}:
            rig.ask(ctx, read(address))
            if registered:
                rig.tick(ctx)
            chosen = [n for n, port in enumerate(rig.ports) if ctx.get(port.stb)]
            decoded = found.decode(address)
            expected = who(slots, address)
            assert {names[n] for n in chosen} == expected
            assert name_of(decoded.slot) == next(iter(expected), None)
            if chosen:
                port = rig.ports[chosen[0]]
                assert ctx.get(port.adr) << 2 == decoded.offset
            if registered:
                rig.ask(ctx, None)
                rig.tick(ctx)

    play(rig, process)
