"""ENABLE, RISE, FALL, EVENTS and the interrupt of the port of pins, each aimed at its cycle.

A level on a pin from cycle c shows in IN from c + 2. An edge of IN in cycle c + 2 is kept at the end of
that cycle, if RISE or FALL has its bit there: EVENTS and ``interrupt`` show it from c + 3 on.
"""

from __future__ import annotations

import pytest

from tests.models.driving import WAITS, Drive, edges, events, reads

pytestmark = pytest.mark.parametrize("wait", WAITS)

ALL_ONES = 0xFFFF_FFFF
RELEASED = 2


# ENABLE.


def test_enable_releases_and_drives_again_in_the_next_cycle(wait: int) -> None:
    """A 0 in ENABLE written in e = 8 gives level 2 in cycle 9; a 1 written in 14 drives from cycle
    15.
    """
    drive = Drive("gpio", wait).write(4, "OUT", 0b11).write(8, "ENABLE", ALL_ONES & ~0b10)
    recording = drive.write(14, "ENABLE", ALL_ONES).run()
    assert edges(recording, "out.1") == [(0, 0), (5, 1), (9, RELEASED), (15, 1)]
    assert recording.lines["dev.out.1"].accesses.tolist() == [-1, 0, 1, 2]
    assert edges(recording, "out.0") == [(0, 0), (5, 1)]  # its bit of ENABLE stayed 1
    assert edges(recording, "out.2") == [(0, 0)]


@pytest.mark.parametrize(("register", "data"), [("OUT", 0), ("CLEAR", 1), ("TOGGLE", 1)])
def test_what_out_does_while_released_shows_when_driven_again(
    wait: int, register: str, data: int
) -> None:
    """OUT changes in cycle 12 while the pin is released from 9 on: no edge before ENABLE, in cycle
    17.
    """
    drive = Drive("gpio", wait).write(4, "OUT", 1).write(8, "ENABLE", 0)
    drive.write(11, register, data).write(16, "ENABLE", 1)
    assert edges(drive.run(), "out.0") == [(0, 0), (5, 1), (9, RELEASED), (17, 0)]
    assert [drive.shows("OUT", cycle) for cycle in (11, 12)] == [1, 0]


@pytest.mark.parametrize(("data", "edge"), [(0, (9, RELEASED)), (ALL_ONES, None)])
def test_enable_writes_that_change_nothing_leave_no_edge(
    wait: int, data: int, edge: tuple[int, int] | None
) -> None:
    """The same word written to ENABLE twice moves the pin once at most."""
    drive = Drive("gpio", wait).write(8, "ENABLE", data).write(12, "ENABLE", data)
    assert edges(drive.run(), "out.31") == [(0, 0), *([edge] if edge else [])]


@pytest.mark.parametrize(
    ("lanes", "shown"), [(0b0001, 0xFFFF_FF00), (0b0110, 0xFF00_00FF), (0b1000, 0x00FF_FFFF)]
)
def test_enable_has_lanes_and_shows_from_the_next_cycle(wait: int, lanes: int, shown: int) -> None:
    """0 written to ENABLE in e = 8: all ones in cycle 8, by lanes from cycle 9; the pins follow."""
    drive = Drive("gpio", wait).write(8, "ENABLE", 0, lanes)
    assert [drive.shows("ENABLE", cycle) for cycle in (0, 8, 9, 10)] == [
        ALL_ONES,
        ALL_ONES,
        shown,
        shown,
    ]
    recording = drive.run()
    for pin in (0, 7, 8, 15, 16, 23, 24, 31):
        driven = shown >> pin & 1
        assert edges(recording, f"out.{pin}") == [(0, 0), *([] if driven else [(9, RELEASED)])]


@pytest.mark.parametrize(("width", "every"), [(1, 1), (5, 0x1F), (32, ALL_ONES)])
def test_the_registers_have_width_bits(wait: int, width: int, every: int) -> None:
    """ENABLE resets to ``width`` ones; ENABLE, RISE and FALL keep no other bit of all ones."""
    drive = Drive("gpio", wait, width=width).write(4, "RISE", ALL_ONES).write(7, "FALL", ALL_ONES)
    drive.read(10, "ENABLE").read(13, "RISE").read(16, "FALL").write(19, "ENABLE", ALL_ONES)
    assert reads(drive.read(22, "ENABLE").run()) == {10: every, 13: every, 16: every, 22: every}


