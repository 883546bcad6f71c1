"""What is shown against what was sent: "shown-differs", "baud-error" of terminals, notes on lamps."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import busbox.engines
from busbox import InputError, Recording
from busbox.device import Pin
from busbox.findings.judging import judge
from busbox.models.pulse_led import PulseLed
from tests.board.attached import HIGH, PERIOD, bench_of, run, sender, sending, slot, string

pytestmark = pytest.mark.quick

PICTURE = (0x400000, 0x004000, 0x000040)
#: A zero of 11 clocks, 687.5 ns: P4 takes 650 to 950 ns for a one (common practice, no source).
LONG_ZERO = 0x000D_000B


@pytest.fixture(autouse=True)
def _quick_engine(_watch_ports: None, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(busbox.engines, "preferred", lambda: "python")


def lamps(high: int = LONG_ZERO, period: int = PERIOD, **more: Any) -> dict[str, Any]:
    """Return the keys of a sender for three lamps."""
    return slot("pulse_led", high=high, period=period, **{"lamps": 3, "count": 3, **more})


def of_lamps(device: dict[str, Any], *pictures: tuple[int, ...], **keys: Any) -> Recording:
    """Run pictures on a device, with a string of three lamps, by profile P4."""
    attach = {"string": string(**{"count": 3, "profile": "P4", **keys.pop("string", {})})}
    return run(sending(*pictures or (PICTURE,)), {"lamps": device}, attach, **keys)


def typed(*data: int, divisor: int = 139, terminal: Any = None, **keys: Any) -> Recording:
    """Run bytes through a uart, with a terminal at its tx."""

    def firmware(bus: Any) -> None:
        for byte in data:
            bus.poll("telegraph.STATUS", 1, mask=1, every=20)
            bus.write("telegraph.DATA", byte)

    paper = {"kind": "terminal", "pin": "telegraph.tx", **(terminal or {})}
    return run(firmware, {"telegraph": slot("uart", divisor=divisor)}, {"paper": paper}, **keys)


def rules(recording: Recording) -> list[str]:
    """Return the rules of what was found."""
    return [one.rule for one in recording.findings]


@pytest.mark.parametrize("how", ["model", "hardware"])
def test_a_zero_as_long_as_a_one_is_found(how: str) -> None:
    """Every pulse is allowed and all lamps are white: the first bit that is read as a one is named."""
    recording = of_lamps(lamps(**{"as": how}))
    (finding,) = recording.findings
    assert finding.message == (
        "string: frame 0 was sent by lamps as 400000 004000 000040 and is shown as ffffff ffffff "
        "ffffff: lamp 0, bit 0 on the wire was sent as a zero and is high for 11 clocks (687.5 ns), as "
        "long as a one: P4 takes 250..550 ns for a zero, 650..950 ns for a one."
    )
    assert finding.hint == (
        "At 16 MHz P4 is kept by 6 clocks high for a zero and 13 for a one, 20 for a bit and 802 for "
        'the latch gap (busbox timing "16 MHz"). Set lamps.HIGH 0x000d0006 and lamps.PERIOD 0x03220014.'
    )
    assert (finding.rule, finding.access) == ("shown-differs", recording.frames["lamps"][0].access)
    assert (finding.slot, finding.register) == ("lamps", "line")


def test_the_counts_that_are_advised_show_what_was_sent() -> None:
    """With HIGH and PERIOD of the hint nothing is found, and the colours are right."""
    recording = of_lamps(lamps(0x000D_0006, 0x0322_0014))
    assert rules(recording) == []
    (shown,) = recording.seen["string"].frames or ()
    assert shown.colours == PICTURE


def test_it_is_found_through_a_wire() -> None:
    """A string at an input pin is compared with the device at the other end of the wire."""
    recording = run(
        sending(PICTURE),
        {"lamps": lamps(), "levers": slot("gpio", 1, width=4)},
        {"string": string("levers.in.0", count=3, profile="P4")},
        wire=[{"from": "lamps.line", "to": "levers.in.0"}],
    )
    assert rules(recording) == ["shown-differs"]
    assert "lamps.HIGH 0x000d0006" in recording.findings[0].hint


def test_a_saved_recording_finds_it_again(tmp_path: Path) -> None:
    """Facts of the file and the system are enough."""
    attach = {"string": string(count=3, profile="P4")}
    bench = bench_of(sending(PICTURE), {"lamps": lamps()}, attach)
    recording = bench.run(engine="python")
    recording.save(tmp_path / "evening.recording.npz")
    again = judge(Recording.load(tmp_path / "evening.recording.npz"), bench.system())
    assert again.findings == recording.findings


@pytest.mark.parametrize(
    ("device", "pictures", "keys"),
    [
        (lamps(HIGH), [PICTURE, (1, 2, 3)], {}),  # all is right
        (lamps(), [(0xFFFFFF,) * 3], {}),  # no zero was sent
        (lamps(HIGH), [PICTURE], {"string": {"count": 2}}),  # the third lamp passes the rest on
        (lamps(HIGH), [PICTURE], {"string": {"count": 9}}),  # more lamps than are sent
        (lamps(HIGH, 20 << 16 | 20), [PICTURE], {}),  # the latch gap is not over at the end
        (lamps(), [PICTURE], {"until": "60 us"}),  # the frame is still on the line
        (lamps(HIGH, count=0), [PICTURE], {}),  # an empty frame
    ],
)
def test_what_is_as_it_was_sent_or_is_not_over_is_not_found(
    device: dict[str, Any], pictures: list[tuple[int, ...]], keys: dict[str, Any]
) -> None:
    """No finding at all: the near misses."""
    until = keys.pop("until", None)
    attach = {"string": string(**{"count": 3, "profile": "P4", **keys.get("string", {})})}
    bench = bench_of(sending(*pictures), {"lamps": device}, attach)
    assert rules(bench.run(engine="python", until=until)) == []


def test_exchanged_channels_are_told_once() -> None:
    """Where an exchange of channels explains all, colour-order says it alone."""
    assert rules(of_lamps(lamps(HIGH, order="RGB"))) == ["colour-order"]


def test_an_exchange_does_not_hide_a_wrong_bit() -> None:
    """With another order and long zeros, the bit named is one that was sent as a zero."""
    recording = of_lamps(lamps(order="RGB"), (0x400000, 0x010203, 0))
    (finding,) = recording.findings
    assert finding.rule == "shown-differs"
    assert "bit 0 on the wire was sent as a zero and is high for 11 clocks" in finding.message


def test_a_bit_in_no_window_is_told_as_such_alone() -> None:
    """10 clocks are 625 ns, neither a zero nor a one of P4: both windows are named, and no value."""
    recording = of_lamps(lamps(0x000D_000A))
    assert set(rules(recording)) == {"pulse-width"}
    assert recording.findings[0].message == (
        "string: Frame 0, lamp 0, bit 0 is high for 10 clocks (625 ns); P4 allows 250..550 ns for a "
        "zero and 650..950 ns for a one."
    )


def test_a_frame_without_a_pulse_is_found() -> None:
    """With a high of 0 clocks a dark picture leaves the line as it is: the lamps keep the old one."""
    recording = of_lamps(lamps(0x000D_0000), (0, 0, 0))
    assert [one.message for one in recording.findings] == [
        "string: frame 0, sent by lamps as 000000 000000 000000, is not shown: the line does not "
        "change in cycle 9, its first."
    ]


def test_four_channels_on_lamps_of_three_are_found() -> None:
    """Three lamps of 32 bits fill four of 24: no bit is left over, and all colours are wrong."""
    device = lamps(HIGH, channels=4)
    recording = of_lamps(device, (0x12000000, 0x304050, 1), string={"count": 4})
    assert rules(recording) == ["shown-differs"]
    assert "four channels were sent for each lamp" in recording.findings[0].message


def test_a_frame_that_a_reset_cut_is_not_compared() -> None:
    """A reset inside the first frame says nothing of it; nor does one byte cut by it."""
    for at in (30, 500, 1200):
        recording = of_lamps(lamps(HIGH), reset=[{"at": at, "length": 2}])
        assert "shown-differs" not in rules(recording)
        cut = typed(*b"Hello", reset=[{"at": at, "length": 2}], after_reset="restart")
        assert not {"shown-differs", "baud-error"} & set(rules(cut))


class BareLamps(PulseLed):
    """A sender whose pin does not say what it carries."""

    pins = (Pin("line"),)


class WrongLamps(PulseLed):
    """A sender whose pin says what it does not send."""

    pins = (Pin("line", carries="text"),)


def test_a_pin_that_carries_nothing_has_no_intention() -> None:
    """Nothing is compared at a pin that does not declare it."""
    assert rules(of_lamps(lamps() | {"model": BareLamps})) == []


def test_a_pin_carries_only_what_its_device_sends() -> None:
    """Another declaration is refused, with what the device sends."""
    with pytest.raises(InputError) as raised:
        of_lamps(lamps() | {"model": WrongLamps})
    assert str(raised.value) == (
        "slot.lamps.model: pin line carries 'text': only an output pin may, and only what its device "
        "sends (frames)"
    )


def test_the_nearest_profile_is_the_one_with_the_best_worst_margin() -> None:
    """At 12 MHz a zero of 7 clocks, 583.3 ns, misses P4 by 33.3 ns; HIGH and PERIOD are advised."""
    recording = run(
        sending(PICTURE),
        {"lamps": lamps(0x000D_0007, 0x1C20_0014)},
        {"string": string(count=3)},
        clock="12 MHz",
    )
    (finding,) = [one for one in recording.findings if one.rule == "pulse-width"]
    assert finding.message == (
        "string: No profile is kept; P4 is the nearest: frame 0, lamp 0, bit 0 is high for 7 clocks "
        "(583.333 ns); P4 allows 250..550 ns for a zero and 650..950 ns for a one (72 of 72 bits fail)."
    )
    assert finding.hint == (
        "At 12 MHz P4 is kept by 5 clocks high for a zero and 10 for a one, 15 for a bit and 602 for "
        'the latch gap (busbox timing "12 MHz"). The summary shows every profile; profile = NAME '
        "judges by one. Set lamps.HIGH 0x000a0005 and lamps.PERIOD 0x025a000f."
    )


def test_a_terminal_at_another_rate_names_both_rates_and_the_divisor() -> None:
    """139 clocks at 12 MHz are 86,331 baud (12 MHz / 139); the rate is the finding, not the text."""
    recording = typed(0x41, clock="12 MHz")
    assert recording.seen["paper"].text == "\x03"
    (finding,) = recording.findings
    assert (finding.rule, finding.access) == ("baud-error", 1)
    assert finding.message == (
        "paper: the line has 86,331 baud +-0.08 %, 25.06 % below the 115,200 baud that it is read "
        "with: a bit lasts 139 clocks, not 104.1667."
    )
    assert finding.hint == (
        'Give both ends one rate: a divisor of 104 clocks (busbox baud "12 MHz" 115200), or baud = '
        "86331 here. Set telegraph.DIVISOR 104 (now 139)."
    )


@pytest.mark.parametrize(("baud", "found"), [
    (16e6 / 139 / 1.0199, []), (16e6 / 139 / 1.0201, ["baud-error"]),
    (16e6 / 139 / 0.9801, []), (16e6 / 139 / 0.9799, ["baud-error"]),
])  # fmt: skip
def test_a_rate_may_be_off_by_two_per_cent(baud: float, found: list[str]) -> None:
    """More than 2 % either way is found, less is not."""
    assert rules(typed(0x41, terminal={"baud": baud})) == found


def test_a_byte_that_fits_the_terminal_s_rate_too_is_compared_with_what_was_sent() -> None:
    """0x55 at 38,369 baud reads as two characters at 115,200: no rate is sure, the byte is."""
    recording = typed(0x55, divisor=417)
    (finding,) = recording.findings
    assert finding.rule == "shown-differs"
    assert finding.message.startswith(
        "paper: byte 0 was sent as 0x55 'U' and is shown as 2 characters, 0x1c '\\x1c', 0x1c '\\x1c'"
    )


def test_a_format_with_fewer_data_bits_is_found() -> None:
    """Seven of eight data bits show another byte where the eighth is a one."""
    recording = typed(0xC1, terminal={"format": "7N1"})
    assert [one.message for one in recording.findings] == [
        "paper: byte 0 was sent as 0xc1 'Á' and is shown as 0x41 'A': 0xc1 has more than the 7 data "
        "bits that 7N1 has."
    ]


@given(st.binary(min_size=1, max_size=6), st.integers(5, 300), st.sampled_from([1, 12, 16]))
@settings(max_examples=15, deadline=None)
def test_text_at_the_right_rate_is_never_found(data: bytes, divisor: int, megahertz: int) -> None:
    """Whatever the bytes, the divisor and the clock."""
    baud = {"baud": megahertz * 10**6 / divisor}
    recording = typed(*data, divisor=divisor, terminal=baud, clock=f"{megahertz} MHz")
    assert recording.findings == ()


@given(st.lists(st.integers(0, 0xFFFFFF), min_size=3, max_size=3))
@settings(max_examples=15, deadline=None)
def test_colours_with_the_right_counts_are_never_found(picture: list[int]) -> None:
    """Whatever the colours."""
    assert of_lamps(lamps(HIGH), tuple(picture)).findings == ()


@pytest.mark.parametrize(
    ("built", "sent", "count", "notes"),
    [
        (3, 3, 3, ()),
        (60, 12, 12, ("string has 12 lamps; lamps sends colours for 12 and is built for 60.",)),
        (4, 4, 3, ("string has 3 lamps; lamps sends colours for 4.",)),
        (4, 3, 4, ("string has 4 lamps; lamps sends colours for 3 and is built for 4.",)),
    ],
)
def test_numbers_of_lamps_that_are_not_equal_are_noted_once(
    built: int, sent: int, count: int, notes: tuple[str, ...]
) -> None:
    """Two frames, one note; equal numbers have none, and there is no finding."""
    picture = (0x10,) * sent
    recording = run(
        sending(picture, picture),
        {"lamps": sender(lamps=built, count=sent)},
        {"string": string(count=count)},
    )
    assert recording.notes == notes
    assert recording.findings == ()
