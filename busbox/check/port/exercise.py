"""Random traffic on one port, under the rules of the checker.

The port is driven as the fabric would drive it: the address is stable before STB, STB stays high until
an answer, RST masks CYC and STB. An access may be abandoned before its answer, as by a watchdog.
"""

from __future__ import annotations

import random
from collections import Counter
from dataclasses import replace

from busbox.bus.wishbone.rules import RULES, RuleChecker, Sample
from busbox.check.port.outcome import Excerpt, Outcome
from busbox.check.port.rig import IDLE, Drive, Rig, Traffic
from busbox.check.port.subject import Subject

#: Cycles of STB after which an access without an answer is cut off.
PATIENCE = 64
#: Cycles of STB in which a reset may come.
_RESETS_STRIKE = 12
#: Name of this part in evidence.
PART = "random traffic"

ANSWERED = "answered"
ANSWERED_TEXT = f"an access is answered within {PATIENCE} cycles of STB (a limit of this check)"

_MASTER = "applies to the master, which is this checker"
_PIPELINED = "applies to pipelined mode; the port uses standard mode"
_GROUPS = "applies to block transfers; the bus has single accesses"
#: Why a rule cannot be exercised here.
_NEVER = {
    "3.20": _MASTER, "3.25": _MASTER, "3.60": _MASTER, "3.1.3.1": _MASTER,
    "3.57": _PIPELINED, "3.1.3.2": _PIPELINED, "3.80": _GROUPS, "3.85": _GROUPS,
}  # fmt: skip
#: What is counted for the others, and why the count may be 0.
_UNITS = {
    "3.00": ("cycles in or after a reset", "no reset occurred"),
    "3.35": ("cycles without a request", "there was no such cycle"),
    "3.45": ("answers", "nothing was answered"),
    "3.50": ("falling edges of STB", "STB was never high"),
}


class Exercise:
    """Runs random traffic.

    Parameters
    ----------
    subject : what is checked
    seed : of the random numbers
    cycles : number of cycles to play at least; the last access is completed

    Attributes
    ----------
    counts : ``accesses``, ``answered``, ``given_up``, ``reset`` (accesses interrupted by one),
        ``resets``, ``unanswered`` (for :data:`PATIENCE` cycles), and the rule ids that can be exercised
    """

    def __init__(self, subject: Subject, seed: int, cycles: int) -> None:
        self.counts: Counter[str] = Counter()
        self._rig = Rig(subject)
        self._dice = random.Random(f"exercise {seed}")
        self._traffic = Traffic(self._dice, subject, self._rig.words)
        self._checker = RuleChecker("bus", first_cycle=-1)
        self._earlier = self._before = Sample(1, 0, 0, 0, 0, 0, 0, 0, 0, 0)
        self._evidence: dict[str, Excerpt] = {}
        self._checker.take(self._before)
        self._one_cycle(IDLE)
        while self._rig.cycle < cycles:
            self._gap()
            self._access()

    @property
    def cycles(self) -> int:
        """Cycles that were played."""
        return self._rig.cycle

    def outcomes(self) -> list[Outcome]:
        """Return the outcome of every rule of the checker, and of :data:`ANSWERED`."""
        found = []
        for rule in RULES:
            unit, without = _UNITS.get(rule.id, ("", _NEVER.get(rule.id, "")))
            evidence = self._evidence.get(rule.id)
            breaches = self._checker.counts.get(rule.id, 0)
            found.append(
                Outcome.of(
                    rule.id, rule.text, self.counts[rule.id], unit, without, evidence, breaches
                )
            )
        ended = self.counts["answered"] + self.counts["unanswered"]
        found.append(
            Outcome.of(
                ANSWERED, ANSWERED_TEXT, ended, "accesses", "no access was completed",
                self._evidence.get(ANSWERED), self.counts["unanswered"],
            )
        )  # fmt: skip
        return found

    def _gap(self) -> None:
        for _ in range(self._dice.randrange(6)):
            self._cycle(self._traffic.noise())

    def _access(self) -> None:
        """Play one access: until it is answered, abandoned or interrupted by a reset."""
        dice, access = self._dice, self._traffic.access()
        given_up = dice.randrange(4) if dice.random() < 0.2 else None
        held = dice.randrange(2)
        self.counts["accesses"] += 1
        for _ in range(self._traffic.lead()):
            if self._cycle(access.raised(held, 0)) is None:
                self.counts["reset"] += 1
                return
        if given_up == 0:
            self.counts["given_up"] += 1
            return
        self._request(access.raised(1, 1), given_up or PATIENCE)

    def _request(self, access: Drive, cycles: int) -> None:
        """Hold STB for ``cycles`` cycles at most."""
        for left in reversed(range(cycles)):
            # Later resets too would leave hardly any access to reach its limit.
            early = cycles - left <= _RESETS_STRIKE
            sample = (
                self._cycle(access, last=not left) if early else self._one_cycle(access, not left)
            )
            if sample is None:
                self.counts["reset"] += 1
                return
            if sample.ack or sample.err:
                self.counts["answered"] += 1
                return
        if cycles < PATIENCE:
            self.counts["given_up"] += 1
            return
        self.counts["unanswered"] += 1
        seen = f"no answer for {PATIENCE} cycles"
        evidence = Excerpt(PART, self._rig.cycle - 1, seen, self._earlier, self._before)
        self._evidence.setdefault(ANSWERED, evidence)

    def _cycle(self, drive: Drive, last: bool = False) -> Sample | None:
        """Play a cycle, or occasionally a reset in its place (None)."""
        if self._dice.randrange(32):
            return self._one_cycle(drive, last)
        self.counts["resets"] += 1
        self._rig.reset(1)
        for _ in range(self._dice.randint(1, 3)):
            self._one_cycle(drive.raised(0, 0))
        self._rig.reset(0)
        self._one_cycle(self._traffic.noise().raised(0, 0))
        return None

    def _one_cycle(self, drive: Drive, last: bool = False) -> Sample:
        """Play a cycle; ``last``: the access is abandoned unless it is answered in it."""
        if not self._dice.randrange(4):
            self._rig.scatter(self._dice)
        self._rig.drive(drive)
        sample = self._rig.seen()
        self._count(sample)
        # What a watchdog ends in the place of the device carries its ERR (see the checker).
        cut = last and not sample.ack and not sample.err
        for breach in self._checker.take(replace(sample, err=1) if cut else sample):
            seen = breach.text.removeprefix("bus: ").partition("; ")[0]
            evidence = Excerpt(PART, breach.cycle, seen, self._before, sample)
            self._evidence.setdefault(breach.rule, evidence)
        self._earlier, self._before = self._before, sample
        self._rig.tick()
        return sample

    def _count(self, sample: Sample) -> None:
        """Count which rules the cycle exercises."""
        before = self._before
        if before.rst:
            self.counts["3.00"] += 1
            return
        self.counts["3.35"] += not sample.stb
        self.counts["3.45"] += bool(sample.ack or sample.err)
        self.counts["3.50"] += before.stb and not sample.stb
