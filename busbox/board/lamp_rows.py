"""A decoded lamp line, for people."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from busbox.basics.units import show_current
from busbox.board.lamp_reading import LampReading
from busbox.board.light import FLASHES
from busbox.lines.lamps import Judgement, Measure
from busbox.lines.profiles import WINDOWS, show_ns


class Rows:
    """The rows of the summary: (label, value)."""

    def __init__(self, reading: LampReading) -> None:
        self.reading = reading

    def rows(self) -> Iterator[tuple[str, str]]:
        """Yield them."""
        string, frames = self.reading.string, self.reading.read.frames
        order = string.order or self.reading.read.profile.order_for(string.channels)
        lamps = "1 lamp" if string.count == 1 else f"{string.count:,} lamps"
        yield "read as", f"{lamps}, {string.channels} channels, order {order}"
        if not len(self.reading.read.bits.begin):
            yield "line", "no pulse"
            return
        latched = int(np.count_nonzero(frames.latched))
        bits = len(self.reading.read.bits.begin)
        total = "1 bit" if bits == 1 else f"{bits:,} bits"
        yield "frames", f"{latched:,} ({total} in total)"
        if latched < len(frames):
            yield "", "the last frame was not latched: the line ends before the gap is long enough"
        if len(self.reading.judged) == 1:
            yield (
                "profile",
                f"{self.reading.name} ({self.reading.read.profile.source}): {self.reading.verdict()}",
            )
            yield from self._windows_as_text(self.reading.read)
        else:
            yield from self._table()
        yield from self._safety()

    def _safety(self) -> Iterator[tuple[str, str]]:
        """Yield current and flashes, with the caution."""
        found = self.reading.supply
        if found is not None and found.peak:
            peak, average = show_current(found.peak), show_current(found.average)
            how = f"peak {peak}, average {average}, at {show_current(self.reading.amperes)} per channel"
            yield "current", f"{how}; feed the string from its own supply, fused and sized for it"
        worst = max(self.reading.flashing, key=lambda one: one.most, default=None)
        if worst is not None and worst.most:
            yield (
                "flashes",
                (
                    f"at most {worst.most} per second (lamp {worst.lamp}, {worst.kind}); more than "
                    f"{FLASHES} can cause seizures"
                ),
            )

    def _table(self) -> Iterator[tuple[str, str]]:
        """Yield a row for each profile."""
        for name, one in self.reading.judged.items():
            if not one.meant:
                text = f"not for {self.reading.string.channels} channels"
            elif one.passes:
                text = self._worst(one)
            else:
                key = self._first_wrong(one)
                text = self._as_text(key, one.measures[key])
            text += self._taken_otherwise(one)
            latched = int(np.count_nonzero(one.frames.latched))
            if one.meant and latched != np.count_nonzero(self.reading.read.frames.latched):
                text += f"; {latched:,} frames latched"
            yield name, f"{'passes' if one.passes else 'fails'}: {text}"

    def _taken_otherwise(self, one: Judgement) -> str:
        """Return how many bits a profile reads differently from the one that the line is read by."""
        count = int(np.count_nonzero(one.bits.value != self.reading.read.bits.value))
        bits = "1 bit" if count == 1 else f"{count:,} bits"
        return f"; reads {bits} differently from {self.reading.name}" if one.meant and count else ""

    def _worst(self, one: Judgement) -> str:
        known = [(m.margin, key) for key, m in one.measures.items() if m.margin is not None]
        key = min(known)[1]
        return f"worst margin {self._margin(one.measures[key])}, {WINDOWS[key]}"

    def _margin(self, measure: Measure) -> str:
        assert measure.margin is not None
        assert measure.margin_ticks is not None
        unit = (
            self.reading.unit.removesuffix("s")
            if abs(measure.margin_ticks) == 1
            else self.reading.unit
        )
        return f"{show_ns(measure.margin)} ({float(measure.margin_ticks):.4g} {unit})"

    def _windows_as_text(self, one: Judgement) -> Iterator[tuple[str, str]]:
        for key, measure in one.measures.items():
            if measure.count:
                yield WINDOWS[key], f"{self._as_text(key, measure, named=False)}"

    def _as_text(self, key: str, measure: Measure, named: bool = True) -> str:
        assert measure.least is not None
        assert measure.most is not None
        times = show_ns(measure.least)
        if measure.most != measure.least:
            assert measure.mean is not None
            times += f" to {show_ns(measure.most)}, mean {show_ns(measure.mean)}"
        name = f"{WINDOWS[key]} " if named else ""
        wrong = f", {measure.failing:,} of {measure.count:,} outside" if measure.failing else ""
        wrong += ", the mean is outside" if measure.mean_outside else ""
        return (
            f"{name}{times}, allowed {measure.window}: worst margin {self._margin(measure)}{wrong}"
        )

    @staticmethod
    def _first_wrong(one: Judgement) -> str:
        """Return the window that is missed by the most."""
        wrong = [
            (one.margin, key)
            for key, one in one.measures.items()
            if one.margin is not None and (one.failing or one.mean_outside)
        ]
        return min(wrong)[1]
