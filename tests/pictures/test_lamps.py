"""The picture of lamps over time."""

from __future__ import annotations

import dataclasses
import re

import pytest

from busbox import Recording, load_bench
from busbox.lines.colour import on_screen
from busbox.pictures import Look, TooNarrow, lamps_picture
from busbox.pictures.palette import contrast, letter_on
from busbox.recording import Frame
from tests.pictures.geometry import check_geometry, words

pytestmark = pytest.mark.quick


@pytest.mark.parametrize("dark", [False, True])
@pytest.mark.parametrize("bench", ["first_light", "mistakes/lamp_flash", "mistakes/lamp_order"])
def test_the_colours_are_those_of_the_run(bench: str, dark: bool) -> None:
    """As many swatches as lamps sent and shown, with their light; texts apart and in the frame."""
    run = load_bench(bench).run(engine="python")
    picture = lamps_picture(run, Look(dark=dark))
    check_geometry(picture)
    assert picture == lamps_picture(run, Look(dark=dark))
    (seen,) = (one for one in run.seen.values() if one.frames is not None)
    frames = [frame.colours for sent in run.frames.values() for frame in sent]
    frames += [frame.colours for frame in seen.frames or ()]
    used = [one for frame in frames for one in frame] + _used(frames)
    expected = sorted(on_screen(one) for one in used)
    drawn = [
        int(red) << 16 | int(green) << 8 | int(blue)
        for red, green, blue in re.findall(r"<rect[^>]* fill=\"rgb\((\d+),(\d+),(\d+)\)", picture)
    ]
    assert sorted(drawn) == expected
    assert ("differs" in words(picture)) == (bench == "mistakes/lamp_order")


def _used(frames: list[tuple[int, ...]]) -> list[int]:
    """Return each colour once: the legend."""
    return list({one for frame in frames for one in frame})


def test_letters_can_be_read_on_every_colour() -> None:
    """On colours from the whole cube, the letter has the contrast that text needs.

    Source: WCAG 2.2, 1.4.3: 4.5 to 1.
    """
    letters = {"black": "#000000", "white": "#FFFFFF"}
    for value in range(0, 1 << 24, 7_001):
        assert contrast(letters[letter_on(value)], f"#{value:06X}") >= 4.5


def test_more_frames_than_fit_are_refused_with_the_width_they_need(light: Recording) -> None:
    """300 frames do not fit on a narrow sheet; on one of the least width they do."""
    ((name, frames),) = light.frames.items()
    (attached,) = (one for one, seen in light.seen.items() if seen.frames is not None)
    many = tuple(Frame(100 * place, -1, frames[0].colours) for place in range(300))
    seen = {attached: dataclasses.replace(light.seen[attached], frames=many)}
    long = dataclasses.replace(light, seen=seen)
    with pytest.raises(TooNarrow) as refused:
        lamps_picture(long, Look(480))
    picture = lamps_picture(long, Look(refused.value.least))
    check_geometry(picture)
    assert "300 not shown as sent" in words(picture) or "301 not shown as sent" in words(picture)
    assert name == "lamps"


def test_a_run_without_lamps_has_no_picture_of_them(light: Recording) -> None:
    """The message says which attachments there are."""
    with pytest.raises(ValueError, match="name must be one of none, not None"):
        lamps_picture(dataclasses.replace(light, seen={}), Look())
