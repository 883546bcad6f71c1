"""A decoded lamp line, for programs."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

import numpy as np

from busbox.board.lamp_reading import LampReading
from busbox.lines.bits import SHIFTS
from busbox.lines.lamps import Judgement
from busbox.lines.profiles import CHANNELS

#: How many failing times are listed for each profile.
LISTED = 20


def facts_of(reading: LampReading) -> dict[str, Any]:
    """Return it as JSON holds it."""
    frames, colours = reading.read.frames, _colours(reading, reading.read)
    return {
        "profile": reading.name if len(reading.judged) == 1 or not reading.wrong else None,
        "frames": colours,
        "light": reading.string.light,
        "bits": len(reading.read.bits.begin),
        "broken": int(np.count_nonzero(frames.broken[frames.latched])),
        "unlatched": int(np.count_nonzero(~frames.latched)),
        "windows": _windows(reading.read),
        "verdict": reading.verdict(),
        "supply": _supply_facts(reading),
        "flashes": {
            kind: max((one.most for one in reading.flashing if one.kind == kind), default=0)
            for kind in ("general", "red")
        },
        "profiles": {
            name: _profile_facts(reading, one, colours) for name, one in reading.judged.items()
        },
    }


def _profile_facts(
    reading: LampReading, one: Judgement, read: list[list[list[int]]] | None
) -> dict[str, Any]:
    """Return the facts of a profile; ``frames`` only where they differ from ``read``."""
    first = [one.failures.at(place) for place in range(min(len(one.failures), LISTED))]
    facts: dict[str, Any] = {
        "passes": one.passes,
        "failing_bits": one.failing_count,
        "first_failing": [
            {"frame": frame, "lamp": lamp, "bit": bit, "window": key, "ticks": ticks}
            for frame, lamp, bit, key, ticks in first
        ],
        "windows": _windows(one),
    }
    colours = _colours(reading, one)
    if colours is not None and colours != read:
        facts["frames"] = colours
    return facts


def _colours(reading: LampReading, one: Judgement) -> list[list[list[int]]] | None:
    """Return the channels of every lamp in every frame that is latched."""
    if not one.profile.colours:
        return None
    latched = np.flatnonzero(one.frames.latched).tolist()
    return [[_split(reading, lamp) for lamp in one.frames.colours_of(n)] for n in latched]


def _supply_facts(reading: LampReading) -> dict[str, Any] | None:
    if reading.supply is None:
        return None
    return {
        "peak_amperes": float(reading.supply.peak),
        "average_amperes": float(reading.supply.average),
        "amperes_from": [[tick, float(amperes)] for tick, amperes in reading.current or ()],
    }


def _split(reading: LampReading, colour: int) -> list[int]:
    """Return red, green, blue (and white) of a colour."""
    return [colour >> SHIFTS[one] & 0xFF for one in CHANNELS[reading.string.channels]]


def _windows(one: Judgement) -> dict[str, Any]:
    """Return the measures for programs, in nanoseconds; windows without a time are left out."""

    def number(value: Fraction | None) -> float | None:
        return None if value is None else float(value)

    return {
        key: {
            "count": measure.count,
            "mean_ns": number(measure.mean),
            "min_ns": number(measure.least),
            "max_ns": number(measure.most),
            "worst_margin_ns": number(measure.margin),
            "worst_margin_ticks": number(measure.margin_ticks),
            "outside": measure.failing,
        }
        for key, measure in one.measures.items()
        if measure.count
    }
