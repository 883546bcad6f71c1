"""The timer in Amaranth, in every cycle beside its model."""

from __future__ import annotations

import random

import pytest
from amaranth.back import rtlil

from busbox.device import Site
from busbox.models.timer import Timer
from busbox.models.timer.hardware import TimerHardware
from tests.models.hardware_harness import Aimed, Case, Pair, share_near

NOW, NOW_HIGH, ALARM, CONTROL, STATUS, HOLE = range(0, 0x18, 4)
ONES = 0xFFFF_FFFF
TURN = 1 << 32

waits = pytest.mark.parametrize("wait", [0, 1])


def timers(first: int = 0) -> Pair:
    """Return a timer and its twin, whose cycle 0 is cycle ``first`` since reset."""
    pair = Pair(Timer, size=0x20)
    pair.first, pair.preset = first, {"count": first}
    return pair


def run(wait: int, *cases: Case, cycles: int) -> list[int]:
    """Run the cases one after the other on both sides, and return the words read."""
    return timers().play_each(cases, cycles, wait)


@waits
def test_now_is_the_cycle(wait: int) -> None:
    """NOW reads the cycle in which the read ends, and counts from 0 again behind a reset."""
    case = Case(
        [Aimed(4, NOW), Aimed(7, NOW), Aimed(12, NOW, ONES), Aimed(17, NOW), Aimed(20, NOW)],
        resets=[(9, 1), (13, 2)],
    )
    # Cycle 9 + 1 and cycle 13 + 2 play the part of cycle 0.
    assert timers().play(case, 24, wait) == [4, 7, 17 - 15, 20 - 15]


@waits
@pytest.mark.parametrize("turn", [1, 5, ONES])
def test_the_high_word_is_of_the_last_read_of_now(wait: int, turn: int) -> None:
    """NOW_HIGH is what the last read of NOW saw, around the turn of the low word, and reset."""
    accesses = [
        Aimed(3, NOW_HIGH),
        Aimed(6, NOW),
        Aimed(9, NOW_HIGH),  # the last cycle before the turn
        Aimed(12, NOW, lanes=0),
        Aimed(15, NOW_HIGH),
        Aimed(18, NOW_HIGH, ONES),
        Aimed(21, NOW, ONES),
        Aimed(24, NOW_HIGH),
    ]
    first = turn * TURN - 10
    words = timers(first).play(Case(accesses, resets=[(27, 1)]), 32, wait)
    assert words == [0, TURN - 4, turn - 1, 2, turn, turn]


@pytest.mark.parametrize("cycle", [8, 9, 10, 11])
def test_a_read_of_now_around_the_turn(cycle: int) -> None:
    """The count is 2 x 2^32 in cycle 10: both words of a read that ends around it fit together."""
    first = 2 * TURN - 10
    case = Case([Aimed(cycle, NOW), Aimed(cycle + 1, NOW_HIGH)])
    low, high = timers(first).play(case, 16)
    assert high << 32 | low == first + cycle


@pytest.mark.parametrize("alarm", [TURN - 1, 0, 1])
def test_an_alarm_around_the_turn(alarm: int) -> None:
    """ALARM is compared with the low word: it rings around the turn, 0 too once it is written."""
    first = TURN - 10
    accesses = [Aimed(3, ALARM, alarm), Aimed(5, CONTROL, 1), Aimed(14, STATUS, 1)]
    pair = timers(first)
    pair.play(Case(accesses), 20)
    ring = dict(pair.hosts[1].lines())["dev.ring"].cycles.tolist()
    assert ring == [0, first + 10 + (alarm + 1) % TURN, first + 15]


@pytest.mark.parametrize("cycle", [9, 10, 11])
def test_the_reset_value_of_alarm_is_none_at_the_turn_either(cycle: int) -> None:
    """ALARM, written for the first time around the cycle with NOW = 0, does not ring there."""
    first = TURN - 10
    pair = timers(first)
    pair.play(Case([Aimed(3, CONTROL, 1), Aimed(cycle, ALARM, 5), Aimed(14, STATUS)]), 20)
    assert dict(pair.hosts[1].lines())["dev.ring"].cycles.tolist() == [0, first + 16]


@waits
def test_an_alarm_written_around_its_cycle(wait: int) -> None:
    """ALARM = 12 written or moved away around cycle 12, wholly, by a lane, or with none."""
    cases = [
        Case([Aimed(3, CONTROL, 1), Aimed(6, ALARM, before), Aimed(cycle, ALARM, after, lanes)])
        for before, after, lanes in (
            (0x100, 12, 0b1111),
            (0x100, 12, 0b0011),
            (0x100, 12, 0b0001),
            (0x0C, 0x10C, 0b1111),
            (0x0C, 0x10C, 0b0001),
            (0x0C, 0x10C, 0b0000),
        )
        for cycle in range(10, 14)
    ]
    run(wait, *cases, cycles=18)


@waits
def test_only_a_written_alarm_rings(wait: int) -> None:
    """Nothing rings before ALARM is written: not in cycle 0, nor behind a reset; one lane writes it."""
    cases = [
        Case([Aimed(3, CONTROL, 1)]),
        Case([Aimed(3, ALARM, 12, 0), Aimed(6, CONTROL, 1)]),
        Case([Aimed(3, ALARM, 0xFFFF_FF0C, 0b0001), Aimed(6, CONTROL, 1)]),
        Case([Aimed(3, ALARM, 5), Aimed(9, CONTROL, 1), Aimed(12, STATUS)], resets=[(4, 1)]),
        Case([Aimed(3, ALARM, 5), Aimed(12, CONTROL, 1)], resets=[(7, 2)]),
    ]
    run(wait, *cases, cycles=16)


