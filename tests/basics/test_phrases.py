"""Texts as forms and numbers."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from busbox.basics.distinct import numbered
from busbox.basics.phrases import GAP, Phrases

pytestmark = pytest.mark.quick

WORDS = st.sampled_from(["frame", "3", "0", "07", "1,234", "0x41", "12", "62.5", "a7", "-"])
TEXTS = st.lists(WORDS, max_size=5).map(" ".join)
#: Rows of texts: what several have at the same places.
TABLES = st.integers(0, 3).flatmap(
    lambda parts: st.lists(st.lists(TEXTS, min_size=parts, max_size=parts), max_size=12)
)


@given(st.lists(TEXTS))
def test_texts_come_out_again(texts: list[str]) -> None:
    """Each text is what was given; texts that differ in their numbers share a form."""
    phrases = Phrases.of(texts)
    assert [*phrases] == texts
    assert len(set(phrases.forms)) == len(phrases.forms) <= len({*texts})


@given(TABLES)
def test_joined_texts_are_those_of_plain_joining(table: list[list[str]]) -> None:
    """Parts without a text leave no separator behind, whatever the forms of the others are."""
    parts = [Phrases.of(column) for column in zip(*table, strict=True)]
    expected = ["; ".join(one for one in row if one) for row in table] if parts else []
    assert [*Phrases.joined(parts, "; ")] == expected


@given(st.lists(TEXTS), st.integers(0, 5), st.randoms())
def test_texts_are_placed_among_empty_ones(texts: list[str], more: int, random: object) -> None:
    """What stands at the places comes out there, and nothing elsewhere."""
    count = len(texts) + more
    places = sorted(random.sample(range(count), len(texts)))  # type: ignore[attr-defined]
    expected = [""] * count
    for place, text in zip(places, texts, strict=True):
        expected[place] = text
    assert [*Phrases.of(texts).placed(np.array(places, dtype="i8"), count)] == expected


def test_gaps_are_filled_from_the_left() -> None:
    """A form takes as many of the columns as it has gaps."""
    forms = ["", f"lamp {GAP}", f"lamp {GAP}, bit {GAP}"]
    phrases = Phrases.filled(forms, np.array([2, 0, 1]), np.array([7, 8, 9]), np.array([1, 2, 3]))
    assert [*phrases] == ["lamp 7, bit 1", "", "lamp 9"]


@given(st.lists(st.integers(0, 1 << 20) | st.integers(0, 9)))
def test_different_numbers_are_those_of_sorting(numbers: list[int]) -> None:
    """With a small table or a large range, in any order. Source: numpy.unique."""
    for given_ in (numbers, [one % 7 for one in numbers]):
        values, places = numbered(np.array(given_, dtype="i8"))
        plain = np.unique(np.array(given_, dtype="i8"), return_inverse=True)
        assert (values.tolist(), places.tolist()) == (plain[0].tolist(), plain[1].tolist())
