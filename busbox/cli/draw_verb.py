"""``busbox draw``."""

from __future__ import annotations

from pathlib import Path

import click

from busbox.basics.errors import InputError
from busbox.basics.files import replace_file
from busbox.cli import completing
from busbox.cli.common import bench_argument, number_of, set_option
from busbox.cli.drawing import Asked, asked
from busbox.cli.picture_names import FORMS
from busbox.cli.writes import no_place
from busbox.pictures import Look, TooNarrow, fitted


@click.command("draw")
@bench_argument
@click.argument(
    "what",
    metavar=FORMS,
    shell_complete=completing.pictures,
    nargs=-1,
    required=True,
)
@click.option("-o", "out", metavar="FILE.svg", help="Write to this file, not to standard output.")
@click.option("--width", metavar="PIXELS", help="Width [default: 720, more where it is needed].")
@click.option("--dark", is_flag=True, help="Light lines on dark paper.")
@click.option("--transparent", is_flag=True, help="No paper, for a page that has its own.")
@set_option
def command(
    bench: str,
    what: tuple[str, ...],
    out: str | None,
    width: str | None,
    dark: bool,
    transparent: bool,
    values: tuple[str, ...],
) -> int:
    """Draw a bench or its run as a still picture, in SVG.

    BENCH is a folder with bench.toml, the file, or the name of one that comes with Busbox; or a saved
    recording, *.recording.npz, for pictures of a run; or the table that busbox sweep -o has written,
    .csv, .json or .parquet, for that of a sweep. NAME is that of a string of lamps, if the bench has
    more than one.
    """
    look = _look(width, dark, transparent)
    if out is not None and (problem := _no_file(out)):
        raise InputError.of(problem, "-o")
    picture = _drawn(asked(what), bench, values, look, width is not None)
    if out is None:
        click.echo(picture, nl=False)
    else:
        replace_file(Path(out), picture.encode())
    return 0


def _look(width: str | None, dark: bool, transparent: bool) -> Look:
    pixels = Look.width if width is None else number_of(width, "--width")
    try:
        return Look(pixels, dark, transparent)
    except ValueError as error:
        raise InputError.of(str(error).removeprefix("width "), "--width") from None


def _no_file(out: str) -> str:
    return no_place(out) if out.endswith(".svg") else f"must end in .svg, not {out!r}"


def _drawn(asked_for: Asked, bench: str, values: tuple[str, ...], look: Look, fixed: bool) -> str:
    draw = asked_for(bench, values)
    try:
        return draw(look) if fixed else fitted(draw, look)
    except TooNarrow as error:
        raise InputError.of(str(error).removeprefix("width "), "--width") from None
