"""The timer, sentence by sentence, each aimed at the cycle that the sentence names."""

from __future__ import annotations

from typing import Any

import pytest

from busbox.device import BusAccess
from busbox.models.timer import Timer
from tests.models.driving import WAITS, Drive, events, reads

pytestmark = pytest.mark.quick

waits = pytest.mark.parametrize("wait", WAITS)


@waits
@pytest.mark.parametrize("cycle", [0, 1, 2, 3, 50])
def test_now_reads_the_cycle(wait: int, cycle: int) -> None:
    """A read of NOW in cycle t reads t, from cycle 0 on."""
    assert Drive("timer", wait).shows("NOW", cycle) == cycle


@waits
@pytest.mark.parametrize("wait_states", [0, 3])
def test_now_is_of_the_cycle_in_which_the_read_ends(wait: int, wait_states: int) -> None:
    """Reads that end in 7 and 20 read 7 and 20, however long they were held up."""
    recording = Drive("timer", wait_states + wait).read(7, "NOW").read(20, "NOW").run()
    assert reads(recording) == {7: 7, 20: 20}


@waits
@pytest.mark.parametrize("length", [1, 3])
def test_a_reset_starts_the_count_again(wait: int, length: int) -> None:
    """RST in cycles 9 ..: NOW is 9 in cycle r = 9, 0 in the cycles r + 1 to r + L, then counts
    from 1.
    """
    drive = Drive("timer", wait, resets=[(9, length)])
    assert drive.shows("NOW", 9) == 9
    assert [drive.shows("NOW", cycle) for cycle in range(10, 10 + length)] == [0] * length
    cycles = (10 + length, 11 + length, 29 + length)
    assert [drive.shows("NOW", cycle) for cycle in cycles] == [1, 2, 20]


@waits
def test_now_and_now_high_cannot_be_written(wait: int) -> None:
    """Writes of NOW and NOW_HIGH are acknowledged and dropped."""
    drive = Drive("timer", wait).write(4, "NOW", 0xFFFF_FFFF).write(7, "NOW_HIGH", 0xFFFF_FFFF)
    assert reads(drive.read(10, "NOW_HIGH").read(13, "NOW").run()) == {10: 0, 13: 13}


class _Quiet:
    """A host that takes edges of ring only: the timer reports nothing."""

    name, base, size, clock_hz = "clock", 0, 0x1000, 16_000_000

    def edge(self, pin: str, cycle: int, level: int, access: int = -1) -> None:
        assert (pin, level) == ("ring", 0)

    def cacheable_until(self, until: int | None) -> None:
        """Take what is said of a read."""

    def __getattr__(self, name: str) -> Any:
        raise AssertionError(f"a timer has no business with {name}")


def _timer() -> Timer:
    return Timer(_Quiet())  # type: ignore[arg-type]


def _read(timer: Timer, cycle: int, offset: int) -> object:
    return timer.access(BusAccess(cycle, offset, False, 0, 0b1111, 0))


def _write(timer: Timer, cycle: int, offset: int, data: int) -> None:
    timer.access(BusAccess(cycle, offset, True, data, 0b1111, 0))


TURN = 1 << 32


@pytest.mark.parametrize(
    ("cycle", "low", "high"),
    [
        (TURN - 1, 0xFFFF_FFFF, 0),
        (TURN, 0, 1),
        (TURN + 1, 1, 1),
        (5 * TURN - 1, 0xFFFF_FFFF, 4),
        (5 * TURN + 7, 7, 5),
    ],
)
def test_now_high_is_the_high_word_of_the_count_that_now_saw(
    cycle: int, low: int, high: int
) -> None:
    """NOW gives the low 32 bits, and NOW_HIGH after it the high 32 bits of that same count."""
    timer = _timer()
    assert _read(timer, cycle, 0x00) == low
    assert _read(timer, cycle + 1, 0x04) == high


