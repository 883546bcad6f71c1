"""``busbox explain``."""

from __future__ import annotations

import inspect
import re
import textwrap
from collections.abc import Iterator
from typing import Any

import click

from busbox.basics.errors import InputError
from busbox.basics.listing import WIDTH
from busbox.cli.common import first_paragraph, paper, plain
from busbox.plugins import RULES, entries, find, told


@click.command("explain")
@click.argument("rule", required=False)
def command(rule: str | None) -> int:
    """Say what a finding means, why it hurts, and what to do.

    Without RULE, name the rules.
    """
    page = paper()
    if rule is None:
        page.table((name, text) for name, _, text in told(entries(RULES), first_paragraph))
        page.line()
        page.line("busbox explain RULE tells more of one; busbox run mistakes plays the examples.")
    else:
        found = _found(rule)
        page.line((rule, "bold"))
        for line, style in _lines(inspect.cleandoc(found.__doc__ or "")):
            page.line((line, style))
    page.print()
    return 0


def _found(rule: str) -> Any:
    try:
        return find(RULES, rule)
    except InputError as error:
        raise InputError.of(str(error), "explain") from None


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
