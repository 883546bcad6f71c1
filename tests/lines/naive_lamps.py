"""A decoder of lamp lines, one pulse after the other, in plain Python: from the rules alone."""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction

from busbox.lines.wave import Wave
from tests.board.wires import LIMITS


@dataclass
class NaiveFrame:
    """What one frame was."""

    bits: list[int] = field(default_factory=list)
    low: int = 0
    latched: bool = False

    def colours(self, count: int, order: str) -> list[int]:
        """Return what each lamp took."""
        width, found = 8 * len(order), []
        for lamp in range(min(count, len(self.bits) // width)):
            channels = {}
            for place, channel in enumerate(order):
                begin = lamp * width + 8 * place
                channels[channel] = int("".join(map(str, self.bits[begin : begin + 8])), 2)
            white = channels.get("W", 0)
            found.append(white << 24 | channels["R"] << 16 | channels["G"] << 8 | channels["B"])
        return found


def naive(
    wave: Wave, name: str, count: int, order: str
) -> tuple[list[NaiveFrame], list[tuple[int, int, int, str, int]]]:
    """Return the frames and the failures, from the edges, the table of limits and the rules alone."""
    limits, tick = LIMITS[name], wave.tick * 10**9
    slack = wave.sampling * tick
    lamp_bits = limits.lamp_bits // limits.channels * len(order)
    edges = [*wave.times.tolist()[1:], wave.end]
    frames, failures = [NaiveFrame()], []

    def check(place: int, key: str, ticks: int) -> None:
        least, most = getattr(limits, key)
        time = ticks * tick
        if time < least - slack or (most is not None and time > most + slack):
            lamp, bit = divmod(place, lamp_bits)
            failures.append((len(frames) - 1, lamp, bit, key, ticks))

    while len(edges) > 2:
        rise, fall, after = edges[:3]
        del edges[:2]
        last = len(edges) == 1
        if frames[-1].latched:
            frames.append(NaiveFrame())
        frame = frames[-1]
        place, high, low = len(frame.bits), fall - rise, after - fall
        between = Fraction(limits.zero_high[1] + limits.one_high[0], 2)
        bit = int(high * tick >= between)
        frame.bits.append(bit)
        frame.low = low
        check(place, "one_high" if bit else "zero_high", high)
        gap = low * tick + slack
        frame.latched = gap >= limits.gap if limits.reaches else gap > limits.gap
        if frame.latched or last:
            continue
        key = "one_low" if bit else "zero_low"
        longest = getattr(limits, key)[1] or min(
            limits.zero_high[0] + limits.zero_low[0], limits.one_high[0] + limits.one_low[0]
        )
        if (place + 1) % (count * lamp_bits) == 0 and low * tick > longest + slack:
            lamp, number = divmod(place, lamp_bits)
            failures.append((len(frames) - 1, lamp, number, "gap", low))
        else:
            check(place, key, low)
    return [frame for frame in frames if frame.bits], failures
