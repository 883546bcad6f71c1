"""Levels of pins between two times.

A strip a pin, in the order of the bench: filled where the pin is high, a line at the foot where it is
low, an outline where it is released. Pins that stay low or released all the while are left out and
counted in words. Where more than one edge falls into a pixel, single levels cannot be seen: the strip
is dotted there, and says so. Only the ends and the middle of the time are written below: the strips
are what counts.
"""

from __future__ import annotations

import numpy as np

from busbox.basics.listing import counted
from busbox.basics.units import show_time
from busbox.device import RELEASED
from busbox.pictures.svg import MARGIN, SMALL, Look, Sheet, text_width
from busbox.recording import Recording
from busbox.recording.parts import Line

_TALL, _APART = 18.0, 8.0

#: A stretch of a strip: (first cycle, end, what): a level, or :data:`DENSE`.
Stretch = tuple[int, int, int]
DENSE = 3


def pins_picture(recording: Recording, first: int, last: int, look: Look) -> str:
    """Return the levels of all pins that are high or change between two cycles, as SVG.

    Parameters
    ----------
    first, last : cycles, both shown

    Raises
    ------
    ValueError : the cycles are not in order, or not of the run
    TooNarrow : a name does not fit
    """
    if not 0 <= first <= last < recording.cycles:
        raise ValueError(
            f"cycles must be from 0 to {recording.cycles - 1:,} in order, not {first:,} to {last:,}"
        )
    sheet = Sheet(look)
    shown = {pin: line for pin, line in recording.lines.items() if _moves(line, first, last)}
    left = MARGIN + max([text_width(pin, SMALL, mono=True) for pin in shown], default=0.0) + 10
    room = sheet.width - MARGIN - left
    scale = room / (last + 1 - first)
    title = f"Pins from {_time(recording, first)} to {_time(recording, last + 1)}"
    quiet = len(recording.lines) - len(shown)
    hidden = f" {counted(quiet, 'pin')} not shown: low or released throughout." if quiet else ""
    about = f"Cycles {first:,} to {last:,}.{hidden}"
    y = sheet.heading(title, about)
    for pin, line in shown.items():
        sheet.text(MARGIN, y + 13, pin, SMALL, mono=True)
        for begin, end, what in stretches(line, first, last, max(1.0, 1 / scale)):
            x, wide = left + (begin - first) * scale, (end - begin) * scale
            _stretch(sheet, x, y, wide, what)
        y += _TALL + _APART
    y = _times(sheet, recording, (first, last), left, y + 8)
    legend = [("blue", "high"), ("grey", "released"), ("purple", "more than one edge a pixel")]
    y = sheet.legend(y + 8, legend)
    return sheet.svg(y + MARGIN - 6, title, f"{about} Shown: {', '.join(shown) or 'none'}.")


def _moves(line: Line, first: int, last: int) -> bool:
    """Return whether a pin is high or changes in the cycles."""
    cycles, levels = _within(line, first, last)
    return len(cycles) > 1 or int(levels[0]) == 1


def _within(line: Line, first: int, last: int) -> tuple[list[int], list[int]]:
    """Return the edges between two cycles; the first is the level in the first cycle."""
    begin = int(np.searchsorted(line.cycles, first, side="right")) - 1
    end = int(np.searchsorted(line.cycles, last, side="right"))
    cycles = [max(first, one) for one in line.cycles[begin:end].tolist()]
    return cycles, line.levels[begin:end].tolist()


def stretches(line: Line, first: int, last: int, pixel: float) -> list[Stretch]:
    """Return the strip of a pin: its levels, and where they change too often to be seen.

    Parameters
    ----------
    pixel : cycles that a pixel stands for; a level that is shorter is dense, with its neighbours
    """
    cycles, levels = _within(line, first, last)
    found: list[Stretch] = []
    ends = [*cycles[1:], last + 1]
    for begin, end, level in zip(cycles, ends, levels, strict=True):
        what = DENSE if end - begin < pixel else level
        if found and found[-1][2] == what:
            found[-1] = (found[-1][0], end, what)
        else:
            found.append((begin, end, what))
    return found


def _stretch(sheet: Sheet, x: float, y: float, wide: float, what: int) -> None:
    if what == 0:
        sheet.line([(x, y + _TALL), (x + wide, y + _TALL)], "grey")
    elif what == RELEASED:
        sheet.area(x, y, wide, _TALL, "grey")
    else:
        sheet.area(x, y, wide, _TALL, "purple" if what == DENSE else "blue")


def _times(
    sheet: Sheet, recording: Recording, ends: tuple[int, int], left: float, y: float
) -> float:
    """Write the time at both ends and in the middle, where there is room."""
    first, last = ends
    right = float(sheet.width - MARGIN)
    texts = [_time(recording, first), _time(recording, last + 1)]
    half = (first + last + 1) // 2
    for text, x, anchor in ((texts[0], left, "start"), (texts[1], right, "end")):
        sheet.text(x, y + 4, text, SMALL, anchor=anchor, mono=True)
    middle = left + (right - left) * (half - first) / (last + 1 - first)
    text = _time(recording, half)
    taken = [text_width(one, SMALL, mono=True) for one in (*texts, text)]
    if (
        left + taken[0] + 12 < middle - taken[2] / 2
        and middle + taken[2] / 2 + 12 < right - taken[1]
    ):
        sheet.text(middle, y + 4, text, SMALL, anchor="middle", mono=True)
    return y + 8


def _time(recording: Recording, cycle: int) -> str:
    return show_time(cycle, recording.clock_hz)
