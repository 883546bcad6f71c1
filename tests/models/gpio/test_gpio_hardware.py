"""The port of pins in Amaranth, in every cycle beside its model."""

from __future__ import annotations

import random

import pytest
from amaranth.back import rtlil

from busbox.device import Site
from busbox.models.gpio import Gpio
from busbox.models.gpio.hardware import GpioHardware
from tests.models.hardware_harness import Aimed, Case, Pair, share_near

OUT, SET, CLEAR, TOGGLE, IN, ENABLE, RISE, FALL, EVENTS, HOLE = range(0, 0x28, 4)
ONES = 0xFFFF_FFFF

waits = pytest.mark.parametrize("wait", [0, 1])


def ports(width: int) -> Pair:
    """Return a port of pins and its twin."""
    return Pair(Gpio, size=0x40, width=width)


def run(wait: int, *cases: Case, cycles: int, width: int) -> list[int]:
    """Run the cases one after the other on both sides, and return the words read."""
    return ports(width).play_each(cases, cycles, wait)


@waits
def test_out_and_what_acts_on_it(wait: int) -> None:
    """OUT, SET, CLEAR and TOGGLE each take ones by lanes, and show in the cycle after."""
    accesses = [
        Aimed(4, OUT, 0x3030_00FE),
        Aimed(8, SET, 0x0F0F_0001, 0b0111),
        Aimed(12, CLEAR, 0x1010_00F0, 0b1011),
        Aimed(16, TOGGLE, 0x1111_1111, 0b0001),
        Aimed(20, OUT, 0xAABB_CCDD, 0b0100),
        Aimed(24, OUT),
        Aimed(28, SET, ONES, 0),
        Aimed(32, OUT, lanes=0b0010),
    ]
    # 3030_00FE, 303F_00FF, 203F_000F, 203F_001E, 20BB_001E
    assert run(wait, Case(accesses), cycles=36, width=32) == [0x20BB_001E, 0x20BB_001E]


def test_back_to_back_writes_and_reads() -> None:
    """Without a wait state accesses in cycle after cycle each see what the last one did."""
    ends = [Aimed(7, IN, ONES), Aimed(8, HOLE, ONES), Aimed(9, HOLE), Aimed(10, 0x3C)]
    cases = [
        Case(
            [
                Aimed(1, OUT, 0b0110),
                Aimed(2, offset, 0b0011),
                Aimed(3, OUT),
                Aimed(4, offset, 0b0101),
                Aimed(5, OUT),
                Aimed(6, offset),
                *ends,
            ]
        )
        for offset in (OUT, SET, CLEAR, TOGGLE, ENABLE)
    ]
    run(0, *cases, cycles=14, width=4)


@waits
def test_a_released_pin_keeps_what_out_does(wait: int) -> None:
    """ENABLE releases pins by lanes; OUT moves behind them, and shows when they are driven again."""
    cases = [
        Case(
            [
                Aimed(4, OUT, 0x0101_0101),
                Aimed(8, ENABLE, 0, 0b0101),
                Aimed(12, register, 0x0101_0101),
                Aimed(16, ENABLE, 0x00FF_0001),
                Aimed(20, ENABLE, ONES),
            ]
        )
        for register in (OUT, CLEAR, TOGGLE)
    ]
    run(wait, *cases, cycles=24, width=32)


@waits
def test_edges_are_chosen_by_the_cycle_that_shows_them(wait: int) -> None:
    """The level of in.0 moves in cycle 10: RISE or FALL written around cycle 12, on or off."""
    cases = [
        Case(
            [Aimed(7, register, before), Aimed(written, register, 1 - before)],
            [(2, "in.0", 1 - level), (10, "in.0", level)],
        )
        for register, level in ((RISE, 1), (FALL, 0))
        for before in (0, 1)
        for written in range(10, 15)
    ]
    run(wait, *cases, cycles=17, width=2)


@waits
def test_a_clear_around_an_edge(wait: int) -> None:
    """EVENTS is 3 from cycle 7 on, in.0 rises again in IN in cycle 12: EVENTS written around it."""
    inputs = [(4, "in.0", 1), (4, "in.1", 1), (6, "in.0", 0), (10, "in.0", 1)]
    cases = [
        Case([Aimed(3, RISE, 3), Aimed(cleared, EVENTS, data)], inputs)
        for data in (1, 2, 3)
        for cleared in range(10, 15)
    ]
    run(wait, *cases, cycles=17, width=2)


