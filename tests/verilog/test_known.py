"""Peripherals whose behaviour is written a second time, in Python, from what they are for.

Each stands in a slot of its own in one bench. What the accesses and pins of a run show is compared with
the model in Python; the engines are compared with one another.
"""

from __future__ import annotations

import random
import shutil
import zlib
from collections import deque
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from busbox import Bench, Recording
from busbox.bus.transfers import TERMINATORS
from busbox.cpu.steps import AccessStep, Step
from busbox.engines import engine_class
from busbox.run.loop import replay
from busbox.system.system import System
from tests.engines.test_engines_agree import agree
from tests.verilog.netlists import needs_front_end

pytestmark = needs_front_end
MODULES = Path(__file__).parent / "modules"
SLOTS: dict[str, dict[str, Any]] = {
    "pwm": {},
    "queue": {"DEPTH": 6},
    "crc": {},
    "sender": {"ports": {"busy": "busy"}, "DIVISOR": 5},
    "book": {"ports": {"late": True}},
    "abacus": {},
}
#: CRC-32 of this text is 0xcbf43926 (the check value in the catalogue of parametrised CRC algorithms).
CHECKED = b"123456789"


def drawn(seed: int, count: int) -> list[Step]:
    """Return the text whose checksum is published, then random accesses to all slots."""
    dice = random.Random(seed)
    bases = {name: 0x100 * number for number, name in enumerate(SLOTS)}
    steps: list[Step] = [
        AccessStep(True, bases["crc"], int.from_bytes(part, "little"), (1 << len(part)) - 1)
        for part in (CHECKED[:4], CHECKED[4:8], CHECKED[8:])
    ]
    steps.append(AccessStep(False, bases["crc"]))
    for number in range(count):
        name = dice.choice(list(SLOTS))
        write, lanes = dice.random() < 0.5, 15
        offset = 4 * dice.randrange({"pwm": 2, "crc": 1, "sender": 1, "book": 64}.get(name, 12))
        if name == "crc" and dice.random() < 0.1:
            offset = 4
        if name == "queue":  # it fills, then runs dry
            write, offset = dice.random() < (0.7, 0.2)[number // 100 % 2], dice.choice((0, 0, 4, 8))
        if write and name in ("crc", "book"):
            lanes = dice.randrange(1, 16)
        data = dice.choice(
            (dice.getrandbits(32), dice.getrandbits(4), -dice.getrandbits(4) & 0xFFFF_FFFF)
        )
        if name == "abacus" and write:
            offset = dice.choice((0, 4))
        if name == "book" and not write and offset < 0x40:
            offset = dice.randrange(0x10, 0x30, 4)  # what is outside of the words is undefined
        if name == "book" and offset >= 0xC0 and offset >> 2 & 7 in (3, 4, 7):
            offset = 0xC0
        wait = dice.choice((0, 0, 1, 7))
        steps.append(AccessStep(write, bases[name] + offset, data if write else None, lanes, wait))
    return steps


def bench(folder: Path, steps: list[Step]) -> Bench:
    """Return a bench with all of them."""
    for file in MODULES.iterdir():
        shutil.copy(file, folder / file.name)
    slots = {
        name: {"model": f"known.v:{name}", "base": 0x100 * number, "size": 0x100, **keys}
        for number, (name, keys) in enumerate(SLOTS.items())
    }
    return Bench({"clock": "1 MHz", "slot": slots, "traffic": steps}, folder=folder)


Row = tuple[int, int, bool, int, int, str]


def rows(run: Recording, name: str) -> Iterator[Row]:
    """Yield what reached a slot: cycle of its end, offset, write, data, lanes, terminator."""
    number, found = list(SLOTS).index(name), run.accesses
    for place in np.flatnonzero(found.slot == number):
        yield (
            int(found.end[place]), int(found.address[place]) & 0xFF, bool(found.write[place]),
            int(found.data[place]), int(found.lanes[place]), TERMINATORS[found.terminator[place]],
        )  # fmt: skip


def levels(run: Recording, pin: str) -> list[int]:
    """Return the level of a pin in each cycle."""
    cycles, edges = run.edges(pin)
    found = np.zeros(run.cycles, dtype=int)
    for begin, level in zip(cycles, edges, strict=True):
        found[begin:] = level
    return [int(one) for one in found]


Played = tuple[System, Recording]


@pytest.fixture(scope="module")
def played(tmp_path_factory: pytest.TempPathFactory) -> Played:
    """Return the system, and what it does with random traffic; undefined bits are 0."""
    made = bench(tmp_path_factory.mktemp("known"), drawn(1, 1200)).system()
    return made, replay(made, engine_class("python"))


def test_the_engines_agree(played: Played) -> None:
    """The judge, on the first accesses; machine code, on all."""
    made, run = played
    agree(run, replay(made, engine_class("llvm")))
    until = int(run.accesses.end[40])
    judged, quick = (replay(made, engine_class(name), until) for name in ("reference", "python"))
    agree(judged, quick)


def test_nothing_is_undefined_but_what_no_reset_sets(played: Played) -> None:
    """Of the book the register of late data, of the queue the words."""
    made, _ = played
    undefined = {one.name: one.model.made(one.settings).start.undefined for one in made.devices}
    assert {name: names for name, names in undefined.items() if names} == {
        "queue": ("words",), "book": ("rdata", "table_of"),
    }  # fmt: skip


def test_the_lamp_is_on_for_as_many_cycles_as_its_level_says(played: Played) -> None:
    """A period is 2 ** 6 - 3 cycles; the reset sets the level to 5."""
    _, run = played
    level, lamp = 5, levels(run, "pwm.lamp")
    changes = {
        end: data for end, offset, write, data, _, _ in rows(run, "pwm") if write and not offset
    }
    reads = {
        end: (offset, data) for end, offset, write, data, _, _ in rows(run, "pwm") if not write
    }
    assert len(changes) > 30
    for cycle in range(run.cycles):
        step = cycle % (2**6 - 3)
        assert lamp[cycle] == (step < level), cycle
        if cycle in reads:
            offset, data = reads[cycle]
            assert data == ((level - step) & 0xFFFF_FFFF if offset else step)
        level = changes.get(cycle, level) & 0x3F


def test_the_queue_gives_what_was_put_into_it(played: Played) -> None:
    """In order, with ERR where there is nothing or no room; its depth is a parameter."""
    _, run = played
    words: deque[int] = deque()
    full, empty = levels(run, "queue.full"), levels(run, "queue.empty")
    seen = set()
    for end, offset, write, data, _, terminator in rows(run, "queue"):
        assert (full[end], empty[end]) == (len(words) == 6, not words)
        right = "ack"
        if write:
            right = "error" if len(words) == 6 else "ack"
        elif not offset:
            right = "ack" if words else "error"
        assert terminator == right
        seen.add((write, terminator))
        if write and right == "ack":
            words.append(data)
        elif not write and right == "ack":
            assert data == (
                words.popleft() if not offset else (len(words), 6 << 16 | 3)[offset // 8]
            )
    assert seen == {(True, "ack"), (True, "error"), (False, "ack"), (False, "error")}


def test_the_checksum_is_that_of_a_library(played: Played) -> None:
    """Of the bytes whose lanes were selected since it was begun anew, by zlib.crc32."""
    _, run = played
    fed, reads, begun = b"", 0, 0
    for _, offset, write, data, lanes, _ in rows(run, "crc"):
        if write and offset:
            fed, begun = b"", begun + 1
        elif write:
            fed += bytes(data >> 8 * lane & 0xFF for lane in range(4) if lanes >> lane & 1)
        else:
            assert data == zlib.crc32(fed)
            reads += 1
    assert reads > 50
    assert begun > 3


def test_the_checksum_of_the_published_text(played: Played) -> None:
    """Nine bytes, four at once, then one, are fed before all others."""
    _, run = played
    written, (_, _, write, data, _, _) = list(rows(run, "crc"))[:3], list(rows(run, "crc"))[3]
    fed = b"".join(
        data.to_bytes(4, "little")[: lanes.bit_count()] for *_, data, lanes, _ in written
    )
    assert (fed, write, data) == (CHECKED, False, 0xCBF4_3926)


def test_the_sender_puts_bytes_on_its_line(played: Played) -> None:
    """Start bit, eight bits, stop bit of 5 cycles each; an access waits until the line is free."""
    _, run = played
    line, expected, free = levels(run, "sender.tx"), [1] * (run.cycles + 100), 0
    sent = 0
    for end, _, write, data, _, _ in rows(run, "sender"):
        assert end >= free
        if write:
            bits = [0, *(data >> place & 1 for place in range(8)), 1]
            expected[end + 1 : end + 51] = [bit for bit in bits for _ in range(5)]
            free = end + 51
            sent += 1
        else:
            assert data == 0
    assert sent > 50
    assert line == expected[: run.cycles]


def test_the_book_keeps_what_is_written(played: Played) -> None:
    """Bytes of words, half-words by three writers of which the last wins, two tables."""
    _, run = played
    words = {place: place * 0x0101_0101 for place in range(4, 12)}
    halves, table = list(range(8)), {0: 0x11, 1: 0x22, 2: 0x33, 5: 0x66, 6: 0x77}
    seven = [0x3F, 0x06, 0x5B, 0x5B, 0x66, 0x79, 0x79, 0x79]
    seen = set()
    for _, offset, write, data, lanes, _ in rows(run, "book"):
        kind, word = offset >> 6, offset >> 2 & 15
        seen.add((kind, write))
        if write and kind == 0 and word in words:
            mask = sum(0xFF << 8 * lane for lane in range(4) if lanes >> lane & 1)
            words[word] = words[word] & ~mask | data & mask
        elif write and kind == 1:
            halves[word & 7] = data & 0xFFFF
            halves[~word & 7] = data + 1 & 0xFFFF
            if data >> 16 & 1:
                halves[data >> 17 & 7] = data >> 16
        elif not write:
            found = (
                words.get(word),
                halves[~word & 7] << 16 | halves[word & 7],
                word << 8 | seven[word & 7],
                table.get(word & 7),
            )
            assert data == found[kind], hex(offset)
    assert len(seen) == 8


def test_the_abacus_counts_with_signs(played: Played) -> None:
    """Products, quotients towards zero, shifts, comparisons, wildcards; the Gray code on its pins."""
    _, run = played
    a, b, seen = -3, 7, set()
    gray = [levels(run, f"abacus.gray.{place}") for place in range(16)]
    below = levels(run, "abacus.below")
    for end, offset, write, data, _, _ in rows(run, "abacus"):
        if write:
            signed = (data & 0xFFFF) - (data << 1 & 0x1_0000)
            a, b = (a, signed) if offset & 4 else (signed, b)
            continue
        ua, ub, low = a & 0xFFFF, b & 0xFFFF, b & 0xFF
        shown = sum(line[end] << place for place, line in enumerate(gray))
        assert (shown, below[end]) == (ua ^ ua >> 1, a < b)
        size = abs(a) // abs(b) if b else 0
        left = abs(a) % abs(b) if b else 0
        found = [
            a * b, size if (a < 0) == (b < 0) else -size, -left if a < 0 else left, a >> (b & 15),
            (ua << 16 | ub) << (b & 7), a + low - (low << 1 & 0x100), -a - b,
            ua.bit_length() - 1 if ua >> 8 else (ua >> 7) << 2 | bool(ua & 0x70) << 1 | bool(ua & 15),
            min(a, b), ua < ub, (ua & 15) * 0x1111 << 16 | ub, ~a,
        ]  # fmt: skip
        assert data == found[offset >> 2] & 0xFFFF_FFFF, (offset, a, b)
        seen.add(offset)
    assert len(seen) == 12
