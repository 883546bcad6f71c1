"""A shorter plan that still shows a difference."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

from busbox.check.twin.compare import Difference
from busbox.check.twin.plan import Plan
from busbox.cpu.steps import AccessStep

#: Maximum number of plans to try.
TRIES = 150


def shrink(plan: Plan, differs: Callable[[Plan], Difference | None], tries: int = TRIES) -> Plan:
    """Return the shortest plan found for which ``differs`` returns a difference; ``plan`` is one.

    First everything after the difference is removed; then parts are left out, halves before single
    ones, as long as that helps; then waits are shortened. After ``tries`` plans the shortest so far
    is returned.
    """
    search = _Search(plan, differs, tries)
    before = None
    while search.plan != before and search.left > 0:
        before = search.plan
        search.cut()
        for part in ("resets", "steps", "inputs"):
            search.leave_out(part)
        search.shorten_waits()
    return search.plan


class _Search:
    """The shortest plan so far, and what is tried next."""

    def __init__(
        self, plan: Plan, differs: Callable[[Plan], Difference | None], tries: int
    ) -> None:
        self.plan, self.left = plan, tries
        self._differs = differs
        self._difference = differs(plan)

    def _try(self, plan: Plan) -> bool:
        """Take a plan if it shows a difference."""
        if self.left == 0 or plan == self.plan:
            return False
        self.left -= 1
        found = self._differs(plan)
        if found is not None:
            self.plan, self._difference = plan, found
        return found is not None

    def cut(self) -> None:
        """Leave out what comes after the difference."""
        if self._difference is not None:
            self._try(_until(self.plan, self._difference))

    def leave_out(self, part: str) -> None:
        """Leave out all of one kind, halves, quarters ... single ones."""
        size = len(getattr(self.plan, part))
        while size >= 1:
            place = 0
            while place < len(getattr(self.plan, part)):
                parts = getattr(self.plan, part)
                fewer: dict[str, Any] = {part: (*parts[:place], *parts[place + size :])}
                if not self._try(replace(self.plan, **fewer)):
                    place += size
            size //= 2

    def shorten_waits(self) -> None:
        """Make all waits 0, or each of them half as long."""
        steps = self.plan.steps
        none = [replace(step, wait=0) if isinstance(step, AccessStep) else step for step in steps]
        if self._try(replace(self.plan, steps=tuple(none))):
            return
        for place, step in enumerate(steps):
            if isinstance(step, AccessStep) and step.wait:
                shorter = replace(step, wait=step.wait // 2)
                steps = self.plan.steps
                changed = (*steps[:place], shorter, *steps[place + 1 :])
                self._try(replace(self.plan, steps=changed))


def _until(plan: Plan, difference: Difference) -> Plan:
    """Return the plan without what comes after the difference."""
    steps, left = [], difference.access + 1
    for step in plan.steps:
        if left == 0:
            break
        steps.append(step)
        left -= isinstance(step, AccessStep)
    cycle = difference.cycle
    return replace(
        plan,
        steps=tuple(steps),
        inputs=tuple(one for one in plan.inputs if one[0] <= cycle),
        resets=tuple(one for one in plan.resets if one[0] <= cycle),
    )
