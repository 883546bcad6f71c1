"""The sender for lamps, sentence by sentence, each aimed at the cycle that the sentence names.

SEND written in e starts a frame with its first bit in cycle b = e + 1. Most frames here have P = 3
clocks a bit, high for 1 (a zero) or 2 (a one), and a gap of G = 5. A lamp then takes 72 cycles, and a
frame of N lamps is BUSY in the cycles b to b + 72 N + 4.
"""

from __future__ import annotations

import pytest

from busbox.basics.errors import InputError
from busbox.recording import Recording
from tests.models.driving import WAITS, Drive, edges, events, highs, reads

pytestmark = pytest.mark.parametrize("wait", WAITS)

SEND, BUSY, MISSED = 1, 1, 2
HIGH = 2 << 16 | 1
PERIOD = 5 << 16 | 3


def sender(wait: int, lamps: int = 2, **keys: object) -> Drive:
    """Return a sender whose reset values give frames of one lamp."""
    keys = {"count": 1, "high": HIGH, "period": PERIOD} | keys
    return Drive("pulse_led", wait, lamps=lamps, **keys)  # type: ignore[arg-type]


def frames(recording: Recording) -> list[tuple[int, int, tuple[int, ...]]]:
    """Return (cycle, access, colours) of every frame."""
    return [(f.cycle, f.access, f.colours) for f in recording.frames["dev"]]


def pulses(first: int, ones: set[int], bits: int = 24) -> list[tuple[int, int]]:
    """Return (cycle, cycles high) of each bit: 3 cycles apart, 2 cycles for the numbers in ``ones``."""
    return [(first + 3 * bit, 2 if bit in ones else 1) for bit in range(bits)]


@pytest.mark.quick
def test_the_first_bit_is_in_the_cycle_after_send(wait: int) -> None:
    """SEND in e = 6: the line rises in cycle b = 7, bits follow every 3 cycles, then it stays 0."""
    recording = sender(wait).write(6, "CONTROL", SEND).run()
    assert edges(recording, "line")[:3] == [(0, 0), (7, 1), (8, 0)]
    assert highs(recording, "line") == pulses(7, set())
    assert edges(recording, "line")[-1] == (7 + 3 * 23 + 1, 0)
    assert set(recording.lines["dev.line"].accesses.tolist()) == {-1, 0}


@pytest.mark.parametrize(
    ("cycle", "busy"),
    [
        (5, 0),
        (6, 0),  # SEND ends here and shows in cycle 7
        (7, BUSY),  # b
        (8, BUSY),
        (82, BUSY),
        (83, BUSY),  # b + 24 x 1 x 3 + 5 - 1
        (84, 0),
    ],
)
def test_busy_at_every_boundary(wait: int, cycle: int, busy: int) -> None:
    """BUSY is 1 in the cycles b to b + 24 N P + G - 1, here 7 to 83."""
    assert sender(wait).write(6, "CONTROL", SEND).shows("STATUS", cycle) == busy


@pytest.mark.parametrize(("count", "last"), [(0, 11), (1, 83), (2, 155), (3, 155)])
def test_busy_grows_with_the_lamps_sent(wait: int, count: int, last: int) -> None:
    """N = min(COUNT, lamps) lamps: BUSY to cycle 7 + 72 N + 4; COUNT 3 sends the 2 lamps built."""
    drive = sender(wait, count=count).write(6, "CONTROL", SEND)
    assert drive.run().cycles == last + 2  # at rest in the first cycle that is not BUSY
    assert [drive.shows("STATUS", cycle) for cycle in (last, last + 1)] == [BUSY, 0]


