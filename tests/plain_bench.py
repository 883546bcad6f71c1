"""What one would write without Busbox: a plain test bench on Amaranth's own simulator.

It makes the accesses of a bench on the same fabric and the same devices in hardware, in the same
cycles, and records nothing: ``make bench`` measures what the engines, which record all of it, cost
beside it. ``python -m tests.plain_bench NAME [ACCESSES]`` runs first_light, or so many accesses of
signal_cabin.
"""

from __future__ import annotations

import csv
import gzip
import sys
import time
from collections.abc import Awaitable, Callable, Mapping
from dataclasses import dataclass
from typing import Any

from amaranth.hdl import Module
from amaranth.lib import wiring
from amaranth.sim import Simulator

from busbox.bench.find import packaged_benches
from busbox.bus.wishbone.fabric import Fabric
from busbox.device import Site
from busbox.map.slots import Slot
from busbox.models.gpio.hardware import GpioHardware
from busbox.models.pulse_led.hardware import PulseLedHardware
from busbox.models.timer.hardware import TimerHardware
from busbox.models.uart.hardware import UartHardware
from busbox.system.hardware import FabricOptions

CLOCK_HZ = 16_000_000
SIZE = 0x1000
LEVERS, TELEGRAPH, LAMPS, TIMER = 0x4000_0000, 0x4000_1000, 0x4400_0000, 0x4000_3000
CABIN_LAMPS = 0x4000_2000

STRING = {"channels": 3, "order": None, "count": 0, "high": 0, "period": 0}


class Top(wiring.Component):
    """The fabric and its devices; ``bus`` is the CPU's port."""

    def __init__(self, devices: Mapping[int, tuple[type, Mapping[str, Any]]]) -> None:
        super().__init__({})
        self.devices = [
            kind(Site(kind.__name__, base, SIZE, CLOCK_HZ), **settings)
            for base, (kind, settings) in devices.items()
        ]
        slots = [Slot(f"at_{base:x}", base, SIZE) for base in devices]
        self.fabric = Fabric(slots, FabricOptions())
        self.bus = self.fabric.bus

    def elaborate(self, platform: object) -> Module:
        m = Module()
        m.submodules.fabric = self.fabric
        for number, device in enumerate(self.devices):
            m.submodules[f"device_{number}"] = device
            wiring.connect(m, getattr(self.fabric, f"slot_{number}"), device.bus)
        return m


class Cpu:
    """The accesses of a test bench: one at a time, each after some idle cycles.

    Attributes
    ----------
    done : called with each word that is read or written, if the test of this file looks at them
    """

    def __init__(self, context: Any, bus: Any, done: Callable[[int], None] | None) -> None:
        self._context, self._bus, self._done = context, bus, done

    async def access(self, write: bool, address: int, data: int = 0, wait: int = 0) -> int:
        """Make an access, and return the word."""
        context, bus = self._context, self._bus
        if wait:
            await context.tick().repeat(wait)
        context.set(bus.adr, address >> 2)
        context.set(bus.we, write)
        context.set(bus.sel, 0b1111)
        context.set(bus.write_data, data)
        context.set(bus.cyc, 1)
        context.set(bus.stb, 1)
        word, error = await context.tick().sample(bus.read_data, bus.err).until(bus.ack | bus.err)
        assert not error, f"the access to {address:#x} ended with ERR"
        context.set(bus.cyc, 0)
        context.set(bus.stb, 0)
        if self._done is not None:
            self._done(data if write else word)
        return int(word)

    async def write(self, address: int, data: int, wait: int = 0) -> None:
        """Write a word."""
        await self.access(True, address, data, wait)

    async def poll(self, address: int, mask: int, value: int) -> None:
        """Read until the masked word has the value, with 12 cycles in between."""
        wait = 0
        while await self.access(False, address, 0, wait) & mask != value:
            wait = 12


async def first_light(cpu: Cpu) -> None:
    """Do what first_light.steps says."""
    await cpu.poll(LEVERS + 0x10, 0x10, 0x10)
    await cpu.write(LEVERS + 4, 0x1, 6)
    for number, byte in enumerate(b"line free\n"):
        if number:
            await cpu.poll(TELEGRAPH + 4, 1, 1)
        await cpu.write(TELEGRAPH, byte)
    colours = (0x400000, 0x302000, 0x4000, 0x4000, 0x4000, 0x302000, 0x400000, 0x40)
    settings = {0x08: 8, 0x0C: 0x000D_0007, 0x10: 0x03C0_0014}
    shown = {0x100 + 4 * number: colour for number, colour in enumerate(colours)}
    for offset, data in {**settings, **shown, 0: 1}.items():
        await cpu.write(LAMPS + offset, data, 6)
    await cpu.poll(LAMPS + 4, 1, 0)
    await cpu.access(False, LAMPS + 0x100)
    await cpu.write(LEVERS + 8, 0x1, 6)


async def cabin(cpu: Cpu, accesses: int) -> None:
    """Make the accesses that signal_cabin's firmware made."""
    recorded = packaged_benches()["signal_cabin_recorded"].with_name("signal_cabin.csv.gz")
    with gzip.open(recorded, "rt", encoding="utf-8", newline="") as file:
        for _, row in zip(range(accesses), csv.DictReader(file), strict=False):
            data = int(row["data"], 16) if row["op"] == "write" else 0
            await cpu.access(row["op"] == "write", int(row["address"], 16), data, int(row["wait"]))


@dataclass(frozen=True)
class Plain:
    """A plain test bench.

    Attributes
    ----------
    devices : base to class and settings; the first one has the levers
    lever_at : cycle in which lever 4 is pulled, or None: not in the cycles that are run
    firmware : what is done with the bus
    settle : cycles after the last access
    """

    devices: Mapping[int, tuple[type, Mapping[str, Any]]]
    lever_at: int | None
    firmware: Callable[[Cpu], Awaitable[None]]
    settle: int

    def run(self, done: Callable[[int], None] | None = None) -> None:
        """Run it."""
        top = Top(self.devices)
        simulator = Simulator(top)
        simulator.add_clock(1 / CLOCK_HZ)

        async def cpu(context: Any) -> None:
            await context.tick()
            await self.firmware(Cpu(context, top.bus, done))
            await context.tick().repeat(self.settle)

        async def signalman(context: Any) -> None:
            await context.tick().repeat(self.lever_at or 0)
            context.set(top.devices[0].pin_in, 1 << 4)

        simulator.add_testbench(cpu)
        if self.lever_at is not None:
            simulator.add_testbench(signalman, background=True)
        simulator.run()


def plain(name: str, accesses: int = 0) -> Plain:
    """Return the test bench of a name; ``accesses``: of signal_cabin, before its lever is pulled."""
    levers = {LEVERS: (GpioHardware, {"width": 32})}
    if name == "first_light":
        devices = {
            **levers,
            TELEGRAPH: (UartHardware, {"divisor": 16, "baud": None}),
            LAMPS: (PulseLedHardware, {"lamps": 8, **STRING}),
        }
        return Plain(devices, 640, first_light, 1)
    devices = {
        **levers,
        TELEGRAPH: (UartHardware, {"divisor": None, "baud": None}),
        CABIN_LAMPS: (PulseLedHardware, {"lamps": 12, **STRING}),
        TIMER: (TimerHardware, {}),
    }
    return Plain(devices, None, lambda cpu: cabin(cpu, accesses), 1)


if __name__ == "__main__":
    began = time.perf_counter()
    plain(sys.argv[1], *(int(word) for word in sys.argv[2:])).run()
    print(time.perf_counter() - began)
