"""The light of colours: outside values, the red rule's edges, lamps with white."""

from __future__ import annotations

import pytest

from busbox.lines.colour import luminance, on_screen, red_share
from tests.board.naive_light import (
    BLACK,
    BLUE,
    GREEN,
    ORANGE_60,
    RED,
    RED_19,
    RED_30,
    WHITE,
    flashes,
    grey,
)


def test_luminance_and_share_of_red() -> None:
    """Luminance and the share of red are those of the formula, in both lights."""
    # Source: WCAG 2.2, definition of relative luminance: weights, 0.04045, 12.92, 0.055 and 2.4.
    assert (luminance(RED), luminance(GREEN), luminance(BLUE)) == (0.2126, 0.7152, 0.0722)
    assert luminance(grey(51)) == 0.2
    assert luminance(grey(10), "srgb") == pytest.approx(10 / 255 / 12.92)
    assert luminance(grey(11), "srgb") == pytest.approx(((11 / 255 + 0.055) / 1.055) ** 2.4)
    # Computed from the formula, to five places; the same source.
    assert [round(luminance(grey(value), "srgb"), 5) for value in (89, 90, 232)] == [
        0.09990, 0.10224, 0.80695,
    ]  # fmt: skip
    assert (red_share(BLACK), red_share(RED), red_share(0xC83200)) == (0.0, 1.0, 0.8)
    assert red_share(0x641900, "srgb") > red_share(0x641900)


def test_a_screen_shows_the_light_of_a_lamp() -> None:
    """What a screen shows has the lamp's light, within half a step of the screen's values."""
    # From memory: half of the light is value 188 of sRGB; 1/255 is 13 (12.92 x 1 is near).
    assert [on_screen(grey(value)) for value in (0, 1, 128, 255)] == [
        grey(v) for v in (0, 13, 188, 255)
    ]
    for value in range(256):
        shown = on_screen(grey(value)) & 255
        least, most = (
            luminance(grey(max(0, min(255, one))), "srgb") for one in (shown - 1, shown + 1)
        )
        assert least <= luminance(grey(value)) <= most
        assert on_screen(grey(value), "srgb") == grey(value)
    assert on_screen(0x40_100000) == on_screen(0x504040)
    assert on_screen(0xFF_000000) == on_screen(0xFF_FF0000) == WHITE


def test_the_edges_of_a_red_change() -> None:
    """The measure must change by more than 20, and the share of red be 0.8 or more in either state."""
    # Source: WCAG 2.2, success criterion 2.3.1, older working definition: 320 x 16 / 255 is 20.08.
    assert [flashes([value << 16, BLACK])[1] for value in (15, 16)] == [0, 1]
    # 200 / 250 is 0.8; one more of green falls short, and black has no share.
    assert [flashes([colour, BLACK])[1] for colour in (0xC83200, 0xC83300)] == [1, 0]
    # Negative measures are 0: from 18.8 to cyan is a change by no more than 18.8.
    assert flashes([RED_19, 0x00FFFF, RED_19, 0x00FFFF])[1] == 0
    # Saturated in the other state alone: 30 and 60 differ by more than 20.
    assert flashes([RED_30, ORANGE_60, RED_30])[1] == 1
    assert flashes([ORANGE_60, BLACK, ORANGE_60, BLACK])[1] == 0


def test_white_adds_to_the_three_channels() -> None:
    """A white channel adds to each of the others, and each sum is capped at full light."""
    assert luminance(0xFF000000) == luminance(WHITE) == luminance(0xFFFFFFFF) == 1.0
    assert luminance(0x40_100000) == pytest.approx((0.2126 * 0x50 + 0.7874 * 0x40) / 255)
    assert flashes([26 << 24, BLACK])[0] == 1
    # Capped: full white is as bright as full white and red. 255 / (255 + 2 x 31) is above 0.8.
    assert flashes([0xFF000000, BLACK, 0xFFFF0000, 0xFF000000])[0] == 1
    assert [flashes([colour, BLACK])[1] for colour in (RED, 0x1FFF0000, 0x20FF0000)] == [1, 1, 0]