@pytest.mark.parametrize(
    ("order", "ones"),
    [
        # Red 0x80, green 0x40, blue 0x01: bits 0, 1 and 7 of their bytes, most significant first.
        ("RGB", {0, 9, 23}),
        ("RBG", {0, 15, 17}),
        ("GRB", {1, 8, 23}),
        ("GBR", {1, 15, 16}),
        ("BRG", {7, 8, 17}),
        ("BGR", {7, 9, 16}),
    ],
)
def test_channels_go_in_order_most_significant_bit_first(
    wait: int, order: str, ones: set[int]
) -> None:
    """The lamp 0x804001 has its three ones where the order puts them."""
    drive = sender(wait, order=order).write(3, "COLOUR.0", 0x80_40_01).write(6, "CONTROL", SEND)
    recording = drive.run()
    assert highs(recording, "line") == pulses(7, ones)
    assert frames(recording) == [(7, 1, (0x80_40_01,))]


def test_the_default_order_is_green_red_blue(wait: int) -> None:
    """Without the setting, 0xFF0000 has its ones in the second byte on the wire."""
    drive = sender(wait).write(3, "COLOUR.0", 0xFF_00_00).write(6, "CONTROL", SEND)
    assert highs(drive.run(), "line") == pulses(7, set(range(8, 16)))


def test_the_order_is_one_of_the_letters(wait: int) -> None:
    """An order that is no permutation of R, G and B is refused, and so is a bench without lamps."""
    with pytest.raises(InputError, match="each of the letters GRB once"):
        sender(wait, order="RGG").run()
    with pytest.raises(InputError, match="must be given"):
        Drive("pulse_led", wait).run()
    with pytest.raises(InputError, match="from 1 to"):
        sender(wait, lamps=0).run()


def test_lamps_follow_each_other_without_a_gap(wait: int) -> None:
    """Lamp 1 has its first bit in cycle b + 24 P = 79; both colours are in the frame."""
    drive = sender(wait, count=2).write(3, "COLOUR.0", 1).write(6, "COLOUR.1", 0x00_80_00)
    recording = drive.write(9, "CONTROL", SEND).run()
    assert highs(recording, "line") == pulses(10, {23, 24}, 48)
    assert frames(recording) == [(10, 2, (1, 0x00_80_00))]
    assert events(recording) == [(10, "frame", 2)]


# What starts a frame.


@pytest.mark.parametrize(
    ("data", "lanes", "starts"),
    [
        (1, 0b1111, True),
        (1, 0b0001, True),
        (0xFFFF_FFFF, 0b0001, True),
        (1, 0b1110, False),
        (1, 0b0000, False),
        (0, 0b1111, False),
        (0xFFFF_FFFE, 0b1111, False),
    ],
)
def test_a_one_in_bit_0_with_lane_0_starts(wait: int, data: int, lanes: int, starts: bool) -> None:
    """Only a one for SEND with lane 0 selected starts a frame."""
    recording = sender(wait).write(6, "CONTROL", data, lanes).run()
    assert events(recording) == ([(7, "frame", 0)] if starts else [])
    assert len(edges(recording, "line")) == (49 if starts else 1)


@pytest.mark.parametrize("data", [0, 0xFFFF_FFFE])
def test_a_write_without_send_while_busy_misses_nothing(wait: int, data: int) -> None:
    """Zeros for SEND, or a write without lane 0, are no missed frame."""
    drive = sender(wait).write(6, "CONTROL", SEND).write(20, "CONTROL", data)
    drive.write(24, "CONTROL", SEND, 0b1110)
    assert events(drive.run()) == [(7, "frame", 0)]
    assert drive.shows("STATUS", 26) == BUSY


@pytest.mark.parametrize("cycle", [5, 7, 9, 90])
def test_send_and_reserved_bits_of_control_read_zero(wait: int, cycle: int) -> None:
    """CONTROL reads 0 before, while and after a frame is sent: REPEAT, bit 1, was not written."""
    assert sender(wait).write(6, "CONTROL", 0xFFFF_FFFD).shows("CONTROL", cycle) == 0


@pytest.mark.parametrize("again", [8, 40, 79, 82, 83])
def test_send_while_busy_is_missed(wait: int, again: int) -> None:
    """SEND in any of the cycles 7 to 83, the last BUSY cycle included: event, and no second frame."""
    recording = sender(wait).write(6, "CONTROL", SEND).write(again, "CONTROL", SEND).run()
    assert events(recording) == [(7, "frame", 0), (again, "frame-missed", 1)]
    assert highs(recording, "line") == pulses(7, set())
    assert recording.cycles == 85  # BUSY is not prolonged: at rest in cycle 84


