"""The judgement of a lamp line: limits of every window, which profiles pass, what is measured."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from busbox.lines.lamps import Judgement, judge, verdicts
from busbox.lines.profiles import PROFILES, Profile
from busbox.lines.wave import Wave
from tests.board.wires import LEAD, LIMITS, TEN_NS, wave_of

pytestmark = pytest.mark.quick

#: Bits of a lamp, repeated: zeros and ones in every neighbourhood.
PATTERN = (0, 1, 1, 0, 0, 0, 1, 0)
SIXTEEN_MHZ = Fraction(1, 16_000_000)


def ordinary(name: str, gap: int = 400_000) -> list[list[int]]:
    """Return the pulses, in ticks of 10 ns, of two lamps and two frames, all in mid window."""
    limits = LIMITS[name]
    bits = PATTERN * (2 * limits.lamp_bits // len(PATTERN))
    frame = [[time // 10 for time in limits.times(bit)] for bit in bits]
    frames = frame + [list(pulse) for pulse in frame]
    for place in (len(frame) - 1, -1):
        frames[place][1] = gap // 10
    return frames


def judged(name: str, pulses: list[list[int]]) -> Judgement:
    """Judge the pulses of two lamps."""
    wave = wave_of((high, low) for high, low in pulses)
    return judge(wave, PROFILES[name], 2, LIMITS[name].channels)


def limits_of(name: str) -> Iterator[tuple[str, int, int]]:
    """Yield (window, its end in ns, the direction in which a clock further is outside)."""
    for key in ("zero_high", "one_high", "zero_low", "one_low"):
        least, most = getattr(LIMITS[name], key)
        yield key, least, -1
        if most is not None:
            yield key, most, 1


@pytest.mark.parametrize("name", LIMITS)
def test_a_typical_wave_passes(name: str) -> None:
    """Times in the middle of their windows pass their profile, and latch both frames."""
    # The values and their sources stand beside LIMITS.
    seen = judged(name, ordinary(name))
    assert seen.passes
    assert seen.meant
    assert seen.frames.latched.tolist() == [True, True]
    assert [one.count for one in seen.measures.values()] == _counts(name)


def _counts(name: str) -> list[int]:
    bits = 4 * LIMITS[name].lamp_bits
    ones = bits * sum(PATTERN) // len(PATTERN)
    # The last bit of each frame is a zero; of the two gaps, the last may go on.
    return [bits - ones, ones, bits - ones - 2, ones, 1]


@pytest.mark.parametrize("name", LIMITS)
def test_a_time_at_the_limit_passes_and_one_clock_beyond_fails(name: str) -> None:
    """Each window, each side: at its end nothing fails, a clock further just that bit does."""
    # The values and their sources stand beside LIMITS; the clock of 100 MHz is computed.
    lamp_bits = LIMITS[name].lamp_bits
    for key, end, way in limits_of(name):
        bit = 9 if key.startswith("one") else 8  # of lamp 1 in frame 1, by PATTERN
        place, column = 3 * lamp_bits + bit, int(key.endswith("low"))
        pulses = ordinary(name)
        pulses[place][column] = end // 10
        at_limit = judged(name, pulses)
        assert at_limit.passes, (key, end)
        assert at_limit.measures[key].margin == 0
        pulses[place][column] += way
        beyond = judged(name, pulses)
        assert not beyond.passes
        assert list(beyond.failures) == [(1, 1, bit, key, end // 10 + way)], (key, end)
        seen = beyond.measures[key]
        assert (seen.margin, seen.margin_ticks, seen.failing) == (-10, -1, 1)
        assert seen.window == PROFILES[name].windows[key]


@pytest.mark.parametrize("name", LIMITS)
def test_the_latch_gap_at_its_limit(name: str) -> None:
    """A gap one clock longer than the limit ends a frame, one clock shorter does not and is told."""
    # P1 to P4 say "more than", so that the limit itself is too short; P5's 48 us is enough. Sources
    # beside LIMITS.
    limits = LIMITS[name]
    for clocks in (-1, 0, 1):
        seen = judged(name, ordinary(name, limits.gap + 10 * clocks))
        enough = clocks > 0 or (clocks == 0 and limits.reaches)
        assert seen.passes == enough, clocks
        assert (
            seen.frames.bits.tolist() == [2 * limits.lamp_bits] * 2
            if enough
            else [4 * limits.lamp_bits]
        )
        assert seen.measures["gap"].margin == 10 * clocks
        if not enough:
            ticks = limits.gap // 10 + clocks
            last = limits.lamp_bits - 1
            assert list(seen.failures) == [(0, 1, last, "gap", ticks)]


@pytest.mark.parametrize("name", LIMITS)
def test_frames_show_when_their_gap_is_long_enough(name: str) -> None:
    """The lamps show a frame from the tick in which the low after it is a latch gap."""
    # Sources beside LIMITS.
    pulses = ordinary(name)
    seen = judged(name, pulses).frames
    end = LEAD + sum(map(sum, pulses))
    least = LIMITS[name].gap // 10 + (not LIMITS[name].reaches)
    first = LEAD + sum(map(sum, pulses[: len(pulses) // 2]))
    assert seen.begin.tolist() == [LEAD, first]
    assert seen.low.tolist() == [40_000, 40_000]
    assert seen.shows.tolist() == [last - 40_000 + least for last in (first, end)]


def usual(clocks: tuple[int, int, int, int], lamps: int = 2, bits: int = 24) -> Wave:
    """Return two frames at 16 MHz of (zero high, one high, period, gap) cycles."""
    zero, one, period, gap = clocks
    highs = [one if PATTERN[place % 8] else zero for place in range(lamps * bits)]
    frame = [(high, period - high) for high in highs]
    frame[-1] = (highs[-1], period - highs[-1] + gap)
    return wave_of(frame * 2, SIXTEEN_MHZ)


def passing(wave: Wave, count: int = 2, channels: int = 3) -> list[str]:
    """Return the profiles that pass."""
    return [name for name, one in verdicts(wave, count, channels).items() if one.passes]


def test_the_usual_counts_pass_p4_and_no_other() -> None:
    """13 and 7 of 20 cycles and a gap of 960 at 16 MHz pass P4 alone, also for four channels."""
    # Common practice, no source: 812.5 and 437.5 ns, 60 us.
    wave = usual((7, 13, 20, 960))
    assert passing(wave) == ["P4"]
    assert passing(usual((7, 13, 20, 960), bits=32), channels=4) == ["P4"]
    seen = verdicts(wave, 2)["P4"].measures
    assert (seen["zero_high"].least, seen["one_high"].most) == (
        Fraction("437.5"),
        Fraction("812.5"),
    )
    assert seen["gap"].mean == 60_000 + Fraction("812.5")


def test_a_profile_for_other_channels_does_not_pass() -> None:
    """Times that keep P5 fail nothing on a line of three channels, but P5 is not meant for it."""
    # Driver data page UCS8904B: 400 and 850 ns, 4 x 16 bit; 8 and 17 of 25 cycles at 20 MHz.
    pulses = [(8, 17), (17, 8)] * 96
    wave = wave_of(pulses, Fraction(1, 20_000_000))
    seen = verdicts(wave, 4, 3)["P5"]
    assert (len(seen.failures), seen.meant, seen.passes) == (0, False, False)
    assert verdicts(wave, 4, 4)["P5"].passes


def test_times_are_measured_exactly() -> None:
    """Least, most and mean of highs, lows and gaps are exact fractions of nanoseconds."""
    third = Fraction(1, 3_000_000)  # a tick of 1000/3 ns
    # Computed: highs of 1 and 3 ticks, lows of 2, 3, 4; a gap of 200 and one cut off by the end.
    pulses = [(1, 2), (1, 3), (3, 4), (1, 200), (3, 2), (3, 2), (1, 5)]
    seen = judge(wave_of(pulses, third), PROFILES["P4"], 1).measures
    assert {
        key: (one.count, one.least, one.most, one.mean) for key, one in seen.items()
    } == {
        "zero_high": (4, Fraction(1000, 3), Fraction(1000, 3), Fraction(1000, 3)),
        "one_high": (3, 1000, 1000, 1000),
        "zero_low": (2, Fraction(2000, 3), 1000, Fraction(2500, 3)),
        "one_low": (3, Fraction(2000, 3), Fraction(4000, 3), Fraction(8000, 9)),
        "gap": (1, Fraction(200_000, 3), Fraction(200_000, 3), Fraction(200_000, 3)),
    }  # fmt: skip
    assert seen["zero_low"].margin == Fraction(2000, 3) - 700
    assert seen["one_low"].margin == 600 - Fraction(4000, 3)
    assert seen["one_low"].margin_ticks == Fraction(6, 10) * 3 - 4


def test_a_capture_is_given_a_sample_at_each_end() -> None:
    """With a sampling of one tick the limits lie one tick further out, and with none they do not."""
    # Common practice, no source (P4): zeros are high for 250 to 550 ns; 24 and 56 ticks of 10 ns.
    for high in (24, 56):
        pulses = ordinary("P4")
        pulses[0][0] = high
        strict, wide, wider = (
            judge(wave_of(((one, low) for one, low in pulses), sampling=n), PROFILES["P4"], 2)
            for n in (0, 1, 2)
        )
        assert (strict.passes, wide.passes, wider.passes) == (False, True, True)
        assert [one.measures["zero_high"].margin for one in (strict, wide, wider)] == [-10, 0, 10]


def test_a_capture_may_have_lost_a_sample_of_the_gap() -> None:
    """With a sampling of one tick, a gap of just the limit may have been longer, and ends a frame."""
    # Common practice, no source (P4): more than 50 us.
    pulses = ordinary("P4", 50_000)
    waves = [wave_of(((one, low) for one, low in pulses), sampling=n) for n in (0, 1)]
    assert [len(judge(wave, PROFILES["P4"], 2).frames) for wave in waves] == [1, 2]


def test_a_line_without_pulses_fails_nothing() -> None:
    """A line that stays low has no bit and no frame, and nothing is measured."""
    idle = Wave(np.array([0]), np.array([0]), TEN_NS, 1000)
    for wave in (idle, wave_of([], cut=True)):
        seen = judge(wave, PROFILES["P1"], 3)
        assert (len(seen.frames), len(seen.failures), seen.passes) == (0, 0, True)
        assert {one.margin for one in seen.measures.values()} == {None}
        assert seen.bits.cut == (wave is not idle)


@pytest.mark.parametrize(
    ("keys", "text"),
    [
        ({"count": 0}, "count must be at least 1, not 0"),
        ({"channels": 5}, "channels must be 3 or 4, not 5"),
        ({"order": "GRBW"}, "order must hold 3 letters, not 'GRBW'"),
        ({"order": "GRR"},
         "order must contain each of the letters RGB or each of RGBW once, not 'GRR'"),
    ],
)  # fmt: skip
def test_a_string_that_is_none_is_refused(keys: dict[str, object], text: str) -> None:
    """No lamp, other channels, an order that lacks one: each is told."""
    given: dict[str, object] = {"count": 2} | keys
    with pytest.raises(ValueError) as refused:
        judge(usual((7, 13, 20, 960)), PROFILES["P4"], **given)
    assert str(refused.value) == text


def test_a_pulse_without_a_beginning_is_not_counted() -> None:
    """A line that begins high gives the bits after that pulse; one without any level gives none."""
    wave = usual((7, 13, 20, 960))
    high = Wave(wave.times[1:], wave.levels[1:], wave.tick, wave.end)
    whole, part = (judge(one, PROFILES["P4"], 2).bits for one in (wave, high))
    assert part.value.tolist() == whole.value.tolist()[1:]
    assert part.begin.tolist() == whole.begin.tolist()[1:]
    nothing = Wave(np.zeros(0, "i8"), np.zeros(0, "u1"), TEN_NS, 1000)
    assert len(judge(nothing, PROFILES["P4"], 2).frames) == 0


def test_a_profile_of_keys_judges_like_the_one_with_the_same_windows() -> None:
    """P4's windows, written as keys with a gap a little longer, give the same verdicts."""
    # Common practice, no source: 400, 800, 850, 450 ns, each +-150.
    own = Profile.of("own", {
        "zero_high": ["250 ns", "550 ns"], "one_high": ["650 ns", "950 ns"],
        "zero_low": ["700 ns", "1000 ns"], "one_low": ["300 ns", "600 ns"], "gap": "50.01 us",
    })  # fmt: skip
    for clocks, passes in (((7, 13, 20, 960), True), ((9, 13, 20, 960), False)):
        assert judge(usual(clocks), own, 2).passes == passes
        assert judge(usual(clocks), PROFILES["P4"], 2).passes == passes


@given(
    clocks=st.lists(st.tuples(st.integers(1, 30), st.integers(1, 60)), min_size=1, max_size=120),
    gaps=st.sets(st.integers(0, 119)),
    name=st.sampled_from(list(PROFILES)),
)
def test_a_bit_with_several_failures_counts_once(
    clocks: list[tuple[int, int]], gaps: set[int], name: str
) -> None:
    """The number of failing bits is that of the different numbers among their failures."""
    pulses = [(high, low + 5000 * (place in gaps)) for place, (high, low) in enumerate(clocks)]
    found = judge(wave_of(pulses, SIXTEEN_MHZ), PROFILES[name], 2)
    assert found.failing_count == len(set(found.failing_bits.tolist()))
