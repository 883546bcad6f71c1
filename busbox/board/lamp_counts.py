"""Which cycle counts would meet a profile at the clock of a line."""

from __future__ import annotations

from busbox.basics.units import show_clock
from busbox.board.attachment import Advice
from busbox.board.lamp_reading import LampReading
from busbox.lines.clocks import Choice, fit


def counts_that_fit(reading: LampReading) -> str:
    """Return the counts of the choice with the largest worst margin, as a hint."""
    clock, choice = show_clock(_hertz(reading)), _choice(reading)
    look = f'busbox timing "{clock}"'
    if choice is None:
        return f"No cycle counts at {clock} meet {reading.name}: choose another clock ({look})."
    return (
        f"To meet {reading.name} at {clock}, use {choice.zero_high:,} cycles high for a zero and "
        f"{choice.one_high:,} for a one, {choice.period:,} for a bit and {choice.gap:,} for the latch "
        f"gap ({look})."
    )


def advice_for(reading: LampReading) -> Advice:
    """Return the same for the registers of a sender; none for a capture."""
    choice = None if reading.wave.sampling else _choice(reading)
    if choice is None:
        return Advice()
    return Advice({
        "zero_high": choice.zero_high, "one_high": choice.one_high, "period": choice.period,
        "gap": choice.gap,
    })  # fmt: skip


def _hertz(reading: LampReading) -> int:
    return round(1 / reading.wave.tick)


def _choice(reading: LampReading) -> Choice | None:
    return fit(reading.read.profile, _hertz(reading)).choice
