"""The rule ``supply-current``."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial
from typing import TYPE_CHECKING

from busbox.basics.units import show_current
from busbox.findings.rule import RunFacts, Sighting

if TYPE_CHECKING:
    from fractions import Fraction


def supply_current(facts: RunFacts) -> Iterator[Sighting]:
    """The lamps draw more current than their supply gives.

    It hurts because the voltage falls: colours fade, the board resets, wires get hot. Only where the
    bench says ``supply``, which all strings share. What dark lamps draw is not counted.

    Example
    -------
    Four lamps at full white, at 20 mA a channel (set ``mistakes``, bench ``lamp_supply``)::

        supply = "200 mA"

        write lamps.COLOUR.0 0xffffff
        write lamps.COLOUR.1 0xffffff
        write lamps.COLOUR.2 0xffffff
        write lamps.COLOUR.3 0xffffff
        write lamps.CONTROL 1
        pause 200 us

    Finding
    -------
    The lamps draw 240 mA from cycle 2725 on; the supply gives 200 mA.

    try: Take a larger supply, or dim the lamps. Feed a string from its own supply, fused and sized
    for it, never from a board's pin beyond a few lamps; local codes and licensed practice decide.

    What to do
    ----------
    Add up what the lamps draw in the brightest picture that you will ever show, and take a supply with
    room above that. This is an estimate: local codes and licensed practice decide.
    """
    from busbox.board.decoding import total_current

    limit = facts.system.supply
    if limit is None:
        return
    above = False
    for tick, total, name in total_current(facts.decoded_lines):
        if total > limit and not above:
            decoded = facts.decoded_lines[name]
            slot = facts.system.devices[decoded.attached.device].name
            describe = partial(_describe_supply, tick, total, limit)
            yield Sighting(
                tick, decoded.access_at(tick), slot, decoded.attached.pin, name, describe
            )
        above = total > limit


def _describe_supply(tick: int, total: Fraction, limit: Fraction) -> tuple[str, str]:
    return (
        f"The lamps draw {show_current(total)} from cycle {tick} on; the supply gives "
        f"{show_current(limit)}.",
        "Take a larger supply, or dim the lamps. Feed a string from its own supply, fused and sized "
        "for it, never from a board's pin beyond a few lamps; local codes and licensed practice "
        "decide.",
    )
