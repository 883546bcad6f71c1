"""``busbox capture``."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from busbox.board.captures import read_capture
from busbox.board.kinds import KINDS, Kind, Seen, kind_of, look
from busbox.board.wave import Wave
from busbox.cli.common import json_option, paper, print_json
from busbox.errors import InputError, nearest, one_of, shown
from busbox.reports.paper import Paper
from busbox.units import parse_clock, show_seconds


@click.command("capture")
@click.argument("file")
@click.option("--as", "name", metavar="KIND", help=f"What the lines are: {one_of(KINDS)}.")
@click.option(
    "--set",
    "values",
    metavar="KEY=VALUE",
    multiple=True,
    help="A setting of the kind, e.g. baud=19200 or format=7E2. May be repeated.",
)
@click.option(
    "--line", "chosen", metavar="NAME", multiple=True, help="Only this line. May be repeated."
)
@click.option(
    "--sample-clock", "clock", metavar="CLOCK", help='Where times are samples: such as "1 MHz".'
)
@json_option
def command(
    file: str,
    name: str | None,
    values: tuple[str, ...],
    chosen: tuple[str, ...],
    clock: str | None,
    as_json: bool,
) -> int:
    """Read the lines of a capture of real hardware, as a serial line for example.

    FILE is a CSV file with a column time_s, time_ms, time_us, time_ns or sample, then one for each
    line; or a VCD file. What a line says is found from its edges alone.
    """
    if name is None:
        raise InputError.of(f"must be given: {one_of(KINDS)}", "--as")
    kind = kind_of(name)
    settings = kind.values(values)
    waves = read_capture(Path(file), _hertz(clock))
    lines = {line: look(line, waves[line], kind, settings) for line in _chosen(waves, chosen, file)}
    if as_json:
        print_json(_object(file, waves, name, lines))
    else:
        page = paper()
        _write(page, file, waves, kind, lines)
        page.print()
    return 0


def _hertz(clock: str | None) -> int | None:
    try:
        return None if clock is None else parse_clock(clock)
    except ValueError as error:
        raise InputError.of(str(error), "--sample-clock") from None


def _chosen(waves: dict[str, Wave], chosen: tuple[str, ...], file: str) -> list[str]:
    """Return the names of the lines that are read: those chosen, else all.

    Raises
    ------
    InputError : the capture has no line of such a name
    """
    for line in chosen:
        if line not in waves:
            known = list(waves)
            raise InputError.of(
                f"there is no line {shown(line)} in {file}{nearest(line, known)} "
                f"(known: {one_of(known)})",
                "--line",
            )
    return list(dict.fromkeys(chosen)) or list(waves)


def _object(file: str, waves: dict[str, Wave], name: str, lines: dict[str, Seen]) -> dict[str, Any]:
    wave = next(iter(waves.values()))
    return {
        "file": Path(file).name,
        "tick": float(wave.tick),
        "ticks": wave.end,
        "lines": {line: {"as": name, **seen.as_object()} for line, seen in lines.items()},
    }


def _write(
    page: Paper, file: str, waves: dict[str, Wave], kind: Kind, lines: dict[str, Seen]
) -> None:
    wave = next(iter(waves.values()))
    page.line(
        (Path(file).name, "bold"),
        f": {len(waves)} {'line' if len(waves) == 1 else 'lines'}, in steps of "
        f"{show_seconds(wave.tick)}",
    )
    for line, seen in lines.items():
        page.title(f"{line} as {kind.text}")
        if not len(waves[line].times):
            page.line("  its level is never known")
        page.table(seen.rows())
