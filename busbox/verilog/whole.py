"""The fabric with the hardware devices of a bench, as Verilog: a file each, and one that connects them.

Slots without hardware are ports of the whole: what stands there is connected outside.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from amaranth.hdl import Module

from busbox.bus import wishbone
from busbox.bus.hardware import Hardware
from busbox.bus.wishbone.fabric import Fabric
from busbox.map.slots import Slot
from busbox.system.hardware import FabricOptions
from busbox.verilog.outer import Facing, Outer, OuterPort, Style, unused
from busbox.verilog.writing import comment, device_text, instance, module_text

#: Members of a slot's port to the ends of their names at the fabric (Wishbone B4, section 2.2).
_OUTWARD = {
    "cyc": "cyc_o", "stb": "stb_o", "we": "we_o", "adr": "adr_o", "sel": "sel_o",
    "write_data": "dat_o", "read_data": "dat_i", "ack": "ack_i", "err": "err_i",
}  # fmt: skip


@dataclass(frozen=True)
class SlotDevice:
    """A slot, with its device in hardware or None, and the first lines of the device's file."""

    slot: Slot
    device: Hardware | None
    head: tuple[str, ...]


class OuterFabric(Facing):
    """The fabric as a module of its own.

    Attributes
    ----------
    ports : clock, reset, the master's port, then one for each slot
    slot_ports : (slot, member) to the port
    """

    def __init__(self, slots: Sequence[Slot], options: FabricOptions, style: Style) -> None:
        self._words = style.kind.words
        super().__init__(style, wishbone.WORD_ADDRESS_BITS if self._words else 32)
        self.fabric = Fabric(slots, options)
        self.ports = [
            *self.clocking,
            *(
                OuterPort(signal.name, len(signal), style.kind.role(role).driven, "", signal)
                for role, signal in self.port.items()
            ),
        ]
        self.slot_ports: dict[tuple[str, str], OuterPort] = {}
        for number, slot in enumerate(slots):
            for member, ending in _OUTWARD.items():
                signal = getattr(self.fabric.port(number), member)
                is_input = ending.endswith("_i")
                name = f"{slot.name}_{ending}"
                signal.name = name
                one = OuterPort(name, len(signal), is_input, "", signal)
                self.slot_ports[slot.name, member] = one
                if len(signal):
                    self.ports.append(one)

    def elaborate(self, platform: object) -> Module:
        return self.facing(self.fabric, self.fabric.bus, self._word_of, False)

    def _word_of(self, address: Any) -> Any:
        return address if self._words else address[2:]


def slot_ports(slots: Iterable[Slot]) -> Iterator[str]:
    """Yield the names of the fabric's ports to its slots."""
    for slot in slots:
        yield from (f"{slot.name}_{ending}" for ending in _OUTWARD.values())


def whole_texts(
    name: str,
    placed: Sequence[SlotDevice],
    options: FabricOptions,
    style: Style,
    head: Sequence[str],
) -> Iterator[tuple[str, str]]:
    """Yield (name of a module, its text): the devices, the fabric, and what connects them.

    Parameters
    ----------
    name : of the whole
    head : lines of comment that come first in each file
    """
    clock, reset, low = style.clocking
    inner = Style("wishbone", clock, reset, low)
    slots = [one.slot for one in placed]
    devices: dict[str, Outer] = {}
    for one in placed:
        if one.device is not None:
            devices[one.slot.name] = outer = Outer(one.device, inner)
            winners = [slot for slot in slots if slot.name in one.slot.yields_to]
            yield one.slot.name, device_text(outer, one.slot, one.head, winners)
    fabric = OuterFabric(slots, options, style)
    ports = [port.signal for port in fabric.ports]
    about = [*head, "", "The fabric: decoder, wait states, answers of the slots."]
    yield f"{name}_fabric", comment(about) + module_text(f"{name}_fabric", fabric, ports, ())
    yield name, _top(name, fabric, devices, slots, head)


def _top(
    name: str,
    fabric: OuterFabric,
    devices: Mapping[str, Outer],
    slots: Sequence[Slot],
    head: Sequence[str],
) -> str:
    """Return the module that connects fabric and devices."""
    outer: list[tuple[OuterPort, str]] = []
    wires: list[tuple[OuterPort, str]] = []
    instances: list[str] = []
    master = {port.name for port in fabric.slot_ports.values()}
    own = f"{name}_fabric_inst"
    taken = {own, *(port.name for port in fabric.ports)}
    instances_of = {slot: unused(f"{slot}_inst", taken, "_device") for slot in devices}
    outer += [(port, port.name) for port in fabric.ports if port.name not in master]
    for slot in slots:
        device = devices.get(slot.name)
        between = [
            port
            for (owner, _), port in fabric.slot_ports.items()
            if owner == slot.name and port.width
        ]
        (outer if device is None else wires).extend((port, port.name) for port in between)
        if device is not None:
            connected, pins = _connected(slot.name, device, fabric, taken)
            outer += pins
            instances += ["", *instance(slot.name, instances_of[slot.name], connected)]
    text = [f"module {name} ("]
    for place, (port, wire) in enumerate(outer):
        way = "input " if port.is_input else "output"
        end = "," if place + 1 < len(outer) else ""
        said = f"  // {' '.join(port.text.split())}" if port.text else ""
        text.append(f"  {way} wire {_range(port)}{wire}{end}{said}")
    text.append(");")
    text += [f"  wire {_range(port)}{wire};" for port, wire in wires]
    text += [
        "",
        *instance(f"{name}_fabric", own, [(port, port.name) for port in fabric.ports]),
    ]
    text += [*instances, "endmodule", ""]
    about = [*head, "", f"The bus of {name}: the fabric and its devices."]
    return comment(about) + "\n".join(text)


def _connected(
    slot: str, device: Outer, fabric: OuterFabric, taken: set[str]
) -> tuple[list[tuple[OuterPort, str]], list[tuple[OuterPort, str]]]:
    """Return what each port of a device is connected to, and its pins as ports of the whole.

    Parameters
    ----------
    taken : names of the whole; those of the pins are added
    """
    roles = {signal.name: role for role, signal in device.port.items()}
    clocking = {port.name for port in fabric.ports[:2]}
    connected, pins = [], []
    for port in device.ports:
        if port.name in clocking:
            connected.append((port, port.name))
        elif port.name in roles:
            there = fabric.slot_ports[slot, roles[port.name]]
            connected.append((port, there.name if there.width else "1'b0"))
        else:
            wire = unused(f"{slot}_{port.name}", taken, "_pin")
            connected.append((port, wire))
            pins.append((port, wire))
    return connected, pins


def _range(port: OuterPort) -> str:
    return f"[{port.width - 1}:0] " if port.width > 1 else ""
