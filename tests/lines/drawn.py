"""Serial lines written bit by bit, and a decoder that goes from tick to tick."""

from __future__ import annotations

from collections.abc import Iterable
from fractions import Fraction

import numpy as np

from busbox.lines.wave import Wave

HALF = Fraction(1, 2)


def frame(value: int, data: int, parity: str, stop: Fraction) -> list[tuple[int, Fraction]]:
    """Return (level, bit times) of a character, from its start bit to its stop bits."""
    bits = [value >> place & 1 for place in range(data)]
    if parity != "N":
        bits.append((sum(bits) + (parity == "O")) % 2)
    return [(0, Fraction(1)), *((bit, Fraction(1)) for bit in bits), (1, stop)]


def wave_of_levels(levels: list[int], tick: Fraction = Fraction(1, 10**6)) -> Wave:
    """Return the wave of one level a tick."""
    changed = [n for n, now in enumerate(levels) if n == 0 or now != levels[n - 1]]
    return Wave(np.array(changed, "i8"), np.array([levels[n] for n in changed], "u1"), tick,
                len(levels))  # fmt: skip


def line(
    frames: Iterable[list[tuple[int, Fraction]]],
    bit: Fraction,
    gaps: Iterable[int] = (),
    tick: Fraction = Fraction(1, 10**6),
    lead: int = 3,
    tail: int = 0,
) -> tuple[Wave, list[int]]:
    """Return a line with a sender's bits of ``bit`` ticks, and the ticks of the start edges.

    A character begins on a tick; each of its edges is rounded up to one. ``gaps`` are idle ticks behind
    the characters, ``lead`` and ``tail`` before the first and behind the last.
    """
    levels, starts, more = [1] * lead, [], iter(gaps)
    for one in frames:
        begin, place = len(levels), Fraction(0)
        starts.append(begin)
        for level, length in one:
            place += length
            levels += [level] * (begin + -(-(place * bit) // 1) - len(levels))
        levels += [1] * next(more, 0)
    return wave_of_levels(levels + [1] * tail, tick), starts


def naive(
    levels: list[int], bit: Fraction, data: int, parity: str, stop: Fraction
) -> list[tuple[str, int, int]]:
    """Decode one level a tick; return (kind, tick of the start, value) of all that is found.

    Kinds are ``good``, ``parity``, ``framing``, ``break``, ``false`` and ``unfinished``.
    """
    found, now = [], 1
    while now < len(levels):
        if not (levels[now - 1] == 1 and levels[now] == 0):
            now += 1
            continue
        start, moment, seen = now, HALF, []
        length = 1 + data + (parity != "N") + stop
        while moment < length:
            now = start + int(moment * bit)
            if now >= len(levels):
                found.append(("unfinished", start, 0))
                return found
            seen.append(levels[now])
            if seen == [1]:
                break
            # A half stop bit has its middle a quarter behind its beginning.
            moment += 1 if moment + 1 < length else Fraction(3, 4)
        found.append((_kind(seen, data, parity), start, _value(seen, data)))
        now += 1
    return found


def _value(seen: list[int], data: int) -> int:
    return int("".join(str(bit) for bit in reversed(seen[1 : 1 + data])) or "0", 2)


def _kind(seen: list[int], data: int, parity: str) -> str:
    if seen == [1]:
        return "false"
    if 1 not in seen:
        return "break"
    stops = seen[1 + data + (parity != "N") :]
    if 0 in stops:
        return "framing"
    ones = seen[1 : len(seen) - len(stops)].count(1)
    wrong = {"N": False, "E": ones % 2 == 1, "O": ones % 2 == 0}[parity]
    return "parity" if wrong else "good"
