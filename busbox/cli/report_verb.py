"""``busbox report``."""

from __future__ import annotations

from pathlib import Path

import click

from busbox.basics.errors import InputError
from busbox.basics.files import replace_file
from busbox.basics.listing import counted
from busbox.cli import completing
from busbox.cli.common import (
    bench_argument,
    judged_run,
    refuse_options_of_a_run,
    set_option,
    traffic_option,
)
from busbox.cli.writes import no_page

#: Suffixes of the tables that a sweep writes.
TABLES = (".csv", ".json", ".parquet")


@click.command("report")
@bench_argument
@click.option(
    "-o",
    "--out",
    metavar="FILE",
    shell_complete=completing.files,
    help="Where the page goes, such as run.html.",
)
@traffic_option
@set_option
def command(bench: str, out: str | None, traffic: str | None, values: tuple[str, ...]) -> int:
    """Write a run as one page for a browser, to be opened by a double click, offline.

    BENCH is a folder with bench.toml, the file, or the name of one that comes with Busbox; a saved
    recording, *.recording.npz; or the table that busbox sweep -o has written, .csv, .json or
    .parquet. The page of a run shows the verdict, the findings, the address map, everything that
    moved as a timetable, and the cause of whatever is clicked; that of a sweep draws its measures.
    """
    if out is None:
        raise InputError.of("must be given: where the page goes, such as run.html", "-o")
    problem = no_page(out)
    if problem:
        raise InputError.of(problem, "-o")
    sweep = Path(bench).suffix in TABLES
    page, what = _of_sweep(bench) if sweep else _of_run(bench, values, traffic)
    replace_file(Path(out), page.encode("utf-8"))
    click.echo(f"{out}: {what}")
    return 0


def _of_run(bench: str, values: tuple[str, ...], traffic: str | None) -> tuple[str, str]:
    """Return the page of a run, and what is on it."""
    from busbox.report.page import run_page

    with judged_run(bench, values, traffic, False) as (system, recording):
        edges = sum(len(line.cycles) - 1 for line in recording.lines.values())
        accesses = counted(len(recording.accesses), "access", "accesses")
        return run_page(system, recording), f"{accesses}, {counted(edges, 'edge')}"


def _of_sweep(file: str) -> tuple[str, str]:
    """Return the page of a sweep, and what is on it."""
    from busbox.report.sweep_page import sweep_page
    from busbox.variants.tables import read_table

    refuse_options_of_a_run(file, "the table of a sweep")
    table = read_table(Path(file))
    return sweep_page(Path(file).name, table), counted(len(table.rows), "variant")
