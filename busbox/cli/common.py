"""What the verbs share: options, benches and recordings by name, output."""

from __future__ import annotations

import functools
import json
import re
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING, Any

import click
from click.core import ParameterSource

from busbox import plugins
from busbox.basics.errors import InputError, Mistake
from busbox.basics.paper import Paper, paper_for
from busbox.bench.bench import Bench
from busbox.cli import completing
from busbox.cli.verbs import FAILURES
from busbox.engines import DEFAULT_ENGINE
from busbox.map.addresses import number
from busbox.plugins import names
from busbox.recording import SUFFIX, Recording

if TYPE_CHECKING:
    from busbox.run.loop import Progress as Report
    from busbox.system.system import System

bench_argument = click.argument("bench", shell_complete=completing.benches)
_CHANGES = (
    click.option(
        "--set",
        "values",
        metavar="KEY=VALUE",
        multiple=True,
        shell_complete=completing.settings,
        help="Change a key of the bench, e.g. slot.lamps.base=0x44010000. May be repeated.",
    ),
    click.option(
        "--variant",
        "variants",
        metavar="NAME",
        multiple=True,
        shell_complete=completing.variants,
        help="Change what the bench keeps under [variant.NAME]; --set comes after it. May be "
        "repeated.",
    ),
    click.option(
        "--move-traffic",
        is_flag=True,
        help="Let accesses by number move along with a slot whose base is changed.",
    ),
)


def set_option(function: Callable[..., int]) -> Callable[..., int]:
    """Add the options that change a bench; the verb gets all changes as ``values``."""

    @functools.wraps(function)
    def changed(
        *given: Any,
        values: tuple[str, ...],
        variants: tuple[str, ...],
        move_traffic: bool,
        **other: Any,
    ) -> int:
        moved = ("traffic.move=true",) if move_traffic else ()
        named = (f"variant={name}" for name in variants)
        return function(*given, values=(*named, *values, *moved), **other)

    for option in reversed(_CHANGES):
        changed = option(changed)
    return changed


traffic_option = click.option(
    "--traffic",
    metavar="FILE",
    shell_complete=completing.files,
    help="Run this instead of the bench's traffic (or FILE.py:NAME, FILE.so:NAME).",
)
json_option = click.option("--json", "as_json", is_flag=True, help="Print one JSON object.")


class EngineOption(click.Option):
    """An option whose help names the engines, those of plug-ins too."""

    def get_help_record(self, context: click.Context) -> tuple[str, str] | None:
        """Return the two columns of the help."""
        self.help = f"Engine that runs it: {', '.join((DEFAULT_ENGINE, *names(plugins.ENGINES)))}."
        return super().get_help_record(context)


engine_option = click.option(
    "--engine", default=DEFAULT_ENGINE, cls=EngineOption, shell_complete=completing.engines
)
until_option = click.option(
    "--until", metavar="TIME", help="Stop at this time, e.g. '2 ms', or cycle."
)


#: Parameters of verbs that need a new run, and so a bench.
_OF_A_RUN = (
    "engine", "check_engines", "traffic", "values", "variants", "move_traffic", "until", "stop_on",
    "all_hardware", "live",
)  # fmt: skip


def open_bench(name: str, values: tuple[str, ...]) -> Bench:
    """Return the bench that a verb names, with its ``--set`` values.

    Raises
    ------
    InputError : there is no such bench, or the name is that of a recording
    """
    if is_recording(name):
        raise InputError.of("is a recording; this verb takes a bench only", name)
    return Bench.load(name).with_values(values)


def is_recording(name: str) -> bool:
    """Return whether a verb names a saved recording in place of a bench."""
    return name.endswith(SUFFIX)


def open_recording(name: str) -> Recording:
    """Return the saved recording that a verb names.

    Raises
    ------
    InputError : it cannot be loaded, or the verb was given options that need a new run
    """
    refuse_options_of_a_run(name, "a recording")
    return Recording.load(name)


def refuse_options_of_a_run(name: str, what: str) -> None:
    """Refuse options that need a new run, where something else than a bench is named.

    Raises
    ------
    InputError : the verb was given such an option
    """
    context = click.get_current_context()
    given = [
        param.opts[0]
        for param in context.command.params
        if param.name in _OF_A_RUN
        and context.get_parameter_source(param.name) is not ParameterSource.DEFAULT
    ]
    if given:
        text = f"needs a new run and cannot be used with {what}, {name!r}"
        raise InputError(Mistake(text, option) for option in given)


