"""The receiver and the interrupt of the serial port, each aimed at its cycle.

A line that falls on the pin in cycle c is a start in cycle c + 2. With D clocks a bit the samples
are in the cycles c + 2 + D // 2 + k D, that is: of the pin's cycles c + D // 2 + k D, k = 0 to 9.
The last one is q; a byte shows from q + 1 on. INTERRUPT = 2 puts RX_READY on a pin, so that one
run shows its cycles.
"""

from __future__ import annotations

import pytest

from busbox.recording import Recording
from tests.models.driving import WAITS, Drive, edges, events, reads

pytestmark = pytest.mark.parametrize("wait", WAITS)

ROOM, BUSY, READY, RX_LOST, FRAMING, TX_LOST = 1, 2, 4, 8, 16, 32
ON_READY = 2
Level = tuple[int, str, int]


def byte_at(first: int, clocks: int, byte: int, stop: int = 1) -> list[Level]:
    """Return the levels of a byte whose start bit is in the cycles ``first`` ..; then the line is 1."""
    bits = [0, *(byte >> k & 1 for k in range(8)), stop, 1]
    return [(first + k * clocks, "rx", bit) for k, bit in enumerate(bits)]


def with_glitch(levels: list[Level], cycle: int) -> list[Level]:
    """Return the levels with the one cycle ``cycle`` inverted."""
    cycles = {at: level for at, _, level in levels}

    def level(at: int) -> int:
        return (
            cycles[max((cycle for cycle in cycles if cycle <= at), default=-1)]
            if at >= min(cycles)
            else 1
        )

    cycles |= {cycle: 1 - level(cycle), cycle + 1: level(cycle + 1)}
    return [(at, "rx", value) for at, value in sorted(cycles.items())]


def port(wait: int, clocks: int, levels: list[Level], **keys: object) -> Drive:
    """Return a port with levels on rx, and the interrupt on RX_READY from cycle 5 on."""
    drive = Drive("uart", wait, divisor=clocks, inputs=levels, **keys)  # type: ignore[arg-type]
    return drive.write(4, "INTERRUPT", ON_READY)


def outcome(recording: Recording) -> tuple[list[tuple[int, int]], int, int]:
    """Return the cycles of RX_READY, and what DATA and STATUS show at the end."""
    registers = recording.registers["dev"]
    return edges(recording, "interrupt")[1:], registers["DATA"], registers["STATUS"]


#: D, and q for a fall in cycle c = 10: 12 + D // 2 + 9 D.
LAST = {1: 21, 2: 31, 3: 40, 16: 164, 139: 1332}


# A byte.


@pytest.mark.parametrize("clocks", LAST)
@pytest.mark.parametrize("byte", [0x01, 0x80, 0xA5, 0x00, 0xFF])
def test_a_byte_is_there_from_the_cycle_after_the_last_sample(
    wait: int, clocks: int, byte: int
) -> None:
    """A fall in cycle 10: RX_READY from q + 1, least significant bit first, with no event."""
    recording = port(wait, clocks, byte_at(10, clocks, byte)).run(upto=LAST[clocks] + 8)
    assert outcome(recording) == ([(LAST[clocks] + 1, 1)], byte, ROOM | READY)
    assert recording.lines["dev.interrupt"].accesses.tolist() == [-1, -1]
    assert events(recording) == []


def test_data_and_status_show_a_byte_from_the_same_cycle(wait: int) -> None:
    """D = 2, q = 31: DATA and RX_READY are 0 in cycle 31, and there in cycle 32."""
    drive = port(wait, 2, byte_at(10, 2, 0x5A))
    assert [drive.shows("DATA", cycle) for cycle in (30, 31, 32, 33)] == [0, 0, 0x5A, 0x5A]
    assert [drive.shows("STATUS", cycle) for cycle in (31, 32)] == [ROOM, ROOM | READY]


#: The cycles of the pin that are samples of bits 0 and 7 and of the stop bit, for a fall in cycle 10.
SAMPLED = {1: (11, 18, 19), 2: (13, 27, 29), 3: (14, 35, 38), 16: (34, 146, 162),
           139: (218, 1191, 1330)}  # fmt: skip


