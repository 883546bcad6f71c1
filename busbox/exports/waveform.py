"""A recording as a waveform file (VCD, IEEE 1364-2005 clause 18).

Time is in picoseconds: cycle t begins at round(t x 10**12 / f), never accumulated, and the signal
``cycle`` holds t at every stamp. Signals are those of cycles: the level of cycle t is shown from the
beginning of t on.
"""

from __future__ import annotations

import io
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, TextIO

from vcd import VCDWriter

from busbox.basics.errors import InputError
from busbox.exports.contract import Result, Target
from busbox.exports.waveform_changes import BUS, Numbers, changes
from busbox.exports.waveform_signals import UNKNOWN, Names, Wire, named_wires, plain_wires
from busbox.exports.waveform_text import Body, Signal
from busbox.recording import Recording
from busbox.system.system import System

if TYPE_CHECKING:
    from busbox.explain.inner_signals import InnerSignal, Report


def write(result: Result, target: Target) -> None:
    """Bus, slots and pins as a waveform file (VCD)."""
    write_deep(result, target, 0)


def write_deep(result: Result, target: Target, depth: int, report: Report | None = None) -> None:
    """Write the file with what is inside hardware devices.

    Parameters
    ----------
    depth : levels of the hierarchy, 0 for none
    report : called occasionally while the inner signals are found
    """
    recording, system = result.recording, _system_of(result, depth)
    inner: list[InnerSignal] = []
    if depth and system is not None:
        from busbox.explain.inner_signals import inner_signals

        inner = inner_signals(recording, system, depth, report)
    text = io.TextIOWrapper(target.binary, "ascii", newline="\n")
    try:
        write_vcd(recording, text, system, inner)
    finally:
        text.detach()


def _system_of(result: Result, depth: int) -> System | None:
    """Return the system; None if the recording carries no bench and nothing inside is asked for."""
    try:
        return result.system
    except InputError:
        if depth or result.recording.carried is not None:
            raise
        return None


def write_vcd(
    recording: Recording,
    text: TextIO,
    system: System | None = None,
    inner: Sequence[InnerSignal] = (),
) -> None:
    """Write a waveform file.

    Parameters
    ----------
    system : what was run; without it, registers and functions have no names
    inner : signals inside hardware devices

    Raises
    ------
    InputError : a name that the format cannot hold (IEEE 1364-2005, 3.7: ASCII)
    """
    wires = [*plain_wires(recording)]
    numbers = numbers_of(recording)
    named = [*named_wires(recording, system, inner)]
    with VCDWriter(text, timescale="1 ps", date="", version="Busbox") as writer:
        register = registrar(writer)
        signals = [register(wire) for wire in (*wires, *(wire for wire, _ in named))]
        counter = register(Wire((), "cycle", 64)).identifier
    body = Body(signals, counter, recording.clock_hz)
    for rows in changes(recording, numbers, [levels for _, levels in named]):
        text.write(body.of(rows))
    text.write(body.end(recording.cycles))
    text.flush()


def registrar(writer: VCDWriter) -> Callable[[Wire], Signal]:
    """Return what puts a signal into the header."""
    names = Names()

    def register(wire: Wire) -> Signal:
        scope, name = names.of(wire)
        first = wire.texts[wire.value] if wire.texts else wire.value
        value = first if isinstance(first, int) or first == UNKNOWN else int(first, 2)
        variable = writer.register_var(scope, name, "wire", wire.size, init=value)
        return Signal(variable.ident, wire.size, wire.value, wire.texts)

    return register


def numbers_of(recording: Recording) -> Numbers:
    """Return the numbers of the signals, in the order of :func:`plain_wires`."""
    bus = {name: number for number, name in enumerate(BUS, 1)}
    slots = range(1 + len(bus), 1 + len(bus) + len(recording.slots))
    pins = range(slots.stop, slots.stop + len(recording.lines))
    return Numbers(0, pins, bus, slots, pins.stop)
