"""The colours of pictures."""

from __future__ import annotations

from itertools import pairwise

import pytest

from busbox.pictures.palette import COLOURS, LEAST_CONTRAST, PATTERNS, colour, contrast

pytestmark = pytest.mark.quick


def test_contrast_is_that_of_the_standard() -> None:
    """Known ratios come out.

    Source: WCAG 2.2: black on white is 21 to 1; #767676 is the lightest grey with 4.5 to 1 on white
    (common practice, no source).
    """
    assert contrast("#000000", "#FFFFFF") == pytest.approx(21)
    assert contrast("#FFFFFF", "#FFFFFF") == pytest.approx(1)
    assert contrast("#767676", "#FFFFFF") > 4.5 > contrast("#777777", "#FFFFFF")


@pytest.mark.parametrize("dark", [False, True])
def test_every_colour_can_be_read_on_its_paper(dark: bool) -> None:
    """Each colour of text and areas has the promised contrast with the paper."""
    paper = colour("paper", dark)
    for name in COLOURS.keys() - {"paper"}:
        assert contrast(colour(name, dark), paper) >= LEAST_CONTRAST[dark], name


def test_each_colour_has_a_pattern_of_its_own() -> None:
    """No two colours are filled alike."""
    assert PATTERNS.keys() == COLOURS.keys() - {"paper", "ink"}
    assert all(one != other for one, other in pairwise(sorted(PATTERNS.values())))
