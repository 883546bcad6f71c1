"""The use of the bus over time as one line of text: each character stands for as many cycles."""

from __future__ import annotations

import numpy as np

from busbox.basics.listing import counted
from busbox.basics.paper import Paper
from busbox.basics.units import show_time
from busbox.recording import IntColumn, Recording

#: Characters of the strip, at any width of the page: it fits the narrowest one.
CELLS = 32
#: What stands for no access, and for the busy tenths of a stretch, up to all of it.
PLAIN = ".0123456789"
#: The same in eighths: the block elements of Unicode (U+2581 to U+2588).
BLOCKS = "\u00b7▁▂▃▄▅▆▇█"


def busy_in(recording: Recording, cells: int) -> tuple[IntColumn, IntColumn]:
    """Return, for equal stretches of a run, their lengths and the cycles with an access up.

    Stretch k begins in cycle floor(k x cycles / cells).
    """
    accesses = recording.accesses
    edges = np.arange(cells + 1) * recording.cycles // cells
    start, after = accesses.start.astype("i8"), accesses.end.astype("i8") + 1
    total = np.concatenate([[0], np.cumsum(after - start)])
    before = np.searchsorted(start, edges)
    under_way = np.concatenate([[0], after])[before] - edges
    busy = total[before] - np.where(before > 0, np.maximum(under_way, 0), 0)
    return np.diff(edges), np.diff(busy)


def write_strip(recording: Recording, paper: Paper) -> None:
    """Write the strip, and what a character of it means; nothing without an access."""
    if not len(recording.accesses):
        return
    cells = min(CELLS, recording.cycles)
    lengths, busy = busy_in(recording, cells)
    letters = BLOCKS if paper.blocks else PLAIN
    most = len(letters) - 1
    strip = "".join(
        letters[0 if not up else min(1 + up * most // length, most)]
        for length, up in zip(lengths.tolist(), busy.tolist(), strict=True)
    )
    paper.line("  ", (strip, "bold"))
    each = -(-recording.cycles // cells)
    scale = "higher is busier" if paper.blocks else "0 to 9: tenths of it with an access"
    paper.line(
        f"  use over time: a character is {counted(each, 'cycle')} "
        f"({show_time(each, recording.clock_hz)}); {letters[0]} none, {scale}"
    )
