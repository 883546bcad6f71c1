"""``busbox record``."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from busbox.basics.errors import InputError
from busbox.basics.listing import counted
from busbox.basics.paper import Paper
from busbox.basics.units import show_time
from busbox.bus.transfers import ACK, NONE
from busbox.cli import completing
from busbox.cli.common import (
    bench_argument,
    by_option,
    engine_option,
    open_bench,
    paper,
    set_option,
    shown_progress,
    traffic_option,
    until_option,
)
from busbox.cli.traffic_out import format_option, holds_marks, not_traffic, to_option
from busbox.cli.writes import no_place
from busbox.formats.contract import Format
from busbox.formats.files import format_of, write_traffic, written_suffixes
from busbox.recording import Recording
from busbox.recording.as_steps import steps_of


@click.command("record")
@bench_argument
@click.option(
    "-o",
    "--output",
    "file",
    metavar="FILE",
    shell_complete=completing.files,
    help="The file of traffic that is written, such as traffic.csv.",
)
@to_option("FILE")
@engine_option
@traffic_option
@set_option
@until_option
def command(
    bench: str,
    file: str | None,
    write_as: str | None,
    engine: str,
    traffic: str | None,
    values: tuple[str, ...],
    until: str | None,
) -> int:
    """Run a bench and write its bus accesses as traffic.

    BENCH is a folder with bench.toml, the file, or the name of one that comes with Busbox. What its
    program or any other traffic does on the bus is written to FILE: every access with its wait, word
    address, data, byte lanes and pc, a read with the word read. Run on the same bench (busbox run
    BENCH --traffic FILE), FILE gives the same accesses in the same cycles. FORMAT is a suffix without
    its dot, or FILE.py:NAME (busbox list formats).
    """
    name, chosen = _checked(file, write_as)
    opened = open_bench(bench, values)
    with shown_progress(False) as progress, by_option():
        recording = opened.run(engine, until, traffic=traffic, progress=progress)
    marks = holds_marks(name, chosen)
    system = opened.system(traffic=[])
    steps = steps_of(recording, system, marks=marks, open_access=False, source=bench)
    count = write_traffic(Path(name), steps, chosen)
    page = paper()
    _tell(recording, name, count, marks, page)
    page.print()
    return 0


def _checked(file: str | None, write_as: str | None) -> tuple[str, Format | None]:
    """Return the file and its format; refuse, before the run, what could not be written after it."""
    if file is None:
        raise InputError.of("must be given, such as --output traffic.csv", "--output")
    chosen = format_option(write_as, "--to")
    wrong = None if chosen else not_traffic(file, "--output", written_suffixes())
    if wrong:
        raise InputError([wrong])
    problem = no_place(file)
    if problem:
        raise InputError.of(problem, "--output")
    if (chosen or format_of(Path(file))).write is None:
        raise InputError.of("has a format that can be read but not written", file)
    return file, chosen


def _tell(recording: Recording, name: str, count: int, marks: bool, page: Paper) -> None:
    accesses = recording.accesses
    ended = accesses.terminator != NONE
    total, reads = int(ended.sum()), int((ended & ~accesses.write).sum())
    failed = int((ended & (accesses.terminator != ACK)).sum())
    kinds = [counted(reads, "read"), counted(total - reads, "write")]
    page.line(f"{name}: {counted(total, 'access', 'accesses')} ({' and '.join(kinds)})", hang=2)
    rows = [("bench", recording.bench), ("traffic", recording.traffic or "from Python")]
    if total:
        first, last = int(accesses.start[0]), int(accesses.end[total - 1])
        clock = recording.clock_hz
        text = f"{first:,} to {last:,} ({show_time(first, clock)} to {show_time(last, clock)})"
        rows.append(("cycles", text))
    rows.append(("columns", _columns(accesses.pc[ended])))
    if count != total:
        rows.append(("besides", f"{counted(count - total, 'step')}: marks, pauses or resets"))
    page.table(rows)
    for text in _left_out(recording, failed, marks):
        page.line(f"note: {text}", hang=2)


def _columns(pc: Any) -> str:
    known = int((pc >= 0).sum())
    columns = "wait, op, word address, data, lanes"
    if known == len(pc):
        return f"{columns}, pc" if known else columns
    return f"{columns}; {known:,} of {len(pc):,} have a pc" if known else columns


def _left_out(recording: Recording, failed: int, marks: bool) -> list[str]:
    notes = []
    if len(recording.accesses) and recording.accesses.terminator[-1] == NONE:
        start = int(recording.accesses.start[-1])
        address = int(recording.accesses.address[-1])
        notes.append(
            f"The access to {address:#010x} that began in cycle {start:,} is left out: it had not "
            "ended when the run did."
        )
    if failed:
        what = "1 access was" if failed == 1 else f"{failed:,} accesses were"
        notes.append(f"{what} not ended by ACK; such a read has no data.")
    if recording.marks and not marks:
        notes.append(f"{counted(len(recording.marks), 'mark')} left out: the format has none.")
    return notes