def test_send_in_the_very_first_busy_cycle_is_missed(wait: int) -> None:
    """SEND in cycle b = 7 (possible without wait states) is missed; with one, the same in cycle 8."""
    again = 7 + wait
    recording = sender(wait).write(6, "CONTROL", SEND).write(again, "CONTROL", SEND).run()
    assert events(recording) == [(7, "frame", 0), (again, "frame-missed", 1)]


@pytest.mark.parametrize("again", [84, 85])
def test_send_one_cycle_after_busy_starts(wait: int, again: int) -> None:
    """SEND in cycle 84, the first that is not BUSY, starts a frame in cycle 85."""
    recording = sender(wait).write(6, "CONTROL", SEND).write(again, "CONTROL", SEND).run()
    assert events(recording) == [(7, "frame", 0), (again + 1, "frame", 1)]
    assert highs(recording, "line") == pulses(7, set()) + pulses(again + 1, set())


@pytest.mark.parametrize("again", [20, 83])
def test_missed_shows_from_the_next_cycle(wait: int, again: int) -> None:
    """MISSED is 0 in the cycle of the SEND that is missed, and 1 from the next one on."""
    drive = sender(wait).write(6, "CONTROL", SEND).write(again, "CONTROL", SEND)
    found = [drive.shows("STATUS", cycle) & MISSED for cycle in (again, again + 1, again + 2, 120)]
    assert found == [0, MISSED, MISSED, MISSED]


@pytest.mark.parametrize(
    ("data", "lanes", "left"),
    [
        (MISSED, 0b1111, 0),
        (MISSED, 0b0001, 0),
        (MISSED, 0b1110, MISSED),
        (MISSED, 0b0000, MISSED),
        (0xFFFF_FFFD, 0b1111, MISSED),
    ],
)
def test_a_one_clears_missed_by_lanes(wait: int, data: int, lanes: int, left: int) -> None:
    """A write of STATUS in e = 24 clears MISSED from cycle 25 on, if its one is in lane 0."""
    drive = sender(wait).write(6, "CONTROL", SEND).write(20, "CONTROL", SEND)
    drive.write(24, "STATUS", data, lanes)
    found = [drive.shows("STATUS", cycle) for cycle in (24, 25, 26)]
    assert found == [BUSY | MISSED, BUSY | left, BUSY | left]


def test_a_new_frame_does_not_clear_missed(wait: int) -> None:
    """MISSED stays through the next frame that is sent."""
    drive = sender(wait).write(6, "CONTROL", SEND).write(20, "CONTROL", SEND)
    assert drive.write(90, "CONTROL", SEND).shows("STATUS", 100) == BUSY | MISSED


def test_busy_and_reserved_bits_cannot_be_written(wait: int) -> None:
    """All ones written to STATUS set nothing while idle and do not end BUSY."""
    idle = sender(wait).write(6, "STATUS", 0xFFFF_FFFF).read(9, "STATUS")
    assert reads(idle.run()) == {9: 0}
    drive = sender(wait).write(6, "CONTROL", SEND).write(20, "STATUS", 0xFFFF_FFFF)
    assert reads(drive.read(23, "STATUS").run()) == {23: BUSY}


# Colours.


@pytest.mark.parametrize(
    ("written", "colour"),
    [
        (76, 0xFF_FF_FF),
        (77, 0xFF_FF_FF),  # shows in cycle 78, the one before lamp 1's first bit in 79: counts
        (78, 0),  # shows in cycle 79: too late
        (79, 0),
        (80, 0),
    ],
)
def test_a_colour_counts_as_of_the_cycle_before_the_first_bit(
    wait: int, written: int, colour: int
) -> None:
    """Lamp 1 of a frame with b = 7 sends what COLOUR.1 shows in cycle 7 + 72 - 1 = 78."""
    drive = sender(wait, count=2).write(6, "CONTROL", SEND)
    recording = drive.write(written, "COLOUR.1", 0xFF_FF_FF).run()
    assert frames(recording) == [(7, 0, (0, colour))]
    ones = set(range(24, 48)) if colour else set()
    assert highs(recording, "line") == pulses(7, ones, 48)


