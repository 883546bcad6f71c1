"""Paths through hardware within a cycle: proved from the netlist, refused where a wire needs them."""

from __future__ import annotations

from typing import Any

import pytest
from amaranth.hdl import Module

from busbox.basics.errors import EngineError
from busbox.bench.bench import Bench
from busbox.bus.hardware import Hardware, Registers
from busbox.device import Declaration, Pin
from busbox.engines.paths import shown_on
from busbox.map.registers import Register, RegisterTable
from tests.check.twin.test_lockstep import SLOTS


@pytest.mark.parametrize("device", SLOTS)
def test_no_twin_lets_anything_through(device: str) -> None:
    """The netlist proves it: no input and no access reaches a pin of a twin within a cycle; one
    clock.
    """
    slot = SLOTS[device] | {"as": "hardware"}
    system = Bench({"clock": "1 MHz", "slot": {device: slot}}).system([])
    for pin in system.devices[0].pins:
        if pin.direction == "output":
            assert shown_on(system.devices[0], pin.name, system.clock_hz) == []


class Relay(Declaration):
    """Two pins, and a register that nobody needs."""

    table = RegisterTable(Register("LEVEL", 0, "rw", "Of the second lamp.", width=1))
    pins = (Pin("contact", "input"), Pin("lamp.0"), Pin("lamp.1"))


class RelayHardware(Relay, Hardware):
    """A contact that goes straight through to a lamp."""

    pin_contact: Any
    pin_lamp: Any

    def build(self, m: Module, registers: Registers) -> None:
        """Join them."""
        m.d.comb += [
            self.pin_lamp[0].eq(self.pin_contact),
            self.pin_lamp[1].eq(registers.LEVEL.value),
        ]


def relay(lamp: int) -> Bench:
    """Return a bench in which a lamp of the relay is wired to a lever."""
    return Bench(
        {
            "clock": "1 MHz",
            "slot": {
                "relay": {"model": RelayHardware, "base": 0x100, "size": 4},
                "levers": {"model": "gpio", "base": 0x200, "size": 0x40},
            },
            "wire": [{"from": f"relay.lamp.{lamp}", "to": "levers.in.4"}],
        }
    )


def test_a_wire_from_such_a_pin_is_refused() -> None:
    """Its level in a cycle would depend on what comes later in that cycle: refused, by name."""
    with pytest.raises(EngineError) as told:
        relay(0).run(traffic=[])
    assert str(told.value) == (
        "wire from relay.lamp.0: the hardware lets pin_contact through to this pin within a cycle; "
        "put a register before the pin, or leave the wire out"
    )


def test_a_wire_from_its_other_pin_is_not() -> None:
    """Pins are told apart bit by bit: a lamp behind a register may have a wire."""
    assert relay(1).run(traffic=[]).ended == "done"