def test_now_high_keeps_what_the_last_read_of_now_saw() -> None:
    """NOW_HIGH is 0 until NOW is read, and does not move between two reads of NOW."""
    timer = _timer()
    assert _read(timer, TURN + 3, 0x04) == 0  # NOW has not been read yet
    assert _read(timer, 2 * TURN - 1, 0x00) == 0xFFFF_FFFF
    assert _read(timer, 2 * TURN, 0x04) == 1  # one cycle later the count's high word is 2
    assert _read(timer, 7 * TURN, 0x04) == 1
    assert _read(timer, 7 * TURN + 1, 0x00) == 1
    assert _read(timer, 7 * TURN + 2, 0x04) == 7


def test_registers_do_not_latch_now_high() -> None:
    """Looking at the registers is no read of NOW: NOW_HIGH stays as it is."""
    timer = _timer()
    timer.advance(3 * TURN + 5)
    expected = {"NOW": 5, "NOW_HIGH": 0, "ALARM": 0, "CONTROL": 0, "STATUS": 0}
    assert timer.registers() == expected
    assert timer.registers() == expected


def test_a_reset_clears_now_high_and_the_high_word() -> None:
    """After a reset that ends in cycle 3 x 2^32, NOW_HIGH is 0 and the count begins at 0."""
    timer = _timer()
    _read(timer, 2 * TURN, 0x00)
    timer.reset(3 * TURN - 2, 2)
    assert timer.registers()["NOW_HIGH"] == 0
    assert _read(timer, 3 * TURN + 9, 0x00) == 9
    assert _read(timer, 3 * TURN + 10, 0x04) == 0


def test_the_alarm_is_compared_with_the_low_word() -> None:
    """ALARM = 5 rings in the cycle 2^32 + 5 too: STATUS is 0 in it, and 1 in the next."""
    timer = _timer()
    _write(timer, 100, 0x08, 5)
    assert _read(timer, TURN + 5, 0x10) == 0
    assert _read(timer, TURN + 6, 0x10) == 1


def test_an_alarm_of_zero_rings_at_the_turn() -> None:
    """ALARM = 0, once written, equals NOW in the cycle 2^32."""
    timer = _timer()
    _write(timer, 100, 0x08, 0)
    assert _read(timer, TURN, 0x10) == 0
    assert _read(timer, TURN + 1, 0x10) == 1


@waits
@pytest.mark.parametrize("written", [4, 15, 19])
def test_rang_is_set_at_the_end_of_the_cycle_of_the_alarm(wait: int, written: int) -> None:
    """ALARM = 20, written in 19 at the latest: STATUS is 0 in cycle 20, and 1 from cycle 21 on."""
    drive = Drive("timer", wait).write(written, "ALARM", 20)
    assert [drive.shows("STATUS", cycle) for cycle in (20, 21, 22, 60)] == [0, 1, 1, 1]


@waits
@pytest.mark.parametrize("written", [20, 21, 22])
def test_an_alarm_written_in_its_own_cycle_is_too_late(wait: int, written: int) -> None:
    """ALARM = 20 written in e = 20 or later counts from e + 1: it does not ring."""
    drive = Drive("timer", wait).write(written, "ALARM", 20)
    assert [drive.shows("STATUS", cycle) for cycle in (23, 60)] == [0, 0]


@waits
def test_nothing_rings_before_alarm_is_written(wait: int) -> None:
    """NOW equals ALARM's reset value 0 in cycle 0, and RANG is not set."""
    assert [Drive("timer", wait).shows("STATUS", cycle) for cycle in (0, 1, 2, 30)] == [0, 0, 0, 0]


@waits
@pytest.mark.parametrize(
    ("changed", "rang"),
    [(19, 0), (20, 1), (21, 1)],  # in cycle 20 the old alarm is compared, unless changed before
)
def test_a_new_alarm_counts_from_the_cycle_after_its_write(
    wait: int, changed: int, rang: int
) -> None:
    """ALARM moves away from 20 in e: the match in cycle 20 counts if e is 20 or later."""
    drive = Drive("timer", wait).write(4, "ALARM", 20).write(changed, "ALARM", 0x1000)
    assert drive.shows("STATUS", 24) == rang


