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
    """The lamps draw more current than their supply can deliver.

    Why it matters: the voltage drops, colours fade, the board resets, wires get hot. Only checked if
    the bench sets ``supply``, which all strings share. Current of dark lamps is not counted.

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
    The lamps draw 240 mA from cycle 2,725 on; the supply delivers 200 mA.

    try: Use a larger supply, or dim the lamps. Feed a string from its own supply, fused and sized
    for it, never from a board's pin beyond a few lamps; local codes and licensed practice decide.

    What to do
    ----------
    Add up what the lamps draw in the brightest picture, and choose a supply with a margin above that.
    This is an estimate: local codes and licensed practice decide.
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
        f"The lamps draw {show_current(total)} from cycle {tick:,} on; the supply delivers "
        f"{show_current(limit)}.",
        "Use a larger supply, or dim the lamps. Feed a string from its own supply, fused and sized "
        "for it, never from a board's pin beyond a few lamps; local codes and licensed practice "
        "decide.",
    )
