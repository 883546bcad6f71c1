"""A recording as a waveform file (VCD, IEEE 1364-2005 clause 18).

Time is in picoseconds: cycle t begins at round(t x 10**12 / f), never accumulated, and the signal
``cycle`` holds t at every stamp. Signals are those of rows: the level of cycle t is shown from the
beginning of t on.
"""

from __future__ import annotations

import io
from collections.abc import Iterator
from pathlib import Path

from vcd import VCDWriter

from busbox.device import RELEASED
from busbox.engines import ERR, NONE, RESET, WATCHDOG
from busbox.recording import Recording
from busbox.traffic.files import replace_file

#: Signals of the bus: name and width.
_BUS = {
    "cyc": 1, "stb": 1, "we": 1, "adr": 32, "sel": 4, "write_data": 32, "read_data": 32, "ack": 1,
    "err": 1,
}  # fmt: skip

Change = tuple[int, str, str, int | str]


def write_vcd(recording: Recording, path: Path) -> None:
    """Write a waveform file; it is never half written.

    Raises
    ------
    InputError : the file cannot be written
    """
    buffer = io.StringIO()
    with VCDWriter(buffer, timescale="1 ps", date="", version="Busbox") as writer:
        signals = {
            (scope, name): writer.register_var(scope, name, "wire", size, init=level)
            for scope, name, size, level in _signals(recording)
        }
        cycle = writer.register_var("busbox", "cycle", "wire", 64, init=0)
        for row, scope, name, value in sorted(_changes(recording), key=lambda change: change[0]):
            if row > 0:
                stamp = _picoseconds(row, recording.clock_hz)
                writer.change(cycle, stamp, row)
                writer.change(signals[scope, name], stamp, value)
        writer.change(cycle, _picoseconds(recording.cycles, recording.clock_hz), recording.cycles)
    replace_file(path, buffer.getvalue().encode("ascii"))


def _picoseconds(row: int, clock_hz: int) -> int:
    """Return round(row x 10**12 / f), halves up."""
    return (2 * row * 10**12 + clock_hz) // (2 * clock_hz)


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


def _changes(recording: Recording) -> Iterator[Change]:
    for row, length in recording.resets:
        yield row, "busbox", "rst", 1
        if row + length < recording.cycles:
            yield row + length, "busbox", "rst", 0
    for pin, line in recording.lines.items():
        scope, name = _pin(pin)
        for row, level in zip(line.cycles[1:].tolist(), line.levels[1:].tolist(), strict=True):
            yield row, scope, name, "z" if level == RELEASED else level
    yield from _bus_changes(recording)


def _bus_changes(recording: Recording) -> Iterator[Change]:
    """Yield the bus's signals: an access is up from its start to its end (a reset cuts that row)."""
    columns = recording.accesses
    free = 0
    for start, end, address, write, lanes, data, terminator, slot in zip(
        columns.start.tolist(), columns.end.tolist(), columns.address.tolist(),
        columns.write.tolist(), columns.lanes.tolist(), columns.data.tolist(),
        columns.terminator.tolist(), columns.slot.tolist(), strict=True,
    ):  # fmt: skip
        if free < start:
            yield from ((free, "busbox.bus", name, 0) for name in _BUS if free)
        free = end if terminator == RESET else end + 1
        if free == start:
            continue
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
        yield from _slot_changes(recording, slot, start, free)
    if free < recording.cycles:
        yield from ((free, "busbox.bus", name, 0) for name in _BUS if free)


def _slot_changes(recording: Recording, slot: int, start: int, free: int) -> Iterator[Change]:
    if slot < 0:
        return
    info = recording.slots[slot]
    seen = start + info.delay
    if seen < free:
        yield seen, f"busbox.{info.name}", "stb", 1
        if free < recording.cycles:
            yield free, f"busbox.{info.name}", "stb", 0
