"""What lamps take from a wave: against a naive decoder, the sender's model, and broken frames."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from busbox import Bench, Recording, load_bench
from busbox.lines.lamps import Judgement, judge, verdicts
from busbox.lines.profiles import PROFILES, Profile
from busbox.lines.wave import Wave
from tests.board.wires import LIMITS, wave_of
from tests.lines.naive_lamps import naive

#: Ticks of 62.5 ns, drawn near the ends of windows and around the latch gaps.
HIGHS = st.integers(1, 27)
LOWS = st.one_of(st.integers(1, 27), st.sampled_from([767, 768, 800, 801, 802, 4481, 5000]))


@st.composite
def pulse_trains(draw: st.DrawFn) -> list[tuple[int, int]]:
    """Draw frames of usual pulses of about a lamp or two, some pulses of them altered."""
    train: list[tuple[int, int]] = []
    for _ in range(draw(st.integers(0, 3))):
        bits = draw(st.sampled_from([0, 1, 23, 24, 25, 32, 48, 49, 64, 72]))
        values = draw(st.integers(0, (1 << bits) - 1))
        frame = [(13, 7) if values >> bit & 1 else (7, 13) for bit in range(bits)]
        for place in draw(st.lists(st.integers(0, max(0, bits - 1)), max_size=3)):
            if bits:
                frame[place] = (draw(HIGHS), draw(LOWS))
        if bits:
            frame[-1] = (frame[-1][0], draw(LOWS))
        train += frame
    return train


@settings(deadline=None, max_examples=150)
@given(
    train=pulse_trains(),
    name=st.sampled_from(list(LIMITS)),
    count=st.integers(1, 3),
    order=st.sampled_from(["GRB", "RGB", "BRG", "GRBW", "WBGR"]),
    sampling=st.integers(0, 2),
    cut=st.booleans(),
)
def test_the_decoder_is_the_naive_one(
    train: list[tuple[int, int]], name: str, count: int, order: str, sampling: int, cut: bool
) -> None:
    """Frames, bits, colours, gaps and failing bits are those that a decoder pulse by pulse finds."""
    wave = wave_of(train, Fraction(1, 16_000_000), cut, sampling)
    seen = judge(wave, PROFILES[name], count, len(order), order)
    frames, failures = naive(wave, name, count, order)
    found = seen.frames
    assert found.bits.tolist() == [len(one.bits) for one in frames]
    assert seen.bits.value.tolist() == [bit for one in frames for bit in one.bits]
    assert found.low.tolist() == [one.low for one in frames]
    assert found.latched.tolist() == [one.latched for one in frames]
    assert sorted(seen.failures) == sorted(failures)
    assert sum(one.failing for one in seen.measures.values()) == len(failures)
    if name == "P5":
        with pytest.raises(ValueError, match=r"^a profile must have 8 bits a channel to give "):
            found.colours_of(0)
        return
    for number, frame in enumerate(frames):
        assert list(found.colours_of(number)) == frame.colours(count, order)
        assert found.broken[number] == len(frame.bits) % (8 * len(order))
        assert found.surplus[number] == max(0, len(frame.bits) - 8 * len(order) * count)


def test_every_profile_decodes_its_own_limits() -> None:
    """A high at either end of a window is the bit of that window, in every profile."""
    # P3's 580 ns is nearer to the centre of its zeros, 300 ns, than to that of its ones, 1090 ns.
    for name, limits in LIMITS.items():
        for bit, window in enumerate((limits.zero_high, limits.one_high)):
            highs = [end // 10 for end in window if end is not None]
            wave = wave_of((high, 100) for high in highs)
            seen = judge(wave, PROFILES[name], 1, limits.channels)
            assert seen.bits.value.tolist() == [bit] * len(highs), name


def test_a_high_between_the_windows_is_of_the_nearer_one() -> None:
    """Between 550 and 650 ns, up to 590 ns is a zero and from 600 ns on a one, in P4."""
    # Windows: common practice, no source; the middle, 600 ns: computed.
    wave = wave_of((high, 85) for high in (56, 59, 60, 64))
    assert judge(wave, PROFILES["P4"], 1).bits.value.tolist() == [0, 0, 1, 1]


# The wave that the sender's model makes.


def judged(recording: Recording, count: int, **keys: Any) -> dict[str, Judgement]:
    """Judge the line of a recording."""
    line = recording.lines["lamps.line"]
    wave = Wave.of_line(line, recording.clock_hz, recording.cycles)
    return verdicts(wave, count, **keys)


def test_the_lamps_of_first_light_show_what_was_meant() -> None:
    """The line decodes to the frame's colours, in order; P4 alone passes; the gap is seen."""
    # 13/7 of 20 cycles and 960 at 16 MHz: common practice, no source.
    recording = load_bench("first_light").run()
    seen = judged(recording, 8)
    (meant,) = recording.frames["lamps"]
    assert seen["P4"].frames.colours_of(0) == meant.colours
    assert len(set(meant.colours)) > 2
    assert seen["P4"].frames.begin.tolist() == [meant.cycle]
    assert [name for name, one in seen.items() if one.passes] == ["P4"]
    assert seen["P4"].frames.latched.tolist() == [True]
    assert seen["P1"].frames.latched.tolist() == [False]  # more than 200 us: the run is over


