"""``busbox map`` and ``where``: images and shared addresses as lists, against a naive decoder."""

from __future__ import annotations

import json
from bisect import bisect_left, bisect_right
from itertools import pairwise
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from busbox.map.shared import contested_runs, contests, image_numbers, image_runs, rivals
from busbox.map.slots import AddressMap, Slot
from tests.cli.saying import say

pytestmark = pytest.mark.quick

LAMPS = Slot("lamps", 0x4400_0000, 0x1000, "compare", frozenset(range(24, 32)))


def test_the_images_of_the_lamps_are_one_run() -> None:
    """The addresses that stood in neither list: 0x44001000..0x44ffffff, images 1 to 4,095."""
    (run,) = image_runs(LAMPS)
    assert run == (0x4400_1000, 0x44FF_FFFF)
    assert image_numbers(LAMPS, run) == (1, 4095)
    assert not list(image_runs(Slot("levers", 0x4000_0000, 0x1000)))


_BITS = st.frozensets(st.integers(23, 31))
_SLOTS = st.builds(
    lambda base, bits, size, decode: Slot(
        "a", base * size, size if decode == "compare" else size * 3, decode, bits
    ),
    st.integers(0, 60),
    _BITS,
    st.sampled_from([1 << 24, 1 << 25]),
    st.sampled_from(["compare", "range"]),
)
#: Addresses at which anything can change: every block of the lowest bit, and its last byte.
_CORNERS = [block << 23 | low for block in range(1 << 9) for low in (0, 0x7FFFFF)]


@given(_SLOTS, _SLOTS, st.booleans())
def test_every_address_is_in_the_list_that_it_belongs_to(
    slot: Slot, other: Slot, yields: bool
) -> None:
    """Images: the slot's decoder answers and it is not the window. Shared: both decoders answer."""
    slot = Slot(slot.name, slot.base, slot.size, slot.decode,
                frozenset(b for b in slot.compare if b >= slot.inner_bits))  # fmt: skip
    loser = Slot("b", other.base, other.size, other.decode,
                 frozenset(b for b in other.compare if b >= other.inner_bits),
                 yields_to=("a",) if yields else ())  # fmt: skip
    if any(list(one.mistakes()) for one in (slot, loser)):
        return
    both = AddressMap([slot, loser])
    images = _inside(list(image_runs(slot)))
    shared = _inside([run for one in contests(both) for run in contested_runs(one)])
    for address in _CORNERS:
        window = slot.base <= address < slot.base + slot.size
        assert (address in images) == (slot.answers(address) and not window)
        assert (address in shared) == (yields and slot.answers(address) and loser.answers(address))
        if address in shared:
            assert rivals(both, address) == [loser]


def _inside(runs: list[tuple[int, int]]) -> set[int]:
    """Return the corners that runs contain; the runs are in order and do not touch."""
    for (_, last), (first, _) in pairwise(runs):
        assert last < first
    return {
        corner
        for first, last in runs
        for corner in _CORNERS[bisect_left(_CORNERS, first) : bisect_right(_CORNERS, last)]
    }


SHARED = """\
clock = "16 MHz"
[slot.levers]
model = "gpio"
base = 0x4000_0000
size = 0x4000
yields_to = ["telegraph"]
[slot.telegraph]
model = "uart"
base = 0x4000_1000
size = 0x1000
[slot.lamps]
model = "pulse_led"
lamps = 8
base = 0x4400_0000
size = 0x1000
compare = "31..24"
[traffic]
file = "day.steps"
"""


@pytest.fixture
def bench(tmp_path: Path) -> str:
    """Return a bench in which the telegraph answers inside the window of the levers."""
    (tmp_path / "bench.toml").write_text(SHARED, encoding="utf-8")
    (tmp_path / "day.steps").write_text("write 0x40001000 0x41\n", encoding="utf-8")
    return str(tmp_path)


def test_map_lists_images_and_who_wins(capsys: pytest.CaptureFixture[str], bench: str) -> None:
    """In words on the page, as runs in the object."""
    page = say(capsys, "map", bench)
    assert "Images, counted from 0; image 0 is the slot's window above" in page
    assert "0x44001000..0x44ffffff  lamps  images 1..4,095" in page
    assert "0x40001000..0x40001fff  telegraph answers; levers gives way to it" in page
    found = json.loads(say(capsys, "map", bench, "--json"))
    assert found["images"] == [{"slot": "lamps", "first": 0x44001000, "last": 0x44FFFFFF}]
    assert found["shared"] == [
        {"first": 0x40001000, "last": 0x40001FFF, "answers": "telegraph", "yields": "levers"}
    ]
    assert found["images_complete"] is found["shared_complete"] is True


def test_map_lists_the_first_of_many_images(capsys: pytest.CaptureFixture[str], bench: str) -> None:
    """Scattered images are many runs: the page has the first eight, the object sixty-four."""
    words = ("map", bench, "--set", 'slot.lamps.compare="31..26, 12"')
    page = say(capsys, *words)
    assert "0x44002000..0x44002fff  lamps  image 1\n" in page
    assert "and more                lamps  8,192 images in all, 0 to 8,191" in page
    found = json.loads(say(capsys, *words, "--json"))
    assert (len(found["images"]), found["images_complete"]) == (64, False)


def test_where_says_who_wins(capsys: pytest.CaptureFixture[str], bench: str) -> None:
    """Only where two slots decode the address."""
    page = " ".join(say(capsys, "where", bench, "0x40001002").split())
    assert "who wins telegraph: levers decodes this address too, and gives way to telegraph" in page
    assert "of a halfword: data bits 31..16, lanes 1100" in page
    assert "who wins" not in say(capsys, "where", bench, "0x40002000")
    (found,) = json.loads(say(capsys, "where", bench, "0x40001001", "--json"))["addresses"]
    assert (found["wins_over"], found["byte_lanes"]) == (["levers"], "0010")
    assert found["halfword_lanes"] is None