# EVENTS: when.


@pytest.mark.parametrize(("register", "levels"), [("RISE", [(10, 1)]), ("FALL", [(2, 1), (10, 0)])])
def test_an_edge_is_in_events_three_cycles_after_the_pin(
    wait: int, register: str, levels: list[tuple[int, int]]
) -> None:
    """An edge in cycle c = 10: IN moves in 12, EVENTS and the interrupt in 13, by no access."""
    drive = Drive("gpio", wait, inputs=[(at, "in.9", level) for at, level in levels])
    drive.write(5, register, 1 << 9)
    assert [drive.shows("EVENTS", cycle) for cycle in (11, 12, 13, 14)] == [0, 0, 1 << 9, 1 << 9]
    now = levels[-1][1] << 9
    assert [drive.shows("IN", cycle) for cycle in (11, 12)] == [now ^ 1 << 9, now]
    recording = drive.run(upto=20)
    assert edges(recording, "interrupt") == [(0, 0), (13, 1)]
    assert recording.lines["dev.interrupt"].accesses.tolist() == [-1, -1]
    assert events(recording) == []


@pytest.mark.parametrize(("register", "before"), [("RISE", 0), ("FALL", 1)])
@pytest.mark.parametrize(
    ("written", "kept"),
    [
        (10, True),  # shows in c + 1 = 11
        (11, True),  # shows in c + 2 = 12, the cycle of the edge: counts
        (12, False),  # shows in c + 3 = 13: too late
    ],
)
def test_rise_and_fall_count_as_a_read_in_the_cycle_of_the_edge_shows_them(
    wait: int, register: str, before: int, written: int, kept: bool
) -> None:
    """An edge of IN in cycle 12 is kept if the register is written in 11 at the latest."""
    levels = [(2, "in.4", before), (10, "in.4", 1 - before)]
    drive = Drive("gpio", wait, inputs=levels).write(written, register, 1 << 4)
    assert [drive.shows("EVENTS", cycle) for cycle in (13, 14, 30)] == [kept << 4] * 3
    assert edges(drive.run(upto=20), "interrupt") == [(0, 0), *([(13, 1)] if kept else [])]


@pytest.mark.parametrize(("register", "before"), [("RISE", 0), ("FALL", 1)])
@pytest.mark.parametrize(("written", "kept"), [(10, False), (11, False), (12, True), (13, True)])
def test_a_bit_taken_from_rise_or_fall_counts_to_the_end_of_its_cycle(
    wait: int, register: str, before: int, written: int, kept: bool
) -> None:
    """The bit is set since cycle 7 and taken away in e: cycle 12 still shows it if e is 12 or later."""
    levels = [(2, "in.4", before), (10, "in.4", 1 - before)]
    drive = Drive("gpio", wait, inputs=levels).write(6, register, 1 << 4)
    drive.write(written, register, 0)
    assert [drive.shows("EVENTS", cycle) for cycle in (15, 30)] == [kept << 4] * 2
    assert edges(drive.run(upto=20), "interrupt") == [(0, 0), *([(13, 1)] if kept else [])]


@pytest.mark.parametrize(("lanes", "kept"), [(0b0001, 1 << 4), (0b1110, 0), (0b0000, 0)])
@pytest.mark.parametrize("register", ["RISE", "FALL"])
def test_rise_and_fall_have_lanes(wait: int, register: str, lanes: int, kept: int) -> None:
    """A bit of lane 0 is not written without lane 0, and no edge of its pin is kept."""
    drive = Drive("gpio", wait, inputs=[(10, "in.4", 1), (14, "in.4", 0)])
    drive.write(5, register, 1 << 4, lanes)
    assert [drive.shows(register, cycle) for cycle in (5, 6)] == [0, kept]
    assert drive.shows("EVENTS", 20) == kept


def test_each_register_keeps_its_own_kind_of_edge(wait: int) -> None:
    """RISE = 0b01, FALL = 0b10: of both pins, up in 10 and down in 16, one edge each is kept."""
    levels = [(at, f"in.{pin}", level) for at, level in ((10, 1), (16, 0)) for pin in (0, 1)]
    drive = Drive("gpio", wait, inputs=levels).write(3, "RISE", 0b01).write(6, "FALL", 0b10)
    assert [drive.shows("EVENTS", cycle) for cycle in (12, 13, 18, 19)] == [0, 0b01, 0b01, 0b11]


