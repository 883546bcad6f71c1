"""How often lamps flash: outside values, and what lies in one second."""

from __future__ import annotations

from fractions import Fraction

import pytest

from busbox.board.light import Flashing
from tests.board.naive_light import BLACK, BLUE, RED, WHITE, flashes, grey, one_lamp


# Source of the definition: WCAG 2.2, success criterion 2.3.1; each pair is computed from its formula,
# with the difference of luminance or the luminance of the darker colour.
@pytest.mark.parametrize(
    ("first", "second", "kinds"),
    [
        (BLACK, WHITE, (1, 0)),
        (BLACK, BLUE, (0, 0)),  # 0.0722
        (BLACK, RED, (1, 1)),  # 0.2126
        (WHITE, 0xFFFF00, (0, 0)),  # 0.0722
        (WHITE, 0x00FFFF, (1, 0)),  # 0.2126
        (WHITE, grey(231), (1, 0)),
        (WHITE, grey(232), (0, 0)),  # the darker is 0.80695
        (BLACK, grey(89), (0, 0)),  # 0.09990
        (BLACK, grey(90), (1, 0)),  # 0.10224
    ],
)
def test_pairs_of_colours_in_srgb(first: int, second: int, kinds: tuple[int, int]) -> None:
    """A pair of opposing changes between two colours is a flash of just the kinds that it should be."""
    # Rising from dark to the first colour is a change of its own: three changes are one flash.
    assert flashes([first, second, first], "srgb") == kinds


# Source: WCAG 2.2, success criterion 2.3.1; computed: 0.1 x 255 over the weights, rounded up.
@pytest.mark.parametrize(("unit", "least"), [(0x010101, 26), (0x000100, 36), (0x010000, 120)])
def test_the_least_value_that_flashes_as_linear_light(unit: int, least: int) -> None:
    """From black, a colour flashes from the value on at which its luminance reaches 0.1."""
    assert flashes([unit * least, BLACK])[0] == 1
    assert flashes([unit * (least - 1), BLACK])[0] == 0


def test_blue_never_flashes_as_linear_light() -> None:
    """From black, the brightest blue is no general flash."""
    # Source: WCAG 2.2, success criterion 2.3.1: its weight is 0.0722.
    assert flashes([BLUE, BLACK]) == (0, 0)


def test_the_edges_of_a_general_change() -> None:
    """A change of just 0.1 is one; a change whose darker state is just 0.8 is none."""
    # Source: WCAG 2.2, success criterion 2.3.1: "10 % or more", "below 0.80".
    # 10 x 2126 + 24 x 7152 + 86 x 722 = 255000 = 0.1 x 255 x 10000; one less of blue falls short.
    assert flashes([0x0A1856, BLACK])[0] == 1
    assert flashes([0x0A1855, BLACK])[0] == 0
    # 180 x 2126 + 248 x 7152 + 192 x 722 = 2295000 = 0.9 x 255 x 10000: from white, 0.1 away, but
    # above 0.8; 204 / 255 is 0.8.
    assert flashes([WHITE, 0xB4F8C0, WHITE, 0xB4F8C0])[0] == 0
    assert [flashes([WHITE, grey(value), WHITE])[0] for value in (204, 203)] == [0, 1]


def test_three_hertz_pass_and_four_do_not() -> None:
    """Black and white at 3 Hz are three flashes in any second, at 4 Hz four; both for five seconds."""
    # Source: WCAG 2.2, success criterion 2.3.1: at most three in any one second.
    slow, _ = one_lamp([WHITE, BLACK] * 15, tick=Fraction(1, 6))
    fast, _ = one_lamp([WHITE, BLACK] * 20, tick=Fraction(1, 8))
    assert (slow.most, slow.start, slow.end, slow.passes) == (3, 0, 5, True)
    assert (fast.most, fast.start, fast.end, fast.passes) == (4, 0, 7, False)


def test_four_flashes_across_two_seconds_of_the_clock() -> None:
    """Four flashes within a second count, although each second of the clock holds two of them."""
    # Source: WCAG 2.2, success criterion 2.3.1: "in any one second period".
    general, _ = one_lamp([WHITE, BLACK] * 4, [6, 7, 8, 9, 10, 11, 12, 13])
    assert general == Flashing(0, "general", 4, 6, 13)


def test_pairs_do_not_overlap() -> None:
    """Seven changes in a second are three flashes, and one change is none; red is counted alike."""
    # Source: WCAG 2.2, success criterion 2.3.1: "a pair of opposing changes".
    frames = [RED, BLACK, RED, BLACK, RED, BLACK, RED]
    assert one_lamp(frames) == (Flashing(0, "general", 3, 0, 5), Flashing(0, "red", 3, 0, 5))
    assert one_lamp([RED]) == (Flashing(0, "general", 0, -1, -1), Flashing(0, "red", 0, -1, -1))


@pytest.mark.parametrize(("last", "most"), [(9, 4), (10, 3)])
def test_the_end_of_a_second_lies_outside(last: int, most: int) -> None:
    """Eight changes are four flashes if the last comes less than a second after the first."""
    general, _ = one_lamp([WHITE, BLACK] * 4, [-1, 0, 1, 2, 3, 4, 5, last - 1])
    assert general.most == most


def test_a_tick_that_divides_no_second() -> None:
    """Of ticks of 3/10 s, the changes of four lie within a second; longer ones hold a change alone."""
    assert one_lamp([WHITE, BLACK] * 4, tick=Fraction(3, 10))[0].most == 2
    assert one_lamp([WHITE, BLACK] * 4, tick=Fraction(1))[0].most == 0
    assert one_lamp([WHITE, BLACK] * 4, tick=Fraction(3))[0].most == 0
    assert one_lamp([WHITE, BLACK] * 4, tick=Fraction(1, 10**30))[0].most == 4


def test_the_furthest_ticks() -> None:
    """Ticks at both ends of 64 bits are compared without overflow."""
    ends = [-(2**63), -(2**63) + 1, 2**63 - 2, 2**63 - 1]
    assert one_lamp([WHITE, BLACK] * 2, ends)[0] == Flashing(0, "general", 1, ends[0], ends[1])
    whole = one_lamp([WHITE, BLACK] * 2, ends, Fraction(1, 10**20))[0]
    assert whole == Flashing(0, "general", 2, ends[0], ends[3])
    late = [ends[0], ends[2] - 2, ends[2] - 1, *ends[2:]]
    half = one_lamp([WHITE, BLACK] * 2 + [WHITE], late, Fraction(1, 2**63))[0]
    assert half == Flashing(0, "general", 2, late[1], late[4])


def test_the_first_of_equal_seconds_is_told() -> None:
    """Of two bursts, the one with more flashes is told; of equal ones, the first."""
    burst = [WHITE, BLACK] * 2
    general, _ = one_lamp([WHITE, BLACK, *burst, *burst], [0, 1, *range(20, 24), *range(40, 44)])
    assert general == Flashing(0, "general", 2, 20, 23)
