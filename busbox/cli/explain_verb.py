"""``busbox explain``."""

from __future__ import annotations

import inspect

import click

from busbox.cli.common import paper
from busbox.errors import InputError, nearest, one_of


@click.command("explain")
@click.argument("rule", required=False)
def command(rule: str | None) -> int:
    """Say what a finding means, why it hurts, and what to do.

    Without RULE, name the rules.
    """
    from busbox.findings import RULES

    page = paper()
    if rule is None:
        page.table((name, _first_sentence(name)) for name in RULES)
        page.line()
        page.line("busbox explain RULE tells more of one.")
    elif rule in RULES:
        page.line((rule, "bold"))
        for line in inspect.cleandoc(RULES[rule].__doc__ or "").splitlines():
            page.line(f"  {line}".rstrip())
        page.line()
        page.line("  Each such finding says what to try at its own place.")
    else:
        raise InputError.of(
            f"there is no rule {rule!r}{nearest(rule, list(RULES))} (known: {one_of(RULES)})",
            "explain",
        )
    page.print()
    return 0


def _first_sentence(rule: str) -> str:
    from busbox.findings import RULES

    text = inspect.cleandoc(RULES[rule].__doc__ or "")
    return " ".join(text.split("\n\n")[0].split())
