"""The picture of an address map."""

from __future__ import annotations

from itertools import pairwise

import pytest

from busbox.map.slots import SPACE, AddressMap, Slot
from busbox.pictures import Look, TooNarrow, map_picture
from busbox.pictures.address_map import pieces_of, size_words
from tests.pictures.geometry import check_geometry, texts, words

pytestmark = pytest.mark.quick

IMAGED = Slot("lamps", 0x4400_0000, 0x4000, "compare", frozenset(range(24, 32)))
CABIN = AddressMap(
    [
        Slot("levers", 0x4000_0000, 0x1000),
        Slot("telegraph", 0x4000_1000, 0x30, "range"),
        IMAGED,
        Slot("tables", 0xFFFF_0000, 0x1_0000),
    ]
)
BENT = AddressMap([Slot("over", 0, 0x10, "compare", frozenset([31])), Slot("end", 0x8000_0000, 4)])


@pytest.mark.parametrize("look", [Look(), Look(358, dark=True), Look(490)], ids=str)
@pytest.mark.parametrize("drawn", [CABIN, BENT, AddressMap([])], ids=["cabin", "bent", "empty"])
def test_nothing_is_outside_or_on_top_of_other_texts(drawn: AddressMap, look: Look) -> None:
    """All texts are in the frame and apart, and the picture is the same each time."""
    picture = map_picture(drawn, look)
    check_geometry(picture)
    assert picture == map_picture(drawn, look)


def test_pieces_are_all_addresses_in_order() -> None:
    """The right bar has no hole, and a piece's ends decode to what the piece names."""
    for drawn in (CABIN, BENT):
        pieces = pieces_of(drawn)
        assert [pieces[0].first, pieces[-1].last] == [0, SPACE - 1]
        for one, other in pairwise(pieces):
            assert one.last + 1 == other.first
        for piece in (one for one in pieces if one.slot):
            for address in (piece.first, piece.last):
                found = drawn.decode(address)
                assert (found.slot, found.image) == (piece.slot, piece.image)


def test_a_map_says_addresses_images_and_gaps() -> None:
    """The words of the picture are those of the map."""
    said = words(map_picture(CABIN, Look()))
    for text in (
        "levers", "0x40000000..0x40000fff", "telegraph", "48 bytes", "gap: 1 GiB",
        "lamps, image 1", "16 KiB; 1,023 images: bits 23..14 are not compared",
        "1,020 more images of lamps gap: ",
    ):  # fmt: skip
        assert text in said


def test_sizes_are_exact() -> None:
    """A size in words adds up to its bytes."""
    assert size_words(SPACE - 0x1000_0401) == "3 GiB 767 MiB 1,022 KiB 1,023 bytes"
    assert size_words(1) == "1 byte"


def test_a_name_that_does_not_fit_is_refused_with_the_width_it_needs() -> None:
    """Nothing is cut: at the width that the refusal names, the picture fits."""
    wide = AddressMap([Slot("signal_" * 8, 0, 4)])
    with pytest.raises(TooNarrow) as refused:
        map_picture(wide, Look(480))
    check_geometry(map_picture(wide, Look(refused.value.least)))


def test_paper_is_left_out_if_asked() -> None:
    """Transparent pictures have no area of the size of the sheet; their texts stay."""
    plain, clear = (map_picture(CABIN, Look(transparent=one)) for one in (False, True))
    assert [one.text for one in texts(plain)] == [one.text for one in texts(clear)]
    assert '<rect width="720"' in plain
    assert '<rect width="720"' not in clear