def test_a_level_of_one_cycle_is_two_edges(wait: int) -> None:
    """A level in cycle 10 alone: in.0 keeps the rise of cycle 12 in 13, in.1 the fall of cycle 13
    in 14.
    """
    levels = [(10, "in.0", 1), (10, "in.1", 1), (11, "in.0", 0), (11, "in.1", 0)]
    drive = Drive("gpio", wait, inputs=levels).write(3, "RISE", 0b01).write(6, "FALL", 0b10)
    assert [drive.shows("EVENTS", cycle) for cycle in (12, 13, 14, 15)] == [0, 0b01, 0b11, 0b11]
    assert edges(drive.run(upto=20), "interrupt") == [(0, 0), (13, 1)]


# EVENTS: clears.


@pytest.mark.parametrize(
    ("cleared", "shown", "interrupt"),
    [
        (11, [1, 0, 1, 1], [(7, 1), (12, 0), (13, 1)]),  # before the edge: gone for cycle 12
        (12, [1, 1, 1, 1], [(7, 1)]),  # in the very cycle of the edge: the set wins, without a dip
        (13, [1, 1, 1, 0], [(7, 1), (14, 0)]),  # in the first cycle that shows the second edge
    ],
)
def test_an_edge_kept_in_the_cycle_of_a_clear_wins(
    wait: int, cleared: int, shown: list[int], interrupt: list[tuple[int, int]]
) -> None:
    """EVENTS is set from cycle 7 on, and its second edge is in cycle 12: the cycles 11 to 14."""
    levels = [(4, "in.0", 1), (6, "in.0", 0), (10, "in.0", 1)]
    drive = Drive("gpio", wait, inputs=levels).write(3, "RISE", 1).write(cleared, "EVENTS", 1)
    assert [drive.shows("EVENTS", cycle) for cycle in (11, 12, 13, 14)] == shown
    assert edges(drive.run(upto=20), "interrupt") == [(0, 0), *interrupt]


@pytest.mark.parametrize(("cleared", "shown"), [(11, 1), (12, 1), (13, 0)])
def test_a_clear_of_what_is_not_set_yet_loses(wait: int, cleared: int, shown: int) -> None:
    """The first edge, in cycle 12, is in EVENTS in cycle 14 unless it is cleared in cycle 13."""
    drive = Drive("gpio", wait, inputs=[(10, "in.0", 1)]).write(3, "RISE", 1)
    drive.write(cleared, "EVENTS", 1)
    assert [drive.shows("EVENTS", cycle) for cycle in (13, 14)] == [1, shown]
    end = [] if shown else [(14, 0)]
    assert edges(drive.run(upto=20), "interrupt") == [(0, 0), (13, 1), *end]


@pytest.mark.parametrize(
    ("data", "lanes", "left"),
    [
        (0x0000_0101, 0b1111, 0),
        (0x0000_0001, 0b1111, 0x100),
        (0x0000_0101, 0b0001, 0x100),
        (0x0000_0101, 0b0010, 0x001),
        (0x0000_0101, 0b0000, 0x101),
        (0xFFFF_FEFE, 0b1111, 0x101),
        (0x0000_0000, 0b1111, 0x101),
    ],
)
def test_ones_in_selected_lanes_clear(wait: int, data: int, lanes: int, left: int) -> None:
    """in.0 and in.8 rose; a write of EVENTS in e = 20; the interrupt is high while any is left."""
    drive = Drive("gpio", wait, inputs=[(10, "in.0", 1), (10, "in.8", 1)])
    drive.write(3, "RISE", ALL_ONES).write(20, "EVENTS", data, lanes)
    assert [drive.shows("EVENTS", cycle) for cycle in (20, 21, 22)] == [0x101, left, left]
    end = [] if left else [(21, 0)]
    recording = drive.run(upto=25)
    assert edges(recording, "interrupt") == [(0, 0), (13, 1), *end]
    assert recording.lines["dev.interrupt"].accesses.tolist() == [-1, -1, *([1] if end else [])]


