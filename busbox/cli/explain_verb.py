"""``busbox explain``."""

from __future__ import annotations

import re
from pathlib import Path

import click

from busbox import plugins
from busbox.basics.errors import InputError
from busbox.basics.pages import first_paragraph
from busbox.basics.paper import Paper
from busbox.cli import completing
from busbox.cli.common import paper, plain


@click.command("explain")
@click.argument("rule", required=False, shell_complete=completing.named(plugins.RULES))
def command(rule: str | None) -> int:
    """Describe a finding: what it means, why it matters, what to do.

    RULE is the id of a rule that comes with Busbox or with a plug-in, or FILE.py:NAME: a rule in a
    file, or a decoder of lines that brings rules. Without RULE, name the rules.
    """
    from busbox.findings.pages import own_pages, pages_for, plugin_pages

    page = paper()
    if rule is None:
        page.table((name, first_paragraph(text)) for name, text in own_pages().items())
        others = list(plugin_pages())
        if others:
            page.title("Of plug-ins")
            page.table((name, _first_of_plugin(text)) for name, text in others)
        page.line()
        page.line(
            "busbox explain RULE shows the details of one; busbox run mistakes runs the examples."
        )
    else:
        for number, (name, text) in enumerate(pages_for(rule, Path()).items()):
            if number:
                page.line()
            page.line((name, "bold"))
            _write(page, text)
    page.print()
    return 0


def _first_of_plugin(page: str | InputError) -> str:
    return f"cannot be used: {page}" if isinstance(page, InputError) else first_paragraph(page)


def _write(page: Paper, doc: str) -> None:
    """Write a docstring: sections indented, text filled, each line of code as it stands."""
    margin = "  "
    for number, block in enumerate(doc.split("\n\n")):
        if number:
            page.line()
        title, _, text = block.partition("\n")
        if re.match(r"-+\n", text):
            page.line((f"  {title}", "bold"))
            margin, block = "    ", text.partition("\n")[2]
        if block.startswith(" "):
            for line in block.splitlines():
                page.line(margin + line, hang=2)
        else:
            page.line(margin + re.sub("::$", ":", plain(" ".join(block.split()))))
