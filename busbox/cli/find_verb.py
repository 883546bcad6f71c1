"""``busbox find``."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import asdict
from typing import TYPE_CHECKING

import click

from busbox.basics.errors import InputError
from busbox.basics.listing import counted
from busbox.cli import completing
from busbox.cli.common import (
    bench_argument,
    engine_option,
    json_option,
    open_bench,
    paper,
    print_json,
    progress_bar,
    set_option,
    until_option,
)

if TYPE_CHECKING:
    from busbox.basics.paper import Paper
    from busbox.variants.search import SearchResult


@click.command("find")
@bench_argument
@click.option(
    "--smallest", metavar="KEY", shell_complete=completing.settings, help="Find the smallest value."
)
@click.option(
    "--largest", metavar="KEY", shell_complete=completing.settings, help="Find the largest value."
)
@click.option(
    "--range",
    "within",
    metavar="FIRST..LAST[/STEP]",
    help="The values, e.g. 4MHz..48MHz; default step: one of the last digit that is written.",
)
@click.option(
    "--such-that",
    "conditions",
    metavar="CONDITION",
    multiple=True,
    help="What must hold, e.g. 'profile P4 kept', 'no finding byte-lost', 'duration <= 20 ms' "
    "(busbox guide what-if). May be repeated: all must hold.",
)
@click.option(
    "--vary",
    metavar="KEY=VALUES",
    multiple=True,
    help="Search once for each value of another key. May be repeated.",
)
@click.option("--walk", is_flag=True, help="Try every value of the range.")
@set_option
@engine_option
@until_option
@json_option
def command(
    bench: str,
    smallest: str | None,
    largest: str | None,
    within: str | None,
    conditions: tuple[str, ...],
    vary: tuple[str, ...],
    walk: bool,
    values: tuple[str, ...],
    engine: str,
    until: str | None,
    as_json: bool,
) -> int:
    """Find the smallest or largest value of a key for which conditions hold.

    The range is halved where the answers change once along it; where they do not, every value is
    tried. Exit code 1 if no value holds.
    """
    from busbox.variants.axes import axis_of, parse_range
    from busbox.variants.search import search

    if (smallest is None) == (largest is None):
        raise InputError.of("give one of them, such as --smallest clock", "--smallest, --largest")
    if within is None:
        raise InputError.of("must be given, such as 4MHz..48MHz", "--range")
    found_range = parse_range(within, "--range", stepped=False)
    if found_range is None:
        text = f"must be FIRST..LAST or FIRST..LAST/STEP, such as 4MHz..48MHz, not {within!r}"
        raise InputError.of(text, "--range")
    with _counting(as_json) as progress:
        results = search(
            open_bench(bench, values),
            smallest or largest or "",
            found_range,
            conditions,
            largest=largest is not None,
            walk=walk,
            others=[axis_of(one) for one in vary],
            engine=engine,
            until=until,
            progress=progress,
        )
    if as_json:
        print_json([asdict(found) for found in results])
    else:
        page = paper()
        for found in results:
            write_found(found, page)
        page.print()
    return int(any(found.best is None for found in results))


def write_found(found: SearchResult, page: Paper) -> None:
    """Write the answer of a search and its evidence."""
    others = ", ".join(f"{key} = {value}" for key, value in found.others.items())
    where = f" with {others}" if others else ""
    way = "largest" if found.largest else "smallest"
    if found.best is None:
        last = found.tried[0] if found.largest else found.tried[-1]
        text = f"No {found.key} from {found.values[0]} to {found.values[-1]} holds{where}"
        page.line((text, "bold red"), hang=2)
        page.line(f"  {last.value}: {last.broken}? {last.seen}", hang=4)
    else:
        page.line((f"The {way} {found.key}{where} is {found.best.value}", "bold"), hang=2)
        page.line(f"  {found.best.value}: all conditions hold", hang=4)
        if found.neighbour is not None:
            page.line(
                f"  {found.neighbour.value}: {found.neighbour.broken}? No: {found.neighbour.seen}",
                hang=4,
            )
        else:
            page.line("  It is the end of the range: a value beyond it may hold too.", hang=4)
    page.line(f"  {found.how}", hang=2)


@contextmanager
def _counting(as_json: bool) -> Iterator[Callable[[int], None] | None]:
    """Give what shows how many values were tried; on a terminal only.

    No time is left to tell: how often the range is halved depends on the answers.
    """
    if as_json or not sys.stderr.isatty():
        yield None
        return
    with progress_bar() as bar:
        yield lambda count: bar(counted(count, "run"), None)