@waits
@pytest.mark.parametrize(("written", "rang"), [(29, 1), (30, 0)])
def test_the_second_alarm_rings_too(wait: int, written: int, rang: int) -> None:
    """After a first alarm was cleared, ALARM = 30 written in 29 rings at the end of cycle 30."""
    drive = Drive("timer", wait).write(4, "ALARM", 20).write(24, "STATUS", 1)
    drive.write(written, "ALARM", 30)
    assert drive.shows("STATUS", 30) == 0
    assert drive.shows("STATUS", 31) == rang
    assert drive.shows("STATUS", 32) == rang


@waits
@pytest.mark.parametrize(
    ("cleared", "shown"),
    [
        (19, [0, 1, 1]),  # before the match: nothing to clear
        (20, [0, 1, 1]),  # in the very cycle of the match: the set wins
        (21, [0, 1, 0]),  # in the first cycle that shows it
        (22, [0, 1, 1]),  # cycle 22 still shows it
    ],
)
def test_a_clear_in_the_cycle_of_the_match_loses(wait: int, cleared: int, shown: list[int]) -> None:
    """ALARM = 20, a one to RANG in e: STATUS in the cycles 20, 21 and 22."""
    drive = Drive("timer", wait).write(4, "ALARM", 20).write(cleared, "STATUS", 1)
    assert [drive.shows("STATUS", cycle) for cycle in (20, 21, 22)] == shown


@waits
@pytest.mark.parametrize(("cleared", "left"), [(20, 1), (21, 0), (30, 0)])
def test_a_clear_lasts(wait: int, cleared: int, left: int) -> None:
    """RANG once cleared stays 0 although ALARM still holds 20: only cycle 20 matches."""
    drive = Drive("timer", wait).write(4, "ALARM", 20).write(cleared, "STATUS", 1)
    assert [drive.shows("STATUS", cycle) for cycle in (cleared + 2, 90)] == [left, left]


@waits
@pytest.mark.parametrize(
    ("data", "lanes", "left"),
    [(1, 0b0001, 0), (1, 0b1110, 1), (1, 0b0000, 1), (0xFFFF_FFFE, 0b1111, 1), (0, 0b1111, 1)],
)
def test_a_one_in_a_selected_lane_clears(wait: int, data: int, lanes: int, left: int) -> None:
    """Only a one for bit 0 with lane 0 selected clears RANG."""
    drive = Drive("timer", wait).write(4, "ALARM", 20).write(24, "STATUS", data, lanes)
    assert drive.shows("STATUS", 26) == left


@waits
@pytest.mark.parametrize(
    ("lanes", "shown"),
    [(0b0001, 0x1234_56FF), (0b0110, 0x12FF_FF78), (0b1000, 0xFF34_5678), (0, 0x1234_5678)],
)
def test_alarm_has_lanes_and_reads_back_from_the_next_cycle(
    wait: int, lanes: int, shown: int
) -> None:
    """All ones written over 0x12345678 in e = 8 read old in cycle 8, and by lanes from cycle 9 on."""
    drive = Drive("timer", wait).write(4, "ALARM", 0x1234_5678)
    drive.write(8, "ALARM", 0xFFFF_FFFF, lanes)
    assert [drive.shows("ALARM", cycle) for cycle in (8, 9, 10)] == [0x1234_5678, shown, shown]


@waits
def test_a_write_of_one_lane_arms_the_alarm(wait: int) -> None:
    """ALARM = 20 written through lane 0 alone rings in cycle 20."""
    drive = Drive("timer", wait).write(4, "ALARM", 0xFFFF_FF14, 0b0001)
    assert [drive.shows("STATUS", cycle) for cycle in (20, 21)] == [0, 1]


