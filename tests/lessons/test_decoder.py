"""The decoder of the page against the one in Python: 100,000 addresses, all shapes of maps."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from random import Random
from typing import Any

import pytest

from busbox.basics.errors import InputError
from busbox.bench.bench import Bench
from busbox.map.bits import parse_bits, show_bits
from busbox.map.slots import SPACE, AddressMap, Slot
from tests.lessons.page_script import asked_of_lessons
from tests.report.page_script import needs_node

pytestmark = needs_node

#: Maps and addresses of each map: 100,000 addresses in all.
MAPS, ADDRESSES = 1000, 100

DECODE = """
const { decode, mistakes, overlaps, stretches } = modules["decoder.js"];
const result = given.map(({ slots, addresses }) => ({
  decoded: addresses.map((address) => {
    const found = decode(slots, address);
    return [found.slot ? found.slot.name : null, found.offset, found.image];
  }),
  wrong: slots.map((slot) => [...mistakes(slot)].map(([field]) => field)),
  overlaps: overlaps(slots).map((two) => [two.one.name, two.other.name, two.first, two.last]),
  stretches: stretches(slots),
}));
"""


def drawn_slot(random: Random, name: str, others: list[str]) -> Slot:
    """Return a slot in a crowded corner of the space, so that slots often meet; any decoding."""
    decode = random.choice(("full", "full", "compare", "compare", "range"))
    inner = random.choice((2, 3, 4, 8, 12, 14, 20, 31, 32))
    size = 1 << inner
    top = random.choice((0, 0, 0x4000_0000, 0x8000_0000, 0xFFFF_0000, random.getrandbits(32)))
    base = (top | random.getrandbits(16)) & ~(size - 1) & SPACE - 1
    compare: frozenset[int] = frozenset()
    if decode == "compare":
        bits = range(inner, 32)
        compare = frozenset(random.sample(bits, random.randint(0, min(len(bits), 6))))
    if decode == "range":
        base = (top | random.getrandbits(16)) & ~3 & SPACE - 1
        size = min(4 * random.randint(1, 1 << random.choice((1, 4, 10, 26))), SPACE - base)
    yields = tuple(other for other in others if random.random() < 0.4)
    return Slot(name, base, size, decode, compare, random.randrange(4), yields)


def drawn_map(random: Random) -> list[Slot]:
    """Return up to six slots; two may even give way to each other, so that nobody answers."""
    names = ["store", "book", "levers", "telegraph", "clock", "lamps"][: random.randint(0, 6)]
    return [drawn_slot(random, one, [name for name in names if name != one]) for one in names]


def drawn_addresses(random: Random, slots: list[Slot]) -> list[int]:
    """Return addresses at the edges of windows, of images, of the space, and anywhere."""
    edges = [0, 3, SPACE - 1, SPACE - 4]
    for slot in slots:
        edges += [slot.base, slot.base + slot.size - 1, slot.base + slot.size, slot.base - 1]
        edges += [slot.base ^ 1 << bit for bit in range(32)]
        edges += [slot.base ^ random.getrandbits(32) & sum(1 << bit for bit in slot.free_bits)]
    random.shuffle(edges)
    found = [edge % SPACE for edge in edges[: ADDRESSES * 2 // 3]]
    return found + [random.getrandbits(32) for _ in range(ADDRESSES - len(found))]


def as_given(slot: Slot) -> dict[str, Any]:
    """Return a slot as the page knows it."""
    return {
        "name": slot.name, "base": slot.base, "size": slot.size, "decode": slot.decode,
        "compare": sorted(slot.compare), "wait": slot.wait, "yields": list(slot.yields_to),
        "model": "memory",
    }  # fmt: skip


def drawn(seed: int, count: int) -> Iterator[tuple[list[Slot], list[int]]]:
    """Yield maps and addresses."""
    random = Random(seed)
    for _ in range(count):
        slots = drawn_map(random)
        yield slots, drawn_addresses(random, slots)


def compared(cases: list[tuple[list[Slot], list[int]]], folder: Path) -> Iterator[tuple[Any, ...]]:
    """Yield slots, addresses, the map in Python and what JavaScript says of it."""
    given = [
        {"slots": [as_given(slot) for slot in slots], "addresses": addresses}
        for slots, addresses in cases
    ]
    answers = asked_of_lessons(DECODE, given, folder)
    assert len(answers) == len(cases)
    for (slots, addresses), answer in zip(cases, answers, strict=True):
        yield slots, addresses, AddressMap(slots), answer


@pytest.mark.quick
def test_both_decoders_agree_on_100_000_addresses(tmp_path: Path) -> None:
    """Slot, offset and image are the same, with images, ranges, ties, gaps and who gives way."""
    kinds = {"gap": 0, "image": 0, "range": 0, "tie": 0, "gives way": 0, "all give way": 0}
    count = 0
    for slots, addresses, found, answer in compared(list(drawn(1, MAPS)), tmp_path):
        for address, (name, offset, image) in zip(addresses, answer["decoded"], strict=True):
            decoded = found.decode(address)
            expected = decoded.slot.name if decoded.slot else None
            assert (name, offset, image) == (expected, decoded.offset, decoded.image), slots
            hits = [slot for slot in slots if slot.answers(address)]
            count += 1
            kinds["gap"] += not hits
            kinds["image"] += decoded.image > 0
            kinds["range"] += decoded.slot is not None and decoded.slot.decode == "range"
            kinds["tie"] += len(hits) > 1
            kinds["gives way"] += (
                len(hits) > 1 and decoded.slot is not None and hits[0] != decoded.slot
            )
            kinds["all give way"] += bool(hits) and decoded.slot is None
        assert answer["overlaps"] == [
            [one.name, other.name, first, last] for one, other, first, last in found.overlaps()
        ]
    assert count == MAPS * ADDRESSES
    assert min(kinds.values()) > 100, kinds


def test_stretches_say_who_answers_at_each_address(tmp_path: Path) -> None:
    """Stretches follow one another without a hole, and Python's map gives the same at their ends."""
    complete = 0
    for slots, _, found, answer in compared(list(drawn(2, 300)), tmp_path):
        parts = answer["stretches"]["stretches"]
        complete += answer["stretches"]["complete"]
        at = 0
        for part in parts:
            assert part["first"] == at
            at = part["last"] + 1
            name = part["slot"]["name"] if part["slot"] else None
            for address in (part["first"], part["last"], (part["first"] + part["last"]) // 2):
                decoded = found.decode(address)
                assert (decoded.slot.name if decoded.slot else None) == name, slots
                if decoded.slot is not None:
                    window = 0 <= address - decoded.slot.base < decoded.slot.size
                    assert part["image"] != window
        assert at == SPACE or not answer["stretches"]["complete"]
    assert complete > 100


def test_the_same_numbers_of_a_slot_are_refused(tmp_path: Path) -> None:
    """Each field that Python refuses is refused by the page, and no other."""
    random = Random(3)
    slots = []
    for number in range(3000):
        decode = random.choice(("full", "compare", "range"))
        size = random.choice((0, 2, 3, 4, 6, 0x1000, 0x1004, 0x3000, 0x4000, 1 << 31, 1 << 32))
        base = random.choice((0, 2, 4, 0x1000, 0x2000, 0x2000_D000, 0xFFFF_F000, 0xFFFF_FFFC))
        bits = random.sample(range(2, 32), random.randint(1, 5)) if decode == "compare" else []
        slots.append(Slot(f"slot{number}", base, size, decode, frozenset(bits)))
    (answer,) = [
        [[field for field, _ in one] for one in found]
        for found in asked_of_lessons(
            'const result = [given.map((slot) => [...modules["decoder.js"].mistakes(slot)])];',
            [as_given(slot) for slot in slots],
            tmp_path,
        )
    ]
    expected = [[field for field, _ in slot.mistakes()] for slot in slots]
    assert answer == expected
    assert {field for one in expected for field in one} == {"base", "size", "compare"}


def test_the_same_maps_are_refused_as_in_a_bench(tmp_path: Path) -> None:
    """Overlaps, circles of who gives way, names and numbers: a bench loads what the page takes."""
    random = Random(4)
    maps = []
    while len(maps) < 250:
        slots = [replace(slot, yields_to=slot.yields_to[:2]) for slot in drawn_map(random)]
        if slots and all(slot.compare or slot.decode != "compare" for slot in slots):
            maps.append(slots[:3] if random.random() < 0.6 else slots)
    answers = asked_of_lessons(
        'const result = given.map((slots) => modules["board.js"].refusals(slots).length);',
        [[as_given(slot) for slot in slots] for slots in maps],
        tmp_path,
    )
    for slots, answer in zip(maps, answers, strict=True):
        assert bool(answer) == is_refused(slots), slots
    assert 30 < sum(map(bool, answers)) < 220


def is_refused(slots: list[Slot]) -> bool:
    """Return whether a bench with these slots cannot be loaded."""
    tables = {}
    for slot in slots:
        table: dict[str, Any] = {"model": "memory", "base": slot.base, "size": slot.size}
        table |= {"yields_to": list(slot.yields_to), "wait": slot.wait}
        if slot.decode == "compare":
            table["compare"] = show_bits(slot.compare)
        else:
            table["decode"] = slot.decode
        tables[slot.name] = table
    try:
        Bench({"clock": "16 MHz", "slot": tables}).devices()
    except InputError:
        return True
    return False


def test_bits_are_written_and_read_as_in_a_bench(tmp_path: Path) -> None:
    """Texts of compared bits are read by both, or refused by both; both write them alike."""
    texts = ["31..28, 5", "31", "2", "1", "32", "5..7", "7..7", " 31 .. 12 ", "", "a", "31..12, 20",
             "31..28,,5", "31...2", "3, 2", "31..2", "-3", "٣"]  # fmt: skip
    answers = asked_of_lessons(
        """const { parseBits, showBits } = modules["bits.js"];
        const result = given.map((text) => {
          const found = parseBits(text);
          return "bits" in found ? showBits(found.bits) : null;
        });""",
        texts,
        tmp_path,
    )
    for text, answer in zip(texts, answers, strict=True):
        try:
            expected = show_bits(parse_bits(text))
        except ValueError:
            expected = None
        assert answer == expected, text
