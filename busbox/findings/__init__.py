"""Findings: what is wrong, where, and one thing to try. Each rule is one small file.

A rule is a function: it takes the :class:`RunFacts` of a run and yields a :class:`Sighting` for each
place where it applies, in order of cycle. Its name with ``-`` for ``_`` is its id, its docstring the
page of ``busbox explain``. ``RULES`` of :mod:`busbox.plugins` names those that come with Busbox;
:mod:`busbox.findings.rule_set` says which others apply to a bench.
"""

from busbox.basics.failures import Failures
from busbox.findings.collecting import KEPT, collect
from busbox.findings.rule import Rule, RunFacts, Sighting
from busbox.findings.rule_set import rules_of
from busbox.recording.judged import Finding


def find(
    facts: RunFacts, failures: Failures
) -> tuple[tuple[Finding, ...], dict[str, dict[str, int]]]:
    """Return the findings of all rules, in order of cycle, and how many there were of each.

    Parameters
    ----------
    failures : takes what a rule or a decoder that does not come with Busbox fails at
    """
    return collect(rules_of(facts.system), facts, failures)


__all__ = ["KEPT", "Finding", "Rule", "RunFacts", "Sighting", "find"]
