"""The port of pins, sentence by sentence, each aimed at the cycle that the sentence names."""

from __future__ import annotations

import pytest

from busbox.basics.errors import InputError
from tests.models.driving import WAITS, Drive, edges, reads

pytestmark = [pytest.mark.parametrize("wait", WAITS), pytest.mark.quick]


def test_a_write_of_out_moves_the_pin_in_the_next_cycle(wait: int) -> None:
    """OUT written in e = 5 moves its pins in cycle 6, because of that access."""
    recording = Drive("gpio", wait).write(5, "OUT", 0b101).run()
    assert edges(recording, "out.0") == [(0, 0), (6, 1)]
    assert edges(recording, "out.1") == [(0, 0)]
    assert edges(recording, "out.2") == [(0, 0), (6, 1)]
    assert recording.lines["dev.out.2"].accesses.tolist() == [-1, 0]


def test_a_write_of_out_reads_back_from_the_next_cycle(wait: int) -> None:
    """OUT written in e = 5 reads old in cycles 4 and 5, new in cycles 6 and 7."""
    drive = Drive("gpio", wait).write(5, "OUT", 0xA5)
    assert [drive.shows("OUT", cycle) for cycle in (4, 5, 6, 7)] == [0, 0, 0xA5, 0xA5]


#: What every register shows after a reset: all pins enabled, everything else 0.
FRESH = dict.fromkeys(("OUT", "SET", "CLEAR", "TOGGLE", "IN", "RISE", "FALL", "EVENTS"), 0) | {
    "ENABLE": 0xFFFF_FFFF
}


@pytest.mark.parametrize("cycle", [0, 1, 2])
def test_all_registers_show_their_reset_values_at_the_start(wait: int, cycle: int) -> None:
    """Cycles 0 to 2 of a port that nobody uses: ENABLE all ones, the rest 0, and its pins are 0."""
    recording = Drive("gpio", wait).run(until=cycle + 1, upto=5)
    assert recording.registers["dev"] == FRESH
    assert edges(recording, "out.31") == [(0, 0)]


@pytest.mark.parametrize(
    ("register", "ones", "shown"),
    [
        ("SET", 0x0F0F_0001, 0x3F3F_00FF),  # 0x3030_00FE with these ones set
        ("CLEAR", 0x1010_00F0, 0x2020_000E),  # ... cleared
        ("TOGGLE", 0x1111_1111, 0x2121_11EF),  # ... inverted
    ],
)
def test_ones_act_on_out_from_the_next_cycle(
    wait: int, register: str, ones: int, shown: int
) -> None:
    """Ones written to SET, CLEAR or TOGGLE in e = 8 change OUT from cycle 9 on, not in cycle 8."""
    drive = Drive("gpio", wait).write(4, "OUT", 0x3030_00FE).write(8, register, ones)
    assert [drive.shows("OUT", cycle) for cycle in (7, 8, 9, 10)] == [
        0x3030_00FE,
        0x3030_00FE,
        shown,
        shown,
    ]


@pytest.mark.parametrize(
    ("register", "before", "after"),
    [("SET", 0, 1), ("CLEAR", 1, 0), ("TOGGLE", 0, 1), ("TOGGLE", 1, 0)],
)
def test_ones_move_the_pin_in_the_next_cycle(
    wait: int, register: str, before: int, after: int
) -> None:
    """A one for pin 3 written in e = 8 moves out.3 in cycle 9, and no other pin."""
    drive = Drive("gpio", wait).write(4, "OUT", before << 3).write(8, register, 1 << 3)
    recording = drive.run()
    start = [(0, 0), (5, 1)] if before else [(0, 0)]
    assert edges(recording, "out.3") == [*start, (9, after)]
    assert edges(recording, "out.2") == edges(recording, "out.4") == [(0, 0)]


@pytest.mark.parametrize(("register", "before"), [("SET", 1), ("CLEAR", 0), ("OUT", 1)])
def test_a_pin_that_keeps_its_level_has_no_edge(wait: int, register: str, before: int) -> None:
    """Setting what is set, clearing what is clear and writing the same word leave no edge."""
    drive = Drive("gpio", wait).write(4, "OUT", before).write(8, register, 1)
    assert edges(drive.run(), "out.0") == ([(0, 0), (5, 1)] if before else [(0, 0)])


@pytest.mark.parametrize("register", ["SET", "CLEAR", "TOGGLE"])
def test_the_registers_that_act_read_zero(wait: int, register: str) -> None:
    """SET, CLEAR and TOGGLE read 0 before and after ones were written to them."""
    drive = Drive("gpio", wait).read(3, register).write(6, register, 0xFFFF_FFFF)
    recording = drive.read(9, register).run()
    assert reads(recording) == {3: 0, 9: 0}


