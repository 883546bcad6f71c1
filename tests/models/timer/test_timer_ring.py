"""CONTROL and the pin ``ring`` of the timer, each aimed at its cycle.

ALARM = 20 matches in cycle 20, so RANG is 1 from cycle 21 on; ``ring`` is RANG and CONTROL.0 of a
cycle.
"""

from __future__ import annotations

import pytest

from tests.models.driving import WAITS, Drive, edges, reads

pytestmark = pytest.mark.parametrize("wait", WAITS)


def timer(wait: int, control: int | None = 1, **keys: object) -> Drive:
    """Return a timer with ALARM = 20, and CONTROL written before it."""
    drive = Drive("timer", wait, **keys)  # type: ignore[arg-type]
    if control is not None:
        drive.write(3, "CONTROL", control)
    return drive.write(6, "ALARM", 20)


@pytest.mark.parametrize(("control", "ring"), [(1, [(21, 1)]), (0, []), (None, [])])
def test_ring_rises_with_rang_while_control_is_on(
    wait: int, control: int | None, ring: list[tuple[int, int]]
) -> None:
    """With CONTROL.0 the pin rises in cycle 21, by no access; CONTROL resets to 0: no ring."""
    drive = timer(wait, control)
    recording = drive.run(upto=40)
    assert edges(recording, "ring") == [(0, 0), *ring]
    assert recording.lines["dev.ring"].accesses.tolist() == [-1] * (1 + len(ring))
    assert [drive.shows("STATUS", cycle) for cycle in (20, 21)] == [0, 1]  # RANG, whatever CONTROL


@pytest.mark.parametrize(
    ("written", "rise"),
    [
        (19, 21),  # shows in cycle 20
        (20, 21),  # shows in cycle 21, together with RANG
        (21, 22),  # RANG is in cycle 21, CONTROL in cycle 22
        (22, 23),
    ],
)
def test_control_turned_on_around_the_match(wait: int, written: int, rise: int) -> None:
    """CONTROL = 1 written in e: ring rises in the first cycle that shows both."""
    recording = timer(wait, None).write(written, "CONTROL", 1).run(upto=40)
    assert edges(recording, "ring") == [(0, 0), (rise, 1)]


@pytest.mark.parametrize(
    ("written", "ring"),
    [
        (19, []),
        (20, []),  # CONTROL is 0 in cycle 21, the first of RANG
        (21, [(21, 1), (22, 0)]),
        (22, [(21, 1), (23, 0)]),
    ],
)
def test_control_turned_off_around_the_match(
    wait: int, written: int, ring: list[tuple[int, int]]
) -> None:
    """CONTROL = 0 written in e: ring is high in the cycles that show both, and RANG stays."""
    drive = timer(wait).write(written, "CONTROL", 0)
    assert edges(drive.run(upto=40), "ring") == [(0, 0), *ring]
    assert drive.shows("STATUS", 30) == 1


@pytest.mark.parametrize(
    ("cleared", "ring"),
    [
        (19, [(21, 1)]),
        (20, [(21, 1)]),  # in the very cycle of the match: the set wins
        (21, [(21, 1), (22, 0)]),
        (22, [(21, 1), (23, 0)]),
    ],
)
def test_a_clear_around_the_match(wait: int, cleared: int, ring: list[tuple[int, int]]) -> None:
    """RANG cleared in e: ring falls in e + 1, if it was high at all."""
    recording = timer(wait).write(cleared, "STATUS", 1).run(upto=40)
    assert edges(recording, "ring") == [(0, 0), *ring]