@pytest.mark.parametrize("place", [0, 1, 2])
@pytest.mark.parametrize(
    ("clocks", "beside"),
    [(clocks, beside) for clocks in SAMPLED for beside in (-1, 0, 1) if clocks > 1 or not beside],
)
def test_one_cycle_counts_in_each_bit(wait: int, clocks: int, place: int, beside: int) -> None:
    """A glitch of one cycle inverts its bit exactly if it is in the sampled cycle (D = 1: every
    cycle).
    """
    levels = with_glitch(byte_at(10, clocks, 0xC3), SAMPLED[clocks][place] + beside)
    recording = port(wait, clocks, levels).run(upto=LAST[clocks] + 8)
    last = LAST[clocks]
    if beside:
        assert outcome(recording) == ([(last + 1, 1)], 0xC3, ROOM | READY)
    elif place == 2:
        assert outcome(recording) == ([], 0, ROOM | FRAMING)
        assert events(recording) == [(last, "framing", -1)]
        assert recording.events[0].details["byte"] == 0xC3
    else:
        shown = (0xC2, 0x43)[place]  # bit 0 or bit 7 inverted
        assert outcome(recording) == ([(last + 1, 1)], shown, ROOM | READY)


@pytest.mark.parametrize("clocks", [0, 1])
def test_divisor_zero_acts_as_one(wait: int, clocks: int) -> None:
    """With DIVISOR 0 or 1 a byte takes ten cycles, and the start check is the cycle of the start."""
    drive = Drive("uart", wait, divisor=9, inputs=byte_at(10, 1, 0x96))
    drive.write(3, "DIVISOR", clocks).write(6, "INTERRUPT", ON_READY)
    assert outcome(drive.run(upto=25)) == ([(22, 1)], 0x96, ROOM | READY)


@pytest.mark.parametrize("first", [0, 1, 5])
def test_a_line_that_is_low_at_the_start_is_a_byte(wait: int, first: int) -> None:
    """A start bit from cycle 0 (or 1, 5) on, D = 2: the sample of the stop bit is 2 + 1 + 18 later."""
    recording = port(wait, 2, byte_at(first, 2, 0x96)).run(upto=40)
    assert outcome(recording) == ([(first + 22, 1)], 0x96, ROOM | READY)


# Starts.


@pytest.mark.parametrize(("cycles", "found"), [(1, False), (8, False), (9, True), (16, True)])
def test_the_start_check_is_in_the_middle_of_the_start_bit(
    wait: int, cycles: int, found: bool
) -> None:
    """D = 16: low from cycle 10 on, checked in cycle 18: 8 cycles are a false start, silent; 9 are
    one.
    """
    recording = port(wait, 16, [(10, "rx", 0), (10 + cycles, "rx", 1)]).run(upto=170)
    assert outcome(recording) == (([(165, 1)], 0xFF, ROOM | READY) if found else ([], 0, ROOM))
    assert events(recording) == []


@pytest.mark.parametrize(
    ("again", "ready"),
    [
        # After a false start with its check in cycle 18 of the pin, cycle 19 is the first of the
        # search.
        (
            18,
            None,
        ),  # the fall is in the very cycle of the check: that is a start, so the byte is 10's
        (19, 19 + 155),
        (20, 20 + 155),
    ],
)
def test_after_a_false_start_the_search_goes_on_in_the_next_cycle(
    wait: int, again: int, ready: int | None
) -> None:
    """Low in the cycles 10 to 14, and from ``again`` on for 16 cycles; D = 16."""
    levels = [(10, "rx", 0), (15, "rx", 1), (again, "rx", 0), (again + 16, "rx", 1)]
    recording = port(wait, 16, levels).run(upto=200)
    # 155 = 2 + 8 + 144 + 1. A check in cycle 18 that finds 0 makes it the byte that began in cycle 10;
    # its bit 0 is sampled in cycle 34, where the line is 1 again.
    expected = 165 if ready is None else ready
    assert outcome(recording) == ([(expected, 1)], 0xFF, ROOM | READY)