@pytest.mark.parametrize(("written", "colour"), [(149, 0xFF), (150, 0)])
def test_the_colour_of_the_third_lamp_has_its_own_cycle(
    wait: int, written: int, colour: int
) -> None:
    """Lamp 2 has its first bit in cycle 7 + 144 = 151: a write in 149 counts, one in 150 does not."""
    drive = sender(wait, 3, count=3).write(6, "CONTROL", SEND).write(written, "COLOUR.2", 0xFF)
    assert frames(drive.run()) == [(7, 0, (0, 0, colour))]


def test_the_colour_of_lamp_0_counts_as_of_the_cycle_of_send(wait: int) -> None:
    """COLOUR.0 written just before SEND counts; written just after, it is for the next frame."""
    drive = sender(wait).write(6 - 1 - wait, "COLOUR.0", 0x11).write(6, "CONTROL", SEND)
    drive.write(7 + wait, "COLOUR.0", 0x22).write(90, "CONTROL", SEND)
    assert frames(drive.run()) == [(7, 1, (0x11,)), (91, 3, (0x22,))]


def test_a_colour_written_while_its_lamp_is_sent_does_not_disturb_it(wait: int) -> None:
    """COLOUR.0 written in the middle of lamp 0's bits leaves the line as it was."""
    drive = sender(wait).write(6, "CONTROL", SEND).write(30, "COLOUR.0", 0xFF_FF_FF)
    recording = drive.run()
    assert highs(recording, "line") == pulses(7, set())
    assert recording.registers["dev"]["COLOUR.0"] == 0xFF_FF_FF


@pytest.mark.parametrize(
    ("lanes", "shown"),
    [
        (0b1111, 0xDD_EE_FF),
        (0b0001, 0x11_22_FF),
        (0b0010, 0x11_EE_33),
        (0b0100, 0xDD_22_33),
        (0b1000, 0x11_22_33),
        (0b0000, 0x11_22_33),
    ],
)
def test_a_colour_has_24_bits_and_lanes(wait: int, lanes: int, shown: int) -> None:
    """0xCCDDEEFF over 0x112233 changes the selected bytes; bits 31 to 24 read 0; so it is sent."""
    drive = sender(wait).write(3, "COLOUR.0", 0x11_22_33).write(6, "COLOUR.0", 0xCCDD_EEFF, lanes)
    assert [drive.shows("COLOUR.0", cycle) for cycle in (6, 7, 8)] == [0x11_22_33, shown, shown]
    assert frames(drive.write(9, "CONTROL", SEND).run()) == [(10, 2, (shown,))]


def test_colours_are_a_cycle_of_registers_from_0x100(wait: int) -> None:
    """COLOUR n lies at 0x100 + 4n; one beyond the lamps is a hole."""
    drive = sender(wait, lamps=3).write(3, 0x100, 1).write(6, 0x108, 3).write(9, 0x10C, 4)
    recording = drive.read(12, 0x100).read(15, 0x104).read(18, 0x108).read(21, 0x10C).run()
    assert reads(recording) == {12: 1, 15: 0, 18: 3, 21: 0}
    assert [recording.registers["dev"][f"COLOUR.{n}"] for n in range(3)] == [1, 0, 3]


# Counts.


