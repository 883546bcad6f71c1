"""The guard of a hardware device's port against the rule checker in Python."""

from __future__ import annotations

import random
from typing import Any

import pytest
from amaranth.hdl import ClockDomain, Module, Value

from busbox.bus.rule import Breach
from busbox.bus.wishbone.guard import FIELDS, Guard, breaches
from busbox.bus.wishbone.rules import RuleChecker, Sample
from busbox.engines.netlist import PythonMachine, build

pytestmark = pytest.mark.quick

ADDRESS_BITS = 3
#: What a device can break (the rest is the fabric's own doing).
BY_A_DEVICE = ("3.00", "3.35", "3.45", "3.50")


def machine_of_guard() -> PythonMachine:
    """Return a guard, after the edge with RST high that comes before cycle 0."""
    m = Module()
    m.domains += (domain := ClockDomain("sync"))
    m.submodules.guard = guard = Guard(ADDRESS_BITS)
    ports: dict[str, Any] = {"clk": domain.clk, "rst": domain.rst, "cut": guard.cut}
    ports |= {name: Value.cast(getattr(guard, name)) for name, _ in FIELDS}
    ports |= {"adr": guard.adr, "seen": guard.seen}
    machine = PythonMachine(build(m, ports))
    machine.set("rst", 1)
    machine.settle()
    machine.edge()
    return machine


def drawn_cycles(seed: int, count: int = 300) -> list[tuple[Sample, int]]:
    """Return cycles of a fabric that keeps the rules and a device that often does not, and ``cut``."""
    draw = random.Random(seed)
    found: list[tuple[Sample, int]] = []
    rst, waiting, up = 1, 0, 0  # the cycle before has RST high
    last: dict[str, int] = {}
    for _ in range(count):
        rested, rst = rst, int(draw.random() < (0.6 if rst else 0.05))
        up = int(not rst and not rested and (waiting or draw.random() < 0.5))
        if not waiting or not last:
            last = {"we": draw.getrandbits(1), "adr": draw.getrandbits(ADDRESS_BITS),
                    "sel": draw.getrandbits(4), "write_data": draw.getrandbits(32)}  # fmt: skip
        honest = draw.random() < 0.7
        ack = up & draw.getrandbits(1) if honest else draw.getrandbits(1)
        err = (up & (ack ^ 1) & draw.getrandbits(1)) if honest else draw.getrandbits(1)
        cut = int(up and not ack and not err and draw.random() < 0.2)
        cycle = Sample(
            rst=rst, cyc=up, stb=up, read_data=draw.getrandbits(32), ack=ack, err=err, **last
        )
        found.append((cycle, cut))
        waiting = up and not (ack or err or cut)
    return found


@pytest.mark.parametrize("seed", range(12))
def test_a_guard_tells_what_the_rule_checker_tells(seed: int) -> None:
    """For every cycle the breaches are the checker's, word for word, and none where it has none."""
    machine = machine_of_guard()
    checker = RuleChecker("bell", first_cycle=-1)
    checker.take(Sample(1, 0, 0, 0, 0, 0, 0, 0, 0, 0))
    kinds: set[str] = set()
    for number, (cycle, cut) in enumerate(drawn_cycles(seed)):
        for name in ("rst", *(name for name, _ in FIELDS), "adr"):
            machine.set(name, getattr(cycle, name))
        machine.set("cut", cut)
        machine.settle()
        seen = machine.get("seen")
        found = breaches("bell", number, seen) if seen & 1 else ()
        assert found == told(checker, cycle, cut), number
        kinds.update(one.rule for one in found)
        machine.edge()
    assert kinds == set(BY_A_DEVICE)


def told(checker: RuleChecker, sample: Sample, cut: int) -> tuple[Breach, ...]:
    """Return what the checker says; a watchdog's ERR counts as the device's."""
    values = {name: getattr(sample, name) for name in ("rst", *(name for name, _ in FIELDS), "adr")}
    return checker.take(Sample(**values | {"err": sample.err | cut}))