@pytest.mark.parametrize(
    ("again", "ready", "status", "kinds"),
    [
        # The stop bit is sampled in cycle 10 + 8 + 144 = 162 of the pin.
        (162, [], ROOM | FRAMING, [(164, "framing", -1)]),  # no stop bit, and no later fall
        (
            163,
            [(165, 1)],
            ROOM | READY | RX_LOST,
            [(317, "rx-lost", -1)],
        ),  # the first of the search
        (164, [(165, 1)], ROOM | READY | RX_LOST, [(318, "rx-lost", -1)]),
    ],
)
def test_the_next_start_is_searched_from_the_cycle_after_the_last_sample(
    wait: int, again: int, ready: list[tuple[int, int]], status: int, kinds: list[object]
) -> None:
    """0xFF from cycle 10 on, D = 16; the line falls again in or right after the last sample."""
    levels = [(10, "rx", 0), (26, "rx", 1), (again, "rx", 0), (again + 16, "rx", 1)]
    recording = port(wait, 16, levels).run(upto=340)
    assert outcome(recording) == (ready, 0xFF if ready else 0, status)
    assert events(recording) == kinds


def test_a_break_is_one_framing_error(wait: int) -> None:
    """A line that is low for 200 cycles is dropped once; after it only a fall starts a byte."""
    levels = [(10, "rx", 0), (210, "rx", 1), *byte_at(220, 2, 0x41)]
    drive = port(wait, 2, levels)
    recording = drive.run(upto=250)
    # 220 + 2 + 1 + 18 = 241.
    assert outcome(recording) == ([(242, 1)], 0x41, ROOM | READY | FRAMING)
    assert events(recording) == [(31, "framing", -1)]
    assert recording.events[0].details["byte"] == 0
    assert [drive.shows("STATUS", cycle) for cycle in (31, 32)] == [ROOM, ROOM | FRAMING]


@pytest.mark.parametrize(
    ("written", "ready"),
    [
        (9, 10 + 2 + 4 + 72 + 1),
        (10, 10 + 2 + 4 + 72 + 1),  # shows in cycle 11
        (11, 10 + 2 + 4 + 72 + 1),  # shows in cycle 12 = c + 2, the cycle of the start: counts
        (12, 10 + 2 + 2 + 36 + 1),  # shows in cycle 13: too late
        (13, 10 + 2 + 2 + 36 + 1),
        (30, 10 + 2 + 2 + 36 + 1),
    ],
)
def test_the_divisor_counts_as_in_the_cycle_of_the_start(
    wait: int, written: int, ready: int
) -> None:
    """DIVISOR goes from 4 to 8; low in the cycles 10 to 14, so both read 0xFF, at their own time."""
    drive = port(wait, 4, [(10, "rx", 0), (15, "rx", 1)]).write(written, "DIVISOR", 8)
    assert outcome(drive.run(upto=100)) == ([(ready, 1)], 0xFF, ROOM | READY)


# Overrun and reads. D = 2: the first byte has q = 31; the second falls in cycle 30, q = 51.

TWO = [*byte_at(10, 2, 0x41)[:-1], *byte_at(30, 2, 0x42)]


