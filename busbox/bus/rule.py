"""What the rule checkers of all buses share: a rule, a breach of it, and the count of breaches."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

#: Breaches of one rule that a checker keeps; it counts those beyond too.
KEPT = 1000


@dataclass(frozen=True)
class Rule:
    """One rule of a bus that can be shown to be broken.

    Attributes
    ----------
    id : number of the rule, or of the section where the standard gives it none
    text : one sentence with its source
    applies : ``checker only`` for what a master of single cycles cannot exercise
    binding : false for what the standard recommends only
    """

    id: str
    text: str
    applies: Literal["every port", "checker only"] = "every port"
    binding: bool = True


@dataclass(frozen=True)
class Breach:
    """One rule broken in one cycle.

    Attributes
    ----------
    rule : id of the rule
    cycle : number of the cycle
    text : the port, what happened, what the rule demands, and the signals of the cycle
    seen : what happened, alone
    """

    rule: str
    cycle: int
    text: str
    seen: str = ""


class Checker:
    """Collects the breaches of one port.

    Parameters
    ----------
    port : name of the port, for the texts
    rules : the rules that it is checked against
    first_cycle : number of the first cycle that will be handed in

    Attributes
    ----------
    breaches : the breaches so far, in order of cycle; at most :data:`KEPT` of each rule
    counts : rule id to the number of its breaches, for broken rules only
    """

    def __init__(self, port: str, rules: Iterable[Rule], first_cycle: int = 0) -> None:
        self.port = port
        self.breaches: list[Breach] = []
        self.counts: dict[str, int] = {}
        self._texts = {rule.id: rule.text for rule in rules}
        self._cycle = first_cycle - 1
        self._new: list[Breach] = []

    def _taken(self) -> tuple[Breach, ...]:
        """Return the breaches since the last call."""
        if not self._new:
            return ()
        new = tuple(self._new)
        self._new.clear()
        return new

    def _report(self, rule: str, sample: object, seen: str) -> None:
        """Count a breach of ``rule``, and keep it unless there are too many."""
        text = f"{self.port}: {seen}; {self._texts[rule]}. Cycle {self._cycle}: {sample}"
        breach = Breach(rule, self._cycle, text, seen)
        self._new.append(breach)
        self.counts[rule] = self.counts.get(rule, 0) + 1
        if self.counts[rule] <= KEPT:
            self.breaches.append(breach)
