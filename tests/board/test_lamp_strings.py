"""Strings of lamps at a sender's line: frames, exchanged channels, profiles, one supply for two."""

from __future__ import annotations

from fractions import Fraction
from itertools import permutations
from types import SimpleNamespace
from typing import Any, cast

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from busbox.board.attachment import Board, LineReport
from busbox.board.decoding import total_current
from busbox.board.lamp_string import LampString
from busbox.lines.profiles import PROFILES
from busbox.recording import Frame
from tests.board.attached import BIT, ONE_HIGH, run, sender, sending, string
from tests.board.wires import wave_of

RGB = ["".join(letters) for letters in permutations("RGB")]
RGBW = ["".join(letters) for letters in permutations("RGBW")]
#: P4's gap is longer than 50 us: at 16 MHz (62.5 ns) the first count above 800 clocks.
LATCHED = 801


def pictures(lamps: int, channels: int) -> st.SearchStrategy[list[tuple[int, ...]]]:
    """Return one to three pictures of so many lamps."""
    colour = st.integers(0, (1 << 8 * channels) - 1)
    picture = st.tuples(*[colour] * lamps)
    return st.lists(picture, min_size=1, max_size=3)


def assert_frames(shown: list[tuple[int, ...]], lamps: int, channels: int, order: str) -> None:
    """Assert that a string of the sender's own order shows what the sender meant, when it meant it."""

    def firmware(bus: Any) -> None:
        sending(*shown)(bus)
        bus.pause("250 us")  # a dark frame keeps P1 too, whose gap is longer than 200 us

    found = run(
        firmware,
        {"lamps": sender(lamps=lamps, channels=channels, count=lamps, order=order)},
        {"string": string(count=lamps, channels=channels, order=order)},
    )
    frames = found.seen["string"].frames
    assert frames is not None
    assert [one.colours for one in frames] == shown
    assert list(frames) == found.frames["lamps"]
    events = [one for one in found.events if one.kind == "frame"]
    assert [(one.cycle, one.access) for one in frames] == [(e.cycle, e.access) for e in events]
    sends = [number for number, data in enumerate(found.accesses.write) if data]
    assert {one.access for one in frames} <= set(sends)
    assert "colour-order" not in found.counts


@given(data=st.data(), lamps=st.integers(1, 5), order=st.sampled_from([*RGB, *RGBW]))
@settings(max_examples=15, deadline=None)
def test_the_string_shows_the_frames_that_the_device_meant(
    data: st.DataObject, lamps: int, order: str
) -> None:
    """Colours, cycle and access of each frame on the wire are those of the device's events."""
    shown = data.draw(pictures(lamps, len(order)))
    assert_frames(shown, lamps, len(order), order)


@pytest.mark.parametrize("order", [*RGB, *RGBW])
def test_every_order_is_read_as_it_is_sent(order: str) -> None:
    """Of each of the 30 orders, every channel of a lamp shows its own byte."""
    colour = 0x12345678 if len(order) == 4 else 0x345678
    assert_frames([(colour, colour >> 3, 0)], 3, len(order), order)


def counted(device: str, lamps: str, *shown: tuple[int, ...]) -> dict[str, int]:
    """Return how often colour-order is found for pictures of two lamps, by what it is counted under."""
    found = run(
        sending(*shown),
        {"lamps": sender(lamps=2, count=2, order=device)},
        {"string": string(count=2, order=lamps)},
    )
    assert set(found.counts) <= {"colour-order"}
    return dict(found.counts.get("colour-order", {}))


@pytest.mark.parametrize("device", RGB)
def test_every_exchange_of_channels_is_found_once(device: str) -> None:
    """Two frames in another order than the string's give one finding; the same order none."""
    shown = [(0x102030, 0xFF8001), (0x000001, 0x0000FE)]
    for lamps in RGB:
        expected = {} if lamps == device else {"string": 1}
        assert counted(device, lamps, *shown) == expected, lamps