@pytest.mark.parametrize(
    ("read", "seen", "ready", "data", "lost"),
    [
        (30, 0, [(32, 1)], 0x41, True),  # nothing there yet: nothing taken
        (31, 0, [(32, 1)], 0x41, True),  # in the cycle of the last sample: not there yet either
        (32, 0x41, [(32, 1), (33, 0), (52, 1)], 0x42, False),
        (50, 0x41, [(32, 1), (51, 0), (52, 1)], 0x42, False),
        (51, 0x41, [(32, 1)], 0x42, False),  # makes room in the very cycle: RX_READY does not dip
        (52, 0x41, [(32, 1), (53, 0)], 0, True),  # too late: the second byte is lost
        (53, 0x41, [(32, 1), (54, 0)], 0, True),
    ],
)
def test_a_read_makes_room_up_to_the_cycle_of_the_last_sample(
    wait: int, read: int, seen: int, ready: list[tuple[int, int]], data: int, lost: bool
) -> None:
    """Two bytes in a row and one read of DATA that ends in the cycle given."""
    drive = port(wait, 2, TWO).read(read, "DATA")
    recording = drive.run(upto=60)
    assert reads(recording) == {read: seen}
    status = ROOM | (READY if data else 0) | (RX_LOST if lost else 0)
    assert outcome(recording) == (ready, data, status)
    assert events(recording) == ([(51, "rx-lost", -1)] if lost else [])
    if lost:
        assert recording.events[0].details["byte"] == 0x42
        assert [drive.shows("STATUS", cycle) & RX_LOST for cycle in (51, 52)] == [0, RX_LOST]


def test_a_read_in_the_cycle_of_the_last_sample_leaves_the_new_byte(wait: int) -> None:
    """After the read in 51 = q a read in 54 gives the second byte, and one in 57 gives 0."""
    drive = port(wait, 2, TWO).read(51, "DATA").read(54, "DATA").read(57, "DATA")
    recording = drive.run(upto=60)
    assert reads(recording) == {51: 0x41, 54: 0x42, 57: 0}
    assert outcome(recording) == ([(32, 1), (55, 0)], 0, ROOM)


@pytest.mark.parametrize(
    ("lanes", "left"), [(0b0001, 0), (0b1001, 0), (0b1110, 0x41), (0b0010, 0x41), (0b0000, 0x41)]
)
def test_a_read_without_lane_0_takes_nothing(wait: int, lanes: int, left: int) -> None:
    """It shows the byte all the same; RX_READY falls in e + 1 = 41 only with lane 0."""
    drive = port(wait, 2, byte_at(10, 2, 0x41)).read(40, "DATA", lanes)
    recording = drive.run(upto=45)
    assert reads(recording) == {40: 0x41}
    fall = [] if left else [(41, 0)]
    assert outcome(recording) == ([(32, 1), *fall], left, ROOM | (READY if left else 0))
    if fall:
        assert recording.lines["dev.interrupt"].accesses.tolist() == [-1, -1, 1]


def test_a_write_of_data_does_not_touch_the_byte_received(wait: int) -> None:
    """DATA written in 40 is sent; the received byte still waits, and sending is not receiving."""
    recording = port(wait, 2, byte_at(10, 2, 0x41)).write(40, "DATA", 0x42).run()
    assert outcome(recording) == ([(32, 1)], 0x41, ROOM | READY)
    assert recording.texts == {"dev": "B"}


# Clears against sets.


@pytest.mark.parametrize(("cleared", "left"), [(50, 1), (51, 1), (52, 0), (53, 0)])
def test_a_clear_of_rx_lost_in_the_cycle_of_the_set_loses(
    wait: int, cleared: int, left: int
) -> None:
    """The second byte is lost at the end of cycle 51; a one written in e."""
    drive = port(wait, 2, TWO).write(cleared, "STATUS", RX_LOST)
    base = ROOM | READY
    assert drive.shows("STATUS", max(52, cleared)) == base | RX_LOST
    assert [drive.shows("STATUS", cycle) for cycle in (cleared + 2, 70)] == [
        base | left * RX_LOST
    ] * 2


@pytest.mark.parametrize(("cleared", "left"), [(30, 1), (31, 1), (32, 0), (33, 0)])
def test_a_clear_of_rx_framing_in_the_cycle_of_the_set_loses(
    wait: int, cleared: int, left: int
) -> None:
    """A break has its one framing error at the end of cycle 31; a one written in e."""
    drive = port(wait, 2, [(10, "rx", 0), (90, "rx", 1)]).write(cleared, "STATUS", FRAMING)
    assert drive.shows("STATUS", max(32, cleared)) == ROOM | FRAMING
    assert [drive.shows("STATUS", cycle) for cycle in (cleared + 2, 70)] == [
        ROOM | left * FRAMING
    ] * 2


