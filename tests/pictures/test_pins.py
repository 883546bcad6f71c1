"""The picture of pins between two times."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from busbox import Recording
from busbox.pictures import Look, pins_picture
from busbox.pictures.pins import DENSE, stretches
from busbox.recording.parts import Line
from tests.pictures.geometry import check_geometry, words

pytestmark = pytest.mark.quick

LINES = st.lists(st.tuples(st.integers(1, 9), st.integers(0, 2)), max_size=12)


def _line(steps: list[tuple[int, int]]) -> Line:
    """Return a line that changes after so many cycles, to another level."""
    cycles, levels = [0], [0]
    for after, more in steps:
        cycles.append(cycles[-1] + after)
        levels.append((levels[-1] + 1 + more % 2) % 3)
    return Line("out", np.array(cycles), np.array(levels), np.full(len(cycles), -1))


@settings(max_examples=200)
@given(LINES, st.integers(0, 60), st.integers(0, 60), st.integers(1, 5))
def test_a_strip_is_the_line_cycle_by_cycle(
    steps: list[tuple[int, int]], one: int, other: int, pixel: int
) -> None:
    """All cycles are in the strip, in order; what is not dense is the level of a plain look-up."""
    line, (first, last) = _line(steps), sorted((one, other))
    found = stretches(line, first, last, pixel)
    seen = [(cycle, what) for begin, end, what in found for cycle in range(begin, end)]
    assert [cycle for cycle, _ in seen] == list(range(first, last + 1))
    for cycle, what in seen:
        level = [
            value
            for since, value in zip(line.cycles.tolist(), line.levels.tolist(), strict=True)
            if since <= cycle
        ][-1]
        assert what in (level, DENSE)
        assert pixel > 1 or what != DENSE


@pytest.mark.parametrize("look", [Look(), Look(340, dark=True)], ids=str)
@pytest.mark.parametrize("span", [(0, 6863), (2000, 2200), (2049, 2049)])
def test_pins_that_move_are_shown(light: Recording, look: Look, span: tuple[int, int]) -> None:
    """A pin is named exactly if it is high in some cycle, or has an edge; nothing overlaps."""
    picture = pins_picture(light, *span, look)
    check_geometry(picture)
    assert picture == pins_picture(light, *span, look)
    said = words(picture).split()
    for pin, line in light.lines.items():
        inside = {
            int(line.levels[np.searchsorted(line.cycles, cycle, side="right") - 1])
            for cycle in range(span[0], span[1] + 1)
        }
        assert (pin in said) == (1 in inside or len(inside) > 1), pin


def test_cycles_that_the_run_has_not_are_refused(light: Recording) -> None:
    """The message gives those that it has."""
    with pytest.raises(ValueError, match="cycles must be from 0 to 6,863 in order, not 5 to 4"):
        pins_picture(light, 5, 4, Look())
