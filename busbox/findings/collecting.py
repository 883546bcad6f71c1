"""From the sightings of all rules to findings, in order of cycle, and their counts."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from functools import cache
from itertools import chain
from typing import TYPE_CHECKING

from busbox.findings.line_findings import line_sightings
from busbox.findings.rule import Rule, RunFacts, Sighting
from busbox.recording.judged import Finding

if TYPE_CHECKING:
    from busbox.firmware.program import Firmware

#: Findings of one rule that are described; the rest are only counted.
KEPT = 1000


def collect(
    rules: Mapping[str, Rule], facts: RunFacts
) -> tuple[tuple[Finding, ...], dict[str, dict[str, int]]]:
    """Return the findings in order of cycle, and the counts by rule and register.

    Raises
    ------
    InputError : a decoder names a rule that is not among them, or cannot describe what it found
    """
    findings: list[Finding] = []
    counts: dict[str, dict[str, int]] = {}
    source_of = _sources(facts.system.firmware)
    on_lines = line_sightings(facts, rules)
    for rule, check in rules.items():
        sightings = chain(check(facts), on_lines.get(rule, ()))
        findings += _findings(rule, sightings, facts, counts, source_of)
    findings.sort(key=lambda finding: finding.cycle)
    return tuple(findings), counts


def _findings(
    rule: str,
    sightings: Iterable[Sighting],
    facts: RunFacts,
    counts: dict[str, dict[str, int]],
    source_of: Callable[[int], str],
) -> list[Finding]:
    """Return the findings of one rule, and count them."""
    found: list[Finding] = []
    accesses = facts.recording.accesses
    for sighting in sightings:
        of_rule = counts.setdefault(rule, {})
        of_rule[sighting.key] = of_rule.get(sighting.key, 0) + 1
        if len(found) == KEPT:
            continue
        message, hint = sighting.describe()
        line, pc = -1, -1
        if sighting.access >= 0:
            line, pc = int(accesses.line[sighting.access]), int(accesses.pc[sighting.access])
        found.append(
            Finding(
                rule,
                sighting.cycle,
                sighting.access,
                sighting.slot,
                sighting.register,
                message,
                hint,
                line,
                pc,
                source_of(pc),
            )
        )
    return found


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
