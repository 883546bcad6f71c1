"""Findings: what is wrong, where, and one thing to try. One rule is one small function.

A rule takes the :class:`RunFacts` of a run and yields :class:`Sighting`\\ s in order of cycle. Add one by
writing the function in the module of its topic and naming it in :data:`busbox.plugins.RULES`.
"""

from busbox import plugins
from busbox.findings.rule import KEPT, Rule, RunFacts, Sighting, Wanted, collect
from busbox.recording.judged import Finding

#: Every rule that comes with Busbox, by its id.
RULES: dict[str, Rule] = {
    name: plugins.Entry(plugins.RULES, name).load() for name in plugins.RULES.built_in
}


def find(facts: RunFacts) -> tuple[tuple[Finding, ...], dict[str, dict[str, int]]]:
    """Return the findings of all rules, in order of cycle, and how many there were of each."""
    return collect(RULES, facts)


__all__ = ["KEPT", "RULES", "Finding", "Rule", "RunFacts", "Sighting", "Wanted", "find"]
