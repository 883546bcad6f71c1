"""The waveform file of a recording, change by change: a plain writer, for comparison.

Every signal, stamp and value goes through pyvcd, a writer of VCD files that is not ours.
"""

from __future__ import annotations

import heapq
from collections.abc import Iterator, Sequence
from itertools import groupby
from typing import TextIO

from vcd import VCDWriter

from busbox.bus.transfers import ACK, ERR, NONE, RESET, WATCHDOG
from busbox.device import RELEASED
from busbox.explain.inner_signals import InnerSignal
from busbox.firmware.program import Firmware
from busbox.recording import Recording
from busbox.system.system import System

#: Signals of the bus: name and width.
_BUS = {
    "cyc": 1, "stb": 1, "we": 1, "adr": 32, "sel": 4, "write_data": 32, "read_data": 32, "ack": 1,
    "err": 1,
}  # fmt: skip

Change = tuple[int, str, str, int | str]
#: Scope, name, width and first value of a signal, and (cycle, value) of what it becomes.
_Named = tuple[str, str, int, int | str, list[tuple[int, int | str]]]


def write_vcd(
    recording: Recording,
    text: TextIO,
    system: System | None = None,
    inner: Sequence[InnerSignal] = (),
) -> None:
    """Write a waveform file."""
    named = [*_registers(recording, system), *_executed(recording, system), *_inside(inner)]
    with VCDWriter(text, timescale="1 ps", date="", version="Busbox") as writer:
        signals = {
            (scope, name): writer.register_var(scope, name, "wire", size, init=level)
            for scope, name, size, level in [*_signals(recording), *(one[:4] for one in named)]
        }
        counter = writer.register_var("busbox", "cycle", "wire", 64, init=0)
        changes = heapq.merge(*_changes(recording, named), key=_cycle)
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


def _changes(recording: Recording, named: list[_Named]) -> Iterator[Iterator[Change]]:
    """Yield what changes, each part in order of cycle."""
    yield _resets(recording)
    for pin in recording.lines:
        yield _edges(recording, pin)
    for scope, name, _, _, rows in named:
        yield iter([(cycle, scope, name, value) for cycle, value in rows if cycle > 0])
    yield _bus_changes(recording)


def _resets(recording: Recording) -> Iterator[Change]:
    for cycle, length in recording.resets:
        yield cycle, "busbox", "rst", 1
        if cycle + length < recording.cycles:
            yield cycle + length, "busbox", "rst", 0


def _edges(recording: Recording, pin: str) -> Iterator[Change]:
    line = recording.lines[pin]
    scope, name = _pin(pin)
    for cycle, level in zip(line.cycles[1:].tolist(), line.levels[1:].tolist(), strict=True):
        yield cycle, scope, name, "z" if level == RELEASED else level


def _bus_changes(recording: Recording) -> Iterator[Change]:
    """Yield the bus's signals: an access is up from its start to its end (a reset cuts that cycle)."""
    names = ("start", "end", "address", "write", "lanes", "data", "terminator", "slot")
    free = 0
    for access in zip(*(recording.accesses[name].tolist() for name in names), strict=True):
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


def _word(text: str) -> int:
    """Return a text as Verilog keeps it (IEEE 1364-2005, 3.6)."""
    return int.from_bytes(text.encode(), "big")


def _registers(recording: Recording, system: System | None) -> Iterator[_Named]:
    """Yield the register that an access reaches, in the cycle in which its device ends it."""
    for number, device in enumerate(() if system is None else system.devices):
        info, rows, longest = recording.slots[number], {}, 0
        for access in range(len(recording.accesses)):
            columns = ("slot", "terminator", "address", "end")
            slot, terminator, address, end = (int(recording.accesses[c][access]) for c in columns)
            if slot != number:
                continue
            place = device.slot.table.at((address - info.base) % info.size)
            name = "" if place is None else place.name
            longest = max(longest, len(name))
            if terminator in (ACK, ERR):
                rows[end] = _word(name)
                rows.setdefault(end + 1, 0)
        kept = [(cycle, value) for cycle, value in sorted(rows.items()) if cycle < recording.cycles]
        yield f"busbox.{info.name}", "register", 8 * max(1, longest), 0, kept


def _executed(recording: Recording, system: System | None) -> Iterator[_Named]:
    """Yield what made the last access: its address, and its function."""
    made = zip(recording.accesses.start.tolist(), recording.accesses.pc.tolist(), strict=True)
    known = [(start, pc) for start, pc in made if pc >= 0]
    if not known:
        return
    yield "busbox.cpu", "pc", 32, "x", known
    if system is not None and system.firmware:
        firmware = Firmware(system.firmware)
        sources = {pc: firmware.source(pc) for _, pc in known}
        names = {pc: "" if one is None else one.function for pc, one in sources.items()}
        longest = max(1, *(len(name.encode()) for name in names.values()))
        rows = [(start, _word(names[pc])) for start, pc in known]
        yield "busbox.cpu", "function", 8 * longest, 0, rows


def _inside(inner: Sequence[InnerSignal]) -> Iterator[_Named]:
    for signal in inner:
        scope = ".".join(("busbox", signal.slot, "hardware", *signal.path))
        rows = [*zip(signal.cycles, signal.values, strict=True)]
        yield scope, signal.name, signal.width, signal.values[0], rows