def test_an_exchange_is_told_by_its_channels() -> None:
    """A rotation of three channels names each, the frame that shows it, and the order of the string."""
    found = run(
        sending((0x404040,), (0x102030,)),
        {"lamps": sender(lamps=1, count=1, order="RGB")},
        {"string": string(count=1, order="GBR")},
    )
    (finding,) = found.findings
    # On the wire 10 20 30; the string takes them for green, blue, red.
    assert finding.message == (
        "string: The lamps show red as green, green as blue and blue as red: frame 1 was sent as "
        "102030, and is shown as 301020."
    )
    assert finding.hint == (
        "Make lamps send in the order that the string expects (string has GBR), or look the order "
        "up in its data sheet."
    )
    sent = found.frames["lamps"][1]
    # It is known when the lamps show it: 23 bits, the last high of 7 clocks, a gap of more than 50 us.
    assert (finding.cycle, finding.access) == (sent.cycle + 23 * 20 + 7 + 801, sent.access)
    assert (finding.slot, finding.register) == ("lamps", "line")


@given(st.lists(st.tuples(st.integers(0, 255), st.integers(0, 255)), min_size=1, max_size=2))
@settings(max_examples=8, deadline=None)
def test_grey_pictures_have_no_order(greys: list[tuple[int, int]]) -> None:
    """Where all channels of a lamp are equal, no exchange is told, whatever the orders."""
    shown = [tuple(0x010101 * level for level in picture) for picture in greys]
    assert counted("GRB", "BRG", *shown) == {}


def test_a_string_with_fewer_lamps_is_told_by_those_that_it_has() -> None:
    """A string a lamp too short has the colours of its lamps compared, and no others."""
    for order, told in (("RGB", {"string": 1}), ("GRB", None)):
        found = run(
            sending((0x102030, 0x405060)),
            {"lamps": sender(lamps=2, count=2, order="GRB")},
            {"string": string(count=1, order=order)},
        )
        assert found.counts.get("colour-order") == told


def common_practice(**more: Any) -> Any:
    """Return the recording of three lamps at 7 and 13 of 20 clocks, a gap of 960, at 16 MHz."""
    shown = (0xFF0000, 0x00FF00, 0x8000FE)
    slots = {"lamps": sender(lamps=3, count=3)}
    return run(sending(shown), slots, {"string": string(count=3, **more)})


def test_common_practice_keeps_one_profile_alone() -> None:
    """7 and 13 of 20 clocks with a gap of 960 at 16 MHz keep P4 and no other, and nothing is found."""
    found = common_practice()
    # Common practice, no source: 437.5 and 812.5 ns, 60 us.
    profiles = found.seen["string"].facts["profiles"]
    assert [name for name, one in profiles.items() if one["passes"]] == ["P4"]
    assert list(profiles) == list(PROFILES)
    assert found.seen["string"].facts["verdict"] == "passes"
    assert found.findings == ()
    assert found.counts == {}


def test_a_named_profile_judges_alone() -> None:
    """By P1, each low of 437.5 ns after a one (450 to 750) is told, and the access of its edge."""
    found = common_practice(profile="P1")
    # 3 lamps: 8 + 8 + (1 + 7) ones; the last bit, a zero, is followed by the end.
    assert found.counts == {"pulse-width": {"string.one_low": 24}}
    first = found.findings[0]
    assert first.rule == "pulse-width"
    assert first.message == (
        "string: Frame 0, lamp 0, bit 8, read as a one, is low for 7 clocks (437.5 ns); P1 allows "
        "450..750 ns."
    )
    sent = found.frames["lamps"][0]
    # Green goes first: eight zeros, then the low of the first one ends with bit 9.
    assert (first.cycle, first.access) == (sent.cycle + 9 * BIT, sent.access)


