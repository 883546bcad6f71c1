"""What the netlist of a hardware device says before it is run.

A wire takes a pin's level at the beginning of a cycle, before inputs and the access of that cycle are
there. So a pin that has a wire must not depend on them within the cycle; whether it does is read from
the netlist. And Amaranth's simulator runs what no hardware does (a clock that nobody drives, a black
box), or never comes back (a loop): the netlist's reader refuses it.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from amaranth.hdl import ClockDomain, Module, Signal, Value
from amaranth.lib import wiring

from busbox.basics.errors import EngineError
from busbox.device import Site
from busbox.engines.netlist import Program, build
from busbox.system.hardware import Device
from busbox.system.system import System


def check_hardware(system: System) -> None:
    """Refuse hardware devices that no engine runs as they are.

    Raises
    ------
    NetlistError : there is one; what is in it is named
    """
    for device in system.devices:
        if device.model.in_amaranth:
            program_of(device, system.clock_hz)


def check_wires(system: System) -> None:
    """Refuse a wire from a pin of hardware that shows an input, or an access, in the same cycle.

    Raises
    ------
    EngineError : there is one; it is named with what it shows
    """
    for wire in system.wires:
        device = system.devices[wire.from_device]
        if not device.model.in_amaranth:
            continue
        shown = shown_on(device, wire.from_pin, system.clock_hz)
        if shown:
            slot = device.name
            raise EngineError(
                f"wire from {slot}.{wire.from_pin}: the hardware lets {', '.join(shown)} through to "
                "this pin within a cycle; put a register before the pin, or leave the wire out"
            )


def shown_on(device: Device, pin: str, clock_hz: int) -> list[str]:
    """Return the members of a hardware device that reach an output pin in the same cycle, by name."""
    stem, _, number = pin.partition(".")
    return sorted(program_of(device, clock_hz).depends((f"pin_{stem}", int(number or 0), 1)))


def program_of(device: Device, clock_hz: int) -> Program:
    """Return the program of a hardware device on its own.

    Raises
    ------
    NetlistError : it is not run
    """
    known = device.found_out
    if clock_hz not in known:
        site = Site(device.name, device.slot.base, device.slot.size, clock_hz)
        component = device.model(site, **device.settings)
        known[clock_hz] = program_alone(component, f"slot_{device.name}")
    program: Program = known[clock_hz]
    return program


def program_alone(
    component: wiring.Component, name: str, more: Mapping[str, Any] | None = None
) -> Program:
    """Return the program of a component on its own.

    Parameters
    ----------
    name : of the component, in hierarchical names
    more : signals inside that are ports too, by name

    Raises
    ------
    NetlistError : it is not run
    """
    m = Module()
    m.domains += (domain := ClockDomain("sync"))
    m.submodules[name] = component
    assert domain.rst is not None
    ports: dict[str, Any] = {"clk": domain.clk, "rst": domain.rst}
    for path, _, value in component.signature.flatten(component):
        ports["_".join(map(str, path))] = _signal(value)
    ports |= more or {}
    return build(m, ports)


def _signal(value: object) -> Signal:
    signal = Value.cast(value)
    assert isinstance(signal, Signal)
    return signal
