"""Two runs of the same accesses as one waveform file, with where they differ.

Each side has a scope. The scope ``difference`` has a signal of one bit for each signal that both sides
have: 1 in the cycles in which its values differ, and ``any`` for all of them together. ``ended`` is 1
once one side is over and the other is not; that side keeps its last values.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any, NamedTuple, TextIO

import numpy as np
from numpy.typing import NDArray
from vcd import VCDWriter

from busbox.basics.distinct import changed
from busbox.exports.waveform import numbers_of, registrar
from busbox.exports.waveform_changes import Levels, Rows, changes
from busbox.exports.waveform_signals import Wire, named_wires, plain_wires
from busbox.exports.waveform_text import Body
from busbox.recording import Recording
from busbox.system.system import System

#: What a signal of the file goes by, in each side.
_Name = tuple[tuple[str, ...], str]


class Run(NamedTuple):
    """One side.

    Attributes
    ----------
    name : what it is called in the file
    recording, system : what was recorded, and of what
    slot : name of the slot that is compared
    registers : its registers by name, in the first cycle and in every one in which one changes
    """

    name: str
    recording: Recording
    system: System
    slot: str
    registers: Sequence[tuple[int, Mapping[str, int]]] = ()


def write_pair(first: Run, second: Run, text: TextIO) -> None:
    """Write both sides and their difference.

    Raises
    ------
    InputError : a name that the format cannot hold
    """
    sides = [_Side(first), _Side(second)]
    cycles = [side.recording.cycles for side in (first, second)]
    differences = [*_differences(sides, cycles)]
    parts = [
        *((wire, levels) for side in sides for wire, levels in side.under_name()),
        *differences,
    ]
    with VCDWriter(text, timescale="1 ps", date="", version="Busbox") as writer:
        register = registrar(writer)
        signals = [register(wire) for wire, _ in parts]
        counter = register(Wire((), "cycle", 64)).identifier
    body = Body(signals, counter, first.recording.clock_hz)
    text.write(body.of(_rows([levels for _, levels in parts])))
    text.write(body.end(max(cycles)))


def _rows(levels: Sequence[Levels]) -> Rows:
    """Return the rows of all signals, in order of cycle."""
    lengths = [len(one.cycles) for one in levels]
    signals = np.repeat(np.arange(len(levels), dtype="u4"), lengths)
    cycles = np.concatenate([one.cycles.astype("i8") for one in levels])
    values = np.concatenate([one.values.astype("u4") for one in levels])
    return Rows(cycles, signals, values).where(np.argsort(cycles, kind="stable"))


class _Side:
    """The signals of one side, each with what it becomes."""

    def __init__(self, run: Run) -> None:
        self._run = run
        named = [*named_wires(run.recording, run.system, ()), *_contents(run)]
        wires = [*plain_wires(run.recording), *(wire for wire, _ in named)]
        others = [levels for _, levels in named]
        rows = [*changes(run.recording, numbers_of(run.recording), others)]
        self.signals: Mapping[_Name, tuple[Wire, Levels]] = {
            (wire.scope, wire.name): (wire, levels)
            for wire, levels in zip(wires, _by_signal(rows, len(wires)), strict=True)
        }

    def under_name(self) -> Iterator[tuple[Wire, Levels]]:
        """Yield each signal in the scope of the side."""
        for wire, levels in self.signals.values():
            yield wire._replace(scope=(self._run.name, *wire.scope)), levels


def _contents(run: Run) -> Iterator[tuple[Wire, Levels]]:
    """Yield what each register of the slot shows; nothing of it is on the bus until it is read."""
    if not run.registers:
        return
    cycles = np.array([cycle for cycle, _ in run.registers], dtype="i8")
    for name in run.registers[0][1]:
        values = np.array([registers[name] for _, registers in run.registers], dtype="u4")
        kept = np.flatnonzero(changed(values))[1:]
        wire = Wire((run.slot, "registers"), name.replace(".", "_"), 32, int(values[0]))
        yield wire, Levels(cycles[kept], values[kept])


def _by_signal(rows: Sequence[Rows], count: int) -> Iterator[Levels]:
    """Yield what each signal becomes: of several rows in a cycle, the last one counts."""
    cycles, signals, values = (np.concatenate(column) for column in zip(*rows, strict=True))
    order = np.argsort(signals, kind="stable")
    cycles, signals, values = cycles[order], signals[order], values[order]
    last = np.roll(changed(signals) | changed(cycles), -1)
    cycles, signals, values = cycles[last], signals[last], values[last]
    ends = np.searchsorted(signals, np.arange(count + 1))
    for number in range(count):
        part = slice(ends[number], ends[number + 1])
        yield Levels(cycles[part], values[part])


def _differences(sides: Sequence[_Side], cycles: Sequence[int]) -> Iterator[tuple[Wire, Levels]]:
    """Yield, for each signal that both sides have, where its values differ; then all together."""
    first, second = sides
    both = [name for name in first.signals if name in second.signals]
    found = [_differs(first.signals[name], second.signals[name]) for name in both]
    for (scope, name), (level, levels) in zip(both, found, strict=True):
        yield Wire(("difference", *scope), name, 1, level), levels
    over = np.array([min(cycles)] if cycles[0] != cycles[1] else [], dtype="i8")
    ended = Levels(over, np.ones(len(over), dtype="u4"))
    yield Wire(("difference",), "ended", 1), ended
    yield _any([*found, (0, ended)])


def _differs(first: tuple[Wire, Levels], second: tuple[Wire, Levels]) -> tuple[int, Levels]:
    """Return whether two signals differ in cycle 0, and from then on."""
    texts = {text: number for number, text in enumerate(first[0].texts)}
    for text in second[0].texts:
        texts.setdefault(text, len(texts))
    at = np.unique(np.concatenate([[0], first[1].cycles, second[1].cycles]))
    one, two = (_values(wire, levels, texts, at) for wire, levels in (first, second))
    differs = (one != two).astype("u4")
    kept = np.flatnonzero(changed(differs))[1:]
    return int(differs[0]), Levels(at[kept], differs[kept])


def _values(wire: Wire, levels: Levels, texts: Mapping[str, int], at: NDArray[Any]) -> NDArray[Any]:
    """Return the values of a signal in some cycles; texts by their numbers in both sides."""
    values = np.concatenate([[wire.value], levels.values]).astype("i8")
    if wire.texts:
        values = np.array([texts[text] for text in wire.texts], dtype="i8")[values]
    return values[np.searchsorted(levels.cycles, at, side="right")]


def _any(found: Sequence[tuple[int, Levels]]) -> tuple[Wire, Levels]:
    """Return the signal that is 1 where one of some signals of one bit is."""
    first = sum(level for level, _ in found)
    cycles = np.concatenate([levels.cycles for _, levels in found]).astype("i8")
    steps = np.concatenate([np.where(levels.values, 1, -1) for _, levels in found])
    at, which = np.unique(cycles, return_inverse=True)
    counts = first + np.cumsum(np.bincount(which, steps, minlength=len(at)))
    levels = np.concatenate([[first > 0], counts > 0]).astype("u4")
    kept = np.flatnonzero(changed(levels))[1:]
    return Wire(("difference",), "any", 1, int(first > 0)), Levels(at[kept - 1], levels[kept])