def both(supply: str) -> Any:
    """Return the recording of two strings of four white lamps, the second later, on one supply."""
    white = (0xFFFFFF,) * 4

    def firmware(bus: Any) -> None:
        sending(white)(bus)
        bus.pause(1000)
        sending(white, slot="signals")(bus)
        bus.pause(2000)

    slots = {"lamps": sender(lamps=4, count=4), "signals": sender(1, lamps=4, count=4)}
    attach = {"string": string(count=4), "row": string("signals.line", count=4)}
    return run(firmware, slots, attach, supply=supply)


def shown_from(frame: Frame) -> int:
    """Return when four white lamps show: the latch gap counts from the fall of the last one."""
    return frame.cycle + (4 * 24 - 1) * BIT + ONE_HIGH + LATCHED


@pytest.mark.parametrize(("supply", "told"), [("240 mA", 1), ("479 mA", 1), ("480 mA", 0)])
def test_two_strings_on_one_supply_add_up(supply: str, told: int) -> None:
    """240 mA and 240 mA are above a supply that is enough for either, and it is found once."""
    found = both(supply)
    second = found.frames["signals"][0]
    assert found.counts.get("supply-current", {}) == ({"row": 1} if told else {})
    for finding in found.findings:
        assert finding.message == (
            f"The lamps draw 480 mA from cycle {shown_from(second):,} on; the supply delivers {supply}."
        )
        assert (finding.cycle, finding.access) == (shown_from(second), second.access)
        assert (finding.slot, finding.register) == ("signals", "line")


def test_the_note_on_a_supply_is_that_of_all_strings() -> None:
    """Peak and average of the note are the sums, weighed by the cycles that each string is lit."""
    found = both("1 A")
    lit = sum(found.cycles - shown_from(found.frames[name][0]) for name in ("lamps", "signals"))
    average = 240 * lit / found.cycles  # 4 lamps of 3 channels at 20 mA (common practice)
    assert f"{average:.4g}" not in ("240", "480")
    assert found.notes == (
        f"All lamps together draw 480 mA at the peak and {average:.4g} mA on average; the supply "
        "gives 1 A.",
    )


def test_a_supply_is_told_each_time_that_it_is_passed() -> None:
    """Of pictures above, above, below and above a supply, the first and the last are told."""
    shown = [(0xFFFFFF,), (0xFFFFFE,), (0x000000,), (0xFFFFFF,)]
    found = run(
        sending(*shown),
        {"lamps": sender(lamps=1, count=1)},
        {"string": string(count=1)},
        supply="50 mA",  # a white lamp draws 60 mA (common practice)
    )
    assert found.counts["supply-current"] == {"string": 2}
    accesses = [one.access for one in found.findings if one.rule == "supply-current"]
    assert accesses == [found.frames["lamps"][n].access for n in (0, 3)]


def test_strings_that_change_in_one_cycle_have_one_sum() -> None:
    """Where one string goes dark in the cycle in which another is lit, they are never both lit."""
    lit = Fraction(240, 1000)
    report = {
        "row": LineReport(current=[(10, Fraction(0)), (20, lit)]),
        "string": LineReport(current=[(10, lit), (20, Fraction(0))]),
    }
    decoded_lines = {name: SimpleNamespace(report=one) for name, one in report.items()}
    found = total_current(cast("Any", decoded_lines))
    assert found == [(10, lit, "string"), (20, lit, "string")]


def test_a_line_that_keeps_the_judged_profile_alone_is_read_by_it() -> None:
    """Lamps of 16 bits a channel, P5, have no colours here: the line passes, no frame is made up."""
    # Driver data page UCS8904B: 400 and 850 ns high, at least 850 and 400 ns low, 48 us.
    pulses = [(85, 40) if bit % 3 else (40, 200) for bit in range(64)]
    pulses[-1] = (40, 4800)
    settings = {one.name: one.default for one in LampString.settings}
    part = LampString(Board(10**8, PROFILES), **settings | {"count": 1, "channels": 4})
    report = part.decode(wave_of([*pulses, (40, 200)]))
    assert (report.facts["profile"], report.facts["verdict"]) == ("P5", "passes")
    assert (report.facts["frames"], report.frames, report.current) == (None, None, None)
    assert list(report.findings) == []