@pytest.mark.parametrize(
    ("cleared", "ring"),
    [
        (29, [(21, 1), (30, 0), (31, 1)]),
        (30, [(21, 1)]),  # cleared and set again at the end of cycle 30: no dip
        (31, [(21, 1), (32, 0)]),
    ],
)
def test_a_clear_around_a_second_match(
    wait: int, cleared: int, ring: list[tuple[int, int]]
) -> None:
    """ALARM = 30 while RANG is still 1: a clear in cycle 30 loses, and ring does not even dip."""
    drive = timer(wait).write(25, "ALARM", 30).write(cleared, "STATUS", 1)
    assert edges(drive.run(upto=40), "ring") == [(0, 0), *ring]


@pytest.mark.parametrize("alarm", [30, 31, 32])
def test_a_fall_is_caused_by_its_write_whatever_matches(wait: int, alarm: int) -> None:
    """CONTROL = 0 written in e = 30, a second match in cycle 30 or near it: the write ends the ring."""
    recording = timer(wait).write(25, "ALARM", alarm).write(30, "CONTROL", 0).run(upto=40)
    assert edges(recording, "ring") == [(0, 0), (21, 1), (31, 0)]
    assert recording.lines["dev.ring"].accesses.tolist() == [-1, -1, 3]


@pytest.mark.parametrize(
    ("written", "edge", "by_match"),
    [
        (19, 21, True),  # the match sets RANG with CONTROL on
        (20, 21, True),  # ... also where CONTROL shows from the same cycle on
        (21, 22, False),
        (29, 30, False),
        (30, 31, False),  # the second match finds RANG set
        (31, 32, False),
    ],
)
def test_a_rise_is_caused_by_the_match_that_sets_rang_or_by_a_write(
    wait: int, written: int, edge: int, by_match: bool
) -> None:
    """Matches in the cycles 20 and 30, CONTROL = 1 written in e: one rise, and what caused it."""
    drive = Drive("timer", wait).write(6, "ALARM", 20)
    writes = sorted([(written, "CONTROL", 1), (25, "ALARM", 30)])
    for one in writes:
        drive.write(*one)
    recording = drive.run(upto=40)
    number = -1 if by_match else 1 + writes.index((written, "CONTROL", 1))
    assert edges(recording, "ring") == [(0, 0), (edge, 1)]
    assert recording.lines["dev.ring"].accesses.tolist() == [-1, number]


@pytest.mark.parametrize(
    ("data", "lanes", "shown"),
    [
        (1, 0b0001, 1),
        (0xFFFF_FFFF, 0b1111, 1),  # one bit exists
        (1, 0b1110, 0),
        (1, 0b0000, 0),
        (0xFFFF_FFFE, 0b1111, 0),
    ],
)
def test_control_has_one_bit_in_lane_0(wait: int, data: int, lanes: int, shown: int) -> None:
    """CONTROL written in e = 9 reads old in cycle 9, new from cycle 10 on."""
    drive = timer(wait, None).write(9, "CONTROL", data, lanes)
    assert [drive.shows("CONTROL", cycle) for cycle in (9, 10, 11)] == [0, shown, shown]
    assert edges(drive.run(upto=30), "ring") == [(0, 0), *([(21, 1)] if shown else [])]


@pytest.mark.parametrize(
    ("cycle", "ring"), [(20, []), (21, [(21, 1), (22, 0)]), (25, [(21, 1), (26, 0)])]
)
def test_a_reset_ends_the_ring_and_control(
    wait: int, cycle: int, ring: list[tuple[int, int]]
) -> None:
    """RST in cycle r: ring is 0 from r + 1 on; in the cycle of the match itself it never rises."""
    drive = timer(wait, resets=[(cycle, 1)])
    assert edges(drive.run(upto=40), "ring") == [(0, 0), *ring]
    assert [drive.shows("CONTROL", at) for at in (cycle, cycle + 1, cycle + 5)] == [1, 0, 0]


def test_a_ringing_timer_is_at_rest(wait: int) -> None:
    """A run ends in the cycle after the last access while ring is high."""
    recording = timer(wait).read(24, "STATUS").run()
    assert (recording.cycles, recording.ended) == (26, "done")
    assert reads(recording) == {24: 1}
