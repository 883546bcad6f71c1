"""What many edges of the lamp line depend on, worked out by frames: a line has a million of them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from busbox.basics.phrases import GAP, Phrases
from busbox.device import NO_ACCESS, Past, Reasons

_PULSES = {"HIGH": "high times", "PERIOD": "bit time and gap"}


def reasons(said: Sequence[str], lamps: int, cycles: NDArray[Any], past: Past) -> Iterator[Reasons]:
    """Yield the colour of the lamp that is being sent, and the registers that set its pulses.

    Parameters
    ----------
    said : what each bit of a lamp is, with a gap for the number of the lamp
    lamps : that the device has
    cycles : of the edges, in order
    """
    frames = past.begun(("frame",), cycles)
    lamp, bit = np.full(len(cycles), -1), np.zeros(len(cycles), dtype="i8")
    colours = np.full(len(cycles), NO_ACCESS)
    pulses = {name: np.full(len(cycles), NO_ACCESS) for name in _PULSES}
    for edges in np.split(np.arange(len(cycles)), np.flatnonzero(np.diff(frames)) + 1):
        first = int(frames[edges[0]]) if len(edges) else -1
        if first < 0:
            continue
        period = max(1, past.word("PERIOD", first - 1) & 0xFFFF)
        place, bit[edges] = np.divmod((cycles[edges] - first) // period, len(said))
        sent = place < min(past.word("COUNT", first - 1), lamps)
        lamp[edges[sent]] = place[sent]
        for one in np.unique(place[sent]).tolist():
            begin = first + one * len(said) * period
            colours[edges[place == one]] = past.write(f"COLOUR.{one}", begin - 1)
        for name, column in pulses.items():
            column[edges] = past.write(name, first - 1)
    has_lamp, in_frame = (lamp >= 0).astype("i8"), (frames >= 0).astype("i8")
    what = Phrases.filled(["", *said], has_lamp * (1 + bit), lamp)
    yield Reasons(what, Phrases.filled(["", f"COLOUR.{GAP}"], has_lamp, lamp), colours)
    for name, text in _PULSES.items():
        yield Reasons(
            Phrases.filled(["", text], in_frame), Phrases.filled(["", name], in_frame), pulses[name]
        )
