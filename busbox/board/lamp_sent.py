"""Why lamps show something other than what was sent: the bit that explains it."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import permutations

import numpy as np
from numpy.typing import NDArray

from busbox.board.attachment import Explanation
from busbox.board.lamp_counts import advice_for, counts_that_fit
from busbox.board.lamp_reading import LampReading
from busbox.lines.bits import SHIFTS, Ints
from busbox.lines.profiles import CHANNELS, show_ns

Bits = NDArray[np.uint8]
_VALUES = ("zero", "one")
_INSIDE = ("as short as a zero", "as long as a one")
_BEYOND = ("shorter than any zero", "longer than any one")


def explain_frame(reading: LampReading, tick: int, sent: Sequence[int]) -> Explanation | None:
    """Return why a frame shows colours other than those sent.

    None if another finding of the string explains it: a frame with a broken number of bits, or a bit
    whose high lies between the windows.

    Parameters
    ----------
    reading : the line as the lamps read it
    tick : where the frame begins
    sent : 0xRRGGBB or 0xWWRRGGBB of each lamp
    """
    frames, channels = reading.read.frames, reading.string.channels
    frame = int(np.searchsorted(frames.begin, tick))
    if frames.broken[frame]:
        return None
    if channels == 3 and max(sent) > 0xFFFFFF:
        return Explanation(
            "four channels were sent for each lamp, and the lamps of the string take three",
            "Give the string the channels of its device (channels = 4).",
        )
    count, wanted = int(frames.bits[frame]), len(sent) * frames.lamp_bits
    plural = "lamp" if len(sent) == 1 else "lamps"
    other = 7 - channels
    if channels * count == other * wanted:
        names = {3: "three", 4: "four"}
        return Explanation(
            f"the frame on the line has {count:,} bits, {names[other]} channels for each of "
            f"{len(sent):,} {plural}, and the lamps of the string take {names[channels]}",
            f"Give the string the channels of its device (channels = {other}).",
        )
    if count != wanted:
        return Explanation(
            f"{wanted:,} bits were sent for {len(sent):,} {plural}, and the frame on the line has "
            f"{count:,}",
            "Look for bits without a pulse (a high of 0 cycles, or of a whole bit), for a low inside "
            "the frame that is as long as a latch gap, and for another number of channels.",
        )
    first = int(frames.first[frame])
    part = slice(first, first + count)
    return _explain_bit(reading, sent, reading.read.bits.value[part], reading.read.bits.high[part])


def _explain_bit(
    reading: LampReading, sent: Sequence[int], value: Bits, high: Ints
) -> Explanation | None:
    """Return the first bit that is read as the other one; an empty explanation if no order fits."""
    own = reading.string.order or reading.read.profile.order_for(reading.string.channels)
    orders = ["".join(order) for order in permutations(own)]
    fitting = next((order for order in orders if _agree(_wire(sent, order), high)), None)
    hint = counts_that_fit(reading) if not reading.wave.sampling else ""
    if fitting is None:
        return Explanation()
    wire = _wire(sent, fitting)
    wrong = np.flatnonzero(wire != value)
    if not len(wrong):
        return Explanation(
            f"the order on the wire is {fitting}, and the string takes {own}",
            "Use the same order at both ends (order).",
        )
    place = int(wrong[0])
    lamp, bit = divmod(place, reading.read.frames.lamp_bits)
    meant, read, ticks = int(wire[place]), int(value[place]), int(high[place])
    windows = reading.read.profile.windows
    window = windows[f"{_VALUES[read]}_high"]
    inside = window.counts(reading.wave.tick_ns, reading.wave.sampling * reading.wave.tick_ns)
    if inside is None:
        return None
    below, above = ticks < inside[0], inside[1] is not None and ticks > inside[1]
    if below if read else above:  # between the windows: the pulse itself is the finding
        return None
    how = _BEYOND[read] if below or above else _INSIDE[read]
    text = (
        f"lamp {lamp}, bit {bit} on the wire was sent as a {_VALUES[meant]} and is high for {ticks} "
        f"{reading.unit} ({show_ns(ticks * reading.wave.tick_ns)}), {how}: "
        f"{reading.name} takes {windows['zero_high']} for a zero, "
        f"{windows['one_high']} for a one"
    )
    return Explanation(text, hint, advice_for(reading))


def _wire(sent: Sequence[int], order: str) -> Bits:
    """Return the bits of colours as they go on the wire."""
    assert set(order) <= set(CHANNELS[len(order)])
    colours = np.array(sent, dtype=np.uint32)
    octets = [(colours >> np.uint32(SHIFTS[channel]) & 0xFF).astype(np.uint8) for channel in order]
    wire: Bits = np.unpackbits(np.stack(octets, axis=1), axis=1).reshape(-1)
    return wire


def _agree(wire: Bits, high: Ints) -> bool:
    """Return whether these bits can be what was sent: no zero was high for longer than any one."""
    zeros, ones = high[wire == 0], high[wire == 1]
    return not len(zeros) or not len(ones) or int(zeros.max()) <= int(ones.min())