@pytest.mark.parametrize("just_before", [True, False])
def test_count_high_and_period_count_as_of_the_cycle_of_send(wait: int, just_before: bool) -> None:
    """Written in the access before SEND they count; in the one after, they are for the next frame.

    The other values: 2 lamps, HIGH 2 and 3, P = 4, G = 6: BUSY for 2 x 96 + 6 cycles, not 72 + 5.
    """
    other = {"COUNT": 2, "HIGH": 3 << 16 | 2, "PERIOD": 6 << 16 | 4}
    drive = sender(wait)
    if just_before:
        for end, (register, value) in zip((12, 16, 20 - 1 - wait), other.items(), strict=True):
            drive.write(end, register, value)
        drive.write(20, "CONTROL", SEND)
        assert drive.run().cycles == 21 + 192 + 6 + 1
        assert highs(drive.run(), "line") == [(21 + 4 * bit, 2) for bit in range(48)]
        return
    drive.write(20, "CONTROL", SEND)
    for end, (register, value) in zip((21 + wait, 25, 29), other.items(), strict=True):
        drive.write(end, register, value)
    assert drive.run().cycles == 21 + 72 + 5 + 1
    recording = drive.write(110, "CONTROL", SEND).run()
    later = [(111 + 4 * bit, 2) for bit in range(48)]
    assert highs(recording, "line") == pulses(21, set()) + later


@pytest.mark.parametrize("register", ["COUNT", "HIGH", "PERIOD"])
def test_each_count_is_latched_in_the_cycle_of_send(wait: int, register: str) -> None:
    """Each register alone, written right after SEND, leaves the frame as it was."""
    drive = sender(wait).write(20, "CONTROL", SEND).write(21 + wait, register, 0x0007_0002)
    recording = drive.run()
    assert highs(recording, "line") == pulses(21, set())
    assert recording.cycles == 21 + 72 + 5 + 1
    assert events(recording) == [(21, "frame", 0)]


@pytest.mark.parametrize("register", ["COUNT", "HIGH", "PERIOD"])
@pytest.mark.parametrize(
    ("lanes", "shown"),
    [(0b1111, 0xAABB_CCDD), (0b0001, 0x1234_56DD), (0b0110, 0x12BB_CC78), (0, 0x1234_5678)],
)
def test_counts_have_32_bits_and_lanes(wait: int, register: str, lanes: int, shown: int) -> None:
    """0xAABBCCDD over 0x12345678 in e = 6 reads old in cycle 6, and by lanes from cycle 7 on."""
    drive = sender(wait).write(3, register, 0x1234_5678).write(6, register, 0xAABB_CCDD, lanes)
    assert [drive.shows(register, cycle) for cycle in (6, 7, 8)] == [0x1234_5678, shown, shown]


def test_reset_values_are_settings_and_default_to_zero(wait: int) -> None:
    """COUNT, HIGH and PERIOD read the settings in cycle 0; without settings they read 0."""
    given = sender(wait, count=0x1234_5678, high=0x9ABC_DEF0, period=0x1357_9BDF)
    assert [given.shows(name, 0) for name in ("COUNT", "HIGH", "PERIOD")] == [
        0x1234_5678, 0x9ABC_DEF0, 0x1357_9BDF
    ]  # fmt: skip
    bare = Drive("pulse_led", wait, lamps=1).run()
    assert bare.registers["dev"] == {
        "CONTROL": 0, "STATUS": 0, "COUNT": 0, "HIGH": 0, "PERIOD": 0, "COLOUR.0": 0
    }  # fmt: skip
    assert edges(bare, "line") == [(0, 0)]


# Odd counts.


def test_count_zero_is_the_gap_only(wait: int) -> None:
    """COUNT 0: BUSY in the cycles b to b + G - 1, 7 to 11, no pulse, event ``frame-empty`` in b."""
    drive = sender(wait, count=0).write(6, "CONTROL", SEND)
    recording = drive.run()
    assert edges(recording, "line") == [(0, 0)]
    assert events(recording) == [(7, "frame-empty", 0)]
    assert frames(recording) == [(7, 0, ())]
    assert [drive.shows("STATUS", cycle) for cycle in (6, 7, 11, 12)] == [0, BUSY, BUSY, 0]


