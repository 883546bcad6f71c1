"""REPEAT and four channels of the sender for lamps, each aimed at its cycle.

P = 3 cycles a bit, a gap of G = 5. A frame of one lamp whose first bit is in cycle 7 is BUSY in
the cycles 7 to 83: its last gap cycle is g = 83, and a frame that follows has its first bit in
cycle 84, the next in 161, 238 ...
"""

from __future__ import annotations

import pytest

from busbox.basics.errors import InputError
from busbox.recording import Recording
from tests.models.driving import WAITS, Drive, edges, events, highs, reads

pytestmark = pytest.mark.parametrize("wait", WAITS)

SEND, REPEAT, BUSY, MISSED = 1, 2, 1, 2
HIGH = 2 << 16 | 1
PERIOD = 5 << 16 | 3


def sender(wait: int, lamps: int = 2, **keys: object) -> Drive:
    """Return a sender whose reset values give frames of one lamp."""
    keys = {"count": 1, "high": HIGH, "period": PERIOD} | keys
    return Drive("pulse_led", wait, lamps=lamps, **keys)  # type: ignore[arg-type]


def repeating(wait: int, lamps: int = 2, **keys: object) -> Drive:
    """Return a sender that repeats, with its first bit in cycle 7."""
    return sender(wait, lamps, **keys).write(6, "CONTROL", SEND | REPEAT)


def frames(recording: Recording) -> list[tuple[int, int, tuple[int, ...]]]:
    """Return (cycle, access, colours) of every frame."""
    return [(f.cycle, f.access, f.colours) for f in recording.frames["dev"]]


def starts(recording: Recording) -> list[int]:
    """Return the cycle of the first bit of every frame."""
    return [frame.cycle for frame in recording.frames["dev"]]


def zeros(first: int, lamps: int = 1, bits: int = 24) -> list[tuple[int, int]]:
    """Return (cycle, cycles high) of lamps that are dark: one cycle in three."""
    return [(first + 3 * bit, 1) for bit in range(lamps * bits)]


# REPEAT.


def test_frames_follow_each_other_without_busy_falling(wait: int) -> None:
    """With REPEAT the frames begin in 7, 84 and 161, BUSY all the time, by the SEND of access 0."""
    drive = repeating(wait)
    recording = drive.run(until=200, upto=220)
    assert frames(recording) == [(7, 0, (0,)), (84, 0, (0,)), (161, 0, (0,))]
    assert events(recording) == [(7, "frame", 0), (84, "frame", 0), (161, "frame", 0)]
    # Bit n of the third frame rises in 161 + 3 n, to bit 12 in 197: 198 is low again.
    assert highs(recording, "line") == zeros(7) + zeros(84) + zeros(161)[:13]
    assert set(recording.lines["dev.line"].accesses.tolist()) == {-1, 0}
    assert [drive.shows("STATUS", cycle) for cycle in (6, 7, 83, 84, 160, 161)] == [0] + [BUSY] * 5


@pytest.mark.parametrize(
    ("written", "expected"),
    [
        (81, [7, 84]),
        (82, [7, 84]),  # g - 1: shows in cycle g
        (83, [7]),  # g: shows in cycle 84, too late
        (84, [7]),
    ],
)
def test_repeat_set_around_the_last_gap_cycle(wait: int, written: int, expected: list[int]) -> None:
    """REPEAT written during (or after) the only frame: a second one follows if cycle 83 shows it."""
    drive = sender(wait).write(6, "CONTROL", SEND).write(written, "CONTROL", REPEAT)
    assert starts(drive.run(until=150, upto=160)) == expected
    busy = BUSY if len(expected) == 2 else 0
    assert [drive.shows("STATUS", cycle) for cycle in (84, 86)] == [busy, busy]
    assert drive.shows("CONTROL", written + 1) == REPEAT