@contextmanager
def by_option() -> Iterator[None]:
    """Report what is wrong with an argument by the name of its option."""
    try:
        yield
    except InputError as error:
        raise InputError(
            replace(mistake, where=f"--{mistake.key}", key="")
            if mistake.key in ("traffic", "until", "engine", "live") and not mistake.where
            else mistake
            for mistake in error.mistakes
        ) from error


def tell_last(recording: Recording) -> None:
    """Have what failed while a recording was judged told last: exit code 2 once the verb is done."""
    if recording.failures:
        failures = click.get_current_context().meta.setdefault(FAILURES, [])
        failures += [one for one in recording.failures if one not in failures]


@contextmanager
def judged_run(
    name: str, values: tuple[str, ...], traffic: str | None, as_json: bool
) -> Iterator[tuple[System, Recording]]:
    """Give the system and the judged recording of what a verb names: a bench is run, whole.

    What failed at judging is told last.

    Parameters
    ----------
    traffic : a file to play instead of the bench's, or None

    Raises
    ------
    InputError : there is something wrong with the bench or the recording
    """
    from busbox.bench.opening import judge, opened
    from busbox.engines import engine_class
    from busbox.findings.judging import as_far_as_judged
    from busbox.run.undefined import replay_and_look

    if is_recording(name):
        recording = open_recording(name)
        tell_last(recording)
        with opened(recording) as system:
            yield system, recording
        return
    with by_option():
        system = open_bench(name, values).system(traffic)
    with shown_progress(as_json) as progress:
        facts = replay_and_look(system, engine_class(DEFAULT_ENGINE), None, progress)
    recording = as_far_as_judged(partial(judge, facts, system))
    tell_last(recording)
    yield system, recording


def number_of(text: str, option: str, least: int = 0) -> int:
    """Return the whole number that an option gives.

    Raises
    ------
    InputError : it is not a whole number, or less than ``least``
    """
    try:
        value = number(text, "a number")
    except ValueError as error:
        raise InputError.of(str(error).removeprefix("a number "), option) from None
    if value < least:
        raise InputError.of(f"must be at least {least}, not {value}", option)
    return value


def paper() -> Paper:
    """Return paper for standard output: as wide as that is, coloured on a terminal only."""
    return paper_for(sys.stdout)


def plain(text: str) -> str:
    """Return a text of a docstring without the marks of its mark-up."""
    return re.sub(r"(?::\w+:)?`+([^`]*)`+", r"\1", text)


def print_json(value: object) -> None:
    """Print one JSON object, in ASCII, so that every terminal and every encoding can hold it."""
    click.echo(json.dumps(value, indent=2))


@contextmanager
def shown_progress(as_json: bool) -> Iterator[Report | None]:
    """Give what reports the progress of a long run; None without a terminal or with JSON."""
    if as_json or not sys.stderr.isatty():
        yield None
        return
    with progress_bar() as bar:
        begun = time.monotonic()

        def show(cycle: int, share: float | None) -> None:
            left = time_left(time.monotonic() - begun, share)
            bar(f"cycle {cycle:,}{left}", share)

        yield show


def time_left(spent: float, share: float | None) -> str:
    """Return the time that a run still takes, if it goes on as it has; "" where nobody knows.

    Parameters
    ----------
    spent : seconds
    share : how much is done, 0 to 1, or None
    """
    if not share or spent < 2:
        return ""
    seconds = round(spent / share * (1 - share))
    if seconds < 100:
        return f", {seconds} s left"
    return f", {round(seconds / 60):,} min left"


@contextmanager
def progress_bar() -> Iterator[Callable[[str, float | None], None]]:
    """Give what shows a text and a share on standard error, which must be a terminal.

    It is one line that fits the terminal, drawn twice a second and wiped at the end, and nothing at
    all in the first second: more would flicker on a slow connection.
    """
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn
    from rich.table import Column

    console = Console(stderr=True)
    width = max(4, min(40, console.width - 40))
    text = TextColumn("{task.description}", table_column=Column(no_wrap=True))
    columns = BarColumn(bar_width=width), text
    bar = Progress(*columns, console=console, transient=True, refresh_per_second=2)
    task, begun = bar.add_task("", total=None), time.monotonic()

    def show(text: str, share: float | None) -> None:
        total = None if share is None else 1.0
        bar.update(task, total=total, completed=share or 0.0, description=text)
        if time.monotonic() > begun + 1:
            bar.start()  # does nothing where it has been started

    try:
        yield show
    finally:
        if bar.live.is_started:
            bar.stop()