def test_events_cannot_be_set_by_a_write_and_a_read_leaves_them(wait: int) -> None:
    """All ones written to EVENTS set nothing; two reads give the same."""
    drive = Drive("gpio", wait, inputs=[(10, "in.3", 1)]).write(3, "RISE", 8)
    drive.write(6, "EVENTS", ALL_ONES).read(9, "EVENTS").read(15, "EVENTS").read(18, "EVENTS")
    assert reads(drive.run()) == {9: 0, 15: 8, 18: 8}


# Start and reset.


def test_the_first_edge_is_in_cycle_2(wait: int) -> None:
    """A level from cycle 0 on is an edge of IN in cycle 2; RISE written in 1 shows there, in 2 not."""
    drive = Drive("gpio", wait, inputs=[(0, "in.0", 1)]).write(1 + wait, "RISE", 1)
    kept = 1 - wait  # with a wait state no write can end in 1
    assert [drive.shows("EVENTS", cycle) for cycle in (2, 3, 4)] == [0, kept, kept]


@pytest.mark.parametrize("level_at", [2, 9, 10])
@pytest.mark.parametrize("length", [1, 3])
def test_after_a_reset_a_level_is_an_edge_again(wait: int, level_at: int, length: int) -> None:
    """RST in 9 ..: IN rises in r + L + 2; RISE written in r + L + 1 shows there, a cycle later not."""
    origin = 9 + length
    drive = Drive("gpio", wait, inputs=[(level_at, "in.0", 1)], resets=[(9, length)])
    drive.write(origin + 1 + wait, "RISE", 1)
    kept = 1 - wait
    cycles = (origin + 2, origin + 3, origin + 4)
    assert [drive.shows("EVENTS", cycle) for cycle in cycles] == [0, kept, kept]
    expected = [(0, 0), *([(origin + 3, 1)] if kept else [])]
    assert edges(drive.run(upto=20), "interrupt") == expected


@pytest.mark.parametrize("length", [1, 3])
def test_a_reset_puts_the_new_registers_back(wait: int, length: int) -> None:
    """ENABLE, RISE, FALL and EVENTS are as written in cycle r = 20, reset from cycle 21 on; so the
    pins.
    """
    drive = Drive("gpio", wait, inputs=[(10, "in.0", 1)], resets=[(20, length)])
    drive.write(3, "RISE", 1).write(6, "FALL", 2).write(9, "ENABLE", 0xF0)
    cycles = (20, 21, 20 + length, 24 + length)
    for register, old, new in (
        ("ENABLE", 0xF0, ALL_ONES), ("RISE", 1, 0), ("FALL", 2, 0), ("EVENTS", 1, 0),
    ):  # fmt: skip
        assert [drive.shows(register, cycle) for cycle in cycles] == [old, new, new, new]
    recording = drive.run(upto=30)
    assert edges(recording, "interrupt") == [(0, 0), (13, 1), (21, 0)]
    assert edges(recording, "out.0") == [(0, 0), (10, RELEASED), (21, 0)]


@pytest.mark.parametrize(
    ("cycle", "interrupt"),
    [
        (11, []),
        (12, []),  # the cycle of the edge: the reset wins
        (13, [(13, 1), (14, 0)]),  # EVENTS shows the edge in cycle r, and no longer
    ],
)
def test_a_reset_around_an_edge(wait: int, cycle: int, interrupt: list[tuple[int, int]]) -> None:
    """An edge of IN in cycle 12 of a level in the cycles 10 to 11; RST in the cycle given."""
    levels = [(10, "in.0", 1), (12, "in.0", 0)]
    drive = Drive("gpio", wait, inputs=levels, resets=[(cycle, 1)]).write(3, "RISE", 1)
    assert edges(drive.run(upto=25), "interrupt") == [(0, 0), *interrupt]
    assert drive.shows("EVENTS", cycle + 1) == 0


def test_a_port_with_an_interrupt_is_at_rest(wait: int) -> None:
    """EVENTS does not keep a run going: it ends in the cycle after the last access."""
    drive = Drive("gpio", wait, inputs=[(5, "in.0", 1)]).write(3, "RISE", 1).write(12, "OUT", 1)
    recording = drive.run()
    assert (recording.cycles, recording.ended) == (14, "done")
    assert recording.registers["dev"]["EVENTS"] == 1
