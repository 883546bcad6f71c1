"""``busbox guide``."""

from __future__ import annotations

import shutil
from pathlib import Path

import click

from busbox.basics.errors import InputError
from busbox.basics.files import replace_file
from busbox.basics.paper import Paper
from busbox.cli.common import paper

#: Columns that a page takes at most.
WIDEST = 100


@click.command("guide")
@click.argument("topic", required=False)
@click.option("--html", "file", metavar="FILE", help="Write all topics as one page for a browser.")
def command(topic: str | None, file: str | None) -> int:
    """Show the manual: the list of topics, or one of them.

    TOPIC is a name in that list: a part of Busbox, a model, a kind of attachment or a finding. The
    page that --html writes works offline; it has a table of contents and a search.
    """
    if file is None:
        page = paper()
        _show(page, topic)
        page.print()
        return 0
    if topic is not None:
        raise InputError.of("writes all topics and cannot be combined with one", "--html")
    from busbox.guide.page import html_page

    replace_file(Path(file), html_page().encode("utf-8"))
    click.echo(f"{file}: the guide")
    return 0


def _show(page: Paper, topic: str | None) -> None:
    """Write a topic, or the list of them, at the width of the terminal."""
    from busbox.guide.listing import contents
    from busbox.guide.markdown import tree
    from busbox.guide.terminal import lines
    from busbox.guide.topics import find_topic

    text = contents() if topic is None else find_topic(topic).make()
    width = min(shutil.get_terminal_size().columns, WIDEST)
    for line in lines(tree(text), width):
        page.line(*line)