@pytest.mark.parametrize(
    ("lanes", "shown"),
    [
        (0b0001, 0x1234_56FF),
        (0b0010, 0x1234_FF78),
        (0b0100, 0x12FF_5678),
        (0b1000, 0xFF34_5678),
        (0b1010, 0xFF34_FF78),
        (0b0000, 0x1234_5678),
    ],
)
def test_a_write_of_out_changes_selected_bytes_only(wait: int, lanes: int, shown: int) -> None:
    """All ones written to OUT over 0x12345678 reach the selected bytes, and no other."""
    drive = Drive("gpio", wait).write(4, "OUT", 0x1234_5678)
    assert reads(drive.write(8, "OUT", 0xFFFF_FFFF, lanes).read(11, "OUT").run())[11] == shown


@pytest.mark.parametrize(
    ("register", "shown"),
    [
        ("SET", [0x0F0F_0FFF, 0xFF0F_0F0F]),
        ("CLEAR", [0x0F0F_0F00, 0x000F_0F0F]),
        ("TOGGLE", [0x0F0F_0FF0, 0xF00F_0F0F]),
    ],
)
def test_lanes_not_selected_count_as_zeros_where_ones_act(
    wait: int, register: str, shown: list[int]
) -> None:
    """Ones in lanes that are not selected do not act: lane 0 alone, then lane 3 alone."""
    for lanes, word in zip((0b0001, 0b1000), shown, strict=True):
        drive = Drive("gpio", wait).write(4, "OUT", 0x0F0F_0F0F)
        drive.write(8, register, 0xFFFF_FFFF, lanes).read(11, "OUT")
        assert reads(drive.run()) == {11: word}


@pytest.mark.parametrize("lanes", [0b0001, 0b0100, 0b0000])
def test_a_read_returns_the_whole_word_whatever_the_lanes(wait: int, lanes: int) -> None:
    """A read of OUT with one lane or none still gives all 32 bits."""
    drive = Drive("gpio", wait).write(4, "OUT", 0x89AB_CDEF).read(8, "OUT", lanes)
    assert reads(drive.run()) == {8: 0x89AB_CDEF}


@pytest.mark.parametrize("level_at", [0, 1, 7, 8])
def test_a_level_reads_in_in_two_cycles_later(wait: int, level_at: int) -> None:
    """A level on in.9 from cycle c on reads 0 in cycle c + 1, and 1 from cycle c + 2 on."""
    drive = Drive("gpio", wait, inputs=[(level_at, "in.9", 1)])
    cycles = (level_at, level_at + 1, level_at + 2, level_at + 3)
    assert [drive.shows("IN", cycle) for cycle in cycles] == [0, 0, 1 << 9, 1 << 9]


def test_a_falling_level_reads_two_cycles_later_too(wait: int) -> None:
    """A level that falls in cycle 12 reads 1 in cycle 13 and 0 in cycle 14."""
    drive = Drive("gpio", wait, inputs=[(2, "in.0", 1), (12, "in.0", 0)])
    assert [drive.shows("IN", cycle) for cycle in (12, 13, 14)] == [1, 1, 0]


def test_a_level_of_one_cycle_is_one_cycle_in_in(wait: int) -> None:
    """A level in cycle 6 only reads in cycle 8 only."""
    drive = Drive("gpio", wait, inputs=[(6, "in.0", 1), (7, "in.0", 0)])
    assert [drive.shows("IN", cycle) for cycle in (7, 8, 9)] == [0, 1, 0]


def test_inputs_that_change_together_read_together(wait: int) -> None:
    """Two pins that change in cycle 6 are both new in cycle 8; a third that changes in cycle 7, in
    9.
    """
    drive = Drive("gpio", wait, inputs=[(6, "in.0", 1), (6, "in.31", 1), (7, "in.1", 1)])
    assert [drive.shows("IN", cycle) for cycle in (7, 8, 9)] == [0, 0x8000_0001, 0x8000_0003]


def test_in_cannot_be_written(wait: int) -> None:
    """A write of IN is acknowledged and dropped: IN shows the pins, OUT stays 0."""
    drive = Drive("gpio", wait, inputs=[(0, "in.4", 1)])
    recording = drive.write(6, "IN", 0xFFFF_FFFF).read(9, "IN").read(12, "OUT").run()
    assert reads(recording) == {9: 1 << 4, 12: 0}
    assert edges(recording, "out.4") == [(0, 0)]


def test_inputs_and_outputs_are_apart(wait: int) -> None:
    """What OUT drives is not seen in IN, and undriven inputs read 0."""
    drive = Drive("gpio", wait).write(4, "OUT", 0xFFFF_FFFF).read(10, "IN")
    assert reads(drive.run()) == {10: 0}


@pytest.mark.parametrize(("width", "shown"), [(1, 1), (5, 0x1F), (32, 0xFFFF_FFFF)])
def test_only_the_bits_of_the_width_exist(wait: int, width: int, shown: int) -> None:
    """All ones written to OUT or SET read back in the bits width - 1 to 0 only."""
    drive = Drive("gpio", wait, width=width).write(4, "OUT", 0xFFFF_FFFF).read(7, "OUT")
    drive.write(10, "CLEAR", 0xFFFF_FFFF).read(13, "OUT").write(16, "SET", 0xFFFF_FFFF)
    recording = drive.read(19, "OUT").write(22, "TOGGLE", 0xFFFF_FFFF).read(25, "OUT").run()
    assert reads(recording) == {7: shown, 13: 0, 19: shown, 25: 0}
    assert edges(recording, f"out.{width - 1}") == [(0, 0), (5, 1), (11, 0), (17, 1), (23, 0)]
    names = [f"dev.{kind}.{n}" for kind in ("out", "in") for n in range(width)]
    names.append("dev.interrupt")
    assert sorted(recording.lines) == sorted(names)


