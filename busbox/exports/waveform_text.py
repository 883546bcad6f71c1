"""The text of a waveform's changes (IEEE 1364-2005, 18.2.1): stamps, and the values that differ."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from busbox.basics.distinct import changed
from busbox.exports.waveform_changes import Rows

#: How a level of one bit is written, by its number; the third is that of a released pin.
LEVELS = ("0", "1", "z")


class Signal(NamedTuple):
    """A signal of the file: its identifier, its width in bits, and its value in cycle 0.

    With ``texts``, values are numbers of these: the digits that are written.
    """

    identifier: str
    size: int
    value: int
    texts: Sequence[str] = ()


class Body:
    """Writes rows as text, some cycles at a time.

    Parameters
    ----------
    signals : by their numbers
    counter : identifier of the signal that holds the cycle
    clock_hz : hertz
    """

    def __init__(self, signals: Sequence[Signal], counter: str, clock_hz: int) -> None:
        self._identifiers = [signal.identifier for signal in signals]
        self._wide = np.array([signal.size > 1 or bool(signal.texts) for signal in signals])
        self._texts = [signal.texts for signal in signals]
        self._values = np.array([signal.value for signal in signals], dtype="u4")
        self._number = np.min_scalar_type(len(signals))  # NumPy sorts small types faster
        self._levels = [f"{level}{name}\n" for name in self._identifiers for level in LEVELS]
        self._counter, self._clock_hz = counter, clock_hz
        self._cycle = 0

    def of(self, rows: Rows) -> str:
        """Return the text of all rows of some cycles; each cycle has a stamp."""
        if not len(rows.cycles):
            return ""
        new = changed(rows.cycles)
        stamped = rows.cycles[new].tolist()
        self._cycle = stamped[-1]
        kept, values = self._different(rows)
        lines = np.empty(len(stamped) + len(kept), dtype=object)
        # Each line comes after the lines before it, and after the stamps up to its own.
        stamps = np.cumsum(new)[kept]
        lines[np.arange(len(kept)) + stamps] = self._lines(rows.signals[kept], values)
        numbers = np.arange(len(stamped))
        lines[np.searchsorted(stamps, numbers, side="right") + numbers] = self._stamps(stamped)
        return "".join(lines.tolist())

    def end(self, cycle: int) -> str:
        """Return the stamp of the end."""
        return "" if cycle == self._cycle else self._stamps([cycle])[0]

    def _stamps(self, cycles: list[int]) -> list[str]:
        """Return the stamp of each cycle, round(cycle x 10**12 / f) with halves up, and the cycle."""
        twice, clock_hz, counter = 2 * 10**12, self._clock_hz, self._counter
        return [
            f"#{(cycle * twice + clock_hz) // (2 * clock_hz)}\nb{cycle:b} {counter}\n"
            for cycle in cycles
        ]

    def _different(self, rows: Rows) -> tuple[NDArray[Any], NDArray[Any]]:
        """Return the numbers of the rows in which a signal gets another value, and that value.

        Of a signal's rows in one cycle, the first gives the place, and the last the value.
        """
        order = np.argsort(rows.signals.astype(self._number), kind="stable")
        signals, values = rows.signals[order], rows.values[order]
        other = changed(signals)
        first = np.flatnonzero(other | changed(rows.cycles[order]))
        last = np.append(first[1:], len(order)) - 1
        signals, values, other = signals[first], values[last], other[first]
        before = np.roll(values, 1)
        before[other] = self._values[signals[other]]
        ends = np.roll(other, -1)
        self._values[signals[ends]] = values[ends]
        differs = values != before
        places = order[first[differs]]
        again = np.argsort(places)
        return places[again], values[differs][again]

    def _lines(self, signals: NDArray[Any], values: NDArray[Any]) -> NDArray[Any]:
        """Return the line of each value, as text."""
        lines: NDArray[Any] = np.array(self._levels, dtype=object)[
            len(LEVELS) * signals.astype("i8") + np.minimum(values, len(LEVELS) - 1)
        ]
        wide = self._wide[signals]
        keys = signals[wide].astype("u8") << 32 | values[wide]
        different, which = np.unique(keys, return_inverse=True)
        texts = [self._wide_line(key >> 32, key & 0xFFFF_FFFF) for key in different.tolist()]
        lines[wide] = np.array(texts, dtype=object)[which]
        return lines

    def _wide_line(self, signal: int, value: int) -> str:
        texts = self._texts[signal]
        return f"b{texts[value] if texts else f'{value:b}'} {self._identifiers[signal]}\n"
