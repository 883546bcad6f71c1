"""``busbox registers``."""

from __future__ import annotations

import re
from pathlib import Path

import click

from busbox.basics.errors import InputError, Mistake, join_or, nearest
from busbox.basics.files import replace_file
from busbox.basics.listing import counted
from busbox.basics.paper import PROSE
from busbox.cli import completing
from busbox.cli.common import bench_argument, open_bench, paper, set_option
from busbox.cli.writes import no_place


@click.command("registers")
@bench_argument
@click.argument("slots", metavar="[SLOT]...", nargs=-1, shell_complete=completing.slots)
@click.option(
    "-o",
    "--output",
    metavar="FILE",
    shell_complete=completing.files,
    help="Write a C header (.h), a Python class (.py), a reference (.md, .html), SystemRDL 2.0 (.rdl) "
    "or JSON (.json).",
)
@click.option(
    "--prefix",
    metavar="NAME",
    default="",
    help="What the constants of the C header begin with (default: the bench's name in capitals).",
)
@set_option
def command(
    bench: str, slots: tuple[str, ...], output: str | None, prefix: str, values: tuple[str, ...]
) -> int:
    """Write a bench's registers for others: a C header, a Python class, a reference, SystemRDL, JSON.

    BENCH is a folder with bench.toml, the file, or the name of one that comes with Busbox. Without a
    SLOT, all slots are written; without a file, the reference is shown here.
    """
    from busbox.registers.layout import layout_of
    from busbox.registers.markdown import markdown
    from busbox.registers.writing import writer_for

    write = None
    try:
        write = writer_for(output) if output else None
        problem = no_place(output) if output else ""
        if problem:
            raise InputError.of(problem)
    except InputError as error:
        raise InputError(Mistake(one.text, "--output") for one in error.mistakes) from None
    if prefix and not re.fullmatch("[A-Z]([A-Z0-9]|_(?!_))*", prefix):
        text = "may contain only capitals, digits and single _, and must start with a capital"
        raise InputError.of(f"{text}, not {prefix!r}", "--prefix")
    opened = open_bench(bench, values)
    devices = opened.devices()
    known = [device.name for device in devices]
    for name in slots:
        if name not in known:
            have = f"{nearest(name, known)} (known: {join_or(known)})"
            raise InputError.of(f"there is no slot {name!r}{have}", "registers")
    layout = layout_of(
        opened.name, prefix, [(device.slot, device.kind) for device in devices], slots
    )
    if write is None or output is None:
        _show(markdown(layout))
        return 0
    replace_file(Path(output), write(layout).encode("utf-8"))
    count = sum(len(slot.registers) for slot in layout.slots)
    click.echo(f"{output}: {counted(count, 'register')} of {counted(len(layout.slots), 'slot')}")
    return 0


def _show(text: str) -> None:
    """Print Markdown at the width of the terminal."""
    from busbox.guide.markdown import tree
    from busbox.guide.terminal import lines

    page = paper()
    for line in lines(tree(text), min(page.width, PROSE)):
        page.line(*line)
    page.print()
