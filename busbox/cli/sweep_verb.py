"""``busbox sweep``."""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from importlib import import_module
from typing import TYPE_CHECKING, Any

import click

from busbox.basics.errors import InputError
from busbox.basics.listing import counted
from busbox.cli import completing
from busbox.cli.common import (
    bench_argument,
    engine_option,
    json_option,
    number_of,
    open_bench,
    paper,
    print_json,
    progress_bar,
    set_option,
    time_left,
    until_option,
)

if TYPE_CHECKING:
    from busbox.basics.paper import Paper
    from busbox.variants.measures import Cell
    from busbox.variants.sweep import Progress, Sweep

#: Columns that are shown on the terminal unless others are asked for.
SHOWN = ("duration", "findings", "met", "texts", "certain_until")

#: Shorter headings of columns.
HEADS = {"bus_use": "bus", "certain_until": "certain"}


@click.command("sweep")
@bench_argument
@click.option(
    "--vary",
    metavar="KEY=VALUES",
    multiple=True,
    shell_complete=completing.settings,
    help="The values of a key, e.g. slot.lamps.wait=0,1,2 or clock=8MHz..48MHz/8MHz (step) or "
    "/x2 (factor). May be repeated: all combinations are run.",
)
@click.option(
    "--measure",
    "measures",
    metavar="NAME",
    multiple=True,
    help="What to measure, e.g. duration, registers.lamps.COUNT or file.py:function (busbox guide "
    "what-if). May be repeated; default: everything.",
)
@set_option
@engine_option
@until_option
@click.option("--jobs", metavar="N", help="Processes at once; default: as many as are worth it.")
@click.option(
    "--cluster",
    metavar="ADDRESS",
    help="Run on the workers of a cluster of dask.distributed (needs the extra [cluster]).",
)
@click.option(
    "-o",
    "--out",
    metavar="FILE",
    shell_complete=completing.files,
    help="Write the table: .csv, .json or .parquet (needs the extra [parquet]). An interrupted sweep "
    "goes on from FILE.unfinished.",
)
@json_option
def command(
    bench: str,
    vary: tuple[str, ...],
    measures: tuple[str, ...],
    values: tuple[str, ...],
    engine: str,
    until: str | None,
    jobs: str | None,
    cluster: str | None,
    out: str | None,
    as_json: bool,
) -> int:
    """Run a bench once for each combination of values, and show what was measured.

    Without --vary, the [sweep] of the bench says which. A variant that cannot be run is a row with
    its message.
    """
    from busbox.variants.sweep import sweep

    count = None if jobs is None else number_of(jobs, "--jobs", 1)
    opened = open_bench(bench, values)
    try:
        with _executor(cluster) as executor, _progress(as_json) as progress:
            table = sweep(
                opened,
                vary or None,
                measures or None,
                jobs=count,
                executor=executor,
                file=out,
                engine=engine,
                until=until,
                progress=progress,
            )
    except KeyboardInterrupt:
        if out is not None and os.path.exists(f"{out}.unfinished"):
            text = f"interrupted; the same command goes on from {out}.unfinished"
            click.echo(f"busbox: {text}", err=True)
        raise
    if as_json:
        print_json([dict(row) for row in table.rows])
    else:
        page = paper()
        write_sweep(bench, table, page, bool(measures) or "measure" in opened.keys.get("sweep", {}))
        if out is not None:
            page.line(f"{out}: {counted(len(table.rows), 'row')} of {len(table.columns)} columns")
        page.print()
    return int(bool(table.rows) and table.failed == len(table.rows))


