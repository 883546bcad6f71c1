"""How fast lines are decoded: a million edges, against plain Python decoders of the same bits."""

from __future__ import annotations

import time
from collections.abc import Callable
from fractions import Fraction
from typing import Any

import numpy as np

from busbox.board.attachment import Board
from busbox.board.lamp_string import LampString
from busbox.board.terminal import Terminal
from busbox.lines.lamps import judge
from busbox.lines.profiles import PROFILES
from busbox.lines.serial import Format, decode
from busbox.lines.wave import Wave

EDGES = 1_000_032  # a whole number of lamps
CLOCK = 16_000_000
LAMPS = 100
DIVISOR = 139


def lamp_line(edges: int) -> Wave:
    """Return edges of frames of 100 lamps: 13 and 7 of 20 cycles, gaps of 5000."""
    bits = np.random.default_rng(1).integers(0, 2, edges // 2)
    begins = 20 * np.arange(len(bits)) + 5000 * (np.arange(len(bits)) // (24 * LAMPS)) + 10
    times = np.stack((begins, begins + np.where(bits, 13, 7)), axis=1).ravel()
    levels = np.tile(np.array([1, 0]), len(bits))
    whole = np.concatenate(([0], times)), np.concatenate(([0], levels))
    return Wave(*whole, Fraction(1, CLOCK), int(times[-1]) + 5000)


def plain_lamps(times: list[int]) -> list[list[int]]:
    """Return the colours of each frame, bit by bit in plain Python."""
    frames: list[list[int]] = []
    bits: list[int] = []
    for place in range(1, len(times) - 1, 2):
        bits.append(int(times[place + 1] - times[place] >= 10))
        low = times[place + 2] - times[place + 1] if place + 2 < len(times) else 5000
        if low > 4480:
            colours = []
            for first in range(0, len(bits), 24):
                green, red, blue = (
                    int("".join(map(str, bits[start : start + 8])), 2)
                    for start in range(first, first + 24, 8)
                )
                colours.append(red << 16 | green << 8 | blue)
            frames.append(colours)
            bits = []
    return frames


def serial_line(edges: int) -> Wave:
    """Return about as many edges of random bytes, back to back, 139 cycles a bit."""
    octets = np.random.default_rng(2).integers(0, 256, edges // 5 + 800)
    bits = np.ones((len(octets), 10), dtype=np.uint8)
    bits[:, 0] = 0
    bits[:, 1:9] = octets[:, None] >> np.arange(8) & 1
    row = np.concatenate(([1], bits.ravel()))
    places = np.flatnonzero(row[1:] != row[:-1]) + 1
    times = np.concatenate(([0], DIVISOR * places))
    levels = np.concatenate(([1], row[places]))
    return Wave(times, levels, Fraction(1, CLOCK), DIVISOR * (len(row) + 1))


def plain_serial(times: list[int], levels: list[int]) -> list[int]:
    """Return the bytes, sample by sample in plain Python."""
    found, place, last = [], 1, len(times)
    while place < last:
        if levels[place]:
            place += 1
            continue
        start, byte, at = times[place], 0, place
        for bit in range(10):
            moment = start + int((bit + 0.5) * DIVISOR)
            while at + 1 < last and times[at + 1] <= moment:
                at += 1
            if 1 <= bit <= 8:
                byte |= levels[at] << bit - 1
        found.append(byte)
        place = at + 1
    return found


def quickest(run: Callable[[], Any], times: int = 3) -> tuple[float, Any]:
    """Return the seconds of the quickest run, and what it returned."""
    took = []
    for _ in range(times):
        began = time.perf_counter()
        result = run()
        took.append(time.perf_counter() - began)
    return min(took), result


def main(edges: int = EDGES) -> None:
    """Print the times and the ratios; the results must be equal."""
    board = Board(CLOCK, PROFILES)
    lamps, serial = lamp_line(edges), serial_line(edges)
    string = LampString(board, count=LAMPS, channels=3, order=None, profile="P4",
                        channel_current=None, light="linear")  # fmt: skip
    rate = Fraction(CLOCK, DIVISOR)
    terminal = Terminal(board, baud=115_200, format="8N1")
    print(f"\n{'decoding':34}{'edges':>11}{'s':>9}{'ratio':>9}")
    plain, frames = quickest(lambda: plain_lamps(lamps.times.tolist()), 1)
    once, seen = quickest(lambda: judge(lamps, PROFILES["P4"], LAMPS))
    assert [list(seen.frames.colours_of(n)) for n in range(len(frames))] == frames
    whole, _ = quickest(lambda: string.decode(lamps))
    _rows("lamp line", lamps, plain, once, whole)
    plain, octets = quickest(lambda: plain_serial(serial.times.tolist(), serial.levels.tolist()), 1)
    once, said = quickest(lambda: decode(serial, rate, Format.parse("8N1")))
    assert said.values == octets
    whole, _ = quickest(lambda: terminal.decode(serial))
    _rows("serial line", serial, plain, once, whole)


def _rows(name: str, wave: Wave, plain: float, once: float, whole: float) -> None:
    for what, took in (
        ("plain Python", plain),
        ("decoded", once),
        ("decoded, judged, described", whole),
    ):
        label = f"{name}, {what}"
        print(f"{label:34}{len(wave.times):>11,}{took:>9.3f}{plain / took:>9.1f}", flush=True)


if __name__ == "__main__":
    main()
