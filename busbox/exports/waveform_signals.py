"""The signals of a waveform file: where they stand, what they are called, and what is named by them.

Some signals hold text, in the way in which Verilog keeps it: 8 bits a character, the last one lowest
(IEEE 1364-2005, 3.6), so that a viewer can show them as text. In columns, each text is a number; 0
stands for none.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from busbox.basics.distinct import distinct
from busbox.basics.errors import InputError
from busbox.bus.transfers import ACK, ERR
from busbox.exports.waveform_changes import BUS, Levels
from busbox.recording import Recording
from busbox.system.system import System

if TYPE_CHECKING:
    from busbox.explain.inner_signals import InnerSignal

#: A name that needs no escape (IEEE 1364-2005, 3.7).
_SIMPLE = re.compile(r"[A-Za-z_][A-Za-z0-9_$]*")
#: Bits of the widest value that is a number in a column.
_PLAIN = 32
#: The value of an unknown word.
UNKNOWN = "x"


class Wire(NamedTuple):
    """A signal of the file.

    Attributes
    ----------
    scope, name : where it stands and what it is called, before a name is made free
    size : bits
    value : in cycle 0; a number of ``texts``, if there are any
    texts : the digits of each value, in base 2, for values that are numbers of these
    """

    scope: tuple[str, ...]
    name: str
    size: int
    value: int = 0
    texts: Sequence[str] = ()


def plain_wires(recording: Recording) -> Iterator[Wire]:
    """Yield RST, the bus, the slots and the pins, in this order."""
    yield Wire((), "rst", 1)
    for name, size in BUS.items():
        yield Wire(("bus",), name, size)
    for slot in recording.slots:
        yield Wire((slot.name,), "stb", 1)
    for pin, line in recording.lines.items():
        slot_name, _, name = pin.partition(".")
        yield Wire((slot_name,), name.replace(".", "_"), 1, int(line.levels[0]))


def named_wires(
    recording: Recording, system: System | None, inner: Sequence[InnerSignal]
) -> Iterator[tuple[Wire, Levels]]:
    """Yield the registers, what the CPU executes, and what is inside devices, with what changes."""
    if system is not None:
        for number, device in enumerate(system.devices):
            names = {
                offset: "" if (place := device.slot.table.at(offset)) is None else place.name
                for offset in _offsets(recording, number)
            }
            yield _registers(recording, number, names)
    if (recording.accesses.pc >= 0).any():
        yield from _executed(recording, system)
    for signal in inner:
        yield _inside(signal)


def _offsets(recording: Recording, number: int) -> list[int]:
    accesses, slot = recording.accesses, recording.slots[number]
    mine = accesses.address[accesses.slot == number].astype("i8")
    return [int(one) for one in distinct((mine - slot.base) % slot.size & ~3)]


def _registers(recording: Recording, number: int, names: Mapping[int, str]) -> tuple[Wire, Levels]:
    """Return the register that an access reaches, in the cycle in which its device ends it."""
    accesses, slot = recording.accesses, recording.slots[number]
    ended = (accesses.terminator == ACK) | (accesses.terminator == ERR)
    mine = np.flatnonzero((accesses.slot == number) & ended)
    offsets = (accesses.address[mine].astype("i8") - slot.base) % slot.size & ~3
    known, texts = _numbered([names[offset] for offset in names])
    which = known[np.searchsorted(np.array(list(names), dtype="i8"), offsets)]
    cycles = accesses.end[mine]
    rows = np.repeat(cycles, 2)
    rows[1::2] += 1
    values = np.zeros(len(rows), dtype="u4")
    values[::2] = which
    # Where the next access ends in the cycle after, its name takes the place of none.
    counts = rows < recording.cycles
    counts[1:-1:2] &= np.diff(cycles) > 1
    return _text((slot.name,), "register", texts), Levels(rows[counts], values[counts])


def _executed(recording: Recording, system: System | None) -> Iterator[tuple[Wire, Levels]]:
    """Yield the instruction that made the last access, from its first cycle on, and its function."""
    accesses = recording.accesses
    known = np.flatnonzero(accesses.pc >= 0)
    cycles, pcs = accesses.start[known], accesses.pc[known].astype("i8")
    different, which = np.unique(pcs, return_inverse=True)
    texts = [UNKNOWN, *(f"{pc:b}" for pc in different.tolist())]
    yield Wire(("cpu",), "pc", 32, 0, texts), Levels(cycles, which + 1)
    if system is not None and system.firmware:
        from busbox.firmware.program import Firmware

        firmware = Firmware(system.firmware)
        sources = [firmware.source(pc) for pc in different.tolist()]
        numbers, texts = _numbered(["" if one is None else one.function for one in sources])
        yield _text(("cpu",), "function", texts), Levels(cycles, numbers[which])


def _inside(signal: InnerSignal) -> tuple[Wire, Levels]:
    scope = (signal.slot, "hardware", *signal.path)
    cycles = np.array(signal.cycles[1:], dtype="i8")
    if signal.width <= _PLAIN:
        values = np.array(signal.values, dtype="u4")
        return Wire(scope, signal.name, signal.width, int(values[0])), Levels(cycles, values[1:])
    numbers = {value: number for number, value in enumerate(dict.fromkeys(signal.values))}
    texts = [f"{value:b}" for value in numbers]
    column = np.array([numbers[value] for value in signal.values[1:]], dtype="u4")
    return Wire(scope, signal.name, signal.width, 0, texts), Levels(cycles, column)


def _numbered(names: Sequence[str]) -> tuple[NDArray[Any], list[str]]:
    """Return the number of each name's text, and the digits of the texts; none is number 0."""
    numbers = {name: number for number, name in enumerate(dict.fromkeys(("", *names)))}
    texts = [f"{int.from_bytes(name.encode(), 'big'):b}" for name in numbers]
    return np.array([numbers[name] for name in names], dtype="u4"), texts


def _text(scope: tuple[str, ...], name: str, texts: Sequence[str]) -> Wire:
    longest = max(-(-len(digits) // 8) for digits in texts)
    return Wire(scope, name, 8 * longest, 0, texts)


class Names:
    """Gives every signal a name that the format can hold, and that no other one has."""

    def __init__(self) -> None:
        self._taken: set[tuple[tuple[str, ...], str]] = set()

    def of(self, wire: Wire) -> tuple[tuple[str, ...], str]:
        """Return scope and name.

        Raises
        ------
        InputError : there is a character in it that is not printed ASCII (IEEE 1364-2005, 3.7.1)
        """
        scope = ("busbox", *(_escaped(one) for one in wire.scope))
        name = wire.name
        while (scope, name) in self._taken:
            name += "_"
        self._taken.add((scope, name))
        return scope, _escaped(name)


def _escaped(name: str) -> str:
    if not all("!" <= letter <= "~" for letter in name):
        raise InputError.of(f"a VCD file holds ASCII names only, not {name!r}")
    return name if _SIMPLE.fullmatch(name) else f"\\{name}"