def test_pins_beyond_the_width_do_not_exist(wait: int) -> None:
    """A bench that drives in.5 of a port of 5 pins is refused."""
    with pytest.raises(InputError, match=r"no pin 'in\.5'"):
        Drive("gpio", wait, width=5, inputs=[(1, "in.5", 1)]).run()


@pytest.mark.parametrize("width", [0, 33])
def test_the_width_is_from_1_to_32(wait: int, width: int) -> None:
    """A width of 0 or 33 is refused."""
    with pytest.raises(InputError, match="from 1 to 32"):
        Drive("gpio", wait, width=width).run()


@pytest.mark.parametrize("offset", [0x24, 0x28, 0xFFC])
def test_holes_read_zero_and_drop_writes(wait: int, offset: int) -> None:
    """A hole is acknowledged: it reads 0 after a write of ones, which changes nothing."""
    recording = Drive("gpio", wait).write(4, offset, 0xFFFF_FFFF).read(7, offset).run()
    assert reads(recording) == {7: 0}
    assert recording.registers["dev"] == FRESH


@pytest.mark.parametrize("length", [1, 3])
def test_a_reset_clears_out_from_the_cycle_after_its_first(wait: int, length: int) -> None:
    """OUT and its pin are 1 in cycle r = 9 and 0 from cycle 10 on, however long the reset is."""
    drive = Drive("gpio", wait, resets=[(9, length)]).write(5, "OUT", 1)
    assert [drive.shows("OUT", cycle) for cycle in (9, 10, 9 + length, 13 + length)] == [1, 0, 0, 0]
    assert edges(drive.run(upto=20), "out.0") == [(0, 0), (6, 1), (10, 0)]


def test_a_write_that_ends_in_the_first_cycle_of_a_reset_does_nothing(wait: int) -> None:
    """A write aimed at e = r = 9 is lost; one at e = 8 moves the pin for cycle 9 alone."""
    lost = Drive("gpio", wait, resets=[(9, 1)]).write(9, "OUT", 1).run()
    assert edges(lost, "out.0") == [(0, 0)]
    kept = Drive("gpio", wait, resets=[(9, 1)]).write(8, "OUT", 1).run(upto=12)
    assert edges(kept, "out.0") == [(0, 0), (9, 1), (10, 0)]


@pytest.mark.parametrize("length", [1, 3])
def test_a_level_that_outlives_a_reset_comes_through_again(wait: int, length: int) -> None:
    """A level on the pin all the time reads 1 in cycle r = 9, 0 to cycle r + L + 1, 1 from r + L +
    2.
    """
    drive = Drive("gpio", wait, inputs=[(0, "in.2", 1)], resets=[(9, length)])
    cycles = (9, 10, 9 + length, 10 + length, 11 + length, 12 + length)
    assert [drive.shows("IN", cycle) for cycle in cycles] == [4, 0, 0, 0, 4, 4]


@pytest.mark.parametrize(
    ("level_at", "seen_from"),
    [
        (8, 14),  # on its way when the reset comes: it is on the pin in cycle r + L = 12
        (10, 14),  # while RST is high: the same
        (12, 14),  # in cycle r + L itself
        (13, 15),  # a cycle later: two cycles later, as ever
    ],
)
def test_levels_around_a_reset_count_from_its_end_at_the_earliest(
    wait: int, level_at: int, seen_from: int
) -> None:
    """With RST in the cycles 9 to 11, what is there in cycle 12 reads from cycle 14 on."""
    drive = Drive("gpio", wait, inputs=[(level_at, "in.0", 1)], resets=[(9, 3)])
    assert drive.shows("IN", seen_from - 1) == 0
    assert drive.shows("IN", seen_from) == 1


def test_a_level_that_is_gone_when_a_reset_ends_is_never_seen(wait: int) -> None:
    """A level in the cycles 10 and 11 of a reset in 9 to 11 does not read in any cycle after it."""
    drive = Drive("gpio", wait, inputs=[(10, "in.0", 1), (12, "in.0", 0)], resets=[(9, 3)])
    assert [drive.shows("IN", cycle) for cycle in (12, 13, 14, 15)] == [0, 0, 0, 0]


def test_a_port_is_always_at_rest(wait: int) -> None:
    """The run ends in the cycle after the last access, even with a level still on its way to IN."""
    drive = Drive("gpio", wait, inputs=[(8, "in.0", 1)]).write(8, "OUT", 1)
    recording = drive.run()
    assert (recording.cycles, recording.ended) == (10, "done")
