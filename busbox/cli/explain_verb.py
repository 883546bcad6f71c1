"""``busbox explain``."""

from __future__ import annotations

import inspect
import re
import textwrap
from collections.abc import Iterator

import click

from busbox.basics.errors import InputError, nearest, one_of
from busbox.basics.listing import WIDTH
from busbox.cli.common import paper, plain


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
        page.line("busbox explain RULE tells more of one; busbox run mistakes plays the examples.")
    elif rule in RULES:
        page.line((rule, "bold"))
        for line, style in _lines(_doc(rule)):
            page.line((line, style))
    else:
        raise InputError.of(
            f"there is no rule {rule!r}{nearest(rule, list(RULES))} (known: {one_of(RULES)})",
            "explain",
        )
    page.print()
    return 0


def _doc(rule: str) -> str:
    from busbox.findings import RULES

    return inspect.cleandoc(RULES[rule].__doc__ or "")


def _first_sentence(rule: str) -> str:
    return " ".join(_doc(rule).split("\n\n")[0].split())


def _lines(doc: str) -> Iterator[tuple[str, str]]:
    """Yield (line, style) of a docstring: sections indented, text wrapped, code as it stands."""
    margin = "  "
    for number, block in enumerate(doc.split("\n\n")):
        if number:
            yield "", ""
        title, _, text = block.partition("\n")
        if re.match(r"-+\n", text):
            yield f"  {title}", "bold"
            margin, block = "    ", text.partition("\n")[2]
        if block.startswith(" "):
            yield from ((margin + line, "") for line in block.splitlines())
        else:
            words = re.sub("::$", ":", plain(" ".join(block.split())))
            wrapped = textwrap.wrap(
                words, WIDTH - len(margin), break_long_words=False, break_on_hyphens=False
            )
            yield from ((margin + line, "") for line in wrapped)
