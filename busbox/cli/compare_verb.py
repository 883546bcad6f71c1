"""``busbox compare``."""

from __future__ import annotations

import os
from dataclasses import asdict
from functools import partial
from typing import TYPE_CHECKING

import click

from busbox.basics.errors import InputError, join_or, nearest
from busbox.cli import completing
from busbox.cli.common import (
    engine_option,
    is_recording,
    json_option,
    open_bench,
    paper,
    print_json,
    set_option,
    shown_progress,
    until_option,
)

if TYPE_CHECKING:
    from busbox.basics.paper import Paper
    from busbox.recording import Recording
    from busbox.run.loop import Progress as Report
    from busbox.variants.comparing import Comparison


@click.command("compare")
@click.argument("bench", metavar="A", shell_complete=completing.benches)
@click.argument("other", metavar="[B]", required=False, shell_complete=completing.benches)
@set_option
@engine_option
@until_option
@click.option(
    "--must",
    metavar="PARTS",
    help="Exit with 1 if one of these differs: end, accesses, pins, texts, frames, findings, "
    "expectations, certain, or all; separated by commas.",
)
@json_option
def command(
    bench: str,
    other: str | None,
    values: tuple[str, ...],
    engine: str,
    until: str | None,
    must: str | None,
    as_json: bool,
) -> int:
    """Compare two runs: the verdict first, then the first difference of each part.

    A and B are benches, saved recordings (*.recording.npz), or BENCH@VARIANT, a bench with a variant
    that it names. Changes (--set, --variant) are made to B; without B, B is A with the changes.
    """
    from busbox.variants.comparing import PARTS, compare

    wanted = _parts(must, PARTS)
    if other is None and not values:
        raise InputError.of("must be given, or changes to A: --set or --variant", "B")
    if until is not None and all(is_recording(name or bench) for name in (bench, other)):
        raise InputError.of("needs a new run; A and B are recordings", "--until")
    name = bench if other is None else other
    with shown_progress(as_json) as progress:
        run = partial(_recording, engine=engine, until=until, progress=progress)
        (one, masks), (there, masks_there) = run(bench, ()), run(name, values)
    names = bench, " ".join([name, *values])
    comparison = compare(one, there, names, masks or masks_there)
    if as_json:
        found = [asdict(difference) for difference in comparison.differences]
        names_of = {"a": comparison.names[0], "b": comparison.names[1]}
        print_json({**names_of, "verdict": comparison.verdict, "same": list(comparison.same),
                    "differences": found})  # fmt: skip
    else:
        page = paper()
        write_comparison(comparison, page)
        page.print()
    return int(any(difference.part in wanted for difference in comparison.differences))


def _parts(must: str | None, known: tuple[str, ...]) -> tuple[str, ...]:
    """Return the parts that must be equal."""
    if must is None:
        return ()
    names = [name.strip() for name in must.split(",")]
    if names == ["all"]:
        return known
    for name in names:
        if name not in known:
            text = f"there is no part {name!r}{nearest(name, known)}"
            text += f" (known: {join_or([*known, 'all'])})"
            raise InputError.of(text, "--must")
    return tuple(names)


def _recording(
    name: str, values: tuple[str, ...], engine: str, until: str | None, progress: Report | None
) -> tuple[Recording, bool]:
    """Return a run, and whether digits of its texts may come from harmless reads."""
    from busbox.recording import Recording

    if is_recording(name):
        if values:
            text = f"needs a new run and cannot be used with a recording, {name!r}"
            raise InputError.of(text, "--set")
        loaded = Recording.load(name)
        return loaded, bool(loaded.certain and loaded.certain.vouched)
    head, at, variant = ("", "", "") if os.path.exists(name) else name.rpartition("@")
    changes = (f"variant={variant}", *values) if at else values
    bench = open_bench(head if at else name, changes)
    system = bench.system()
    recording = bench.run(engine, until, system=system, carried=False, progress=progress)
    return recording, bool(system.harmless)


def write_comparison(comparison: Comparison, page: Paper) -> None:
    """Write a comparison for people."""
    page.line((comparison.verdict[:1].upper() + comparison.verdict[1:], "bold"), hang=2)
    page.line(f"  A: {comparison.names[0]}", hang=4)
    page.line(f"  B: {comparison.names[1]}", hang=4)
    titles = {
        "end": "End", "accesses": "Bus", "pins": "Pins", "texts": "Texts", "frames": "Lamps",
        "findings": "Findings", "expectations": "Expectations", "certain": "Certain",
    }  # fmt: skip
    for part, title in titles.items():
        found = [one for one in comparison.differences if one.part == part]
        if found:
            page.title(title)
        for one in found:
            page.line(f"  {one.text}", hang=4)
    if comparison.same:
        page.line()
        page.line(f"Equal: {', '.join(comparison.same)}", hang=2)
