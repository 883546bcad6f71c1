"""The rule ``flash-rate``."""

from __future__ import annotations

from collections.abc import Iterator

from busbox.findings.rule import RunFacts, Sighting


def flash_rate(facts: RunFacts) -> Iterator[Sighting]:
    """A lamp flashes more than three times in a second.

    Why it matters: flashing light can cause seizures (WCAG 2.2, success criterion 2.3.1). Each lamp is
    judged alone, by its colours: size, brightness and distance are not known.

    Example
    -------
    A lamp blinks ten times a second (set ``mistakes``, bench ``lamp_flash``)::

        write lamps.CONTROL 3
        write lamps.COLOUR.0 0xffffff +1000
        write lamps.COLOUR.0 0 +1000
        write lamps.COLOUR.0 0xffffff +1000
        write lamps.COLOUR.0 0 +1000
        write lamps.COLOUR.0 0xffffff +1000
        write lamps.COLOUR.0 0 +1000
        write lamps.COLOUR.0 0xffffff +1000
        write lamps.COLOUR.0 0 +1000
        pause 50 ms

    Finding
    -------
    string: Lamp 0 flashes 4 times in a second, from cycle 1106 to 8189 (general flashes, WCAG 2.2,
    success criterion 2.3.1); three are allowed.

    try: Let it blink more slowly, or change less. Flashing light can cause seizures; local codes
    and licensed practice decide.

    What to do
    ----------
    Blink at 3 Hz or slower, or change by less than 10 % of full white. Saturated red is judged apart.
    """
    yield from ()  # decoders of lines report it
