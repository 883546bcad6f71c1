"""What the verbs share."""

from __future__ import annotations

import json
import sys

import click

from busbox.bench import Bench
from busbox.reports.paper import Paper

set_option = click.option(
    "--set",
    "values",
    metavar="KEY=VALUE",
    multiple=True,
    help="Change a key of the bench, e.g. slot.lamps.base=0x44010000. May be repeated.",
)
json_option = click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")


def open_bench(name: str, values: tuple[str, ...]) -> Bench:
    """Return the bench that a verb names, with its ``--set`` values."""
    return Bench.load(name).with_values(values)


def paper() -> Paper:
    """Return paper for standard output: coloured on a terminal only."""
    return Paper(colours=sys.stdout.isatty())


def print_json(value: object) -> None:
    """Print one JSON object, in ASCII, so that every terminal and every encoding can hold it."""
    click.echo(json.dumps(value, indent=2))
