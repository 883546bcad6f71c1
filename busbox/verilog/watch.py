"""What a read would show, without making it: the module's own read, some cycles ahead, as plain logic.

A read that begins now is played forward from the present state: in each further cycle every register is
replaced by what it takes at the end of the cycle before, as long as its value matters. The word of the
first cycle in which the module answers is what the watch port shows; after :data:`AHEAD` cycles without
an answer it is 0. Nothing of it drives the module.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from amaranth.hdl import Const, Module, Mux

from busbox.verilog.netlist import Bit, Netlist
from busbox.verilog.roles import Roles
from busbox.verilog.statements import REGISTER, Copy, Storage, cone

#: Cycles that a read is played forward, at the most.
AHEAD = 4


def watched(
    m: Module,
    netlist: Netlist,
    storage: Storage,
    roles: Roles,
    inputs: Mapping[str, Any],
    address: Any,
) -> Any:
    """Return the word that a read of ``address``, as the module's port takes it, would show.

    Parameters
    ----------
    inputs : value of each input port
    """
    read = _Read(netlist, roles)
    needs = read.needs()
    registers: dict[str, Any] = dict(storage.registers)
    shown: list[tuple[Any, Any]] = []
    taken: Any = Const(0, 1)
    for phase, cells in enumerate(needs):
        driven = read.levels(phase, taken, address)
        levels = {
            name: driven.get(name, Const(0, one.width) if name == roles.clock else inputs.get(name))
            for name, one in netlist.ports.items()
            if one.direction == "input"
        }
        if roles.reset:
            levels[roles.reset] = Const(int(roles.reset_low), 1)
        copy = Copy(m, netlist, storage, levels, registers, cells)
        answer, taken = read.answer(phase, taken, copy)
        shown.append((answer, copy.value(netlist.ports[roles.bus[read.data]].bits)))
        if phase + 1 < len(needs):
            wanted = [one for one in needs[phase + 1] if netlist.cells[one].kind == REGISTER]
            registers = {one: copy.next_of(netlist.cells[one]) for one in wanted}
    word: Any = Const(0, 32)
    for answer, data in reversed(shown):
        word = Mux(answer, data, word)
    return word


class _Read:
    """A read of one kind of port."""

    def __init__(self, netlist: Netlist, roles: Roles) -> None:
        assert roles.kind is not None
        self._netlist, self._roles, self._kind = netlist, roles, roles.kind.name
        self.data = {"wishbone": "read_data", "apb": "prdata", "axi4-lite": "rdata"}.get(
            self._kind, "read_data"
        )
        self._ready = {"wishbone": "ack", "apb": "pready", "axi4-lite": "rvalid"}.get(
            self._kind, "ready"
        )
        first = int(self._kind == "apb" or roles.late)
        self._phases = AHEAD if self._ready in roles.bus else first + 1

    def needs(self) -> list[set[str]]:
        """Return the cells that matter in each phase."""
        found: list[set[str]] = []
        bits: list[Bit] = []
        for _ in range(self._phases):
            cells = cone(self._netlist, [*bits, *self._seen()])
            bits = [
                bit
                for name in cells
                if self._netlist.cells[name].kind == REGISTER
                for bit in self._netlist.cells[name].connections["D"]
            ]
            found.append(cells)
        return found[::-1]

    def _seen(self) -> list[Bit]:
        names = [self.data, self._ready, "arready", "stall"]
        ports = [self._roles.bus[name] for name in names if name in self._roles.bus]
        return [bit for port in ports for bit in self._netlist.ports[port].bits]

    def levels(self, phase: int, taken: Any, address: Any) -> dict[str, Any]:
        """Return the levels of the bus's ports in a phase; ``taken``: the request has been accepted."""
        on, off, bus = Const(1, 1), Const(0, 1), self._roles.bus
        given = {
            "cyc": on, "stb": ~taken if "stall" in bus else on, "adr": address, "sel": Const(15, 4),
            "psel": on, "penable": on if phase else off, "paddr": address,
            "arvalid": ~taken, "araddr": address, "rready": taken,
            "select": ~taken, "read": ~taken, "address": address, "lanes": Const(15, 4),
        }  # fmt: skip
        ports = self._netlist.ports
        return {port: given.get(role, Const(0, ports[port].width)) for role, port in bus.items()}

    def answer(self, phase: int, taken: Any, copy: Copy) -> tuple[Any, Any]:
        """Return whether the word is there, and whether the request is accepted after this phase."""
        bus = self._roles.bus

        def seen(role: str) -> Any:
            return copy.value(self._netlist.ports[bus[role]].bits) if role in bus else Const(1, 1)

        if self._kind == "apb":
            return (seen("pready") if phase else Const(0, 1)), taken
        if self._kind == "axi4-lite":
            return seen("rvalid") & taken, taken | seen("arready")
        if self._kind == "wishbone":
            return seen("ack"), (taken | ~seen("stall") if "stall" in bus else taken)
        if self._roles.late:
            return taken, taken | seen("ready")
        return seen("ready"), taken
