"""``busbox list``."""

from __future__ import annotations

import click

from busbox.bench.find import packaged_benches, packaged_sets
from busbox.cli.common import paper


@click.command("list")
def command() -> int:
    """Name the benches that come with Busbox."""
    page = paper()
    rows = []
    for name, file in packaged_benches().items():
        first = file.read_text(encoding="utf-8").splitlines()[0]
        rows.append((name, first.removeprefix("#").strip()))
    for name, folder in packaged_sets().items():
        count = len(list(folder.glob("*/bench.toml")))
        rows.append((name, f"A set of {count} small benches, run one after the other."))
    page.table(rows)
    page.line()
    page.line("busbox run NAME plays one, or all of a set; SET/BENCH is one of a set.")
    page.print()
    return 0
