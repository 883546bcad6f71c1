"""The helper that aims accesses hits what it aims at, and says so when it does not."""

from __future__ import annotations

import pytest

from tests.models.driving import Drive, edges, highs, reads


@pytest.mark.parametrize("wait", [0, 1, 3])
def test_accesses_end_where_they_are_aimed(wait: int) -> None:
    """An access aimed at cycle e is raised in e - w and ends in e."""
    recording = Drive("gpio", wait).write(4, "OUT", 5).read(9, "OUT").run()
    assert recording.accesses.start.tolist() == [4 - wait, 9 - wait]
    assert recording.accesses.end.tolist() == [4, 9]
    assert reads(recording) == {9: 5}


@pytest.mark.parametrize("wait", [0, 1, 3])
def test_the_earliest_aim_is_the_page_s(wait: int) -> None:
    """From the start e = 1 + w is possible, then e + 1 + w; one earlier is refused."""
    Drive("gpio", wait).read(1 + wait, "OUT").read(2 + 2 * wait, "OUT").run()
    with pytest.raises(AssertionError, match="can end in"):
        Drive("gpio", wait).read(wait, "OUT").run()
    with pytest.raises(AssertionError, match="can end in"):
        Drive("gpio", wait).read(1 + wait, "OUT").read(1 + 2 * wait, "OUT").run()


@pytest.mark.parametrize("wait", [0, 1, 3])
def test_an_aim_behind_a_reset_counts_from_its_end(wait: int) -> None:
    """Behind a reset in the cycles 10 to 12 the first access is raised in cycle 14 or later."""
    drive = Drive("gpio", wait, resets=[(10, 3)]).write(5, "OUT", 1)
    assert drive.write(14 + wait, "OUT", 2).run().accesses.start.tolist() == [5 - wait, 14]
    early = Drive("gpio", wait, resets=[(10, 3)]).write(5, "OUT", 1).write(13 + wait, "OUT", 2)
    with pytest.raises(AssertionError, match="can end in"):
        early.run()


def test_an_access_that_a_reset_hits_is_known_to_be_cut() -> None:
    """A write aimed at the first cycle of a reset ends in that cycle without effect."""
    recording = Drive("gpio", 1, resets=[(6, 1)]).write(6, "OUT", 1).run()
    assert recording.accesses.terminators == ["reset"]
    assert edges(recording, "out.0") == [(0, 0)]


def test_shows_reads_by_bus_and_from_the_recording() -> None:
    """What a register shows is the same by an access and in the last cycle's values."""
    drive = Drive("gpio", 1).write(4, "OUT", 5)
    assert [drive.shows("OUT", cycle) for cycle in (3, 4, 5, 6)] == [0, 0, 5, 5]


def test_highs_are_cycles_and_lengths() -> None:
    """A pin that is 1 in the cycles 3 to 5 is told as (3, 3); a high that does not end is not told."""
    recording = Drive("gpio").write(2, "OUT", 1).write(5, "OUT", 0).write(8, "OUT", 1).run()
    assert highs(recording, "out.0") == [(3, 3)]
    assert edges(recording, "out.0") == [(0, 0), (3, 1), (6, 0), (9, 1)]


@pytest.mark.parametrize(("upto", "cycles"), [(0, 7), (9, 11), (10, 12), (20, 22)])
def test_a_run_idles_to_the_cycle_it_is_told(upto: int, cycles: int) -> None:
    """With ``upto`` the run's last cycle is the one after it, resets (here in 12 and 13) or not."""
    drive = Drive("gpio", resets=[(12, 2)]).write(5, "OUT", 1)
    assert drive.run(upto=upto).cycles == cycles
