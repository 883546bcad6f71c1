"""Findings: what is wrong, where, and one thing to try. One rule is one small function.

A rule takes the :class:`Evidence` of a run and yields :class:`Hit`\\ s in order of cycle. Add one by
writing the function in the module of its topic and naming it in :data:`busbox.plugins.RULES`.
"""

from busbox import plugins
from busbox.findings.rule import KEPT, Evidence, Hit, Rule, Wanted, collect
from busbox.recording.judged import Finding

#: Every rule that comes with Busbox, by its id.
RULES: dict[str, Rule] = {
    name: plugins.Entry(plugins.RULES, name).load() for name in plugins.RULES.built_in
}


def find(evidence: Evidence) -> tuple[tuple[Finding, ...], dict[str, dict[str, int]]]:
    """Return the findings of all rules, in order of cycle, and how many there were of each."""
    return collect(RULES, evidence)


__all__ = ["KEPT", "RULES", "Evidence", "Finding", "Hit", "Rule", "Wanted", "find"]
