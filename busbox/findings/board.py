"""Rules about what the board sees: the times of a line, colours, current, flashing light."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial
from itertools import permutations
from typing import TYPE_CHECKING

from busbox.basics.units import show_current
from busbox.findings.rule import RunFacts, Sighting, told
from busbox.lines.bits import SHIFTS

if TYPE_CHECKING:
    from fractions import Fraction

    from busbox.board.decoding import DecodedLine


def pulse_width(facts: RunFacts) -> Iterator[Sighting]:
    """A pulse on a lamp line, or the low after it, is shorter or longer than the lamps allow.

    It hurts because a lamp may take the bit for the other one, and each part decides differently. Where
    the bench names no profile, it is told only if none is kept.

    Example
    -------
    The pulses were right at 16 MHz, 7 and 13 of 20 clocks. The clock of the cabin is 24 MHz now (set
    ``mistakes``, bench ``lamp_clock``)::

        clock = "24 MHz"

        write lamps.HIGH 0x000d0007
        write lamps.PERIOD 0x1c200014
        write lamps.COLOUR.0 0x400000
        write lamps.CONTROL 1

    Finding
    -------
    string: No profile is kept; P3 is the nearest: the low after a zero in frame 0, lamp 0, bit 0
    lasts 13 clocks (541.667 ns); P3 allows 580..1600 ns (47 of 48 bits fail).

    try: Change the counts of the sender: at this clock P3 allows 14 to 38 clocks. The summary shows
    every profile; profile = NAME judges by one.

    What to do
    ----------
    Compute the counts from the clock: ``busbox timing CLOCK`` names those that keep each profile. On a
    bit-banged line an interrupt does the same: see the set ``bit_banging``.
    """
    return told(facts, "pulse-width")


def latch_gap(facts: RunFacts) -> Iterator[Sighting]:
    """The pause between two frames on a lamp line is too short to end a frame.

    It hurts because the bits of the next frame leave the string behind the last lamp: the old picture
    stays.

    Example
    -------
    Two frames with a gap of 240 clocks, 15 us at 16 MHz (set ``mistakes``, bench ``lamp_gap``)::

        write lamps.HIGH 0x000d0007
        write lamps.PERIOD 0x00f00014
        write lamps.CONTROL 1
        poll  lamps.STATUS & 1 == 0 every 10 limit 1000
        write lamps.CONTROL 1

    Finding
    -------
    string: The latch gap behind frame 0 lasts 257 clocks (16.062 us), so that the lamps take what
    follows for the same frame; P4 allows > 50 us.

    try: Let it last longer: at this clock P4 allows 801 clocks or more.

    What to do
    ----------
    Raise the gap in PERIOD (bits 31..16), or wait longer before the next frame. Parts differ much here:
    50 us are enough for some, others ask for 280 us (``busbox timing CLOCK``).
    """
    return told(facts, "latch-gap")


def broken_bit_count(facts: RunFacts) -> Iterator[Sighting]:
    """A frame on a lamp line has bits too many or too few for whole lamps.

    It hurts because the lamps behind the broken place show bits of their neighbours, or old colours.

    Example
    -------
    A reset cuts a frame of two lamps (set ``mistakes``, bench ``lamp_bits``)::

        [[reset]]
        at = 615

        write lamps.CONTROL 1
        pause 100 us
        pause 100 us

    Finding
    -------
    string: Frame 0 has 31 bits, 7 beyond 1 whole lamp of 24 bits each: a chain is a bit too long or
    too short, and lamps show other colours than those sent.

    try: Look for a pulse that was lost or cut: a reset in the frame, a gap inside it, a loop that
    ends too early.

    What to do
    ----------
    If the string has four channels, say so: ``channels = 4``. Else follow the frame's edges back to the
    traffic (``busbox why``), and count the bits that the firmware sends.
    """
    return told(facts, "broken-bit-count")


def colour_order(facts: RunFacts) -> Iterator[Sighting]:
    """The lamps show the colours that were meant, but with their channels exchanged.

    It hurts because red means stop. The order of the channels on the wire differs from part to part;
    device and lamps must have the same.

    Example
    -------
    The string takes red first; the device sends green first (set ``mistakes``, bench
    ``lamp_order``)::

        [attach.string]
        kind = "lamp_string"
        order = "RGB"

        write lamps.COLOUR.0 0x400000
        write lamps.COLOUR.1 0x004020
        write lamps.CONTROL 1

    Finding
    -------
    string: The lamps show red as green and green as red: frame 0 was meant as 400000 004020, and
    shows 004000 400020.

    try: Give lamps the order of the lamps (string has RGB), or look it up in their data sheet.

    What to do
    ----------
    Look the order up in the lamps' data sheet, and set it in one place: ``order`` of the device, which
    is built into the hardware, or the shifts in the firmware.
    """
    for name, decoded in facts.decoded_lines.items():
        slot = facts.system.devices[decoded.attached.device].name
        meant, frames = facts.recording.frames.get(slot), decoded.report.frames
        if not meant or not frames:
            continue
        sent = {frame.cycle: frame for frame in meant}
        pairs = [
            (number, begin, shows, sent[begin].colours, colours)
            for number, (begin, shows, colours) in enumerate(frames)
            if begin in sent
        ]
        places = _exchange([(wanted, shown) for *_, wanted, shown in pairs])
        if places is None:
            continue
        number, begin, cycle, wanted, shown = next(
            one for one in pairs if any(a != b for a, b in zip(one[3], one[4], strict=False))
        )
        tell = partial(_tell_order, facts, name, decoded, places, number, wanted, shown)
        yield Sighting(cycle, sent[begin].access, slot, decoded.attached.pin, name, tell)


_NAMES = {"R": "red", "G": "green", "B": "blue", "W": "white"}


def _exchange(pairs: list[tuple[tuple[int, ...], tuple[int, ...]]]) -> dict[str, str] | None:
    """Return which channel shows which, if one exchange makes all frames equal and they are not so.

    A string may have fewer lamps than were meant. Of several exchanges, the one that leaves most
    channels in place.
    """
    different = {
        (one, other)
        for wanted, shown in pairs
        for one, other in zip(wanted, shown, strict=False)
    }  # fmt: skip
    if all(one == other for one, other in different):
        return None
    wide = any(max(pair) > 0xFFFFFF for pair in different)
    letters = "RGBW" if wide else "RGB"
    found = []
    for order in permutations(letters):
        places = dict(zip(letters, order, strict=True))
        if all(_moved(one, places) == other for one, other in different):
            found.append(places)
    return max(found, key=lambda one: sum(a == b for a, b in one.items()), default=None)


def _moved(colour: int, places: dict[str, str]) -> int:
    """Return a colour whose channels show as others."""
    moved = 0
    for channel, shown in places.items():
        moved |= (colour >> SHIFTS[channel] & 0xFF) << SHIFTS[shown]
    return moved


def _tell_order(
    facts: RunFacts,
    name: str,
    decoded: DecodedLine,
    places: dict[str, str],
    number: int,
    wanted: tuple[int, ...],
    shown: tuple[int, ...],
) -> tuple[str, str]:
    slot = facts.system.devices[decoded.attached.device].name
    moved = [(a, b) for a, b in places.items() if a != b]
    words = [f"{_NAMES[a]} as {_NAMES[b]}" for a, b in moved]
    listed = ", ".join(words[:-1]) + (" and " if len(words) > 1 else "") + words[-1]
    row, sent = (" ".join(f"{one:06x}" for one in colours[:8]) for colours in (shown, wanted))
    order = str(decoded.attached.part.options.get("order") or "its profile's")
    return (
        f"{name}: The lamps show {listed}: frame {number} was meant as {sent}, and shows {row}.",
        f"Give {slot} the order of the lamps ({name} has {order}), or look it up in their data sheet.",
    )


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
            tell = partial(_tell_supply, tick, total, limit)
            yield Sighting(tick, decoded.access_at(tick), slot, decoded.attached.pin, name, tell)
        above = total > limit


def _tell_supply(tick: int, total: Fraction, limit: Fraction) -> tuple[str, str]:
    return (
        f"The lamps draw {show_current(total)} from cycle {tick} on; the supply gives "
        f"{show_current(limit)}.",
        "Take a larger supply, or dim the lamps. Feed a string from its own supply, fused and sized "
        "for it, never from a board's pin beyond a few lamps; local codes and licensed practice "
        "decide.",
    )


def flash_rate(facts: RunFacts) -> Iterator[Sighting]:
    """A lamp flashes more often than three times in a second.

    It hurts because flashing light can cause seizures (WCAG 2.2, success criterion 2.3.1). Each lamp is
    judged alone, by its values: size, brightness and distance are not known here.

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
    Blink at 3 Hz or slower, or change by less than 10 % of full white. Saturated red is
    judged apart, by the older working definition.
    """
    return told(facts, "flash-rate")
