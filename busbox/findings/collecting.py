"""From the sightings of all rules to findings, in order of cycle, and their counts."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import cache, partial
from typing import TYPE_CHECKING

from busbox.basics.failures import Failures
from busbox.findings.line_findings import line_sightings
from busbox.findings.rule import Rule, RunFacts, Sighting
from busbox.recording.judged import Finding

if TYPE_CHECKING:
    from busbox.firmware.program import Firmware

#: Findings of one rule that are described; the rest are only counted.
KEPT = 1000


def collect(
    rules: Mapping[str, Rule], facts: RunFacts, failures: Failures
) -> tuple[tuple[Finding, ...], dict[str, dict[str, int]]]:
    """Return the findings in order of cycle, and the counts by rule and register.

    A rule that fails keeps what it found before, and so does a decoder that cannot describe what it
    found: ``failures`` tells which. Nothing is lost of the others.
    """
    findings: list[Finding] = []
    counts: dict[str, dict[str, int]] = {}
    source_of = _sources(facts.system.firmware)
    on_lines = line_sightings(facts, rules, failures)
    for rule, check in rules.items():
        found = _Found(rule, facts, source_of)
        failures.attempt(partial(found.take_all, check))
        lost: set[str] = set()
        for name, sighting in on_lines.get(rule, ()):
            if name not in lost and not failures.attempt(partial(found.take, sighting)):
                lost.add(name)
        findings += found.findings
        if found.counts:
            counts[rule] = found.counts
    findings.sort(key=lambda finding: finding.cycle)
    return tuple(findings), counts


class _Found:
    """The findings of one rule, and their counts by register."""

    def __init__(self, rule: str, facts: RunFacts, source_of: Callable[[int], str]) -> None:
        self.findings: list[Finding] = []
        self.counts: dict[str, int] = {}
        self._rule, self._facts, self._source_of = rule, facts, source_of

    def take_all(self, check: Rule) -> None:
        """Take what a rule sees."""
        for sighting in check(self._facts):
            self.take(sighting)

    def take(self, sighting: Sighting) -> None:
        """Take one sighting: it is counted, and described if few enough were before it."""
        if len(self.findings) < KEPT:
            self.findings.append(self._finding(sighting))
        self.counts[sighting.key] = self.counts.get(sighting.key, 0) + 1

    def _finding(self, sighting: Sighting) -> Finding:
        message, hint = sighting.describe()
        line, pc = -1, -1
        if sighting.access >= 0:
            accesses = self._facts.recording.accesses
            line, pc = int(accesses.line[sighting.access]), int(accesses.pc[sighting.access])
        return Finding(
            self._rule,
            sighting.cycle,
            sighting.access,
            sighting.slot,
            sighting.register,
            message,
            hint,
            line,
            pc,
            self._source_of(pc),
        )


def _sources(firmware: str) -> Callable[[int], str]:
    """Return what gives function and source line of an instruction; the file is read on first use."""
    read: list[Firmware] = []

    @cache
    def source(pc: int) -> str:
        from busbox.firmware.program import Firmware

        if not firmware or pc < 0:
            return ""
        if not read:
            read.append(Firmware(firmware))
        found = read[0].source(pc)
        return "" if found is None else str(found)

    return source