@pytest.mark.parametrize("later", [0, 1])
def test_a_clear_of_tx_lost_right_after_the_set(wait: int, later: int) -> None:
    """A byte lost in 16 (one is held to cycle 27): TX_LOST is there from 17 to the cycle of its
    clear.
    """
    clear = 17 + wait + later
    drive = port(wait, 2, []).write(7, "DATA", 1).write(12, "DATA", 2).write(16, "DATA", 3)
    drive.write(clear, "STATUS", TX_LOST)
    shown = [drive.shows("STATUS", cycle) & TX_LOST for cycle in (16, 17, clear, clear + 1)]
    assert shown == [0, TX_LOST, TX_LOST, 0]


@pytest.mark.parametrize(
    ("data", "lanes", "left"),
    [
        (RX_LOST, 0b1111, FRAMING | TX_LOST),
        (FRAMING, 0b1111, RX_LOST | TX_LOST),
        (TX_LOST, 0b1111, RX_LOST | FRAMING),
        (0xFFFF_FFFF, 0b0001, 0),
        (0xFFFF_FFFF, 0b1110, RX_LOST | FRAMING | TX_LOST),
        (ROOM | BUSY | READY | 0xC0, 0b1111, RX_LOST | FRAMING | TX_LOST),
    ],
)
def test_each_flag_is_cleared_by_its_own_one(wait: int, data: int, lanes: int, left: int) -> None:
    """With all three flags set, a write of STATUS in e = 120 clears those with a one in lane 0."""
    levels = [*TWO, (60, "rx", 0), (90, "rx", 1)]  # a byte, one too many, a break
    drive = port(wait, 2, levels).write(100, "DATA", 1).write(104, "DATA", 2)
    drive.write(108, "DATA", 3).write(120, "STATUS", data, lanes)
    base = BUSY | READY  # the second byte sent waits to cycle 121
    assert drive.shows("STATUS", 120) == base | RX_LOST | FRAMING | TX_LOST
    assert drive.shows("STATUS", 121) == base | left


# INTERRUPT.


@pytest.mark.parametrize(
    ("word", "expected"),
    [
        (0, []),
        # DATA written in 41: no room in cycle 42; DATA in 50: no room in the cycles 51 to 62.
        (1, [(5, 1), (42, 0), (43, 1), (51, 0), (63, 1)]),
        (2, [(32, 1), (71, 0)]),  # the byte has q = 31, the read is in 70
        (3, [(5, 1)]),  # either of them is always there
        (0xFFFF_FFFC, []),
    ],
)
def test_the_interrupt_is_as_its_bits_say(
    wait: int, word: int, expected: list[tuple[int, int]]
) -> None:
    """INTERRUPT written in 4: bit 0 on TX_ROOM, bit 1 on RX_READY, cycle by cycle."""
    drive = Drive("uart", wait, divisor=2, inputs=byte_at(10, 2, 0x41))
    drive.write(4, "INTERRUPT", word).write(41, "DATA", 0).write(50, "DATA", 0).read(70, "DATA")
    recording = drive.run(upto=90)
    assert edges(recording, "interrupt") == [(0, 0), *expected]
    assert recording.registers["dev"]["INTERRUPT"] == word & 3


@pytest.mark.parametrize(
    ("written", "word", "expected"),
    [
        (30, 2, [(32, 1)]),
        (31, 2, [(32, 1)]),  # both show in cycle 32
        (32, 2, [(33, 1)]),
        (32, 0, []),
        (32, 1, [(33, 1)]),
    ],
)
def test_interrupt_written_around_the_byte(
    wait: int, written: int, word: int, expected: list[tuple[int, int]]
) -> None:
    """INTERRUPT written in e acts on the pin in e + 1; the byte has q = 31."""
    drive = Drive("uart", wait, divisor=2, inputs=byte_at(10, 2, 0x41))
    drive.write(written, "INTERRUPT", word)
    assert edges(drive.run(upto=40), "interrupt") == [(0, 0), *expected]