@pytest.mark.parametrize("order", ["GRB", "RGB", "BGR", "RBG", "GRBW", "WRGB", "BWGR"])
def test_the_order_on_the_wire_is_undone(order: str) -> None:
    """Whatever the order a sender is built for, the lamps of that order show what was meant."""
    colours = [0x12A57C, 0x8001FE, 0x00FF10]
    if len(order) == 4:
        colours = [
            colour | white << 24 for colour, white in zip(colours, (1, 0x80, 0xE7), strict=True)
        ]

    def firmware(bus: Any) -> None:
        for number, colour in enumerate(colours):
            bus.write(f"lamps.COLOUR.{number}", colour)
        for _ in range(2):
            bus.write("lamps.CONTROL", 1)
            bus.poll("lamps.STATUS", 0, mask=1, every=12)

    slot = {
        "model": "pulse_led", "base": 0x4400_0000, "size": 0x1000, "lamps": 3, "count": 3,
        "channels": len(order), "order": order, "high": 13 << 16 | 7, "period": 960 << 16 | 20,
    }  # fmt: skip
    bench = Bench({"clock": "16 MHz", "slot": {"lamps": slot}, "traffic": firmware})
    seen = judged(bench.run(), 3, channels=len(order), order=order)["P4"]
    assert seen.passes
    assert [seen.frames.colours_of(number) for number in (0, 1)] == [tuple(colours)] * 2
    assert (seen.frames.broken.tolist(), seen.frames.surplus.tolist()) == ([0, 0], [0, 0])


# Broken frames.

P4 = PROFILES["P4"]


def frame_of(colours: list[int]) -> list[tuple[int, int]]:
    """Return the pulses of colours 0xGGRRBB, most significant bit first, in ticks of 10 ns."""
    bits = [colour >> bit & 1 for colour in colours for bit in range(23, -1, -1)]
    return [(80, 45) if bit else (40, 85) for bit in bits]


def ended(frame: list[tuple[int, int]]) -> list[tuple[int, int]]:
    """Return a frame with a latch gap of 60 us behind it."""
    return [*frame[:-1], (frame[-1][0], 6000)]


def decode(frames: list[list[tuple[int, int]]], count: int = 3, profile: Profile = P4) -> Any:
    """Return the frames that the lamps take."""
    return judge(
        wave_of(pulse for frame in frames for pulse in ended(frame)), profile, count
    ).frames


COLOURS = [0x00FF00, 0x00AA00, 0x0000FF]