@pytest.mark.parametrize(
    ("written", "expected"),
    [
        (82, [7]),  # g - 1: cycle g shows 0
        (83, [7, 84]),  # g: cycle g still shows 1
        (84, [7, 84]),
        (159, [7, 84]),  # g - 1 of the second frame
        (160, [7, 84, 161]),
    ],
)
@pytest.mark.parametrize("lanes", [0b1111, 0b0001])
def test_repeat_cleared_around_the_last_gap_cycle(
    wait: int, written: int, expected: list[int], lanes: int
) -> None:
    """0 written to CONTROL in e: the frame that is under way in e + 1 is the last."""
    drive = repeating(wait).write(written, "CONTROL", 0, lanes)
    recording = drive.run(upto=written)
    assert starts(recording) == expected
    # Every frame takes 77 cycles, and the run ends in the first cycle that is not BUSY.
    assert (recording.cycles, recording.ended) == (7 + 77 * len(expected) + 1, "done")


@pytest.mark.parametrize("lanes", [0b1110, 0b0000])
def test_repeat_needs_lane_0(wait: int, lanes: int) -> None:
    """A write of CONTROL without lane 0 neither sets nor clears REPEAT."""
    drive = sender(wait).write(6, "CONTROL", SEND).write(40, "CONTROL", REPEAT, lanes)
    assert starts(drive.run(until=120, upto=130)) == [7]
    assert drive.shows("CONTROL", 45) == 0
    drive = repeating(wait).write(40, "CONTROL", 0, lanes)
    assert starts(drive.run(until=120, upto=130)) == [7, 84]
    assert drive.shows("CONTROL", 45) == REPEAT


def test_control_shows_repeat_and_never_send(wait: int) -> None:
    """All ones written in e = 6 read 0 in cycle 6 and 2 from cycle 7 on."""
    drive = sender(wait).write(6, "CONTROL", 0xFFFF_FFFF)
    assert [drive.shows("CONTROL", cycle) for cycle in (0, 6, 7, 8, 100)] == [0, 0, 2, 2, 2]


def test_repeat_alone_starts_nothing(wait: int) -> None:
    """REPEAT in 6: no frame, not BUSY, at rest; SEND alone, in 20, takes REPEAT away: one frame."""
    alone = sender(wait).write(6, "CONTROL", REPEAT)
    recording = alone.run(upto=100)
    assert (events(recording), edges(recording, "line")) == ([], [(0, 0)])
    assert (recording.cycles, recording.registers["dev"]["STATUS"]) == (102, 0)
    once = sender(wait).write(6, "CONTROL", REPEAT).write(20, "CONTROL", SEND)
    assert starts(once.run(until=200, upto=210)) == [21]


def test_repeat_after_a_frame_has_ended_starts_nothing(wait: int) -> None:
    """A frame that has ended in cycle 83 is not followed by REPEAT written in 100."""
    drive = sender(wait).write(6, "CONTROL", SEND).write(100, "CONTROL", REPEAT)
    assert starts(drive.run(until=300, upto=310)) == [7]
    assert drive.shows("STATUS", 200) == 0
    # SEND with REPEAT starts, and from there on it repeats.
    drive.write(120, "CONTROL", SEND | REPEAT)
    assert frames(drive.run(until=250, upto=260)) == [
        (7, 0, (0,)), (121, 2, (0,)), (198, 2, (0,))
    ]  # fmt: skip


# What a frame that follows is made of: the registers as cycle g shows them.


@pytest.mark.parametrize(("written", "counts"), [(81, True), (82, True), (83, False), (84, False)])
@pytest.mark.parametrize(
    ("register", "value", "third"),
    [
        ("COUNT", 2, 84 + 144 + 5),
        ("HIGH", 1 << 16 | 2, 84 + 77),
        ("PERIOD", 6 << 16 | 4, 84 + 96 + 6),
        ("COLOUR.0", 0x80_00_00, 84 + 77),
    ],
)
def test_registers_written_around_the_last_gap_cycle(
    wait: int, register: str, value: int, third: int, written: int, counts: bool
) -> None:
    """Written in g - 1 = 82 at the latest, a register is that of the second frame; else the third's.

    Only the write differs, so what the two frames are is written down for both cases.
    """
    drive = repeating(wait).write(written, register, value)
    if not counts:
        third = 161
    recording = drive.run(until=third + 20, upto=third + 30)
    assert starts(recording) == [7, 84, third]
    colour, lamps = 0x80_00_00 if register == "COLOUR.0" else 0, 2 if register == "COUNT" else 1
    second = (colour, 0)[:lamps] if counts else (0,)
    assert recording.frames["dev"][1].colours == second
    assert recording.frames["dev"][2].colours[:1] == (colour,)
    pulses = [one for one in highs(recording, "line") if 84 <= one[0] < third]
    if register == "HIGH" and counts:
        assert pulses == [(84 + 3 * bit, 2) for bit in range(24)]
    elif register == "PERIOD" and counts:
        assert pulses == [(84 + 4 * bit, 1) for bit in range(24)]
    elif register == "COLOUR.0" and counts:  # red comes second on the wire
        assert pulses == [(cycle, 2 if cycle == 84 + 24 else 1) for cycle, _ in zeros(84)]
    else:
        assert pulses == zeros(84, len(second))


