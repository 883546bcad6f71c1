"""``busbox explain``."""

from __future__ import annotations

import re
from pathlib import Path

import click

from busbox import plugins
from busbox.basics.errors import InputError, join_or
from busbox.basics.listing import counted
from busbox.basics.pages import first_paragraph
from busbox.basics.paper import Paper
from busbox.cli import completing
from busbox.cli.common import open_bench, paper, plain


@click.command("explain")
@click.argument("rule", required=False, shell_complete=completing.named(plugins.RULES))
@click.option(
    "--bench",
    metavar="BENCH",
    shell_complete=completing.benches,
    help="Run this bench with changes that may cure the finding, and say which do.",
)
def command(rule: str | None, bench: str | None) -> int:
    """Explain a finding: what it means, why it matters, what to do.

    RULE is the id of a rule that comes with Busbox or with a plug-in, or FILE.py:NAME: a rule in a
    file, or a decoder of lines that brings rules. Without RULE, list the rules.
    """
    from busbox.findings.pages import own_pages, pages_for, plugin_pages

    page = paper()
    if rule is None:
        page.table((name, first_paragraph(text)) for name, text in own_pages().items())
        others = list(plugin_pages())
        if others:
            page.title("From plug-ins")
            page.table((name, _first_of_plugin(text)) for name, text in others)
        page.line()
        page.line(
            "busbox explain RULE shows the details of one; busbox run mistakes runs the examples."
        )
        if bench is not None:
            raise InputError.of("needs a RULE to look for a cure of", "--bench")
    else:
        for number, (name, text) in enumerate(pages_for(rule, Path()).items()):
            if number:
                page.line()
            page.line((name, "bold"), _lessons(name))
            _write(page, text)
        if bench is not None:
            _write_attempts(rule, bench, page)
    page.print()
    return 0


def _lessons(rule: str) -> str:
    """Return which lessons explain the findings of a rule, "" if none does."""
    from busbox.lessons.task_facts import lessons_about

    numbers = [str(lesson.number) for lesson in lessons_about(rule)]
    return f"  (to learn it: busbox lesson {join_or(numbers)})" if numbers else ""


def _write_attempts(rule: str, name: str, page: Paper) -> None:
    """Write with which changes a bench does not have a finding."""
    from busbox.variants.cures import CURES, attempts

    found = attempts(rule, open_bench(name, ()))
    page.line()
    page.line((f"  In {name}", "bold"))
    if not found.count:
        page.line(f"    {name} has no such finding: nothing was tried.")
    elif rule not in CURES:
        page.line(
            f"    {counted(found.count, 'time')}. No change of clock or wait states is known to"
        )
        page.line("    cure it: see What to do.")
    else:
        page.line(f"    as it stands: {counted(found.count, 'time')}")
    for attempt in found.tried:
        style = "green" if not attempt.count and not attempt.more else ""
        page.line("    ", (str(attempt), style), hang=4)


def _first_of_plugin(page: str | InputError) -> str:
    return f"cannot be used: {page}" if isinstance(page, InputError) else first_paragraph(page)


def _write(page: Paper, doc: str) -> None:
    """Write a docstring: sections indented, text filled, lines of code unchanged."""
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
