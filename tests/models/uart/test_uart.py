"""The serial port, sentence by sentence, each aimed at the cycle that the sentence names.

With D clocks per bit and DATA written in e from idle: the holding register is full in cycle e + 1, the
line falls in f = e + 2, and the shifter is busy in the cycles f to f + 10 D - 1.
"""

from __future__ import annotations

from itertools import pairwise

import pytest

from busbox.basics.errors import InputError
from tests.models.driving import WAITS, Drive, edges, events, reads

pytestmark = [pytest.mark.parametrize("wait", WAITS), pytest.mark.quick]

ROOM, BUSY, LOST = 1, 2, 32


def port(wait: int, divisor: int = 2, **keys: object) -> Drive:
    """Return a port of 2 cycles a bit."""
    return Drive("uart", wait, divisor=divisor, **keys)  # type: ignore[arg-type]


def test_from_idle_the_line_falls_two_cycles_after_the_write(wait: int) -> None:
    """DATA = 0x55 written in e = 6: tx falls in cycle 8 and then changes with every bit."""
    recording = port(wait).write(6, "DATA", 0x55).run()
    # Start 0, data 1 0 1 0 1 0 1 0, stop 1: the line changes at every bit, each 2 cycles long.
    expected = [(0, 1), (8, 0), (10, 1), (12, 0), (14, 1), (16, 0), (18, 1), (20, 0), (22, 1)]
    assert edges(recording, "tx") == [*expected, (24, 0), (26, 1)]
    assert set(recording.lines["dev.tx"].accesses.tolist()) == {-1, 0}


@pytest.mark.parametrize(
    ("byte", "expected"),
    [
        # Bits least significant first; D = 2, so bit k of the byte lies in the cycles 10 + 2k, 11 + 2k.
        (0x01, [(0, 1), (8, 0), (10, 1), (12, 0), (26, 1)]),
        (0x80, [(0, 1), (8, 0), (24, 1)]),  # bit 7 in 24, 25; then the stop bit in 26, 27
        (0x0F, [(0, 1), (8, 0), (10, 1), (18, 0), (26, 1)]),
        (0x00, [(0, 1), (8, 0), (26, 1)]),
        (0xFF, [(0, 1), (8, 0), (10, 1)]),
    ],
)
def test_bits_go_least_significant_first(
    wait: int, byte: int, expected: list[tuple[int, int]]
) -> None:
    """A byte written in e = 6 has its start bit in cycle 8, bit 0 first, and a stop bit of 1."""
    assert edges(port(wait).write(6, "DATA", byte).run(), "tx") == expected


@pytest.mark.parametrize("divisor", [1, 3, 7])
def test_a_bit_takes_divisor_clocks(wait: int, divisor: int) -> None:
    """The byte 0 written in e = 6 is low for 9 D cycles from cycle 8 on."""
    recording = port(wait, divisor).write(6, "DATA", 0).run()
    assert edges(recording, "tx") == [(0, 1), (8, 0), (8 + 9 * divisor, 1)]


@pytest.mark.parametrize(
    ("cycle", "status"),
    [
        (5, ROOM),
        (6, ROOM),  # the write ends here and shows in cycle 7
        (7, BUSY),  # the holding register is full for one cycle
        (8, ROOM | BUSY),  # the shifter has it; the line falls
        (27, ROOM | BUSY),  # last stop cycle: 8 + 10 x 2 - 1
        (28, ROOM),
    ],
)
def test_status_at_every_boundary_of_one_byte(wait: int, cycle: int, status: int) -> None:
    """TX_ROOM is 0 in cycle e + 1 only; TX_BUSY is 1 in the cycles e + 1 to f + 10 D - 1."""
    assert port(wait).write(6, "DATA", 0x41).shows("STATUS", cycle) == status


@pytest.mark.parametrize("second", [10, 20, 25, 26])
def test_bytes_in_a_cycle_are_ten_bits_apart(wait: int, second: int) -> None:
    """A second byte written in the cycles 10 to 26, so held in the last stop cycle 27, falls in 28."""
    recording = port(wait).write(6, "DATA", 0).write(second, "DATA", 0).run()
    assert edges(recording, "tx") == [(0, 1), (8, 0), (26, 1), (28, 0), (46, 1)]
    assert recording.characters["dev"].cycles.tolist() == [27, 47]


@pytest.mark.parametrize(("second", "fall"), [(27, 29), (28, 30), (29, 31)])
def test_a_byte_that_comes_too_late_for_the_cycle_starts_from_idle(
    wait: int, second: int, fall: int
) -> None:
    """A byte written in the last stop cycle 27 or later falls two cycles after its write."""
    recording = port(wait).write(6, "DATA", 0).write(second, "DATA", 0).run()
    assert edges(recording, "tx") == [(0, 1), (8, 0), (26, 1), (fall, 0), (fall + 18, 1)]


