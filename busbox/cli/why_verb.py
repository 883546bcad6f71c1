"""``busbox why``."""

from __future__ import annotations

from typing import Any

import click

from busbox.basics.paper import Paper
from busbox.cli import completing
from busbox.cli.common import (
    bench_argument,
    json_option,
    judged_run,
    paper,
    print_json,
    set_option,
    traffic_option,
)
from busbox.explain.origins import Story
from busbox.explain.why import Stories


@click.command("why")
@bench_argument
@click.argument(
    "what", metavar="PIN@TIME|event.N|finding.N|access.N", shell_complete=completing.explained
)
@traffic_option
@set_option
@json_option
def command(
    bench: str, what: str, traffic: str | None, values: tuple[str, ...], as_json: bool
) -> int:
    """Trace a pin edge, event, access or finding back to its cause.

    BENCH is a folder with bench.toml, the file, or the name of one that comes with Busbox; or a saved
    recording, *.recording.npz. The trace goes from the wire back to the device, the register writes
    that had an effect, their lines in the traffic and, if the bench names its firmware, the source
    lines. PIN@TIME is the last edge up to that time, such as lamps.line@3.2ms; numbers are those of
    busbox run --json, from 0.
    """
    with judged_run(bench, values, traffic, as_json) as (system, recording):
        story = Stories(system, recording).tell(what)
    if as_json:
        print_json(_object(what, story))
    else:
        page = paper()
        _write(page, story)
        page.print()
    return 0


def _object(what: str, story: Story) -> dict[str, Any]:
    return {
        "asked": what,
        "title": story.title,
        "cycle": story.cycle,
        "parts": [
            {
                "label": part.label,
                "text": part.text,
                "access": part.access if part.access >= 0 else None,
                **part.facts,
            }
            for part in story.parts
        ],
    }


def _write(page: Paper, story: Story) -> None:
    page.line((story.title, "bold"))
    rows: list[tuple[str, str]] = []
    for part in story.parts:
        rows.append((part.label, part.text))
        if part.place:
            rows.append(("", part.place))
    page.table(rows)