def test_a_dropped_bit_breaks_its_lamp_and_those_behind_it() -> None:
    """Without bit 5 of lamp 1, lamp 0 is right, lamp 1 is shifted and lamp 2 has 23 bits of 24."""
    # One bit too short disturbs the chain (common practice, no source); the bits are by hand.
    frame = frame_of(COLOURS)
    del frame[24 + 5]
    seen = decode([frame, frame_of(COLOURS)])
    assert seen.bits.tolist() == [71, 72]
    assert (seen.broken.tolist(), seen.missing(0), seen.missing(1)) == ([23, 0], 1, 0)
    # 0x00AA00 less a leading zero, then the first bit of lamp 2: 0x015400, as red and green it is
    # sent green first: 0x01 green, 0x54 red.
    assert seen.colours_of(0) == (0xFF0000, 0x540100)
    assert seen.colours_of(1) == (0xFF0000, 0xAA0000, 0x0000FF)


def test_an_extra_bit_breaks_the_chain_and_leaves_the_string() -> None:
    """With a zero before lamp 1, lamps 1 and 2 are shifted and one bit is left over."""
    # One bit too long disturbs the chain (common practice, no source); the bits are by hand.
    frame = frame_of(COLOURS)
    frame.insert(24, (40, 85))
    seen = decode([frame])
    assert (seen.broken.tolist(), seen.surplus.tolist(), seen.missing(0)) == ([1], [1], 23)
    # 0x00AA00 >> 1 is 0x005500; 0x0000FF >> 1 is 0x00007F.
    assert seen.colours_of(0) == (0xFF0000, 0x550000, 0x00007F)


def test_lamps_behind_the_string_are_no_break() -> None:
    """Colours for more lamps than there are leave the string; nothing is broken."""
    seen = decode([frame_of(COLOURS)], count=2)
    assert (seen.broken.tolist(), seen.surplus.tolist()) == ([0], [24])
    assert seen.colours_of(0) == (0xFF0000, 0xAA0000)


def test_a_frame_for_some_of_the_lamps_is_no_break() -> None:
    """Lamps that get no bits take nothing, and nothing is broken."""
    seen = decode([frame_of(COLOURS[:1])], count=3)
    assert (seen.broken.tolist(), seen.surplus.tolist(), seen.missing(0)) == ([0], [0], 0)
    assert seen.colours_of(0) == (0xFF0000,)


def test_a_pause_inside_a_frame_is_told_at_its_bit() -> None:
    """A low that is too long for a bit and too short for a gap fails, and the frame goes on."""
    # An interrupt in a bit-banged line makes the string stutter (common practice, no source).
    frame = frame_of(COLOURS)
    frame[30] = (frame[30][0], 1000)
    seen = judge(wave_of(ended(frame)), P4, 3)
    assert list(seen.failures) == [(0, 1, 6, "zero_low", 1000)]
    assert seen.frames.colours_of(0) == (0xFF0000, 0xAA0000, 0x0000FF)
    frame[30] = (frame[30][0], 5001)  # more than 50 us (P4: common practice, no source)
    split = judge(wave_of(ended(frame)), P4, 3)
    assert split.passes
    assert split.frames.bits.tolist() == [31, 41]


def test_a_pulse_that_the_end_cuts_is_not_counted() -> None:
    """A wave that ends in a pulse has the bits before it, and says that it was cut."""
    pulses = frame_of(COLOURS[:1])
    seen = judge(wave_of(pulses, cut=True), P4, 1)
    assert (seen.bits.cut, seen.bits.open, len(seen.bits.value)) == (True, False, 24)
    whole = judge(wave_of(pulses), P4, 1)
    assert (whole.bits.cut, whole.bits.open, len(whole.bits.value)) == (False, True, 24)
    # The last low has an end in the first wave only.
    assert [one.measures["zero_low"].count for one in (seen, whole)] == [16, 15]
