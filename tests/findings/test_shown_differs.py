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
#: A zero of 11 cycles, 687.5 ns: P4 takes 650 to 950 ns for a one (common practice, no source).
LONG_ZERO = 0x000D_000B


@pytest.fixture(autouse=True)
def _quick_engine(_watch_ports: None, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(busbox.engines, "preferred", lambda *_: "python")


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
        "ffffff: lamp 0, bit 0 on the wire was sent as a zero and is high for 11 cycles (687.5 ns), as "
        "long as a one: P4 takes 250..550 ns for a zero, 650..950 ns for a one."
    )
    assert finding.hint == (
        "To meet P4 at 16 MHz, use 6 cycles high for a zero and 13 for a one, 20 for a bit and 802 for "
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
        (lamps(), [PICTURE], {"until": "60250 ns"}),  # and in the low of a bit
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
    assert "bit 0 on the wire was sent as a zero and is high for 11 cycles" in finding.message


def test_a_bit_in_no_window_is_told_as_such_alone() -> None:
    """10 cycles are 625 ns, neither a zero nor a one of P4: both windows are named, and no value."""
    recording = of_lamps(lamps(0x000D_000A))
    assert set(rules(recording)) == {"pulse-width"}
    assert recording.findings[0].message == (
        "string: Frame 0, lamp 0, bit 0 is high for 10 cycles (625 ns); P4 allows 250..550 ns for a "
        "zero and 650..950 ns for a one."
    )


def test_a_frame_without_a_pulse_is_found() -> None:
    """With a high of 0 cycles a dark picture leaves the line as it is: the lamps keep the old one."""
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
    """At 12 MHz a zero of 7 cycles, 583.3 ns, misses P4 by 33.3 ns; HIGH and PERIOD are advised."""
    recording = run(
        sending(PICTURE),
        {"lamps": lamps(0x000D_0007, 0x1C20_0014)},
        {"string": string(count=3)},
        clock="12 MHz",
    )
    (finding,) = [one for one in recording.findings if one.rule == "pulse-width"]
    assert finding.message == (
        "string: The line meets no profile; P4 comes closest: frame 0, lamp 0, bit 0 is high for 7 "
        "cycles (583.333 ns); P4 allows 250..550 ns for a zero and 650..950 ns for a one (72 of 72 "
        "bits fail)."
    )
    assert finding.hint == (
        "To meet P4 at 12 MHz, use 5 cycles high for a zero and 10 for a one, 15 for a bit and 602 for "
        'the latch gap (busbox timing "12 MHz"). The summary shows every profile; profile = NAME '
        "selects one. Set lamps.HIGH 0x000a0005 and lamps.PERIOD 0x025a000f."
    )


def test_a_terminal_at_another_rate_names_both_rates_and_the_divisor() -> None:
    """139 cycles at 12 MHz are 86,331 baud (12 MHz / 139); the rate is the finding, not the text."""
    recording = typed(0x41, clock="12 MHz")
    assert recording.seen["paper"].text == "\x03"
    (finding,) = recording.findings
    assert (finding.rule, finding.access) == ("baud-error", 1)
    assert finding.message == (
        "paper: the line runs at 86,331 baud +-0.08 %, 25.06 % below the 115,200 baud it is decoded "
        "at: a bit lasts 139 cycles, not 104.1667."
    )
    assert finding.hint == (
        'Use the same rate at both ends: a divisor of 104 cycles (busbox baud "12 MHz" 115200), or '
        "baud = 86331 here. Set telegraph.DIVISOR 104 (now 139)."
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


def test_an_all_dark_picture_names_the_bit_that_is_longer_than_any_one() -> None:
    """At 12 MHz a zero of 13 cycles, 1,083.3 ns, is beyond all windows: it still lights every lamp."""
    recording = run(
        sending((0, 0, 0)),
        {"lamps": lamps(0x000D_000D, 0x1C20_0014)},
        {"string": string(count=3)},
        clock="12 MHz",
    )
    assert rules(recording) == ["pulse-width", "shown-differs"]
    assert recording.findings[1].message == (
        "string: frame 0 was sent by lamps as 000000 000000 000000 and is shown as ffffff ffffff "
        "ffffff: lamp 0, bit 0 on the wire was sent as a zero and is high for 13 cycles (1083.333 ns), "
        "longer than any one: P2 takes 220..380 ns for a zero, 580..1000 ns for a one."
    )


@pytest.mark.parametrize(
    ("high", "picture", "words"),
    [
        (8, 0, "sent as a zero and is high for 8 cycles (666.667 ns), as long as a one"),
        (12, 0, "sent as a zero and is high for 12 cycles (1000 ns), longer than any one"),
        (6, 0xFFFFFF, "sent as a one and is high for 6 cycles (500 ns), as short as a zero"),
        (2, 0xFFFFFF, "sent as a one and is high for 2 cycles (166.667 ns), shorter than any zero"),
    ],
)
def test_bits_of_one_value_that_are_read_as_the_other_are_named(
    high: int, picture: int, words: str
) -> None:
    """By P4 at 12 MHz: inside the window of the other value, and beyond it."""
    recording = run(
        sending((picture,) * 3),
        {"lamps": lamps(high << 16 | high, 0x1C20_0014)},
        {"string": string(count=3, profile="P4")},
        clock="12 MHz",
    )
    (finding,) = [one for one in recording.findings if one.rule == "shown-differs"]
    assert words in finding.message


def test_a_parity_error_is_a_finding() -> None:
    """0x43 has three ones, and its bit 7 is a zero: 7E1 takes that for a wrong parity bit."""
    (finding,) = typed(0x43, 0x41, terminal={"format": "7E1"}).findings
    assert (finding.rule, finding.access) == ("framing", 1)
    assert finding.message == (
        "paper: the parity of character 0x43 is wrong, decoded at 115,200 baud, 7E1: a receiver that "
        "checks parity would not accept it."
    )
    assert finding.hint == (
        "Use the same format at both ends: set format of the terminal to that of the sender."
    )


def test_a_parity_error_of_the_last_byte_is_found_although_the_run_ends_first() -> None:
    """8E1 is a bit longer than 8N1: the run ends inside the stop bit that the terminal waits for."""
    (finding,) = typed(0x41, terminal={"format": "8E1"}).findings
    assert finding.message == (
        "paper: byte 0 was sent as 0x41 'A', and is received with an error: the parity of character "
        "0x41 is wrong, decoded at 115,200 baud, 8E1: a receiver that checks parity would not accept "
        "it."
    )
    assert typed(0x43, terminal={"format": "8E1"}).findings == ()  # its parity bit is the stop bit


def test_the_last_byte_is_compared_although_the_run_ends_first() -> None:
    """9N1 takes the stop bit for a ninth data bit, and waits for its own."""
    (finding,) = typed(0x41, terminal={"format": "9N1"}).findings
    assert finding.message.startswith("paper: byte 0 was sent as 0x41 'A' and is shown as 0x141 ")


@pytest.mark.parametrize(
    ("sent", "taken", "picture", "words"),
    [
        (4, 3, (0x304050, 1, 2), "96 bits, four channels for each of 3 lamps, and the lamps of the "
         "string take three"),
        (3, 4, (0x304050, 1, 2, 3), "96 bits, three channels for each of 4 lamps, and the lamps of the "
         "string take four"),
    ],
)  # fmt: skip
def test_another_number_of_channels_is_named(
    sent: int, taken: int, picture: tuple[int, ...], words: str
) -> None:
    """White may be dark everywhere: the number of bits alone shows it."""
    device = lamps(HIGH, channels=sent, lamps=4, count=len(picture))
    recording = of_lamps(device, picture, string={"count": 4, "channels": taken})
    (finding,) = recording.findings
    assert words in finding.message
    assert finding.hint == f"Give the string the channels of its device (channels = {sent})."


def test_colours_with_white_have_eight_digits() -> None:
    """All lamps of a frame alike, where one has white."""
    device = lamps(HIGH, channels=4, order="GRBW")
    recording = of_lamps(device, (0x12304050, 1, 2), string={"channels": 4, "order": "RGBW"})
    (finding,) = recording.findings
    assert "was sent as 12304050 00000001 00000002 and is shown as 12403050 " in finding.message


@pytest.mark.parametrize("how", ["model", "hardware"])
def test_a_count_above_the_lamps_built_is_noted(how: str) -> None:
    """The lamps beyond never get a colour, whatever the string has; two frames, one note."""
    device = lamps(HIGH, count=5, **{"as": how})
    note = "lamps was to send to more lamps than it is built for (3 lamps): those beyond get no colour."
    assert of_lamps(device, PICTURE, PICTURE).notes == (note,)
    assert of_lamps(device, string={"count": 5}).notes[1:] == (note,)
    assert of_lamps(lamps(HIGH)).notes == ()


def test_a_framing_error_explains_a_byte_that_is_not_shown() -> None:
    """Bit 7, a zero, stands where 7N2 has its first stop bit: framing says it alone, for each byte."""
    assert rules(typed(*b"Hi", terminal={"format": "7N2"})) == ["framing", "framing"]


def test_only_the_last_byte_is_looked_for_at_rest() -> None:
    """Two bytes with a pause, the second still under way for 8E1 at the end: both are right."""

    def firmware(bus: Any) -> None:
        bus.write("telegraph.DATA", 0x43)
        bus.pause("300 us")
        bus.write("telegraph.DATA", 0x43)

    paper = {"kind": "terminal", "pin": "telegraph.tx", "format": "8E1"}
    recording = run(firmware, {"telegraph": slot("uart", divisor=139)}, {"paper": paper})
    assert recording.seen["paper"].text == "C"
    assert recording.findings == ()


def test_a_frame_that_a_reset_cut_between_two_lamps_is_not_compared() -> None:
    """24 whole bits are left, so that no other finding explains the two lamps that are missing."""

    def firmware(bus: Any) -> None:
        sending(PICTURE)(bus)
        bus.pause("200 us")

    recording = run(
        firmware,
        {"lamps": lamps(HIGH)},
        {"string": string(count=3, profile="P4")},
        reset=[{"at": 9 + 24 * 20 - 3, "length": 2}],
        after_reset="continue",
    )
    assert [frame.colours for frame in recording.seen["string"].frames or ()] == [PICTURE[:1]]
    assert recording.findings == ()


def test_bytes_after_a_reset_are_compared_again_once_one_is_right() -> None:
    """The reset cuts the first byte; of those that follow, 7E1 takes bit 7 of 0xC3 for its parity."""

    def firmware(bus: Any) -> None:
        for byte in (0x41, 0x41, 0xC3):
            bus.pause("200 us")
            bus.write("telegraph.DATA", byte)

    recording = run(
        firmware,
        {"telegraph": slot("uart", divisor=139)},
        {"paper": {"kind": "terminal", "pin": "telegraph.tx", "format": "7E1"}},
        reset=[{"at": 4500, "length": 2}],
        after_reset="restart",
    )
    assert rules(recording)[-1] == "shown-differs"
    assert " was sent as 0xc3 'Ã' and is shown as 0x43 'C'" in recording.findings[-1].message


def test_two_frames_that_lamps_take_for_one_are_found_once() -> None:
    """A long string goes on after a gap of 31 us: the low is the finding, not the colours."""
    device = lamps(HIGH, 500 << 16 | 20)
    recording = of_lamps(device, PICTURE, PICTURE, PICTURE, string={"count": 9})
    assert set(rules(recording)) == {"pulse-width"}


def test_a_last_frame_that_is_broken_is_found_although_the_run_ends_first() -> None:
    """The device waits 31 us, the lamps need 50: they show three of four channels after the run."""
    device = lamps(HIGH, 500 << 16 | 20, channels=4, lamps=1, count=1)
    (finding,) = of_lamps(device, (0x12304050,)).findings
    assert finding.rule == "shown-differs"
    assert finding.message == (
        "string: frame 0 was sent by lamps as 12304050 and is shown as 304050: Frame 0 has 32 bits, "
        "which is 1 lamp of 24 bits and 8 bits left over: bits were lost or added, and lamps show "
        "colours other than those sent."
    )
    assert finding.hint == "If the lamps have four channels, set channels = 4."


def test_wires_to_pins_of_one_name_are_kept_apart() -> None:
    """Two ports have a pin in.0, each with its own sender: a string is compared with its own."""
    recording = run(
        lambda bus: [sending(PICTURE, slot=name)(bus) for name in ("lamps", "others")],
        {
            "lamps": lamps(HIGH),
            "others": slot("pulse_led", 1, high=LONG_ZERO, period=PERIOD, lamps=3, count=3),
            "levers": slot("gpio", 2, width=4),
            "points": slot("gpio", 3, width=4),
        },
        {"string": string("levers.in.0", count=3, profile="P4")},
        wire=[
            {"from": "lamps.line", "to": "levers.in.0"},
            {"from": "others.line", "to": "points.in.0"},
        ],
    )
    assert rules(recording) == []
    assert recording.seen["string"].frames[0].colours == PICTURE  # type: ignore[index]
