"""``rules``: the rules that a bench adds to those of Busbox."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from busbox.bench.context import Context
from busbox.findings.rule import Rule
from busbox.findings.rule_set import RuleMistake, added_rules, clashes
from busbox.system.scenario import Attached


def build_rules(
    given: Sequence[object], attached: Sequence[Attached], context: Context
) -> Mapping[str, Rule] | None:
    """Return the rules by id, or None if it is open which rules the bench knows."""
    try:
        added = added_rules(given, context.folder)
    except RuleMistake as error:
        context.mistakes.note(("rules", error.number), str(error))
        return None
    for name, text in clashes(attached, added):
        context.mistakes.note(("attach", name, "kind"), text)
    return added if len(attached) == len(context.attachments) else None
