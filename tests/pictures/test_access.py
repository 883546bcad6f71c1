"""The picture of an access."""

from __future__ import annotations

import dataclasses
from itertools import pairwise

import pytest

from busbox import Recording
from busbox.bus.transfers import ACK, ERR, NONE, RESET, WATCHDOG
from busbox.pictures import Look, access_picture
from busbox.pictures.access import columns_of
from busbox.recording.accesses import COLUMNS, Accesses
from tests.pictures.geometry import check_geometry, words

pytestmark = pytest.mark.quick


def _changed(recording: Recording, number: int, **columns: int) -> Recording:
    """Return the recording with other values in the columns of one access."""
    table = {name: recording.accesses[name].copy() for name in COLUMNS}
    for name, value in columns.items():
        table[name][number] = value
    return dataclasses.replace(recording, accesses=Accesses(table))


@pytest.mark.parametrize("dark", [False, True])
def test_all_accesses_of_a_run_can_be_drawn(light: Recording, dark: bool) -> None:
    """Texts are in the frame and apart; what the picture says is in the recording."""
    accesses = light.accesses
    for number in range(0, len(accesses), 7):
        look = Look(340 if number % 2 else 720, dark)
        picture = access_picture(light, number, look)
        check_geometry(picture)
        assert picture == access_picture(light, number, look)
        said = words(picture)
        for value in (
            f"{accesses.address[number]:08x}", f"{accesses.lanes[number]:04b}",
            f"{accesses.data[number]:08x}", f"{accesses.end[number]:,}",
            ("read of", "write to")[int(accesses.write[number])],
        ):  # fmt: skip
            assert value in said


@pytest.mark.parametrize("most", [4, 6, 9])
@pytest.mark.parametrize("long", [0, 1, 2, 6, 7, 500])
def test_columns_are_all_cycles_in_order(light: Recording, long: int, most: int) -> None:
    """The columns leave out no cycle, and those that wait are as many as the access waits."""
    start = int(light.accesses.start[-1])
    late = dataclasses.replace(light, cycles=start + long + 2)
    columns = columns_of(_changed(late, -1, end=start + long), len(light.accesses) - 1, most)
    for one, other in pairwise(columns):
        assert one.first + one.count == other.first
    waits = sum(one.count for one in columns if one.kind in ("waits", "folded"))
    assert waits == long
    assert len(columns) <= most


@pytest.mark.parametrize(
    ("terminator", "said"),
    [
        (ACK, "ends with ACK"), (ERR, "ends with ERR"), (WATCHDOG, "The watchdog ended it."),
        (RESET, "A reset cut it off."), (NONE, "The run ended before it did."),
    ],
)  # fmt: skip
def test_every_end_of_an_access_has_words(light: Recording, terminator: int, said: str) -> None:
    """How an access ended is said, whatever it is; read data is there only after ACK."""
    changed = _changed(light, 3, terminator=terminator, write=0, data=0x1234ABCD)
    picture = access_picture(changed, 3, Look())
    check_geometry(picture)
    assert said in words(picture)
    assert ("1234abcd" in words(picture)) == (terminator == ACK)


def test_there_is_no_access_beyond_the_last(light: Recording) -> None:
    """The message gives the numbers that there are."""
    count = len(light.accesses)
    with pytest.raises(IndexError, match=rf"access must be 0 to {count - 1}, not {count}"):
        access_picture(light, count, Look())