@pytest.mark.parametrize(
    ("lamp", "written", "second"),
    [
        # Two lamps: frames of 149 cycles in 7, 156 and 305; lamp 1 of the second begins in cycle 228.
        (0, 154, (0x11, 0)),  # shows in g = 155: counts
        (0, 155, (0, 0)),
        (1, 155, (0, 0x11)),
        (1, 226, (0, 0x11)),  # shows in cycle 227: counts
        (1, 227, (0, 0)),
    ],
)
def test_each_lamp_of_a_repeated_frame_has_its_own_cycle(
    wait: int, lamp: int, written: int, second: tuple[int, int]
) -> None:
    """A colour counts as the cycle before the lamp's first bit shows it, in every frame anew."""
    drive = repeating(wait, count=2).write(written, f"COLOUR.{lamp}", 0x11)
    third = (0x11, 0) if lamp == 0 else (0, 0x11)
    recording = drive.run(until=378, upto=380)  # lamp 1 of the third frame begins in cycle 377
    assert frames(recording) == [(7, 0, (0, 0)), (156, 0, second), (305, 0, third)]


@pytest.mark.parametrize("again", [8, 40, 82, 83, 84, 85, 160])
@pytest.mark.parametrize("repeat", [REPEAT, 0])
def test_send_while_frames_repeat_is_missed(wait: int, again: int, repeat: int) -> None:
    """SEND in any cycle is missed: the frames go on as they were, or stop after the last that began."""
    drive = repeating(wait).write(again, "CONTROL", SEND | repeat)
    recording = drive.run(until=260, upto=270)
    if repeat:
        expected = [7, 84, 161, 238]
    else:  # cycle 83 (160) shows REPEAT unless the write ended before it
        expected = [7] if again < 83 else [7, 84] if again < 160 else [7, 84, 161]
    assert starts(recording) == expected
    assert {frame.access for frame in recording.frames["dev"]} == {0}
    missed = [event for event in events(recording) if event[1] != "frame"]
    assert missed == [(again, "frame-missed", 1)]
    assert [drive.shows("STATUS", cycle) & MISSED for cycle in (again, again + 1)] == [0, MISSED]


def test_missed_clears_while_frames_repeat(wait: int) -> None:
    """MISSED of a SEND in 83 is cleared by a one in 90, and BUSY stays."""
    drive = repeating(wait).write(83, "CONTROL", SEND | REPEAT).write(90, "STATUS", MISSED)
    assert [drive.shows("STATUS", cycle) for cycle in (90, 91, 92)] == [BUSY | MISSED, BUSY, BUSY]


@pytest.mark.parametrize("later", [0, 1, 30])
def test_a_clear_of_missed_right_after_the_set(wait: int, later: int) -> None:
    """SEND is missed in 20: MISSED is there from 21 to the cycle of its clear."""
    clear = 21 + wait + later
    drive = repeating(wait).write(20, "CONTROL", SEND).write(clear, "STATUS", MISSED)
    cycles = (20, 21, clear, clear + 1)
    assert [drive.shows("STATUS", cycle) & MISSED for cycle in cycles] == [0, MISSED, MISSED, 0]


