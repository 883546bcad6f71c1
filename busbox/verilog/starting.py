"""What registers and memories hold in cycle 0: as after a reset, else their initial values.

The front end holds the reset active and reduces what is left (``Source.reduced``). A register that is a
constant then is set by the reset; so is a word of a memory that is written then, by a constant, at a
constant address.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from busbox.verilog.netlist import Bit, Cell, Netlist
from busbox.verilog.statements import MEMORY, REGISTER, initial_words


@dataclass(frozen=True)
class Start:
    """The state in cycle 0.

    Attributes
    ----------
    bits : value of each bit of a register, where it is known
    words : bits of the words that a reset sets, by the name of the memory's cell and the word's number
    undefined : names of registers and memories with bits that neither a reset nor an initial value sets
    overruled : names of registers and memories whose initial value is another than after a reset
    """

    bits: Mapping[int, int]
    words: Mapping[str, Mapping[int, str]]
    undefined: tuple[str, ...]
    overruled: tuple[str, ...]


def start_of(whole: Netlist, called: Netlist | None, held: Netlist | None) -> Start:
    """Return the state in cycle 0.

    Parameters
    ----------
    called : the same netlist, where every wire has a public name; None for a module without a reset
    held : what is left of that while the reset is active
    """
    given = {
        bit: int(level)
        for net in whole.nets
        for bit, level in zip(net.bits, reversed(net.initial), strict=False)
        if isinstance(bit, int) and level in "01"
    }
    reset: dict[int, int] = {}
    words: dict[str, dict[int, str]] = {}
    if called is not None and held is not None:
        reset = dict(_bits_set(whole, called, held))
        words = {
            cell.name: dict(_words_set(held.cells[cell.name]))
            for cell in whole.of_kind(MEMORY)
            if cell.name in held.cells
        }
    known = given | reset
    undefined, overruled = set(), set()
    for cell in whole.of_kind(REGISTER):
        bits = [bit for bit in cell.connections["Q"] if isinstance(bit, int)]
        if any(bit not in known for bit in bits):
            undefined.add(_register(whole, cell))
        if any(bit in given and known[bit] != given[bit] for bit in bits):
            overruled.add(_register(whole, cell))
    for cell in whole.of_kind(MEMORY):
        name, first = cell.memory, initial_words(cell)
        after = [words.get(cell.name, {}).get(place, word) for place, word in enumerate(first)]
        if any("x" in word for word in after):
            undefined.add(name)
        pairs = zip("".join(first), "".join(after), strict=True)
        if any(one not in ("x", other) for one, other in pairs):
            overruled.add(name)
    return Start(known, words, tuple(sorted(undefined)), tuple(sorted(overruled)))


def _bits_set(whole: Netlist, called: Netlist, held: Netlist) -> Iterator[tuple[int, int]]:
    """Yield the bits of registers that are constant while the reset is active."""
    places = {
        bit: (net.name, place)
        for net in called.nets
        if net.public
        for place, bit in enumerate(net.bits)
        if isinstance(bit, int)
    }
    left = {net.name: net.bits for net in held.nets}
    for cell in whole.of_kind(REGISTER):
        names = called.cells[cell.name].connections["Q"]
        for bit, other in zip(cell.connections["Q"], names, strict=True):
            if isinstance(bit, int) and isinstance(other, int) and other in places:
                name, place = places[other]
                level = left[name][place] if name in left else "x"
                if level in ("0", "1"):
                    yield bit, int(level)


def _words_set(cell: Cell) -> Iterator[tuple[int, str]]:
    """Yield the words that are written in every cycle, as texts with the highest bit first."""
    width, bits = cell.number("WIDTH"), cell.number("ABITS")
    first, size = cell.number("OFFSET"), cell.number("SIZE")
    found: dict[int, list[str]] = {}

    def part(key: str, place: int, length: int) -> Sequence[Bit]:
        return cell.connections[key][place * length : (place + 1) * length]

    for place in range(cell.number("WR_PORTS")):
        enable, data = part("WR_EN", place, width), part("WR_DATA", place, width)
        if all(bit == "0" for bit in enable):
            continue
        address = part("WR_ADDR", place, bits)
        if not all(bit in ("0", "1") for bit in address):
            found.clear()  # it may write any word, after the ports before it
            continue
        word = int("".join(map(str, reversed(address))) or "0", 2) - first
        if not 0 <= word < size:
            continue
        levels = found.setdefault(word, ["x"] * width)
        for bit in range(width):
            if enable[bit] == "1":
                levels[bit] = str(data[bit]) if data[bit] in ("0", "1") else "x"
            elif enable[bit] != "0":
                levels[bit] = "x"
    for word, levels in found.items():
        if "x" not in levels:
            yield word, "".join(reversed(levels))


def _register(whole: Netlist, cell: Cell) -> str:
    """Return the name of a register; for a word of a memory, that of the memory."""
    bits = set(cell.connections["Q"])
    names = [net.name for net in whole.nets if net.public and bits == set(net.bits)]
    if names:
        return min(names, key=lambda name: (name.count("."), len(name), name)).partition("[")[0]
    for bit in cell.connections["Q"]:
        if isinstance(bit, int) and bit in whole.named:
            return whole.named[bit][0].partition("[")[0]
    file, line = cell.place
    return f"a register in {file}:{line}"