@pytest.mark.parametrize(("written", "ready"), [(31, []), (32, [(32, 1), (33, 0)])])
def test_interrupt_turned_off_around_the_byte(
    wait: int, written: int, ready: list[tuple[int, int]]
) -> None:
    """INTERRUPT = 0 written in e = q = 31 keeps the pin low in cycle 32; a cycle later it is one
    cycle.
    """
    drive = port(wait, 2, byte_at(10, 2, 0x41)).write(written, "INTERRUPT", 0)
    assert outcome(drive.run(upto=40)) == (ready, 0x41, ROOM | READY)


@pytest.mark.parametrize("line", [[], [(38, "rx", 0)], [(39, "rx", 0)], [(40, "rx", 0)]])
@pytest.mark.parametrize("switch", [True, False])
def test_an_edge_of_the_interrupt_belongs_to_the_access_that_made_it(
    wait: int, switch: bool, line: list[Level]
) -> None:
    """A write of INTERRUPT or a read of DATA in 40 makes the edge in 41, whatever rx does then."""
    drive = Drive("uart", wait, divisor=2, inputs=[*byte_at(10, 2, 0x41), *line])
    drive.write(5, "INTERRUPT", 0 if switch else 2)
    drive = drive.write(40, "INTERRUPT", 2) if switch else drive.read(40, "DATA")
    track = drive.run(upto=50).lines["dev.interrupt"]
    assert (track.cycles.tolist()[-1], track.accesses.tolist()[-1]) == (41, 1)


@pytest.mark.parametrize("read", [30, 31])
def test_an_edge_that_comes_by_itself_belongs_to_no_access(wait: int, read: int) -> None:
    """A byte with q = 31 raises the interrupt in 32; a read of DATA just before took nothing."""
    track = (
        port(wait, 2, byte_at(10, 2, 0x41)).read(read, "DATA").run(upto=40).lines["dev.interrupt"]
    )
    assert (track.cycles.tolist(), track.accesses.tolist()) == ([0, 32], [-1, -1])


@pytest.mark.parametrize(("lanes", "shown"), [(0b0001, 3), (0b1110, 0), (0b0000, 0)])
def test_interrupt_has_two_bits_in_lane_0(wait: int, lanes: int, shown: int) -> None:
    """All ones written in e = 6 read 0 in cycle 6 and 3, with lane 0, from cycle 7 on."""
    drive = Drive("uart", wait, divisor=2).write(6, "INTERRUPT", 0xFFFF_FFFF, lanes)
    assert [drive.shows("INTERRUPT", cycle) for cycle in (0, 6, 7, 8)] == [0, 0, shown, shown]


# Resets.


@pytest.mark.parametrize(
    ("cycle", "ready"),
    [
        (30, []),
        (31, []),  # the cycle of the last sample: the byte does not come
        (32, [(32, 1), (33, 0)]),  # it was there for one cycle
        (40, [(32, 1), (41, 0)]),
    ],
)
@pytest.mark.parametrize("length", [1, 3])
def test_a_reset_around_the_last_sample(
    wait: int, cycle: int, length: int, ready: list[tuple[int, int]]
) -> None:
    """0xFF with q = 31, RST in cycle r: nothing waits from cycle r + 1 on, and INTERRUPT is 0."""
    drive = port(wait, 2, byte_at(10, 2, 0xFF), resets=[(cycle, length)])
    assert outcome(drive.run(upto=60)) == (ready, 0, ROOM)
    assert drive.shows("INTERRUPT", cycle + 1) == 0


def test_a_reset_clears_the_flags_of_the_receiver(wait: int) -> None:
    """RX_LOST and RX_FRAMING are set in cycle r = 95 and 0 in cycle 96."""
    drive = port(wait, 2, [*TWO, (60, "rx", 0), (90, "rx", 1)], resets=[(95, 1)])
    shown = [drive.shows("STATUS", cycle) for cycle in (95, 96, 110)]
    assert shown == [ROOM | READY | RX_LOST | FRAMING, ROOM, ROOM]