def write_sweep(name: str, table: Sweep, page: Paper, every: bool = False) -> None:
    """Write a sweep as a table for people.

    Parameters
    ----------
    every : whether all measures are shown, not only those that fit on a line
    """
    keys = [axis.key for axis in table.axes]
    units = {one.name: one.unit for one in table.measures}
    measured = [one.name for one in table.measures if every or one.name in SHOWN]
    page.line((f"{name}: {counted(len(table.rows), 'variant')}", "bold"))
    head = [*keys, *(HEADS.get(name, name.replace("_", " ")) for name in measured)]
    rows: list[tuple[object, ...]] = []
    for row in table.rows:
        values = [_text(row.get(key)) for key in keys]
        if row["message"] is not None and not _measured(table, row):
            rows.append((*values, [("not run", "bold red")], *[""] * (len(measured) - 1)))
        else:
            rows.append((*values, *(_cell(row, one, units[one]) for one in measured)))
    page.table(rows, head=head)
    for line in _closing(table):
        page.line(line, hang=2)


def _measured(table: Sweep, row: Mapping[str, Cell]) -> bool:
    """Return whether anything of a variant was measured, although something of it failed."""
    return any(one.name in row for one in table.measures)


def _cell(row: Mapping[str, Cell], name: str, unit: str) -> str:
    if name == "met" and "expectations" in row:
        return f"{row['met']} of {row['expectations']}"
    return _text(row.get(name), name, unit)


def _closing(table: Sweep) -> Iterator[str]:
    for rule, rows in _by_rule(table).items():
        first = ", ".join(f"{axis.key} = {rows[0][axis.key]}" for axis in table.axes)
        yield f"{rule}: in {len(rows):,} of {len(table.rows):,}, first with {first}"
    messages = [
        (
            "not measured" if _measured(table, row) else "not run",
            str(row["message"]).splitlines()[0],
        )
        for row in table.rows
        if row["message"]
    ]
    for what, message in dict.fromkeys(messages):
        times = messages.count((what, message))
        yield f"{what}, {counted(times, 'variant')}: {message}"
    doubts = sum(row.get("certain_until") is not None for row in table.rows)
    if doubts:
        yield (
            f"{counted(doubts, 'variant')} {'is' if doubts == 1 else 'are'} not certain to the end: "
            "a read gave another word than the recorded one (busbox guide what-if)."
        )


def _by_rule(table: Sweep) -> dict[str, list[Mapping[str, Cell]]]:
    """Return the variants in which each rule has findings."""
    found: dict[str, list[Mapping[str, Cell]]] = {}
    for row in table.rows:
        for entry in str(row.get("rules") or "").split(", "):
            if entry:
                found.setdefault(entry.rpartition(" ")[0], []).append(row)
    return found


def _text(value: Cell, name: str = "", unit: str = "") -> str:
    """Return a cell for people: shares in per cent, a dash for what is not known."""
    from busbox.variants.measures import shown

    if name == "certain_until":
        return "throughout" if value is None else f"until {shown(value, unit)}"
    if name == "bus_use" and isinstance(value, float):
        return f"{100 * value:.1f} %"
    if name == "rules" and value == "":
        return "none"
    return "-" if value is None else shown(value, unit)


@contextmanager
def _executor(address: str | None) -> Iterator[Any]:
    """Give the executor of a cluster, or None without an address."""
    if address is None:
        yield None
        return
    try:
        distributed: Any = import_module("distributed")
    except ImportError:
        text = "needs the library distributed: pip install 'busbox[cluster]'"
        raise InputError.of(text, "--cluster") from None
    try:
        client = distributed.Client(address, timeout="10s")
    except (OSError, ValueError, TimeoutError) as error:
        text = f"there is no cluster at {address!r}: {error or type(error).__name__}"
        raise InputError.of(text.splitlines()[0], "--cluster") from None
    with client:
        yield client.get_executor()


@contextmanager
def _progress(as_json: bool) -> Iterator[Progress | None]:
    """Give what shows how many variants are done, and the time that is left; on a terminal only."""
    if as_json or not sys.stderr.isatty():
        yield None
        return
    with progress_bar() as bar:
        begun, first = time.monotonic(), -1

        def show(done: int, every: int) -> None:
            nonlocal first
            first = done - 1 if first < 0 else first
            spent, ran = time.monotonic() - begun, done - first
            left = time_left(spent, ran / (every - first))
            text = f"{done:,} of {every:,} variants{left}"
            bar(text, done / every)

        yield show
