"""Which inputs of a hardware device show on its pins within a row.

A wire takes a pin's level at the beginning of a row, before inputs and the access of that row are
there. So a pin that has a wire must not depend on them within the row; whether it does is read from
the netlist.
"""

from __future__ import annotations

from typing import Any

from amaranth.hdl import ClockDomain, Module, Signal, Value

from busbox.engines.netlist import build
from busbox.errors import EngineError
from busbox.fabric.design import hardware_of
from busbox.fabric.hardware import Hardware
from busbox.system import System


def check_wires(system: System) -> None:
    """Refuse a wire from a pin of hardware that shows an input, or an access, in the same row.

    Raises
    ------
    EngineError : there is one; it is named with what it shows
    """
    for wire in system.wires:
        devices = hardware_of(system, {wire.from_device})
        if not devices:
            continue
        shown = shown_on(devices[wire.from_device], wire.from_pin)
        if shown:
            slot = system.devices[wire.from_device].slot.name
            raise EngineError(
                f"wire from {slot}.{wire.from_pin}: the hardware lets {', '.join(shown)} through to "
                "this pin within a cycle; put a register before the pin, or leave the wire out"
            )


def shown_on(device: Hardware, pin: str) -> list[str]:
    """Return the members of ``device`` that reach an output pin in the same row, by name."""
    m = Module()
    m.domains += (domain := ClockDomain("sync"))
    m.submodules.device = device
    assert domain.rst is not None
    ports: dict[str, Any] = {"clk": domain.clk, "rst": domain.rst}
    for path, _, value in device.signature.flatten(device):
        ports["_".join(map(str, path))] = _signal(value)
    stem, _, number = pin.partition(".")
    return sorted(build(m, ports).depends((f"pin_{stem}", int(number or 0), 1)))


def _signal(value: object) -> Signal:
    signal = Value.cast(value)
    assert isinstance(signal, Signal)
    return signal