@waits
def test_status_and_control_around_a_match(wait: int) -> None:
    """RANG is set in cycle 12: STATUS or CONTROL written around it, by lanes."""
    cases = [
        Case([Aimed(3, CONTROL, control), Aimed(6, ALARM, 12), Aimed(cycle, offset, data, lanes)])
        for control in (0, 1)
        for offset, data, lanes in (
            (STATUS, 1, 0b1111),
            (STATUS, ONES, 0b0001),
            (STATUS, ONES, 0b1110),
            (CONTROL, 1 - control, 0b0001),
            (CONTROL, 1 - control, 0b1110),
        )
        for cycle in range(11, 15)
    ]
    run(wait, *cases, cycles=17)


@waits
def test_a_second_match(wait: int) -> None:
    """RANG is set from cycle 9 on, ALARM is 15: STATUS or CONTROL written around cycle 15."""
    cases = [
        Case(
            [
                Aimed(2, CONTROL, control),
                Aimed(4, ALARM, 8),
                Aimed(11, ALARM, 15),
                Aimed(cycle, offset, data),
            ]
        )
        for control in (0, 1)
        for offset, data in ((STATUS, 1), (CONTROL, 1 - control), (NOW, 0))
        for cycle in range(14, 17)
    ]
    run(wait, *cases, cycles=20)


@pytest.mark.parametrize(
    ("write", "edges"),
    [
        (Aimed(11, CONTROL, 1), [(13, -1)]),
        (
            Aimed(12, CONTROL, 1),
            [(13, -1)],
        ),  # the match sets RANG in that cycle: it rises by itself
        (Aimed(13, CONTROL, 1), [(14, 1)]),
        (Aimed(12, NOW, 0), []),
    ],
)
def test_who_raised_ring(write: Aimed, edges: list[tuple[int, int]]) -> None:
    """ALARM is 12, CONTROL written around it: the match or the write."""
    pair = timers()
    pair.play(Case([Aimed(4, ALARM, 12), write]), 20)
    line = dict(pair.hosts[1].lines())["dev.ring"]
    assert list(zip(line.cycles.tolist(), line.accesses.tolist(), strict=True))[1:] == edges


@waits
def test_a_reset_in_any_cycle(wait: int) -> None:
    """RST around a match in cycle 12, of any length; then a match in the new count."""
    accesses = [
        Aimed(3, CONTROL, 1),
        Aimed(5, NOW),
        Aimed(8, ALARM, 12),
        Aimed(11, NOW),
        Aimed(14, STATUS, 1),
        Aimed(20, ALARM, 9),
        Aimed(23, CONTROL, 1),
        Aimed(28, NOW_HIGH),
    ]
    cases = [
        Case(accesses, resets=[(cycle, length)]) for cycle in range(8, 17) for length in (1, 2, 3)
    ]
    run(wait, *cases, cycles=32)


def test_holes_and_lanes() -> None:
    """Holes read 0 and drop writes; ALARM, CONTROL and STATUS take selected lanes."""
    writes = [
        Aimed(2 + 4 * place, offset, data, lanes)
        for place, (offset, data, lanes) in enumerate(
            (offset, data, lanes)
            for offset in (ALARM, CONTROL, STATUS, HOLE, 0x1C)
            for data, lanes in ((0x1234_5679, 0b1111), (0xFEDC_BA98, 0b0110), (ONES, 0b1001))
        )
    ]
    reads = [Aimed(one.end + 1, one.offset, lanes=0) for one in writes]
    accesses = sorted([*writes, *reads], key=lambda one: one.end)
    run(0, Case(accesses), cycles=70)


def random_case(dice: random.Random, wait: int, count: int) -> Case:
    """Return random accesses and resets; a fifth of the accesses at least meets a match."""
    accesses: list[Aimed] = []
    matches: list[int] = []
    resets: list[tuple[int, int]] = []
    cycle = origin = 0
    while len(accesses) < count:
        cycle += 1 + wait + dice.choice([0, 0, 0, 1, 2, 7])
        if dice.random() < 0.05:
            resets.append((cycle, dice.randrange(1, 4)))
            cycle = origin = sum(resets[-1])
            continue
        offset = dice.choice([NOW, NOW_HIGH, ALARM, ALARM, CONTROL, STATUS, STATUS, HOLE])
        lanes = dice.choice([0b1111, 0b1111, 0b0001, dice.randrange(16)])
        data = dice.choice([dice.getrandbits(32), dice.randrange(2), ONES])
        if offset == ALARM and dice.random() < 0.9:
            data = cycle - origin + dice.randrange(-1, 12)
            matches.append(origin + data)
        write = offset == ALARM or dice.random() < 0.7
        accesses.append(Aimed(cycle, offset, data & ONES if write else None, lanes))
    assert share_near(accesses, [*matches, *(at for at, _ in resets)]) > 0.2
    return Case(accesses, resets=resets)


@pytest.mark.parametrize(("wait", "seed"), [(0, 0), (0, 1), (0, 2), (1, 0), (1, 1), (2, 0)])
def test_random_traffic(wait: int, seed: int) -> None:
    """The twin is the model's equal in every cycle of random traffic."""
    case = random_case(random.Random(f"timer {wait} {seed}"), wait, 150)
    pair = timers()
    pair.play(case, case.accesses[-1].end + 16, wait)
    assert len(dict(pair.hosts[1].lines())["dev.ring"].cycles) > 5


def test_it_converts() -> None:
    """The twin is hardware: it converts to RTLIL, with its pin as a port."""
    text = rtlil.convert(TimerHardware(Site("dev", 0, 0x20, 1)), emit_src=False)
    assert r"\pin_ring" in text