@pytest.mark.parametrize("count", [3, 0x100, 0x8000_0000, 0xFFFF_FFFF])
def test_count_above_the_lamps_sends_those_built(wait: int, count: int) -> None:
    """COUNT 3 or more with 2 lamps built: 48 bits, and the event ``count-clipped`` after ``frame``."""
    recording = sender(wait, count=count).write(6, "CONTROL", SEND).run()
    assert highs(recording, "line") == pulses(7, set(), 48)
    assert events(recording) == [(7, "frame", 0), (7, "count-clipped", 0)]
    assert recording.cycles == 7 + 144 + 5 + 1
    assert recording.registers["dev"]["COUNT"] == count


def test_count_of_all_lamps_is_not_clipped(wait: int) -> None:
    """COUNT 2 with 2 lamps built is nothing odd."""
    assert events(sender(wait, count=2).write(6, "CONTROL", SEND).run()) == [(7, "frame", 0)]


@pytest.mark.parametrize("one_high", [3, 4, 0xFFFF])
def test_high_not_below_the_period_is_high_for_the_whole_bit(wait: int, one_high: int) -> None:
    """Ones of 3 cycles or more in bits of 3 are high for all 3, up to the next bit or the gap.

    The colour 0x000003 ends in two ones, the bits 22 and 23 in the cycles 73 to 78; 0 from cycle 79.
    """
    drive = sender(wait, high=one_high << 16 | 1).write(3, "COLOUR.0", 3).write(6, "CONTROL", SEND)
    recording = drive.run()
    assert highs(recording, "line") == [*pulses(7, set(), 22), (73, 6)]
    assert events(recording) == [(7, "frame", 1), (7, "high-too-long", 1)]
    assert recording.cycles == 7 + 72 + 5 + 1


def test_a_long_one_ends_where_a_zero_follows(wait: int) -> None:
    """A one that fills its bit runs into the pulse of the zero after it: 3 + 1 cycles high."""
    drive = sender(wait, high=3 << 16 | 1).write(3, "COLOUR.0", 0x00_80_00)
    recording = drive.write(6, "CONTROL", SEND).run()
    assert highs(recording, "line") == [(7, 4), *pulses(7, set())[2:]]


@pytest.mark.parametrize(("zero", "one", "long"), [(3, 1, True), (1, 3, True), (2, 2, False)])
def test_either_half_of_high_may_be_too_long(wait: int, zero: int, one: int, long: bool) -> None:
    """A HIGH half of 3 in bits of 3 is too long, a half of 2 is not; sent or not."""
    recording = sender(wait, high=one << 16 | zero).write(6, "CONTROL", SEND).run()
    assert ((7, "high-too-long", 0) in events(recording)) is long
    if zero == 3:
        assert highs(recording, "line") == [(7, 72)]


@pytest.mark.parametrize(
    ("zero", "one", "expected"),
    [
        (0, 2, [(76, 2)]),  # only the one in bit 23 has a pulse
        (1, 0, [(7 + 3 * bit, 1) for bit in range(23)]),  # only the zeros have
        (0, 0, []),
    ],
)
def test_high_zero_is_no_pulse(
    wait: int, zero: int, one: int, expected: list[tuple[int, int]]
) -> None:
    """Bits whose HIGH half is 0 leave the line 0; the event is ``no-pulse`` for either half."""
    drive = sender(wait, high=one << 16 | zero).write(3, "COLOUR.0", 1).write(6, "CONTROL", SEND)
    recording = drive.run()
    assert highs(recording, "line") == expected
    assert events(recording) == [(7, "frame", 1), (7, "no-pulse", 1)]
    assert recording.cycles == 85


def test_period_zero_acts_as_one(wait: int) -> None:
    """P = 0: 24 bits of one cycle each, so BUSY in the cycles 7 to 7 + 24 + 5 - 1; reads back 0."""
    drive = sender(wait, period=5 << 16).write(3, "COLOUR.0", 0xFF).write(6, "CONTROL", SEND)
    recording = drive.run()
    # HIGH halves of 1 and 2 are not below 1: every bit is high for its whole cycle.
    assert highs(recording, "line") == [(7, 24)]
    assert events(recording) == [(7, kind, 1) for kind in ("frame", "high-too-long", "period-zero")]
    assert [drive.shows("STATUS", cycle) for cycle in (35, 36)] == [BUSY, 0]
    assert drive.shows("PERIOD", 20) == 5 << 16