@pytest.mark.parametrize(
    ("cycle", "status"),
    [
        (12, ROOM | BUSY),
        (13, BUSY),  # held from the cycle after the write in 12 ...
        (27, BUSY),  # ... to the last stop cycle, at whose end the shifter takes it
        (28, ROOM | BUSY),
        (47, ROOM | BUSY),
        (48, ROOM),
    ],
)
def test_status_at_every_boundary_of_the_second_byte(wait: int, cycle: int, status: int) -> None:
    """TX_ROOM is 0 while the second byte waits, and TX_BUSY stays 1 from one byte to the next."""
    drive = port(wait).write(6, "DATA", 1).write(12, "DATA", 2)
    assert drive.shows("STATUS", cycle) == status


@pytest.mark.parametrize(("cycle", "status"), [(27, ROOM | BUSY), (28, BUSY), (29, ROOM | BUSY)])
def test_busy_has_no_gap_for_a_byte_written_in_the_last_stop_cycle(
    wait: int, cycle: int, status: int
) -> None:
    """A byte written in e = 27 is held in cycle 28 while the shifter is idle: TX_BUSY stays 1."""
    drive = port(wait).write(6, "DATA", 1).write(27, "DATA", 2)
    assert drive.shows("STATUS", cycle) == status


@pytest.mark.parametrize("third", [16, 26, 27])
def test_a_byte_without_room_is_dropped(wait: int, third: int) -> None:
    """With a byte held in the cycles 13 to 27, a write in any of them is lost, cycle 27 included.

    Cycle 27 is the one in which the shifter takes the held byte.
    """
    drive = port(wait).write(6, "DATA", 0x41).write(12, "DATA", 0x42).write(third, "DATA", 0x43)
    recording = drive.run()
    assert recording.texts == {"dev": "AB"}
    assert events(recording) == [(third, "byte-lost", 2)]
    assert recording.events[0].details["byte"] == 0x43


def test_a_byte_in_the_cycle_after_the_shifter_took_one_has_room(wait: int) -> None:
    """A write in cycle 28, one later than the take, is kept: nothing is lost."""
    drive = port(wait).write(6, "DATA", 0x41).write(12, "DATA", 0x42).write(28, "DATA", 0x43)
    recording = drive.run()
    assert recording.texts == {"dev": "ABC"}
    assert events(recording) == []
    assert recording.registers["dev"]["STATUS"] == ROOM


@pytest.mark.parametrize("third", [16, 27])
def test_tx_lost_shows_from_the_next_cycle(wait: int, third: int) -> None:
    """TX_LOST is 0 in the cycle of the lost write and 1 in the next two."""
    drive = port(wait).write(6, "DATA", 1).write(12, "DATA", 2).write(third, "DATA", 3)
    found = [drive.shows("STATUS", cycle) & LOST for cycle in (third, third + 1, third + 2)]
    assert found == [0, LOST, LOST]


def test_from_idle_a_write_in_the_cycle_of_the_take_is_dropped(wait: int) -> None:
    """From idle the shifter takes the byte of e at the end of e + 1: a write there is lost.

    With wait states no two accesses are so close; there the second one, in e + 2, has room.
    """
    second = 7 + wait
    recording = port(wait).write(6, "DATA", 0x41).write(second, "DATA", 0x42).run()
    assert recording.texts == {"dev": "A" if wait == 0 else "AB"}
    assert events(recording) == ([(7, "byte-lost", 1)] if wait == 0 else [])


@pytest.mark.parametrize(
    ("data", "lanes", "left"),
    [
        (LOST, 0b0001, 0),
        (LOST, 0b1111, 0),
        (LOST, 0b1110, LOST),  # lane 0 is not selected: counts as zeros
        (LOST, 0b0000, LOST),
        (0xFFFF_FFDF, 0b1111, LOST),  # every bit but TX_LOST
    ],
)
def test_a_one_clears_tx_lost_by_lanes(wait: int, data: int, lanes: int, left: int) -> None:
    """A write of STATUS in e = 20 clears TX_LOST from cycle 21 on, if its one is in lane 0."""
    drive = port(wait).write(6, "DATA", 1).write(12, "DATA", 2).write(16, "DATA", 3)
    drive.write(20, "STATUS", data, lanes)
    found = [drive.shows("STATUS", cycle) for cycle in (20, 21, 22)]
    assert found == [BUSY | LOST, BUSY | left, BUSY | left]


