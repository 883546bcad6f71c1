"""The picture of an address being decoded."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from busbox.map.slots import AddressMap, Slot
from busbox.pictures import Look, decode_picture
from busbox.pictures.decoding import cell_colour
from tests.pictures.geometry import check_geometry, words

pytestmark = pytest.mark.quick

LAMPS = Slot("lamps", 0x4400_0000, 0x1000, "compare", frozenset(range(28, 32)))
CABIN = AddressMap(
    [
        Slot("levers", 0x4000_0000, 0x1000),
        Slot("telegraph", 0x4000_1000, 0x30, "range"),
        replace(LAMPS, yields_to=("levers", "telegraph")),
    ]
)  # fmt: skip


@pytest.mark.parametrize("dark", [False, True])
@pytest.mark.parametrize("address", [0x4000_0008, 0x4000_1004, 0x4100_0000, 0x9000_0000])
@pytest.mark.parametrize("width", [340, 640, 720, 1200])
def test_nothing_is_outside_or_on_top_of_other_texts(address: int, width: int, dark: bool) -> None:
    """All texts are in the frame and apart, and the picture is the same each time."""
    picture = decode_picture(CABIN, address, Look(width, dark))
    check_geometry(picture)
    assert picture == decode_picture(CABIN, address, Look(width, dark))


def test_every_slot_says_why_it_answers_or_not() -> None:
    """One verdict a slot: the winner, who gives way, and who differs in which bits."""
    said = words(decode_picture(CABIN, 0x4000_0008, Look()))
    assert "answers, at offset 0x8" in said
    assert "below 0x40001000..0x4000102f" in said
    assert "would answer, but gives way to levers" in said
    said = words(decode_picture(CABIN, 0x9000_0000, Look()))
    assert "no slot answers" in said
    assert "bits 31..30, 28 differ" in said


@settings(max_examples=200)
@given(st.integers(0, 2**32 - 1))
def test_the_colours_are_the_decoder(address: int) -> None:
    """A slot answers if no cell is different; of each colour there are as many cells as bits."""
    cells = Counter(cell_colour(LAMPS, address, bit) for bit in range(32))
    assert (cells["orange"] == 0) == LAMPS.answers(address)
    assert (cells["blue"] + cells["orange"], cells["grey"], cells["purple"]) == (4, 16, 12)