@pytest.mark.parametrize(("gap", "last"), [(0, 79), (1, 79), (2, 80)])
def test_gap_zero_acts_as_one(wait: int, gap: int, last: int) -> None:
    """G = 0: BUSY to cycle 7 + 72 as with G = 1, with the event ``gap-zero``; reads back 0."""
    drive = sender(wait, period=gap << 16 | 3).write(6, "CONTROL", SEND)
    assert [drive.shows("STATUS", cycle) for cycle in (last, last + 1)] == [BUSY, 0]
    recording = drive.run()
    assert events(recording) == [(7, "frame", 0), *([(7, "gap-zero", 0)] if not gap else [])]
    assert recording.registers["dev"]["PERIOD"] == gap << 16 | 3


def test_events_come_in_order(wait: int) -> None:
    """Everything odd at once: the events stand in the order of the table, all in cycle b."""
    recording = sender(wait, count=9, high=5 << 16, period=0).write(6, "CONTROL", SEND).run()
    kinds = ["frame", "count-clipped", "high-too-long", "no-pulse", "period-zero", "gap-zero"]
    assert events(recording) == [(7, kind, 0) for kind in kinds]


def test_an_empty_frame_tells_what_is_odd_too(wait: int) -> None:
    """COUNT 0 with HIGH 0 and PERIOD 0: ``frame-empty``, then the others; 0 is below P = 1."""
    recording = Drive("pulse_led", wait, lamps=1).write(6, "CONTROL", SEND).run()
    kinds = ["frame-empty", "no-pulse", "period-zero", "gap-zero"]
    assert events(recording) == [(7, kind, 0) for kind in kinds]
    assert recording.cycles == 9  # BUSY in cycle 7 only


# Cut frames.


@pytest.mark.parametrize(
    ("cycle", "expected"),
    [
        (6, []),  # SEND itself is cut off
        (7, [(7, 0, (0,))]),  # the first bit of lamp 0 has been a cycle
        (78, [(7, 0, (0,))]),
        (79, [(7, 0, (0, 0))]),  # so has that of lamp 1
        (90, [(7, 0, (0, 0))]),
    ],
)
def test_a_reset_lists_the_lamps_that_have_begun(
    wait: int, cycle: int, expected: list[tuple[int, int, tuple[int, ...]]]
) -> None:
    """A frame of three lamps cut in cycle r lists those whose first bit lies in cycle r or before."""
    drive = sender(wait, 3, count=3, resets=[(cycle, 1)]).write(6, "CONTROL", SEND)
    recording = drive.run()
    assert frames(recording) == expected
    assert events(recording) == [(7, "frame", 0)] * len(expected)


@pytest.mark.parametrize(
    ("until", "expected"),
    [
        (7, []),  # the last cycle is 6: what belongs to cycle 7 did not happen
        (8, [(7, 0, (0,))]),
        (79, [(7, 0, (0,))]),
        (80, [(7, 0, (0, 0))]),
    ],
)
def test_the_end_of_a_run_lists_the_lamps_that_have_begun(
    wait: int, until: int, expected: list[tuple[int, int, tuple[int, ...]]]
) -> None:
    """A frame cut by the end of the run lists the lamps whose first bit was run."""
    recording = sender(wait, 3, count=3).write(6, "CONTROL", SEND).run(until=until)
    assert recording.cycles == until
    assert frames(recording) == expected
    assert events(recording) == [(7, "frame", 0)] * len(expected)