def test_each_frame_tells_what_is_odd(wait: int) -> None:
    """COUNT 3 with 2 lamps built, repeated: each frame, 149 cycles apart, has its two events."""
    recording = repeating(wait, count=3).run(until=200, upto=210)
    assert events(recording) == [
        (7, "frame", 0), (7, "count-clipped", 0), (156, "frame", 0), (156, "count-clipped", 0)
    ]  # fmt: skip


@pytest.mark.parametrize("gap", [5, 1, 0])
def test_empty_frames_repeat(wait: int, gap: int) -> None:
    """COUNT 0: only the gap, again and again: a frame every G cycles (0 acts as 1)."""
    recording = repeating(wait, count=0, period=gap << 16 | 3).run(until=28, upto=30)
    cycles = list(range(7, 28, gap or 1))
    assert starts(recording) == cycles
    assert [event for event in events(recording) if event[1] == "frame-empty"] == [
        (cycle, "frame-empty", 0) for cycle in cycles
    ]
    assert edges(recording, "line") == [(0, 0)]


# Rest and resets.


@pytest.mark.parametrize(
    ("upto", "last"),
    [(0, 83), (82, 83), (83, 160), (84, 160), (159, 160), (160, 237)],
)
def test_the_run_of_a_repeating_sender_ends_in_a_last_gap_cycle(
    wait: int, upto: int, last: int
) -> None:
    """The first last gap cycle in which no step is left (the cycle after ``upto``, or later) is
    last.
    """
    recording = repeating(wait).run(upto=upto)
    assert (recording.cycles, recording.ended) == (last + 1, "done")
    assert starts(recording) == list(range(7, last, 77))
    assert recording.registers["dev"]["STATUS"] == BUSY


def test_an_empty_frame_that_repeats_ends_in_its_last_gap_cycle(wait: int) -> None:
    """COUNT 0 and G = 5, SEND in 6: the last cycle is 11 = 7 + 5 - 1."""
    recording = repeating(wait, count=0).run()
    assert (recording.cycles, recording.ended) == (12, "done")
    assert events(recording) == [(7, "frame-empty", 0)]


@pytest.mark.parametrize(
    ("cycle", "expected"), [(40, [7]), (82, [7]), (83, [7]), (84, [7, 84]), (100, [7, 84])]
)
def test_a_reset_ends_the_repeating(wait: int, cycle: int, expected: list[int]) -> None:
    """RST in cycle r: what would begin in r + 1 does not, REPEAT is 0, and the sender is idle."""
    drive = repeating(wait, resets=[(cycle, 1)])
    recording = drive.run(upto=200)
    assert starts(recording) == expected
    assert recording.cycles == 202
    assert [drive.shows("CONTROL", at) for at in (cycle, cycle + 1, cycle + 4)] == [REPEAT, 0, 0]
    assert [drive.shows("STATUS", at) for at in (cycle, cycle + 1, cycle + 4)] == [BUSY, 0, 0]


def test_after_a_reset_repeat_must_be_written_again(wait: int) -> None:
    """After RST in cycle 40 a SEND alone, in 50, is one frame by its own access."""
    drive = repeating(wait, resets=[(40, 1)]).write(50, "CONTROL", SEND)
    assert frames(drive.run(upto=200)) == [(7, 0, (0,)), (51, 1, (0,))]


def test_after_a_reset_a_frame_is_made_of_the_reset_values(wait: int) -> None:
    """COUNT, HIGH and PERIOD written before RST in cycle 40 are gone: SEND in 50 is one lamp, P = 3."""
    drive = sender(wait, resets=[(40, 1)]).write(6, "COUNT", 2).write(9, "HIGH", 3 << 16 | 2)
    recording = drive.write(12, "PERIOD", 6 << 16 | 4).write(50, "CONTROL", SEND).run()
    assert frames(recording) == [(51, 3, (0,))]
    assert highs(recording, "line") == zeros(51)
    assert recording.cycles == 51 + 72 + 5 + 1


# Four channels.

COLOUR = 0x80_40_20_01  # white bit 0, red bit 1, green bit 2, blue bit 7 of their bytes