@pytest.mark.parametrize(("cleared", "falls"), [(11, []), (12, []), (13, [14]), (14, [15])])
def test_who_moved_the_interrupt(cleared: int, falls: list[int]) -> None:
    """It rises in cycle 13 by itself, also behind a write of EVENTS in cycle 12, and falls by one."""
    pair = ports(2)
    writes = [Aimed(3, RISE, 1), Aimed(cleared, EVENTS, 1)]
    pair.play(Case(writes, [(10, "in.0", 1)]), 20)
    line = dict(pair.hosts[1].lines())["dev.interrupt"]
    assert line.cycles.tolist() == [0, 13, *falls]
    assert line.accesses.tolist() == [-1, -1, *(1 for _ in falls)]


def test_ones_in_selected_lanes_clear() -> None:
    """A pin of each lane has risen; EVENTS written by lanes, then wholly."""
    inputs = [(4, f"in.{bit}", 1) for bit in (0, 7, 8, 16, 31)]
    cases = [
        Case([Aimed(3, RISE, ONES), Aimed(9, EVENTS, ONES, lanes), Aimed(11, EVENTS, ONES)], inputs)
        for lanes in (0b0000, 0b0001, 0b0010, 0b0100, 0b1000, 0b1110)
    ]
    run(0, *cases, cycles=14, width=32)


@waits
def test_a_reset_in_any_cycle(wait: int) -> None:
    """Everything is set up, and edges are on their way, when RST comes; then all is written anew."""
    inputs = [(4, "in.0", 1), (10, "in.1", 1), (11, "in.0", 0), (12, "in.2", 1), (13, "in.2", 0)]
    accesses = [
        Aimed(3, RISE, 7),
        Aimed(6, ENABLE, 1),
        Aimed(9, OUT, 7),
        Aimed(12, FALL, 7),
        Aimed(15, EVENTS, 7),
        Aimed(19, FALL, 1),
        Aimed(22, OUT),
    ]
    cases = [
        Case(accesses, inputs, [(cycle, length)]) for cycle in range(9, 16) for length in (1, 2, 3)
    ]
    run(wait, *cases, cycles=26, width=3)


@waits
def test_a_level_that_outlives_a_reset_is_an_edge(wait: int) -> None:
    """RST in cycle 9 or 9 to 11; RISE is written around the cycle in which IN shows the level again."""
    cases = [
        Case([Aimed(enabled + length, RISE, 1)], [(2, "in.0", 1)], [(9, length)])
        for enabled in (10, 11, 12)
        for length in (1, 3)
    ]
    run(wait, *cases, cycles=20, width=1)


def random_case(dice: random.Random, wait: int, width: int, count: int) -> Case:
    """Return random accesses, inputs and resets; a fifth of the accesses at least meets an edge."""
    accesses: list[Aimed] = []
    cycle, pins = 0, [*range(min(width, 4)), width - 1]
    while len(accesses) < count:
        cycle += 1 + wait + dice.choice([0, 0, 0, 1, 2, 7])
        offset = dice.choice([*range(0, 0x28, 4), EVENTS, EVENTS, RISE, FALL])
        data = dice.choice([dice.getrandbits(32), 1 << dice.choice(pins), ONES, 0x0F])
        lanes = dice.choice([0b1111, 0b1111, 0b0001, dice.randrange(16)])
        accesses.append(Aimed(cycle, offset, data if dice.random() < 0.75 else None, lanes))
    inputs = [
        (at, f"in.{dice.choice(pins)}", dice.randrange(2))
        for at in sorted(dice.randrange(cycle) for _ in range(cycle // 4))
    ]
    resets = [(at + dice.randrange(40), dice.randrange(1, 4)) for at in range(50, cycle, 70)]
    events = [at + 2 for at, *_ in inputs] + [at for at, _ in resets]
    assert share_near(accesses, events) > 0.2
    return Case(accesses, inputs, resets)


@pytest.mark.parametrize(("wait", "width"), [(0, 1), (0, 3), (1, 5), (2, 9), (0, 32), (1, 32)])
def test_random_traffic(wait: int, width: int) -> None:
    """The twin is the model's equal in every cycle of random traffic."""
    case = random_case(random.Random(f"gpio {wait} {width}"), wait, width, 120)
    pair = ports(width)
    pair.play(case, case.accesses[-1].end + 5, wait)
    assert len(dict(pair.hosts[1].lines())["dev.interrupt"].cycles) > 5


@pytest.mark.parametrize("width", [1, 32])
def test_it_converts(width: int) -> None:
    """The twin is hardware: it converts to RTLIL, with its pins as ports."""
    text = rtlil.convert(GpioHardware(Site("dev", 0, 0x40, 1), width=width), emit_src=False)
    assert f"wire width {width} output" in text
