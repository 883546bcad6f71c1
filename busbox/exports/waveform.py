"""A recording as a waveform file (VCD, IEEE 1364-2005 clause 18).

Time is in picoseconds: cycle t begins at round(t x 10**12 / f), never accumulated, and the signal
``cycle`` holds t at every stamp. Signals are those of cycles: the level of cycle t is shown from the
beginning of t on.
"""

from __future__ import annotations

import heapq
import io
from collections.abc import Iterator
from itertools import groupby
from typing import TextIO

from vcd import VCDWriter

from busbox.basics.errors import InputError
from busbox.bus.transfers import ERR, NONE, RESET, WATCHDOG
from busbox.device import RELEASED
from busbox.exports.contract import Result, Target
from busbox.recording import WINDOW, Recording, windows

#: Signals of the bus: name and width.
_BUS = {
    "cyc": 1, "stb": 1, "we": 1, "adr": 32, "sel": 4, "write_data": 32, "read_data": 32, "ack": 1,
    "err": 1,
}  # fmt: skip

Change = tuple[int, str, str, int | str]


def write(result: Result, target: Target) -> None:
    """Bus, slots and pins as a waveform file (VCD)."""
    text = io.TextIOWrapper(target.binary, "ascii", newline="\n")
    try:
        write_vcd(result.recording, text)
    finally:
        text.detach()


def write_vcd(recording: Recording, text: TextIO) -> None:
    """Write a waveform file.

    Raises
    ------
    InputError : a slot has a name that the format cannot hold (IEEE 1364-2005, clause 18: ASCII)
    """
    for slot in recording.slots:
        if not slot.name.isascii():
            raise InputError.of(f"a VCD file holds ASCII names only, not slot {slot.name!r}")
    with VCDWriter(text, timescale="1 ps", date="", version="Busbox") as writer:
        signals = {
            (scope, name): writer.register_var(scope, name, "wire", size, init=level)
            for scope, name, size, level in _signals(recording)
        }
        counter = writer.register_var("busbox", "cycle", "wire", 64, init=0)
        changes = heapq.merge(*_changes(recording), key=_cycle)
        for cycle, of_cycle in groupby(changes, key=_cycle):
            if cycle > 0:
                stamp = _picoseconds(cycle, recording.clock_hz)
                writer.change(counter, stamp, cycle)
                last = {(scope, name): value for _, scope, name, value in of_cycle}
                for signal, value in last.items():
                    writer.change(signals[signal], stamp, value)
        writer.change(counter, _picoseconds(recording.cycles, recording.clock_hz), recording.cycles)


def _cycle(change: Change) -> int:
    return change[0]


def _picoseconds(cycle: int, clock_hz: int) -> int:
    """Return round(cycle x 10**12 / f), halves up."""
    return (2 * cycle * 10**12 + clock_hz) // (2 * clock_hz)


def _signals(recording: Recording) -> Iterator[tuple[str, str, int, int]]:
    yield "busbox", "rst", 1, 0
    for name, size in _BUS.items():
        yield "busbox.bus", name, size, 0
    for slot in recording.slots:
        yield f"busbox.{slot.name}", "stb", 1, 0
    for pin, line in recording.lines.items():
        scope, name = _pin(pin)
        yield scope, name, 1, int(line.levels[0])


def _pin(pin: str) -> tuple[str, str]:
    slot, _, name = pin.partition(".")
    return f"busbox.{slot}", name.replace(".", "_")


def _changes(recording: Recording) -> Iterator[Iterator[Change]]:
    """Yield what changes, each part in order of cycle."""
    yield _resets(recording)
    for pin in recording.lines:
        yield _edges(recording, pin)
    yield _bus_changes(recording)


def _resets(recording: Recording) -> Iterator[Change]:
    for cycle, length in recording.resets:
        yield cycle, "busbox", "rst", 1
        if cycle + length < recording.cycles:
            yield cycle + length, "busbox", "rst", 0


def _edges(recording: Recording, pin: str) -> Iterator[Change]:
    line = recording.lines[pin]
    scope, name = _pin(pin)
    for first in range(1, len(line.cycles), WINDOW):
        cycles, levels = (part[first : first + WINDOW] for part in (line.cycles, line.levels))
        for cycle, level in zip(cycles.tolist(), levels.tolist(), strict=True):
            yield cycle, scope, name, "z" if level == RELEASED else level


def _bus_changes(recording: Recording) -> Iterator[Change]:
    """Yield the bus's signals: an access is up from its start to its end (a reset cuts that cycle)."""
    names = ("start", "end", "address", "write", "lanes", "data", "terminator", "slot")
    free = 0
    for access in (
        access
        for _, part in windows(recording.accesses)
        for access in zip(*(part[name].tolist() for name in names), strict=True)
    ):
        start, end, terminator, slot = access[0], access[1], access[6], access[7]
        if free < start:
            yield from ((free, "busbox.bus", name, 0) for name in _BUS if free)
        free = end if terminator == RESET else end + 1
        if free > start:
            changes = [*_access_changes(*access[:7]), *_slot_changes(recording, slot, start, free)]
            yield from sorted(changes, key=_cycle)
    if free < recording.cycles:
        yield from ((free, "busbox.bus", name, 0) for name in _BUS if free)


def _access_changes(
    start: int, end: int, address: int, write: bool, lanes: int, data: int, terminator: int
) -> Iterator[Change]:
    shown = {
        "cyc": 1, "stb": 1, "we": int(write), "adr": address, "sel": lanes,
        "write_data": data if write else 0, "read_data": 0, "ack": 0, "err": 0,
    }  # fmt: skip
    last = {}
    if terminator in (ERR, WATCHDOG):
        last = {"err": 1}
    elif terminator not in (RESET, NONE):
        last = {"ack": 1, "read_data": 0 if write else data}
    if start == end:
        shown |= last
    yield from ((start, "busbox.bus", name, value) for name, value in shown.items())
    if start < end:
        yield from ((end, "busbox.bus", name, value) for name, value in last.items())


def _slot_changes(recording: Recording, slot: int, start: int, free: int) -> Iterator[Change]:
    if slot < 0:
        return
    info = recording.slots[slot]
    seen = start + info.delay
    if seen < free:
        yield seen, f"busbox.{info.name}", "stb", 1
        if free < recording.cycles:
            yield free, f"busbox.{info.name}", "stb", 0