@pytest.mark.parametrize(
    ("order", "ones"),
    [
        (None, {2, 8 + 1, 16 + 7, 24 + 0}),  # GRBW
        ("GRBW", {2, 8 + 1, 16 + 7, 24 + 0}),
        ("RGBW", {1, 8 + 2, 16 + 7, 24 + 0}),
        ("WBGR", {0, 8 + 7, 16 + 2, 24 + 1}),
        ("BWRG", {7, 8 + 0, 16 + 1, 24 + 2}),
    ],
)
def test_four_channels_go_in_their_order(wait: int, order: str | None, ones: set[int]) -> None:
    """0xWWRRGGBB is 32 bits on the wire: BUSY in the cycles 7 to 7 + 96 + 5 - 1 = 107."""
    keys = {} if order is None else {"order": order}
    drive = sender(wait, channels=4, **keys).write(3, "COLOUR.0", COLOUR).write(6, "CONTROL", SEND)
    recording = drive.run()
    assert highs(recording, "line") == [(7 + 3 * bit, 2 if bit in ones else 1) for bit in range(32)]
    assert frames(recording) == [(7, 1, (COLOUR,))]
    assert recording.cycles == 109
    assert [drive.shows("STATUS", cycle) for cycle in (107, 108)] == [BUSY, 0]


@pytest.mark.parametrize(("written", "colour"), [(101, COLOUR), (102, 0)])
def test_a_lamp_of_four_channels_has_its_cycle(wait: int, written: int, colour: int) -> None:
    """Lamp 1 has its first bit in cycle 7 + 96 = 103: a write in 101 counts, one in 102 does not."""
    drive = sender(wait, channels=4, count=2).write(6, "CONTROL", SEND)
    recording = drive.write(written, "COLOUR.1", COLOUR).run()
    assert frames(recording) == [(7, 0, (0, colour))]
    assert recording.cycles == 7 + 192 + 5 + 1


@pytest.mark.parametrize(
    ("lanes", "shown"),
    [(0b1111, 0xCCDD_EEFF), (0b1000, 0xCC22_3344), (0b0111, 0x11DD_EEFF), (0b0000, 0x1122_3344)],
)
def test_a_colour_of_four_channels_has_32_bits_and_lanes(wait: int, lanes: int, shown: int) -> None:
    """0xCCDDEEFF over 0x11223344 in e = 6 reads old in cycle 6, by lanes from cycle 7; so it is
    sent.
    """
    drive = sender(wait, channels=4).write(3, "COLOUR.0", 0x1122_3344)
    drive.write(6, "COLOUR.0", 0xCCDD_EEFF, lanes)
    assert [drive.shows("COLOUR.0", cycle) for cycle in (6, 7, 8)] == [0x1122_3344, shown, shown]
    assert frames(drive.write(9, "CONTROL", SEND).run()) == [(10, 2, (shown,))]


def test_four_channels_repeat_and_survive_a_reset(wait: int) -> None:
    """Frames of 96 + 5 cycles in 7 and 108, RST in cycle 150; the colour is kept with its white."""
    drive = sender(wait, channels=4, resets=[(150, 1)]).write(3, "COLOUR.0", COLOUR)
    drive.write(6, "CONTROL", SEND | REPEAT).write(160, "CONTROL", SEND)
    recording = drive.run()
    assert frames(recording) == [(cycle, n, (COLOUR,)) for cycle, n in ((7, 1), (108, 1), (161, 2))]
    assert reads(recording) == {}


@pytest.mark.parametrize(
    ("channels", "order"),
    [(4, "GRB"), (4, "GRBB"), (4, "GRBWW"), (3, "GRBW"), (3, "GRW"), (4, "grbw")],
)
def test_the_order_names_every_channel_once(wait: int, channels: int, order: str) -> None:
    """An order that does not name each of the channels once is refused."""
    letters = {3: "GRB", 4: "GRBW"}[channels]
    with pytest.raises(InputError, match=f"each of the letters {letters} once"):
        sender(wait, channels=channels, order=order).run()


@pytest.mark.parametrize("channels", [2, 5])
def test_there_are_three_or_four_channels(wait: int, channels: int) -> None:
    """Two or five channels are refused."""
    with pytest.raises(InputError, match="from 3 to 4"):
        sender(wait, channels=channels).run()
