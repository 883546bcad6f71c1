"""Files of signals as a traffic format: a waveform or a table of samples, read by a map."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from fractions import Fraction
from functools import partial
from typing import IO, Any, Protocol

import numpy as np
from numpy.typing import NDArray

from busbox.basics.errors import InputError
from busbox.basics.files import lines_in
from busbox.formats.contract import Format, Piece, SignalRequest
from busbox.formats.waveform.header import Variable
from busbox.formats.waveform.held import Apb, ValidReady, WishboneClassic
from busbox.formats.waveform.notes import Notes
from busbox.formats.waveform.queued import Axi4Lite, WishbonePipelined
from busbox.formats.waveform.samples import SampleReader
from busbox.formats.waveform.sampling import (
    AnyTicks,
    ClockTicks,
    CounterTicks,
    Moments,
    Rows,
    RowTicks,
    Signals,
    rows_of,
)
from busbox.formats.waveform.signal_map import SignalMap, Wired, signal_map, wired
from busbox.formats.waveform.strobes import Strobes
from busbox.formats.waveform.transfers import Inside, Seen, Steps
from busbox.formats.waveform.vcd import Changes, VcdReader


class Decoder(Protocol):
    """Finds the accesses in the cycles of a bus."""

    def take(self, rows: Rows) -> Seen:
        """Return the accesses that end in some rows."""

    def cut(self) -> None:
        """Forget what a reset cuts off."""

    def end(self) -> Seen | None:
        """Return what is open at the end of the file, if that can be played."""


_DECODERS: dict[str, Callable[[Wired, Notes], Decoder]] = {
    "wishbone": WishboneClassic,
    "wishbone-pipelined": WishbonePipelined,
    "valid-ready": ValidReady,
    "apb": Apb,
    "axi4-lite": Axi4Lite,
}


def of_waveform(request: SignalRequest) -> Format:
    """Return the format that reads a waveform by a map.

    Raises
    ------
    InputError : the map is wrong
    """
    signals = signal_map(request.table, request.placed)

    def read(file: IO[bytes], name: str) -> Iterator[Piece]:
        reader = VcdReader(file, name)
        variables, unit = reader.header.variables, reader.header.unit
        return _steps(signals, request, variables, reader.changes, Moments(name, unit))

    return Format("The accesses in a waveform.", read)


def of_samples(request: SignalRequest) -> Format:
    """Return the format that reads a table of samples by a map.

    Raises
    ------
    InputError : the map is wrong
    """
    signals = signal_map(request.table, request.placed)

    def read(file: IO[bytes], name: str) -> Iterator[Piece]:
        reader = SampleReader(lines_in(file, name), name, signals, request.time_column)
        moments = Moments(name, reader.unit)
        return _steps(signals, request, reader.variables, reader.changes, moments, sampled=True)

    return Format("The accesses in a table of samples.", read)


def _steps(
    signals: SignalMap,
    request: SignalRequest,
    variables: Sequence[Variable],
    changes: Callable[[Sequence[Variable]], Iterator[Changes]],
    moments: Moments,
    sampled: bool = False,
) -> Iterator[Piece]:
    wires = wired(signals, variables, moments.where)
    _check_clock(signals, request, moments.unit, sampled)
    notes = Notes(moments.show)
    steps = Steps(wires, moments, notes, _inside(request))
    pieces = changes(wires.variables)
    for seen in _accesses(wires, request, pieces, moments, notes):
        if len(seen):
            yield from steps.of(seen)
    request.tell(notes.texts())


def _check_clock(
    signals: SignalMap, request: SignalRequest, unit: Fraction | None, sampled: bool
) -> None:
    """Refuse a map that does not say what a cycle is."""
    if signals.kind.clocked:
        if not sampled and not {"clock", "cycle"} & signals.signals.keys():
            raise signals.wrong("", "must name the clock, or a counter of cycles (cycle)")
        return
    if unit is None:
        text = "a bus without a clock needs times: a column such as time_us"
        raise signals.wrong("kind", text)
    if request.clock_hz is None:
        text = "must be given: a bus without a clock has times, which become cycles of it"
        raise InputError.of(text, "--clock")


def _accesses(
    wires: Wired, request: SignalRequest, pieces: Iterable[Changes], moments: Moments, notes: Notes
) -> Iterator[Seen]:
    signals = Signals(wires, moments)
    if not wires.map.kind.clocked:
        assert request.clock_hz is not None
        yield from Strobes(signals, notes, request.clock_hz).accesses(pieces)
        return
    decoder = _DECODERS[wires.map.kind.name](wires, notes)

    def cut(time: int, cycles: int) -> None:
        decoder.cut()
        notes.reset(time, cycles)

    ticks: AnyTicks
    if "clock" in wires:
        ticks = ClockTicks(signals, notes)
    else:
        ticks = CounterTicks(signals) if "cycle" in wires else RowTicks(signals)
    for rows in rows_of(pieces, signals, ticks, cut):
        yield decoder.take(rows)
    last = decoder.end()
    if last is not None:
        yield last


def _inside(request: SignalRequest) -> Inside | None:
    """Return which of many addresses a slot answers at; each is looked up once in a piece."""
    answers = request.inside
    if answers is None:
        return None

    def inside(addresses: NDArray[Any]) -> NDArray[Any]:
        different, which = np.unique(addresses, return_inverse=True)
        found = np.fromiter(map(answers, different.tolist()), dtype=bool, count=len(different))
        return found[which]

    return inside


#: The format of waveforms: nothing can be read without a map.
VCD = Format("The accesses on a bus, by a map of its signals.", of_signals=partial(of_waveform))
