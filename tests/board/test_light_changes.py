"""Which changes of a lamp count, and how often it flashes: by hand and against a naive counter."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from busbox.board.light import flashing
from tests.board.naive_light import (
    BLACK,
    BLUE,
    ORANGE_31,
    ORANGE_60,
    RED,
    RED_19,
    RED_30,
    TENTH,
    WHITE,
    changes,
    flashes,
    grey,
    naive,
    one_lamp,
)


def pair(colours: list[int]) -> tuple[int, int]:
    """Return the frames of the two changes of the one general flash of a lamp."""
    general, _ = one_lamp(colours, tick=Fraction(1, 100))
    assert general.most == 1
    return general.start, general.end


def test_steps_in_one_direction_are_one_change() -> None:
    """A slow ramp is one change, counted where it has become large enough, from its lowest state on."""
    ramp = [grey(value) for value in (60, 70, 80, 90, 200)]
    assert pair([*ramp, BLACK]) == (0, 5)
    assert pair([grey(10), grey(20), grey(30), *ramp, BLACK]) == (2, 8)
    # From the peak, 200: 175 is 25 below it, 174 is 26 below it.
    assert pair([*ramp, grey(190), grey(175), grey(180), grey(174)]) == (0, 8)


# Colours of the red rule: the frames in which changes count, by hand from rule 5.
@pytest.mark.parametrize(
    ("colours", "frames"),
    [
        ([ORANGE_60, RED_30, ORANGE_60], [1, 2]),  # a fall from orange, not a rise from dark
        ([ORANGE_60, BLACK, RED_30, BLACK], [2, 3]),  # a rise from black, not a fall from orange
        ([ORANGE_60, 0x582020, RED_30, BLACK], [2, 3]),  # the last step, 30 to 30, is no fall
        ([RED_19, ORANGE_60, BLACK], [1]),  # from the lowest saturated state, which black is below
        ([RED, ORANGE_31, RED_19, ORANGE_60], [0, 1, 3]),
    ],
)
def test_saturated_states_of_red(colours: list[int], frames: list[int]) -> None:
    """A change counts from any state since the last one, saturated itself or ending so."""
    assert changes(colours, red=True) == frames
    assert flashes(colours)[1] == len(frames) // 2
    for last in range(len(colours)):
        assert flashes(colours[: last + 1])[1] == sum(frame <= last for frame in frames) // 2


def test_the_steps_between_frames_matter_alone() -> None:
    """Frames that repeat what is shown change nothing."""
    colours = [WHITE, BLACK, RED, BLACK]
    twice = [colour for colour in colours for _ in range(2)]
    shows = list(range(8))
    assert one_lamp(twice, shows) == one_lamp(colours, shows[::2])


def test_lamps_and_kinds_come_in_order() -> None:
    """Each lamp is judged for itself, in order, general before red; no frames are no flashes."""
    frames = np.array([[0, WHITE, RED], [0, 0, 0], [0, WHITE, 0]], np.uint32)
    found = flashing(np.arange(3), frames, TENTH)
    assert [(one.lamp, one.kind) for one in found] == [
        (lamp, kind) for lamp in range(3) for kind in ("general", "red")
    ]
    assert [one.most for one in found] == [0, 0, 1, 0, 1, 1]
    none = flashing(np.zeros(0, np.int64), np.zeros((0, 2), np.uint32), TENTH)
    assert [one.most for one in none] == [0] * 4


NEAR = [
    BLACK, WHITE, RED, BLUE, grey(25), grey(26), grey(203), grey(204), grey(229), 0x0A1856, 0xB4F8C0,
    ORANGE_60, ORANGE_31, RED_30, RED_19, 0x100000, 0xC83200, 0xC83300, 0x20FF0000, 0xFF000000,
]  # fmt: skip
SPANS = st.lists(st.integers(1, 5), min_size=1, max_size=24)


@settings(deadline=None, max_examples=300)
@given(spans=SPANS, lamps=st.integers(1, 3), tick=st.sampled_from([TENTH, Fraction(3, 37)]),
       data=st.data())  # fmt: skip
def test_the_counts_are_the_naive_ones(
    spans: list[int], lamps: int, tick: Fraction, data: st.DataObject
) -> None:
    """Most flashes, start and end are those that a counter window by window finds for each lamp."""
    shows = np.cumsum(spans)
    some = st.one_of(st.sampled_from(NEAR), st.integers(0, 0xFFFFFFFF))
    rows = st.lists(some, min_size=lamps, max_size=lamps)
    frames = data.draw(st.lists(rows, min_size=len(spans), max_size=len(spans)))
    found = flashing(shows, np.array(frames, np.uint32), tick)
    assert len(found) == 2 * lamps
    for one in found:
        lamp = [row[one.lamp] for row in frames]
        seen = naive(shows.tolist(), lamp, tick, one.kind == "red")
        assert (one.most, one.start, one.end) == seen


@pytest.mark.parametrize(
    ("shows", "colours", "tick", "light", "text"),
    [
        (
            [0.0],
            [[0]],
            TENTH,
            "linear",
            r"shows must be a row of int64, not float64 of shape \(1,\)",
        ),
        ([0, 1], [[0]], TENTH, "linear", r"with 2 rows, not uint32 of shape \(1, 1\)"),
        (
            [4, 4],
            [[0], [0]],
            TENTH,
            "srgb",
            r"^shows\[1\] must be after the tick before, 4, not 4$",
        ),
        (
            [0],
            [[0]],
            Fraction(0),
            "srgb",
            r"^tick must be a Fraction above 0, not Fraction\(0, 1\)$",
        ),
        ([0], [[0]], 0.1, "linear", r"^tick must be a Fraction above 0, not 0\.1$"),
        ([0], [[0]], TENTH, "bright", r"^light must be linear or srgb, not 'bright'$"),
    ],
)
def test_what_is_refused(shows: list[int], colours: list[list[int]], tick: Fraction, light: str,
                         text: str) -> None:  # fmt: skip
    """Columns that are no frames, a tick that is no exact time and an unknown light are errors."""
    with pytest.raises(ValueError, match=text):
        flashing(np.array(shows), np.array(colours, np.uint32), tick, light)


def test_colours_that_are_not_unsigned_are_refused() -> None:
    """Signed colours are an error: their bits would be taken for white."""
    with pytest.raises(
        ValueError, match=r"^colours must be a table of uint32 with 1 rows, not int64"
    ):
        flashing(np.zeros(1, np.int64), np.array([[-1]]), TENTH)
