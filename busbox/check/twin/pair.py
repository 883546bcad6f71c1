"""A slot's model and its hardware twin: both run the same plans, and the runs are compared."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

from busbox.check.twin.compare import Difference, compare, observe
from busbox.check.twin.exercise import Exercise
from busbox.check.twin.plan import Plan, plan_of, random_plan
from busbox.check.twin.shrink import shrink
from busbox.engines import EngineFactory, for_many_runs
from busbox.system.system import System

#: Accesses of one drawn plan; more are played in several plans.
PLAN = 500
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
    """A model and its twin in a slot of a system.

    Parameters
    ----------
    number : of the slot, which holds the model
    hardware : the twin's class

    Attributes
    ----------
    exercise : what was exercised without a difference
    """

    def __init__(self, system: System, number: int, hardware: Any, factory: EngineFactory) -> None:
        self._system, self._number, self._hardware = system, number, hardware
        self._factory = for_many_runs(factory)
        self.exercise = Exercise(system.devices[number].slot.table)

    def plans(self, count: int, seed: int, length: int = PLAN) -> Iterator[tuple[System, Plan]]:
        """Yield plans with ``count`` accesses in total, each with the system that it is drawn for."""
        waits = self._waits()
        for number in range(-(-count // length)):
            system = self._waiting(waits[number % len(waits)])
            accesses = min(length, count - number * length)
            yield system, random_plan(system, self._number, accesses, seed * 1_000_003 + number)

    def _waits(self) -> list[int]:
        own = self._system.devices[self._number].slot.wait
        return [own, *(one for one in WAITS if one != own and one >= self._hardware.least_wait)]

    def _waiting(self, wait: int) -> System:
        """Return the system with other wait states in the slot."""
        devices = list(self._system.devices)
        device = devices[self._number]
        devices[self._number] = replace(device, slot=replace(device.slot, wait=wait))
        return replace(self._system, devices=tuple(devices))

    def drawn(self, count: int, seed: int) -> Counterexample | None:
        """Play plans drawn at random; return the first difference, its plan shrunk."""
        for system, plan in self.plans(count, seed):
            alone = plan.system(system, self._number)
            difference, model, _ = compare(alone, 0, self._hardware, self._factory)
            if difference is not None:
                return self._shrunk(plan, system)
            self.exercise.add(model, plan, alone)
        return None

    def played(self) -> Counterexample | None:
        """Play the system's own traffic; return the first difference, as a plan if that shows it."""
        difference, model, _ = compare(self._system, self._number, self._hardware, self._factory)
        plan = plan_of(model.recording, self._system, self._number)
        if difference is None:
            alone = plan.system(self._system, self._number)
            self.exercise.add(observe(alone, 0, self._factory), plan, alone)
            return None
        if self._differs(plan, self._system) is None:
            return Counterexample(difference)
        return self._shrunk(plan, self._system)

    def _differs(self, plan: Plan, system: System) -> Difference | None:
        return compare(plan.system(system, self._number), 0, self._hardware, self._factory)[0]

    def _shrunk(self, plan: Plan, system: System) -> Counterexample:
        plan = shrink(plan, lambda smaller: self._differs(smaller, system))
        difference = self._differs(plan, system)
        assert difference is not None
        return Counterexample(difference, plan, plan.system(system, self._number))