def test_a_byte_that_is_sent_does_not_clear_tx_lost(wait: int) -> None:
    """TX_LOST stays when the port is idle again, until it is cleared."""
    drive = port(wait).write(6, "DATA", 1).write(12, "DATA", 2).write(16, "DATA", 3)
    assert drive.shows("STATUS", 60) == ROOM | LOST


@pytest.mark.parametrize("lanes", [0b1110, 0b1000, 0b0010, 0b0000])
def test_data_without_lane_0_does_nothing(wait: int, lanes: int) -> None:
    """A write of DATA that does not select lane 0 sends nothing and takes no room."""
    drive = port(wait).write(6, "DATA", 0x4141_4141, lanes)
    assert drive.shows("STATUS", 7) == ROOM
    recording = drive.run()
    assert edges(recording, "tx") == [(0, 1)]
    assert recording.texts == {"dev": ""}


def test_data_without_lane_0_is_not_even_lost(wait: int) -> None:
    """While the holding register is full, a write of DATA without lane 0 is no byte lost."""
    drive = port(wait).write(6, "DATA", 1).write(12, "DATA", 2).write(16, "DATA", 3, 0b1110)
    assert drive.shows("STATUS", 18) == BUSY
    assert events(drive.run()) == []


@pytest.mark.parametrize("lanes", [0b0001, 0b0011, 0b1111])
def test_data_sends_the_low_byte(wait: int, lanes: int) -> None:
    """With lane 0 selected, 0x12345641 sends 0x41, whatever the other lanes."""
    assert port(wait).write(6, "DATA", 0x1234_5641, lanes).run().texts == {"dev": "A"}


def test_a_lost_byte_is_told_by_its_low_byte(wait: int) -> None:
    """The event of a lost 0x12345643 names the byte 0x43."""
    drive = port(wait).write(6, "DATA", 1).write(12, "DATA", 2).write(16, "DATA", 0x1234_5643)
    assert drive.run().events[0].details["byte"] == 0x43


@pytest.mark.parametrize("cycle", [5, 7, 9, 28])
def test_data_reads_zero(wait: int, cycle: int) -> None:
    """DATA reads 0 before a write, while the byte is held and sent, and after."""
    assert port(wait).write(6, "DATA", 0xFF).shows("DATA", cycle) == 0


def test_room_and_busy_cannot_be_written(wait: int) -> None:
    """Ones or zeros written to STATUS change neither TX_ROOM nor TX_BUSY; other bits read 0."""
    idle = port(wait).write(6, "STATUS", 0xFFFF_FFFF).write(9, "STATUS", 0).read(12, "STATUS")
    assert reads(idle.run()) == {12: ROOM}
    busy = port(wait).write(6, "DATA", 1).write(9, "STATUS", 0xFFFF_FFFF).write(12, "STATUS", 0)
    assert reads(busy.read(15, "STATUS").run()) == {15: ROOM | BUSY}


@pytest.mark.parametrize("changed", [4, 5])
def test_from_idle_a_divisor_two_cycles_before_the_fall_counts(wait: int, changed: int) -> None:
    """DIVISOR = 4 written in 5 or earlier reads 4 in cycle 7, the cycle before the fall, and counts.

    The fall is in cycle 8: the byte 0 is low for 9 x 4 cycles.
    """
    aim = changed - wait  # room for the write of DATA in 6 with a wait state
    recording = port(wait).write(aim, "DIVISOR", 4).write(6, "DATA", 0).run()
    assert edges(recording, "tx") == [(0, 1), (8, 0), (8 + 36, 1)]


def test_from_idle_a_divisor_in_the_cycle_before_the_fall_is_too_late(wait: int) -> None:
    """DIVISOR = 4 written in cycle 7 (or 8) shows from the fall in cycle 8 on: that byte has D = 2."""
    recording = port(wait).write(6, "DATA", 0).write(7 + wait, "DIVISOR", 4).run()
    assert edges(recording, "tx") == [(0, 1), (8, 0), (26, 1)]


@pytest.mark.parametrize(
    ("changed", "clocks"),
    [
        (25, 4),
        (26, 4),  # shows in cycle 27, the cycle before the fall in 28: counts
        (27, 2),  # shows from cycle 28 on: too late
        (28, 2),
        (29, 2),
    ],
)
def test_the_divisor_in_the_cycle_before_the_fall_counts(
    wait: int, changed: int, clocks: int
) -> None:
    """The second byte falls in cycle 28 and has the DIVISOR that cycle 27 shows, for all its bits."""
    drive = port(wait).write(6, "DATA", 0).write(12, "DATA", 0).write(changed, "DIVISOR", 4)
    assert edges(drive.run(), "tx") == [
        (0, 1), (8, 0), (26, 1), (28, 0), (28 + 9 * clocks, 1)
    ]  # fmt: skip


