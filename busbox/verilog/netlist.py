"""A flat netlist, as the front end prints it (JSON): ports, cells, names."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

#: A bit of a netlist: the number of a signal's bit, or ``0``, ``1``, ``x``, ``z``.
Bit = int | str
_SOURCE = re.compile(r"([^|]*?):(\d+)\.")


@dataclass(frozen=True)
class Port:
    """A port of the module.

    Attributes
    ----------
    direction : ``input``, ``output`` or ``inout``
    bits : the lowest first
    low : the number of the lowest bit, as it was declared
    """

    name: str
    direction: str
    bits: Sequence[Bit]
    low: int

    @property
    def width(self) -> int:
        """Its number of bits."""
        return len(self.bits)


@dataclass(frozen=True)
class Cell:
    """An operator, a register or a memory."""

    name: str
    kind: str
    parameters: Mapping[str, str]
    connections: Mapping[str, Sequence[Bit]]
    source: str

    def number(self, parameter: str) -> int:
        """Return a parameter as a number."""
        return int(self.parameters[parameter].replace("x", "0"), 2)

    @property
    def memory(self) -> str:
        """The name of a memory."""
        return self.parameters["MEMID"].removeprefix("\\")

    @property
    def place(self) -> tuple[str, int | None]:
        """The file and line that it comes from."""
        return place_of(self.source)


@dataclass(frozen=True)
class Net:
    """A name of bits; ``initial`` is their initial value, the highest bit first, or ""."""

    name: str
    bits: Sequence[Bit]
    initial: str
    source: str
    public: bool


def place_of(source: str) -> tuple[str, int | None]:
    """Return the file and line of what the front end notes as ``file:line.column-line.column``."""
    found = _SOURCE.match(source)
    return (found[1], int(found[2])) if found else ("", None)


class Netlist:
    """A module, flattened.

    Parameters
    ----------
    text : the JSON text that the front end prints
    """

    def __init__(self, text: str) -> None:
        modules: dict[str, Any] = json.loads(text)["modules"]
        tops = [name for name, one in modules.items() if _is_set(one["attributes"].get("top", "0"))]
        (self.name,) = tops or list(modules)
        top = modules[self.name]
        self.parameters: dict[str, Any] = top.get("parameter_default_values", {})
        self.source: str = top["attributes"].get("src", "")
        self.ports = {
            name: Port(name, one["direction"], one["bits"], one.get("offset", 0))
            for name, one in top["ports"].items()
        }
        self.cells = {
            name: Cell(
                name, one["type"], one["parameters"], one["connections"],
                one["attributes"].get("src", ""),
            )
            for name, one in top["cells"].items()
        }  # fmt: skip
        self.outputs = {
            name: tuple(key for key, way in one["port_directions"].items() if way == "output")
            for name, one in top["cells"].items()
            if "port_directions" in one
        }
        self.nets = tuple(
            Net(
                name, one["bits"], one["attributes"].get("init", ""),
                one["attributes"].get("src", ""), not one["hide_name"],
            )
            for name, one in top["netnames"].items()
        )  # fmt: skip

    @cached_property
    def drivers(self) -> dict[int, tuple[str, str, int]]:
        """For each bit: the cell (or "" for an input port), the port, and the place in it."""
        found: dict[int, tuple[str, str, int]] = {}
        for port in self.ports.values():
            if port.direction == "input":
                for place, bit in enumerate(port.bits):
                    if isinstance(bit, int):
                        found[bit] = "", port.name, place
        for name, cell in self.cells.items():
            for key in self.outputs[name]:
                for place, bit in enumerate(cell.connections[key]):
                    if isinstance(bit, int):
                        found[bit] = name, key, place
        return found

    @cached_property
    def named(self) -> dict[int, tuple[str, int]]:
        """For each bit that has one: its public name and the place in it.

        Of several names it is the outermost, that of no output port, the shortest.
        """
        outputs = {port.name for port in self.ports.values() if port.direction == "output"}
        found: dict[int, tuple[str, int]] = {}
        for net in sorted(
            self.nets,
            key=lambda net: (net.name.count("."), net.name in outputs, len(net.name), net.name),
        ):
            if net.public:
                for place, bit in enumerate(net.bits):
                    if isinstance(bit, int):
                        found.setdefault(bit, (net.name, place))
        return found

    def of_kind(self, *kinds: str) -> Iterator[Cell]:
        """Yield the cells of some kinds."""
        return (cell for cell in self.cells.values() if cell.kind in kinds)


def _is_set(value: str) -> bool:
    return "1" in value