@pytest.mark.parametrize(
    ("length", "byte", "ready"),
    [
        # 0x00 from cycle 10 on with D = 4: low to cycle 45, then 1. RST in 20 cuts it. The line
        # counts as low from cycle o = 20 + L on: samples of the pin in o + 2 + 4k.
        (1, 0xE0, 21 + 2 + 2 + 36 + 1),  # k = 1 to 5 in 27 to 43 are 0, k = 6 to 8 are 1
        (4, 0xE0, 24 + 2 + 2 + 36 + 1),  # k = 1 to 4 in 30 to 42, k = 5 in 46 is 1 ...
    ],
)
def test_a_reset_in_the_middle_of_a_byte_starts_another_where_the_line_is_low(
    wait: int, length: int, byte: int, ready: int
) -> None:
    """What is left of the byte counts as a start from cycle r + L on."""
    if length == 4:
        byte = 0xF0  # ... which is bit 4
    drive = Drive("uart", wait, divisor=4, inputs=byte_at(10, 4, 0), resets=[(20, length)])
    drive.write(30, "INTERRUPT", ON_READY)
    assert outcome(drive.run(upto=75)) == ([(ready, 1)], byte, ROOM | READY)


def test_a_reset_in_the_middle_of_a_byte_leaves_nothing_where_the_line_is_high(wait: int) -> None:
    """RST in cycle 20, 0xFF: line is 1 in cycle r + L and later, so no byte comes; the next one
    does.
    """
    levels = [*byte_at(10, 4, 0xFF), *byte_at(60, 2, 0x41)]
    drive = Drive("uart", wait, divisor=2, inputs=levels, resets=[(20, 1)])
    drive.write(3, "DIVISOR", 4).write(30, "INTERRUPT", ON_READY)
    # D is 2 again, as the bench says: 60 + 2 + 1 + 18 = 81.
    assert outcome(drive.run(upto=90)) == ([(82, 1)], 0x41, ROOM | READY)


def test_a_level_gone_when_the_reset_ends_is_no_start(wait: int) -> None:
    """A line low in the cycles 21 and 22 of a reset in 20 to 22 is no byte after it; low in 23 is."""
    gone = Drive("uart", wait, divisor=2, inputs=[(21, "rx", 0), (23, "rx", 1)], resets=[(20, 3)])
    assert gone.run(upto=60).registers["dev"]["STATUS"] == ROOM
    there = Drive("uart", wait, divisor=2, inputs=[(21, "rx", 0), (25, "rx", 1)], resets=[(20, 3)])
    # From cycle 23 = r + L on: a start bit in 23 and 24, then ones.
    assert there.run(upto=60).registers["dev"]["STATUS"] == ROOM | READY
    assert [there.shows("DATA", cycle) for cycle in (44, 45)] == [0, 0xFF]


@pytest.mark.parametrize(
    ("levels", "kind", "last"),
    [([(10, "rx", 0), (90, "rx", 1)], "framing", 31), (TWO, "rx-lost", 51)],
)
def test_an_event_of_the_last_cycle_of_a_run_is_reported(
    wait: int, levels: list[Level], kind: str, last: int
) -> None:
    """A run whose last cycle is q has the event of q; one that ends a cycle earlier has not."""
    drive = port(wait, 2, levels)
    assert events(drive.run(until=last, upto=last + 9)) == []
    assert events(drive.run(until=last + 1, upto=last + 9)) == [(last, kind, -1)]


def test_a_read_in_the_last_cycle_of_a_run_makes_room(wait: int) -> None:
    """A run that ends with q = 51, in which DATA is read, has lost nothing."""
    recording = port(wait, 2, TWO).read(51, "DATA").run(until=52)
    assert (recording.cycles, reads(recording), events(recording)) == (52, {51: 0x41}, [])


def test_receiving_does_not_keep_a_run_going(wait: int) -> None:
    """A run ends in the cycle after its last access, in the middle of a byte that comes in."""
    recording = port(wait, 16, byte_at(3, 16, 0)).read(20, "STATUS").run()
    assert (recording.cycles, recording.ended) == (22, "done")