@pytest.mark.parametrize(
    ("cycle", "tail"),
    [
        (7, [(0, 0), (7, 1), (8, 0)]),
        (8, [(0, 0), (7, 1), (9, 0)]),  # the bit would be high in the cycles 7 to 9
        (10, [(0, 0), (7, 1), (10, 0)]),  # the line fell by itself
        (11, [(0, 0), (7, 1), (10, 0), (11, 1), (12, 0)]),
    ],
)
def test_a_reset_puts_the_line_down_in_the_next_cycle(
    wait: int, cycle: int, tail: list[tuple[int, int]]
) -> None:
    """Bits of 4 cycles, high for 3: a reset in cycle r leaves the line 0 from cycle r + 1 on."""
    drive = sender(wait, high=3 << 16 | 3, period=5 << 16 | 4, resets=[(cycle, 2)])
    recording = drive.write(6, "CONTROL", SEND).run(upto=60)
    assert edges(recording, "line") == tail


@pytest.mark.parametrize("length", [1, 3])
def test_a_reset_puts_registers_back_and_keeps_colours(wait: int, length: int) -> None:
    """BUSY, MISSED and the counts are old in cycle r = 40, reset in cycle 41; COLOUR stays."""
    drive = sender(wait, resets=[(40, length)])
    drive.write(3, "COLOUR.1", 0x12_34_56).write(6, "CONTROL", SEND).write(20, "CONTROL", SEND)
    drive.write(24, "COUNT", 7).write(27, "HIGH", 8).write(30, "PERIOD", 9)
    cycles = (40, 41, 40 + length, 42 + length)
    assert [drive.shows("STATUS", cycle) for cycle in cycles] == [BUSY | MISSED, 0, 0, 0]
    assert [drive.shows("COUNT", cycle) for cycle in cycles] == [7, 1, 1, 1]
    assert [drive.shows("HIGH", cycle) for cycle in cycles] == [8, HIGH, HIGH, HIGH]
    assert [drive.shows("PERIOD", cycle) for cycle in cycles] == [9, PERIOD, PERIOD, PERIOD]
    assert [drive.shows("COLOUR.1", cycle) for cycle in cycles] == [0x12_34_56] * 4


def test_after_a_reset_a_frame_sends_the_colours_from_before(wait: int) -> None:
    """RST in cycle 40 cuts a frame; SEND in e = 46 sends the kept colour from cycle 47 on."""
    drive = sender(wait, resets=[(40, 1)]).write(3, "COLOUR.0", 1).write(6, "CONTROL", SEND)
    recording = drive.write(46, "CONTROL", SEND).run()
    assert frames(recording) == [(7, 1, (1,)), (47, 2, (1,))]
    # Bits 0 to 11 of the first frame lie in the cycles 7 to 42; bit 11 rises in cycle 40.
    assert highs(recording, "line") == pulses(7, set(), 12) + pulses(47, {23})


def test_a_colour_that_a_reset_cuts_off_is_not_written(wait: int) -> None:
    """COLOUR aimed at the first cycle of a reset keeps its old value."""
    drive = sender(wait, resets=[(9, 1)]).write(3, "COLOUR.0", 1).write(9, "COLOUR.0", 2)
    assert [drive.shows("COLOUR.0", cycle) for cycle in (9, 10, 14)] == [1, 1, 1]
    assert reads(drive.read(16, "COLOUR.0").run()) == {16: 1}


def test_at_rest_when_not_busy(wait: int) -> None:
    """The run ends with cycle 84, the first that is not BUSY; an idle sender rests at once."""
    recording = sender(wait).write(6, "CONTROL", SEND).run()
    assert (recording.cycles, recording.ended) == (85, "done")
    assert sender(wait).run().cycles == 1


@pytest.mark.parametrize("offset", [0x14, 0xFC, 0x108, 0xFFC])
def test_holes_read_zero_and_drop_writes(wait: int, offset: int) -> None:
    """A hole is acknowledged: it reads 0 after a write of ones, which changes nothing."""
    recording = sender(wait).write(4, offset, 0xFFFF_FFFF).read(7, offset).run()
    assert reads(recording) == {7: 0}
    assert recording.registers["dev"] == {
        "CONTROL": 0, "STATUS": 0, "COUNT": 1, "HIGH": HIGH, "PERIOD": PERIOD,
        "COLOUR.0": 0, "COLOUR.1": 0,
    }  # fmt: skip
