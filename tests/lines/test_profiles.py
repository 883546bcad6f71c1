"""The profiles of lamp lines: the outside values, and those that are made from keys."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

import pytest

from busbox.basics.errors import InputError
from busbox.lines.profiles import PROFILES, Profile, Window
from tests.board.wires import LIMITS

pytestmark = pytest.mark.quick

#: The sources, in the words of who looked the values up.
SOURCES = {
    "P1": "application brief SCLA084 (Oct 2025), table 2-1",
    "P2": "Microchip online documentation, single-wire LED application note (GUID-F71DC860), "
          "table 1-1",
    "P3": "datasheet document 104020171, pages 3-4",
    "P4": "common practice, no source",
    "P5": "driver data page UCS8904B",
}  # fmt: skip

OWN: dict[str, Any] = {
    "zero_high": ["250 ns", "550 ns"],
    "one_high": ["650 ns", "0.95 us"],
    "zero_low": ["700 ns"],
    "one_low": ["300 ns", "600 ns"],
    "gap": "50 us",
}


@pytest.mark.parametrize("name", LIMITS)
def test_the_profiles_hold_the_outside_values(name: str) -> None:
    """Every end of every window, the gap and its strictness, and the source are those looked up."""
    # The values and their sources stand beside LIMITS.
    profile, limits = PROFILES[name], LIMITS[name]
    for key in ("zero_high", "one_high", "zero_low", "one_low"):
        assert (profile.windows[key].least, profile.windows[key].most) == getattr(limits, key)
    assert (profile.gap.least, profile.gap.most) == (limits.gap, None)
    assert profile.gap.beyond == (not limits.reaches)
    assert profile.source == SOURCES[name]
    assert list(PROFILES) == list(LIMITS)


def test_what_the_profiles_are_meant_for() -> None:
    """P4 is for three channels or four at 8 bits; P5 has 4 x 16 bit and gives no colours."""
    # P1 to P3: GRB (their sources); P4: common practice, no source; P5: driver data page UCS8904B.
    meant = {
        name: (one.order, one.channels, one.channel_bits, one.colours)
        for name, one in PROFILES.items()
    }
    three = ("GRB", (3,), 8, True)
    assert meant == {
        "P1": three,
        "P2": three,
        "P3": three,
        "P4": ("GRB", (3, 4), 8, True),
        "P5": ("RGBW", (4,), 16, False),
    }


def test_the_order_of_other_numbers_of_channels() -> None:
    """White is the last of four where a profile names three, and falls out where it names four."""
    # Common practice, no source: white is sent behind the others.
    assert [PROFILES["P4"].order_for(count) for count in (3, 4)] == ["GRB", "GRBW"]
    assert [PROFILES["P5"].order_for(count) for count in (3, 4)] == ["RGB", "RGBW"]
    with pytest.raises(ValueError, match=r"^channels must be 3 or 4, not 5$"):
        PROFILES["P4"].order_for(5)


def test_a_profile_is_made_of_keys() -> None:
    """Times with any unit become exact nanoseconds; a single time has no longest."""
    own = Profile.of("cabin", OWN | {"one_high": ["0.65 us", "950.25 ns"], "order": "BGRW"})
    assert own.zero_high == Window(Fraction(250), Fraction(550))
    assert own.one_high == Window(Fraction(650), Fraction("950.25"))
    assert own.zero_low == Window(Fraction(700))
    assert own.gap == Window(Fraction(50_000))
    assert (own.order, own.channels, own.channel_bits) == ("BGRW", (4,), 8)
    assert Profile.of("cabin", OWN).channels == (3,)
    assert Profile.of("cabin", OWN | {"source": "measured"}).source == "measured"


@pytest.mark.parametrize(
    ("changed", "text"),
    [
        ({"zero_high": ["250 ns"]},
         "cabin: zero_high: must have a longest time: a longer high is a one"),
        ({"zero_high": ["250 ns", "650 ns"]},
         "cabin: one_high: must begin after the longest high of a zero, 650 ns, not at 650 ns"),
        ({"zero_low": ["700 ns", "50 us"]},
         "cabin: zero_low: must end before the latch gap, 50 us, not at 50 us"),
        ({"one_low": ["60 us"]},
         "cabin: one_low: must end before the latch gap, 50 us, not at 60 us"),
        ({"one_high": ["950 ns", "650 ns"]},
         "cabin: one_high: the longest time must be at least the shortest, 950 ns, not 650 ns"),
        ({"one_low": ["0 ns", "650 ns"]},
         "cabin: one_low: the shortest time must be above 0 ns, not 0 ns"),
        ({"one_low": [5, 9]},
         "cabin: one_low: must be a time with a unit such as ns or us, not 5"),
        ({"one_low": "300 ns"},
         "cabin: one_low: must be a list of the shortest and the longest time, or of the shortest "
         "alone, not '300 ns'"),
        ({"gap": ["50 us"]},
         "cabin: gap: must be a time with a unit such as ns or us, not ['50 us']"),
        ({"order": "GRR"},
         "cabin: order: must hold each of the letters RGB or each of RGBW once, not 'GRR'"),
        ({"order": 3},
         "cabin: order: must hold each of the letters RGB or each of RGBW once, not 3"),
        ({"source": 3}, "cabin: source: must be a string, not 3"),
        ({"one_hihg": ["1 us"], "gap": 5},
         "cabin: one_hihg: is no key of a profile; did you mean 'one_high'? (known: zero_high, "
         "one_high, zero_low, one_low, gap, order, source or channel_current)\n"
         "cabin: gap: must be a time with a unit such as ns or us, not 5"),
    ],
)  # fmt: skip
def test_a_bad_profile_is_refused(changed: dict[str, Any], text: str) -> None:
    """Windows that cannot be told apart, missing ends and other mistakes: all are told, by key."""
    with pytest.raises(InputError) as refused:
        Profile.of("cabin", OWN | changed)
    assert str(refused.value) == text


@pytest.mark.parametrize("key", OWN)
def test_every_window_must_be_given(key: str) -> None:
    """A profile that lacks a window is refused, with the name of it."""
    keys = {name: value for name, value in OWN.items() if name != key}
    with pytest.raises(InputError) as refused:
        Profile.of("cabin", keys)
    assert str(refused.value) == f"cabin: {key}: must be given"


def test_an_order_for_another_number_of_channels_is_refused() -> None:
    """The order of a profile has as many letters as one of its numbers of channels."""
    with pytest.raises(InputError) as refused:
        Profile("own", *PROFILES["P4"].windows.values(), order="RGBW", channels=(3,))
    assert str(refused.value) == "own: order: must hold 3 letters, not 'RGBW'"


def test_a_gap_with_a_longest_time_is_refused() -> None:
    """A latch gap may be as long as one likes, so that its window has no upper end."""
    windows = PROFILES["P4"].windows | {"gap": Window(Fraction(50_000), Fraction(60_000))}
    with pytest.raises(InputError) as refused:
        Profile("own", **windows)
    assert str(refused.value) == "own: gap: must have no longest time, not 60 us"


def test_whole_counts_inside_a_window() -> None:
    """Ends that are whole counts belong to it, but for a time that must be longer; else none may be."""
    # Computed: ticks of 50 ns.
    tick = Fraction(50)
    assert Window(Fraction(200), Fraction(299)).counts(tick) == (4, 5)
    assert Window(Fraction(200), Fraction(299), beyond=True).counts(tick) == (5, 5)
    assert Window(Fraction(201), Fraction(249)).counts(tick) is None
    assert Window(Fraction(201)).counts(tick) == (5, None)
    assert Window(Fraction(200), beyond=True).counts(tick) == (5, None)
    assert Window(Fraction(201), Fraction(249)).counts(tick, Fraction(1)) == (4, 5)
    assert Window(Fraction(20), Fraction(49)).counts(tick, Fraction(50)) == (0, 1)