@pytest.mark.parametrize(("changed", "length"), [(26, 40), (27, 20)])
def test_the_end_of_a_byte_moves_with_its_divisor(wait: int, changed: int, length: int) -> None:
    """The byte that falls in cycle 28 is busy to cycle 28 + 10 D - 1, and the run ends a cycle
    later.
    """
    drive = port(wait).write(6, "DATA", 0).write(12, "DATA", 0).write(changed, "DIVISOR", 4)
    recording = drive.run()
    assert recording.cycles == 28 + length + 1
    assert recording.characters["dev"].cycles.tolist() == [27, 28 + length - 1]
    assert drive.shows("STATUS", 28 + length - 1) == ROOM | BUSY
    assert drive.shows("STATUS", 28 + length) == ROOM


def test_divisor_zero_acts_as_one_and_reads_zero(wait: int) -> None:
    """With DIVISOR = 0 a bit takes one clock, and a read gives 0."""
    drive = port(wait).write(3, "DIVISOR", 0).write(6, "DATA", 0x55)
    recording = drive.run()
    assert edges(recording, "tx") == [(0, 1), *((8 + k, k % 2) for k in range(10))]
    assert recording.cycles == 19  # busy in the cycles 8 to 17, at rest in cycle 18
    assert drive.shows("DIVISOR", 10) == 0


@pytest.mark.parametrize(
    ("lanes", "shown"),
    [(0b1111, 0x5678), (0b0001, 0xAB78), (0b0010, 0x56CD), (0b1100, 0xABCD), (0b0000, 0xABCD)],
)
def test_divisor_has_16_bits_and_lanes(wait: int, lanes: int, shown: int) -> None:
    """0x12345678 written over 0xABCD changes the selected bytes of bits 15 to 0; others read 0."""
    drive = port(wait, 0xABCD).write(6, "DIVISOR", 0x1234_5678, lanes)
    assert [drive.shows("DIVISOR", cycle) for cycle in (6, 7, 8)] == [0xABCD, shown, shown]


@pytest.mark.parametrize(
    ("clock", "divisor"),
    [("16 MHz", 139), ("12 MHz", 104), ("1.8432 MHz", 16), ("115.2 kHz", 1)],
)
def test_the_default_divisor_is_the_nearest_for_115200(wait: int, clock: str, divisor: int) -> None:
    """16 MHz / 115200 = 138.9, so 139; 12 MHz gives 104.2, so 104; the others divide exactly."""
    assert Drive("uart", wait, clock=clock).shows("DIVISOR", 3) == divisor


@pytest.mark.parametrize("divisor", [0, 65536])
def test_the_setting_divisor_is_from_1_to_65535(wait: int, divisor: int) -> None:
    """A divisor of 0 or 65536 in the bench is refused."""
    with pytest.raises(InputError, match="from 1 to 65535"):
        port(wait, divisor).run()


@pytest.mark.parametrize(("until", "text"), [(27, ""), (28, "A"), (29, "A")])
def test_a_byte_is_text_when_its_last_stop_cycle_was_run(wait: int, until: int, text: str) -> None:
    """The stop bit ends with cycle 27: a run to cycle 27 has the byte, a run to cycle 26 has not."""
    recording = port(wait).write(6, "DATA", 0x41).run(until=until)
    assert recording.texts == {"dev": text}
    assert recording.characters["dev"].cycles.tolist() == [27] * len(text)


@pytest.mark.parametrize(("cycle", "text"), [(26, ""), (27, "A"), (28, "A")])
def test_a_reset_in_the_last_stop_cycle_does_not_undo_the_byte(
    wait: int, cycle: int, text: str
) -> None:
    """A reset in cycle 26 cuts the byte that would end with cycle 27; one in cycle 27 does not."""
    recording = port(wait, resets=[(cycle, 1)]).write(6, "DATA", 0x41).run()
    assert recording.texts == {"dev": text}


def test_text_names_the_access_of_each_byte(wait: int) -> None:
    """Each byte of text belongs to the write of DATA that sent it."""
    drive = port(wait).write(6, "DATA", 0x41).read(9, "STATUS").write(12, "DATA", 0x42)
    assert drive.run().characters["dev"].accesses.tolist() == [0, 2]


