"""What the tests in this folder share: runs whose ports are traced, and a bus driven by hand."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Mapping, Sequence
from typing import Any

import pytest
from amaranth.hdl import ClockDomain, Elaboratable, Module
from amaranth.lib import wiring
from amaranth.sim import Simulator

from busbox.bench.bench import Bench
from busbox.bus.rule import Breach
from busbox.bus.wishbone.fabric import Fabric
from busbox.bus.wishbone.master import Master
from busbox.bus.wishbone.rules import RuleChecker, Sample
from busbox.cpu.steps import ALL_LANES, AccessStep, Step
from busbox.engines import simulated
from busbox.map.slots import Slot
from busbox.recording import Recording
from busbox.system.hardware import FabricOptions

Trace = list[Sample]


def read(address: int, lanes: int = ALL_LANES, wait: int = 0) -> AccessStep:
    """Return the step of a read."""
    return AccessStep(False, address, None, lanes, wait)


def write(address: int, data: int, lanes: int = ALL_LANES, wait: int = 0) -> AccessStep:
    """Return the step of a write; the data stand in lane position."""
    return AccessStep(True, address, data, lanes, wait)


def bench_of(slots: Mapping[str, Mapping[str, Any]], steps: Sequence[Step], **keys: Any) -> Bench:
    """Return a bench at 16 MHz, if no other clock is among the keys."""
    return Bench({"clock": "16 MHz", "slot": dict(slots), "traffic": list(steps), **keys})


def run(bench: Bench, until: int | None = None) -> Recording:
    """Run a bench; no port may break a rule of the bus (the rule checkers watch, see conftest)."""
    recording = bench.run(until=until)
    assert "wishbone-rule" not in recording.counts, recording.findings
    return recording


def traced(bench: Bench, until: int | None = None) -> tuple[Recording, dict[str, Trace]]:
    """Run a bench and return every cycle of every port besides: ``cpu`` and one for each slot."""
    traces: dict[str, Trace] = {}

    class Watcher(RuleChecker):
        def take(self, sample: Sample) -> tuple[Breach, ...]:
            traces.setdefault(self.port, []).append(sample)
            return super().take(sample)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(simulated, "RuleChecker", Watcher)
        recording = run(bench, until)
    for trace in traces.values():
        assert trace.pop(0).rst  # the cycle before cycle 0
    assert {len(trace) for trace in traces.values()} == {recording.cycles}
    return recording, traces


class Rig(Elaboratable):
    """Master and fabric, joined; what drives the master and answers at the slots is the test."""

    def __init__(self, slots: Sequence[Slot], options: FabricOptions | None = None) -> None:
        self.domain = ClockDomain("sync")
        self.master = Master()
        self.fabric = Fabric(slots, options or FabricOptions())
        self.ports = [self.fabric.port(number) for number in range(len(slots))]

    def elaborate(self, platform: object) -> Module:
        m = Module()
        m.domains += self.domain
        m.submodules.master = self.master
        m.submodules.fabric = self.fabric
        wiring.connect(m, self.master.bus, self.fabric.bus)
        return m

    def ask(self, ctx: Any, step: AccessStep | None) -> None:
        """Put an access on the master, or none."""
        ctx.set(self.master.go, step is not None)
        if step is not None:
            assert isinstance(step.target, int)
            ctx.set(self.master.write, step.write)
            ctx.set(self.master.address, step.target >> 2)
            ctx.set(self.master.lanes, step.lanes)
            ctx.set(self.master.data, step.data or 0)

    def tick(self, ctx: Any) -> None:
        """Give the rising edge that ends the cycle."""
        ctx.set(self.domain.clk, 1)
        ctx.set(self.domain.clk, 0)


def play(design: Elaboratable, process: Callable[[Any], Awaitable[None]]) -> None:
    """Simulate a design under a process that owns all of its inputs, the clock included."""
    simulator = Simulator(design)
    simulator.add_testbench(process)
    simulator.run()
