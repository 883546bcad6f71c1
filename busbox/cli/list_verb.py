"""``busbox list``."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

import click

from busbox.basics.errors import InputError, join_or, nearest
from busbox.basics.pages import first_paragraph, page_of
from busbox.bench.find import packaged_benches, packaged_sets
from busbox.cli import completing
from busbox.cli.common import json_option, paper, plain, print_json
from busbox.cli.verbs import help_of
from busbox.plugins import FORMATS, KINDS, VERBS, Kind, described, entries

#: What is listed if nothing else is asked for.
BENCHES = "benches"


@click.command("list")
@click.argument("what", required=False, default=BENCHES, shell_complete=completing.lists)
@json_option
def command(what: str, as_json: bool) -> int:
    """List the built-in benches, or what can be added to Busbox.

    WHAT is benches, devices, attachments, formats, sources, rules, exports, buses, engines or verbs.
    Each is built in or comes from an installed package, which is named.
    """
    known = [BENCHES, *KINDS]
    if what not in known:
        text = f"there is no list of {what!r}{nearest(what, known)} (known: {join_or(known)})"
        raise InputError.of(text, "list")
    rows = list(_benches()) if what == BENCHES else list(_things(KINDS[what]))
    if as_json:
        print_json({what: rows})
        return 0
    page = paper()
    page.table(tuple(row.values()) for row in rows)
    if not rows:
        page.line("  none")
    page.line()
    for line in _last_lines(what):
        page.line(line)
    page.print()
    return 0


def _last_lines(what: str) -> Iterator[str]:
    if what == BENCHES:
        yield "busbox run NAME runs a bench, or every bench of a set; SET/BENCH is one bench of a set."
        yield f"busbox list WHAT lists what can be added: {join_or(KINDS)}."
        return
    kind = KINDS[what]
    file = f"; a file is file.py:{kind.in_file.capitalize()}" if kind.in_file else ""
    yield f"A package adds one by an entry point of the group {kind.group}{file}."


def _benches() -> Iterator[dict[str, str]]:
    for name, file in packaged_benches().items():
        first = file.read_text(encoding="utf-8").splitlines()[0]
        yield {"name": name, "text": first.removeprefix("#").strip()}
    for name, folder in packaged_sets().items():
        count = len(list(folder.glob("*/bench.toml")))
        text = f"A set of {count} small benches, run one after another."
        yield {"name": name, "text": text}


def _things(kind: Kind) -> Iterator[dict[str, str]]:
    for name, origin, text in described(entries(kind), _describe(kind)):
        yield {"name": name, "source": origin, "text": text}


def _describe(kind: Kind) -> Callable[[Any], str]:
    """Return what gives the text of a thing of that kind."""
    if kind is FORMATS:
        return lambda found: str(found.text)
    if kind is VERBS:
        return help_of
    return lambda found: plain(first_paragraph(page_of(found)))