@pytest.mark.parametrize(
    ("cycle", "expected"),
    [
        (6, [(0, 1)]),  # the write itself is cut off
        (7, [(0, 1)]),  # the byte is held; the shifter does not take it any more
        (8, [(0, 1), (8, 0), (9, 1)]),  # the line has fallen: one cycle low
        (15, [(0, 1), (8, 0), (16, 1)]),
        (26, [(0, 1), (8, 0), (26, 1)]),
    ],
)
def test_a_reset_puts_the_line_up_in_the_next_cycle(
    wait: int, cycle: int, expected: list[tuple[int, int]]
) -> None:
    """A reset in cycle r cuts the byte 0 of e = 6: tx is 1 from cycle r + 1 on."""
    recording = port(wait, resets=[(cycle, 2)]).write(6, "DATA", 0).run(upto=60)
    assert edges(recording, "tx") == expected


@pytest.mark.parametrize("length", [1, 3])
def test_a_reset_puts_registers_to_their_reset_values(wait: int, length: int) -> None:
    """Registers old in cycle r = 20; from cycle r + 1 on idle, nothing lost, DIVISOR as set."""
    drive = port(wait, resets=[(20, length)]).write(3, "DIVISOR", 5).write(6, "DATA", 0)
    drive.write(12, "DATA", 0).write(16, "DATA", 0)
    cycles = (20, 21, 20 + length, 22 + length)
    assert [drive.shows("STATUS", cycle) for cycle in cycles] == [BUSY | LOST, ROOM, ROOM, ROOM]
    assert [drive.shows("DIVISOR", cycle) for cycle in cycles] == [5, 2, 2, 2]


def test_a_reset_forgets_the_held_byte_too(wait: int) -> None:
    """Neither the byte under way nor the one that waits is sent after a reset."""
    drive = port(wait, resets=[(20, 1)]).write(6, "DATA", 0).write(12, "DATA", 0)
    recording = drive.run(upto=80)
    assert edges(recording, "tx") == [(0, 1), (8, 0), (21, 1)]
    assert recording.texts == {"dev": ""}


def test_after_a_reset_a_byte_is_sent_from_idle_with_the_reset_divisor(wait: int) -> None:
    """After RST in cycle 20, a byte written in e = 26 falls in cycle 28 and has the bench's D = 2."""
    drive = port(wait, resets=[(20, 1)]).write(3, "DIVISOR", 5).write(6, "DATA", 0)
    recording = drive.write(26, "DATA", 0).run()
    assert edges(recording, "tx") == [(0, 1), (8, 0), (21, 1), (28, 0), (46, 1)]
    assert recording.texts == {"dev": "\0"}


def test_at_rest_when_not_busy(wait: int) -> None:
    """The last cycle of a run is the first with TX_BUSY = 0: 28 for one byte, 48 for two in a cycle."""
    one = port(wait).write(6, "DATA", 1).run()
    assert (one.cycles, one.ended) == (29, "done")
    two = port(wait).write(6, "DATA", 1).write(12, "DATA", 2).run()
    assert (two.cycles, two.ended) == (49, "done")


def test_tx_idles_high(wait: int) -> None:
    """Without a byte tx is 1 from cycle 0 on, and the port is at rest at once."""
    recording = port(wait).run()
    assert edges(recording, "tx") == [(0, 1)]
    assert recording.cycles == 1


@pytest.mark.parametrize("offset", [0x10, 0x14, 0xFFC])
def test_holes_read_zero_and_drop_writes(wait: int, offset: int) -> None:
    """A hole is acknowledged: it reads 0 after a write of ones, which changes nothing."""
    recording = port(wait).write(4, offset, 0xFFFF_FFFF).read(7, offset).run()
    assert reads(recording) == {7: 0}
    assert recording.registers["dev"] == {
        "DATA": 0, "STATUS": ROOM, "DIVISOR": 2, "INTERRUPT": 0,
    }  # fmt: skip


def test_a_long_text_keeps_its_rhythm(wait: int) -> None:
    """Five bytes, each written as soon as there is room, fall exactly 10 D = 20 cycles apart."""
    drive = port(wait)
    for place, byte in enumerate(b"\x55\x55\x55\x55\x55"):
        drive.write(6 + 20 * place + (-5 if place else 0), "DATA", byte)
    recording = drive.run()
    ends = recording.characters["dev"].cycles.tolist()
    assert ends == [27, 47, 67, 87, 107]
    falls = [
        cycle for (_, before), (cycle, now) in pairwise(edges(recording, "tx")) if before > now
    ]
    assert [falls[5 * byte] for byte in range(5)] == [8, 28, 48, 68, 88]