@waits
@pytest.mark.parametrize("length", [1, 3])
def test_a_reset_clears_alarm_and_rang(wait: int, length: int) -> None:
    """ALARM and RANG are old in cycle r = 25, and 0 from cycle 26 on."""
    drive = Drive("timer", wait, resets=[(25, length)]).write(4, "ALARM", 20)
    cycles = (25, 26, 25 + length, 30 + length)
    assert [drive.shows("ALARM", cycle) for cycle in cycles] == [20, 0, 0, 0]
    assert [drive.shows("STATUS", cycle) for cycle in cycles] == [1, 0, 0, 0]


@waits
def test_after_a_reset_nothing_rings_before_alarm_is_written_again(wait: int) -> None:
    """ALARM = 20 from before a reset in cycle 9 does not ring in cycle 30, where NOW is 20 again.

    Nor does ALARM's reset value 0 in cycle 10, where NOW is 0.
    """
    drive = Drive("timer", wait, resets=[(9, 1)]).write(4, "ALARM", 20)
    assert [drive.shows("STATUS", cycle) for cycle in (11, 12, 31, 60)] == [0, 0, 0, 0]


@waits
def test_after_a_reset_the_alarm_counts_on_the_new_count(wait: int) -> None:
    """With RST in cycle 9 NOW is 20 in cycle 30: ALARM = 20 written in 14 rings there, not in
    cycle 20.
    """
    drive = Drive("timer", wait, resets=[(9, 1)]).write(14, "ALARM", 20)
    assert [drive.shows("STATUS", cycle) for cycle in (21, 30, 31)] == [0, 0, 1]


@waits
@pytest.mark.parametrize("cycle", [19, 20])
def test_a_reset_in_the_cycle_of_the_match_wins(wait: int, cycle: int) -> None:
    """A reset whose first cycle is the one of the match (or the cycle before) leaves RANG at 0."""
    drive = Drive("timer", wait, resets=[(cycle, 1)]).write(4, "ALARM", 20)
    assert [drive.shows("STATUS", cycle) for cycle in (21, 22, 23)] == [0, 0, 0]


@waits
def test_an_alarm_cut_off_by_a_reset_is_not_written(wait: int) -> None:
    """A write of ALARM that would end in the first cycle of a reset does not arm it."""
    drive = Drive("timer", wait, resets=[(9, 1)]).write(9, "ALARM", 15)
    assert [drive.shows("ALARM", cycle) for cycle in (10, 11)] == [0, 0]
    assert drive.shows("STATUS", 40) == 0  # NOW is 15 in cycle 25


@waits
@pytest.mark.parametrize("offset", [0x14, 0x18, 0xFFC])
def test_holes_read_zero_and_drop_writes(wait: int, offset: int) -> None:
    """Holes are acknowledged, read 0, and writes change nothing."""
    recording = Drive("timer", wait).write(4, offset, 0xFFFF_FFFF).read(7, offset).run()
    assert reads(recording) == {7: 0}
    registers = recording.registers["dev"]
    assert registers == {"NOW": 8, "NOW_HIGH": 0, "ALARM": 0, "CONTROL": 0, "STATUS": 0}


@waits
def test_reserved_bits_of_status_read_zero(wait: int) -> None:
    """After a write of all ones only RANG can be 1 in STATUS."""
    drive = Drive("timer", wait).write(4, "ALARM", 20).write(14, "STATUS", 0xFFFF_FFFF)
    assert reads(drive.read(18, "STATUS").read(24, "STATUS").run()) == {18: 0, 24: 1}


@waits
def test_a_timer_is_always_at_rest(wait: int) -> None:
    """The run ends in the cycle after the last access, long before the alarm would ring."""
    recording = Drive("timer", wait).write(4, "ALARM", 20).run()
    assert (recording.cycles, recording.ended) == (6, "done")
    assert list(recording.lines) == ["dev.ring"]
    assert events(recording) == []
