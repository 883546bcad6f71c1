"""A slot's device and its twin: both run the same plans, and the runs are compared.

If the twin takes longer to answer, because of its bridge, its slot has that many fewer wait states: an
access ends in the same cycle on both sides.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

from busbox.basics.errors import InputError
from busbox.basics.listing import counted
from busbox.bus.ports.hardware import PortedHardware
from busbox.bus.transfers import ACK, ERR
from busbox.check.twin.compare import Difference, Side, compare, observe, with_hardware
from busbox.check.twin.exercise import Exercise
from busbox.check.twin.plan import Plan, plan_of, random_plan
from busbox.check.twin.shrink import shrink
from busbox.cpu.steps import AccessStep
from busbox.engines import EngineFactory, for_many_runs
from busbox.system.system import System

#: Accesses of one drawn plan; more are played in several plans.
PLAN = 500
#: Idle cycles before each of the accesses by which the pace of both is found.
LONG = 64
#: Wait states that the plans take in turn, after those of the bench.
WAITS = (0, 1, 3)


@dataclass(frozen=True)
class Counterexample:
    """A difference, and the shortest plan found that shows it.

    Attributes
    ----------
    difference : the first one
    plan : a plan that shows it with the slot alone; None if the rest of the bench matters
    alone : the system of the slot alone that plays the plan, or None
    """

    difference: Difference
    plan: Plan | None = None
    alone: System | None = None


class Pair:
    """A device and its twin in a slot of a system.

    Parameters
    ----------
    number : of the slot, which holds the model, or a prototype in Amaranth
    hardware : the twin's class

    Attributes
    ----------
    exercise : what was exercised without a difference
    shown : both runs, that of the device first, each with its system and the number of the slot: of
        the traffic that shows the difference, or of what was played last
    """

    shown: tuple[tuple[System, int, Side], tuple[System, int, Side]]

    def __init__(self, system: System, number: int, hardware: Any, factory: EngineFactory) -> None:
        self._number, self._hardware = number, hardware
        self._factory = for_many_runs(factory)
        self._lag = lag_of(system, number, hardware, self._factory)
        first = system.devices[number].model
        self._least = max(getattr(first, "least_wait", 0), hardware.least_wait + self._lag)
        # A read through a bridge shows what a register holds some cycles later.
        self._registers = not any(issubclass(one, PortedHardware) for one in (first, hardware))
        own = system.devices[number].slot.wait
        self._system = _waiting(system, number, max(own, self._least))
        self.exercise = Exercise(system.devices[number].slot.table)

    def plans(self, count: int, seed: int, length: int = PLAN) -> Iterator[tuple[System, Plan]]:
        """Yield plans with ``count`` accesses in total, each with the system that it is drawn for."""
        waits = self._waits()
        for number in range(-(-count // length)):
            system = _waiting(self._system, self._number, waits[number % len(waits)])
            accesses = min(length, count - number * length)
            yield system, random_plan(system, self._number, accesses, seed * 1_000_003 + number)

    def _waits(self) -> list[int]:
        own = self._system.devices[self._number].slot.wait
        return [own, *(one for one in WAITS if one != own and one >= self._least)]

    def drawn(self, count: int, seed: int) -> Counterexample | None:
        """Play plans drawn at random; return the first difference, its plan shrunk."""
        for system, plan in self.plans(count, seed):
            alone = plan.system(system, self._number)
            difference, model, _ = self._compare(alone, 0)
            if difference is not None:
                return self._shrunk(plan, system)
            self.exercise.add(model, plan, alone)
        return None

    def played(self) -> Counterexample | None:
        """Play the system's own traffic; return the first difference, as a plan if that shows it."""
        difference, model, _ = self._compare(self._system, self._number)
        plan = plan_of(model.recording, self._system, self._number)
        if difference is None:
            alone = plan.system(self._system, self._number)
            self.exercise.add(observe(alone, 0, self._factory), plan, alone)
            return None
        whole = self.shown
        if self._differs(plan, self._system) is None:
            self.shown = whole
            return Counterexample(difference)
        return self._shrunk(plan, self._system)

    def _differs(self, plan: Plan, system: System) -> Difference | None:
        return self._compare(plan.system(system, self._number), 0)[0]

    def _compare(self, system: System, number: int) -> tuple[Difference | None, Side, Side]:
        found = compare(system, number, self._hardware, self._factory, self._lag, self._registers)
        twin = with_hardware(system, number, self._hardware, self._lag)
        self.shown = (system, number, found[1]), (twin, number, found[2])
        return found

    def _shrunk(self, plan: Plan, system: System) -> Counterexample:
        plan = shrink(plan, lambda smaller: self._differs(smaller, system))
        difference = self._differs(plan, system)
        assert difference is not None
        return Counterexample(difference, plan, plan.system(system, self._number))


def _waiting(system: System, number: int, wait: int) -> System:
    """Return the system with other wait states in a slot."""
    devices = list(system.devices)
    device = devices[number]
    devices[number] = replace(device, slot=replace(device.slot, wait=wait))
    return replace(system, devices=tuple(devices))


def lag_of(system: System, number: int, hardware: Any, factory: EngineFactory) -> int:
    """Return how many cycles a twin takes longer to answer than the device in the slot.

    A read and a write of the slot's first word are played to both.

    Raises
    ------
    InputError : it is not the same for reads and writes
    """
    base = system.devices[number].slot.base
    steps = tuple(
        AccessStep(write, base, 0 if write else None, wait=LONG) for write in (False, True)
    )
    needed = max(getattr(system.devices[number].model, "least_wait", 0), hardware.least_wait)
    alone = Plan(steps).system(_waiting(system, number, needed), number)
    first, other = (
        observe(one, 0, factory).recording.accesses
        for one in (alone, with_hardware(alone, 0, hardware))
    )
    for name, accesses in (("the device in the slot", first), (hardware.__name__, other)):
        if len(accesses) != len(steps) or set(accesses.terminator.tolist()) - {ACK, ERR}:
            raise InputError.of(
                f"cannot be compared in lockstep: {name} must answer a read and a write of its first "
                "word, and does not"
            )
    lags = ((other.end - other.start) - (first.end - first.start)).tolist()
    if lags[0] != lags[1]:
        raise InputError.of(
            f"{hardware.__name__} cannot be compared in lockstep: it must answer reads and writes the "
            "same number of cycles later than the device in the slot; it answers reads "
            f"{counted(lags[0], 'cycle')} later, writes {counted(lags[-1], 'cycle')} later"
        )
    return int(lags[0])
