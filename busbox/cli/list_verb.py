"""``busbox list``."""

from __future__ import annotations

import click

from busbox.bench import packaged_benches
from busbox.cli.common import paper


@click.command("list")
def command() -> int:
    """Name the benches that come with Busbox."""
    page = paper()
    rows = []
    for name, file in packaged_benches().items():
        first = file.read_text(encoding="utf-8").splitlines()[0]
        rows.append((name, first.removeprefix("#").strip()))
    page.table(rows)
    page.line()
    page.line("busbox run NAME plays one.")
    page.print()
    return 0
