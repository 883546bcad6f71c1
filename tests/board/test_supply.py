"""The supply current of a string of lamps: outside values, averages by hand, a naive sum."""

from __future__ import annotations

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from busbox.board.supply import Supply, currents, supply

MILLI = Fraction(1, 1000)
WHITE = 0xFFFFFF


def of(
    shows: list[int],
    frames: list[list[int]],
    begin: int,
    end: int,
    channels: int = 3,
    amps: Fraction = 20 * MILLI,
) -> Supply:
    """Return the supply of frames given as lists."""
    table = np.array(frames, np.uint32).reshape(len(shows), -1)
    return supply(np.array(shows, np.int64), table, channels, amps, begin, end)


@pytest.mark.parametrize(("channel", "lamp"), [(20, 60), (16, 48)])
def test_a_lamp_at_full_white(channel: int, lamp: int) -> None:
    """A lamp at full white takes three times the current of a channel."""
    # 20 mA a channel, about 60 mA a lamp: common practice, no source. 16 mA a channel: datasheet
    # document 104020171; 48 mA: computed.
    seen = of([0], [[WHITE]], 0, 10, amps=channel * MILLI)
    assert seen == Supply(lamp * MILLI, 0, lamp * MILLI, 1)


def test_twelve_lamps_in_dim_red() -> None:
    """Twelve lamps red at 0x40 take twelve times 64/255 of a channel's current."""
    # 16 mA a channel: datasheet document 104020171; 12 x 64 x 16 mA / 255 = 512/10625 A, by hand.
    seen = of([0], [[0x400000] * 12], 0, 1, amps=16 * MILLI)
    assert seen == Supply(Fraction(512, 10625), 0, Fraction(512, 10625), 12)


@pytest.mark.parametrize("shift", [0, 8, 16, 24])
def test_every_channel_counts_alike(shift: int) -> None:
    """Each channel of a lamp with four, white too, takes value / 255 of a channel's current."""
    assert currents(np.array([[51 << shift]], np.uint32), 4, MILLI) == [MILLI / 5]
    assert currents(np.array([[0xFFFFFFFF]], np.uint32), 4, MILLI) == [4 * MILLI]


def test_the_average_counts_ticks() -> None:
    """Each frame counts for its ticks, the dark ones before the first and those to the end too."""
    # By hand: 10 ticks dark, 20 at 60 mA, 5 dark, 15 at 20 mA: 1500 mA ticks in 50 ticks.
    seen = of([10, 30, 35], [[WHITE], [0], [0xFF]], 0, 50)
    assert seen == Supply(60 * MILLI, 10, 30 * MILLI, 1)


def test_what_lies_outside_the_range_does_not_count() -> None:
    """The last frame before the range lights its first ticks; earlier and later ones do not count."""
    # By hand: 3 ticks at 20 mA, 1 at 40 mA, 6 dark: 100 mA ticks in 10 ticks.
    seen = of([-7, 2, 13, 14, 20], [[WHITE], [0xFF], [0xFFFF], [0], [WHITE]], 10, 20)
    assert seen == Supply(40 * MILLI, 13, 10 * MILLI, 1)
    assert of([-7, 5], [[WHITE], [0]], 0, 10) == Supply(60 * MILLI, 0, 30 * MILLI, 1)


def test_the_peak_is_where_it_is_first_reached() -> None:
    """Of equal peaks the first is told; a string that stays dark has its peak, 0, at the begin."""
    seen = of([1, 2, 3, 4], [[0], [WHITE], [0], [WHITE]], 0, 5)
    assert (seen.peak, seen.peak_at) == (60 * MILLI, 2)
    assert of([6, 7], [[0, 0], [WHITE, 0]], 5, 7) == Supply(Fraction(0), 5, Fraction(0), 2)


def test_a_string_without_frames_is_dark() -> None:
    """No frames give no current, and the lamps are those of the table."""
    none = supply(np.zeros(0, np.int64), np.zeros((0, 7), np.uint32), 3, MILLI, 4, 9)
    assert none == Supply(Fraction(0), 4, Fraction(0), 7)


def test_long_ranges_stay_exact() -> None:
    """Sums beyond 64 bits are exact: full white but for one tick of 2^62 averages to just so much."""
    seen = of([1], [[WHITE] * 300], 0, 2**62)
    assert seen.average == 300 * 60 * MILLI * Fraction(2**62 - 1, 2**62)


@settings(deadline=None, max_examples=200)
@given(data=st.data(), channels=st.sampled_from([3, 4]), lamps=st.integers(1, 4),
       spans=st.lists(st.integers(1, 6), max_size=8), begin=st.integers(-3, 12),
       length=st.integers(1, 30), amps=st.fractions(MILLI, 1, max_denominator=1000))  # fmt: skip
def test_the_sums_are_the_naive_ones(
    data: st.DataObject, channels: int, lamps: int, spans: list[int], begin: int, length: int,
    amps: Fraction,
) -> None:  # fmt: skip
    """Peak, its tick and the average are those of a sum tick by tick and channel by channel."""
    colour = st.one_of(st.sampled_from([0, WHITE]), st.integers(0, (1 << 8 * channels) - 1))
    row = st.lists(colour, min_size=lamps, max_size=lamps)
    frames = data.draw(st.lists(row, min_size=len(spans), max_size=len(spans)))
    shows = np.cumsum([0, *spans])[1:].astype(np.int64)
    table = np.array(frames, np.uint32).reshape(len(spans), lamps)
    ticks = []
    for tick in range(begin, begin + length):
        lit = [row for show, row in zip(shows.tolist(), frames, strict=True) if show <= tick]
        octets = [octet for one in (lit[-1] if lit else []) for octet in one.to_bytes(4)]
        ticks.append(sum((octet * amps / 255 for octet in octets), Fraction(0)))
    seen = supply(shows, table, channels, amps, begin, begin + length)
    peak_at = begin + ticks.index(max(ticks))
    assert seen == Supply(max(ticks), peak_at, sum(ticks, Fraction(0)) / length, lamps)


@pytest.mark.parametrize(
    ("keys", "text"),
    [
        ({"channels": 2}, r"^channels must be 3 or 4, not 2$"),
        ({"channel_amps": 0.02}, r"^channel_amps must be a Fraction above 0, not 0\.02$"),
        ({"channel_amps": Fraction(0)}, r"^channel_amps must be a Fraction above 0, not Fraction"),
        ({"end": 5}, r"^end must be after begin, tick 5, not 5$"),
        ({"shows": np.array([3, 2])}, r"^shows\[1\] must be after the tick before, 3, not 2$"),
        (
            {"colours": np.array([[0, 0], [0, 1 << 24]], np.uint32)},
            r"^colours\[1, 1\] must be at most 0xFFFFFF for 3 channels, not 0x01000000$",
        ),
    ],
)
def test_what_is_refused(keys: dict[str, object], text: str) -> None:
    """Inexact or empty input, and white that the lamps have not, are errors."""
    usual = {
        "shows": np.array([0, 1]), "colours": np.zeros((2, 2), np.uint32), "channels": 3,
        "channel_amps": MILLI, "begin": 5, "end": 6,
    }  # fmt: skip
    assert supply(**usual).lamps == 2  # type: ignore[arg-type]
    with pytest.raises(ValueError, match=text):
        supply(**(usual | keys))  # type: ignore[arg-type]
