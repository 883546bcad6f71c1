"""``busbox run``."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from busbox import plugins
from busbox.basics.errors import InputError, Mistake
from busbox.bench.bench import Bench
from busbox.bench.find import benches_of
from busbox.cli.common import (
    is_recording,
    json_option,
    open_recording,
    paper,
    set_option,
    shown_progress,
)
from busbox.cli.writes import Write, listed, no_folder, writes_of
from busbox.engines import DEFAULT_ENGINE
from busbox.exports.contract import Result, target_of, text_of
from busbox.plugins import EXPORTS, find, names
from busbox.recording import SUFFIX, Recording

if TYPE_CHECKING:
    from busbox.explain.difference import Checked
    from busbox.run.loop import Progress


class _EngineOption(click.Option):
    """An option whose help names the engines, those of plug-ins too."""

    def get_help_record(self, context: click.Context) -> tuple[str, str] | None:
        """Return the two columns of the help."""
        self.help = f"What runs it: {', '.join((DEFAULT_ENGINE, *names(plugins.ENGINES)))}."
        return super().get_help_record(context)


@click.command("run")
@click.argument("bench")
@click.option("--engine", default=DEFAULT_ENGINE, cls=_EngineOption)
@click.option(
    "--check-engines",
    is_flag=True,
    help="Run it with every engine, compare all that they record, and exit with 1 if they differ.",
)
@click.option(
    "--traffic", metavar="FILE", help="Play this instead of the bench's traffic (or FILE.py:NAME)."
)
@set_option
@click.option("--vcd", metavar="FILE", help="Write bus, slots and pins as a waveform file.")
@click.option(
    "--write",
    "given",
    metavar="NAME=FILE",
    multiple=True,
    help="Write an export (busbox list exports, or FILE.py:NAME); - is standard output. May be "
    "repeated.",
)
@click.option("--out", metavar="DIR", help="Write the recording and the JSON report there.")
@json_option
@click.option("--strict", is_flag=True, help="Exit with 1 if anything is found.")
@click.option("--until", metavar="TIME", help="Stop at this time, e.g. '2 ms', or cycle.")
@click.option(
    "--stop-on",
    metavar="RULE|ADDRESS",
    multiple=True,
    help="Stop at the first such finding, or after the first access there. May be repeated.",
)
@click.option(
    "--all-hardware",
    is_flag=True,
    help="Put every device's hardware twin into its slot, but for those that --set names.",
)
@click.option("--coverage", is_flag=True, help="Tell which registers and fields were reached.")
def command(
    bench: str,
    engine: str,
    check_engines: bool,
    traffic: str | None,
    values: tuple[str, ...],
    vcd: str | None,
    given: tuple[str, ...],
    out: str | None,
    as_json: bool,
    strict: bool,
    until: str | None,
    stop_on: tuple[str, ...],
    all_hardware: bool,
    coverage: bool,
) -> int:
    """Play a bench's traffic and tell what every device did.

    BENCH is a folder with bench.toml, the file, or the name of one that comes with Busbox (busbox
    list); or a folder of such folders: all of them are run. Of a saved recording, *.recording.npz, the
    results are printed again; nothing is run.
    """
    writes = _writes(given, vcd, as_json, out)
    if is_recording(bench):
        return _again(open_recording(bench), writes, out, coverage, strict)
    several = benches_of(bench)
    for one in writes if several else ():
        if one.option in ("--vcd", "--write"):
            raise InputError.of(f"must not be used with a folder of benches, {bench!r}", one.option)
    objects, failed = [], False
    benches: list[Path | str] = [*several] if several else [bench]
    for name in benches:
        opened = Bench.load(name)
        slots = opened.keys.get("slot", {}) if all_hardware else ()
        opened = opened.with_values([*(f"slot.{slot}.as=hardware" for slot in slots), *values])
        with shown_progress(as_json) as progress, _by_option():
            run = partial(opened.run, engine, traffic=traffic, progress=progress)
            recording, extras = _run(opened, run, until, traffic, stop_on, coverage)
            checked = _compared(recording, opened, until, traffic, progress, check_engines)
            extras |= checked.as_object() if checked else {}
        result = Result(recording, partial(opened.system, traffic), extras)
        _keep(result, out)
        failed |= _failed(recording, strict) or bool(checked and checked.difference)
        if as_json and several:
            objects.append(text_of(find(EXPORTS, "json"), result))
            continue
        for one in writes:
            one.write(result)
        if any(one.shown and one.name == "summary" for one in writes):
            _print_rest(checked, last=name == benches[-1])
    if objects:
        click.echo(listed(objects), nl=False)
    return int(failed)


def _writes(
    given: tuple[str, ...], vcd: str | None, as_json: bool, out: str | None
) -> tuple[Write, ...]:
    """Return what is written; places that cannot be written are refused before the run."""
    mistakes: list[Mistake] = []
    writes: tuple[Write, ...] = ()
    try:
        writes = writes_of(given, vcd, as_json)
    except InputError as error:
        mistakes.extend(error.mistakes)
    problem = "" if out is None else no_folder(out)
    if problem:
        mistakes.append(Mistake(problem, "--out"))
    if mistakes:
        raise InputError(mistakes)
    return writes


def _again(
    recording: Recording, writes: tuple[Write, ...], out: str | None, coverage: bool, strict: bool
) -> int:
    """Write the results of a saved recording; return the exit code."""
    from busbox.bench.opening import opened

    extras: dict[str, Any] = {}
    with ExitStack() as stack:
        result = Result(recording, lambda: stack.enter_context(opened(recording)), extras)
        if coverage:
            from busbox.exports.coverage import coverage as covered

            extras["coverage"] = covered(recording, result.system.devices)
        _keep(result, out)
        for one in writes:
            one.write(result)
    return int(_failed(recording, strict))


def _run(
    bench: Bench,
    run: Callable[..., Recording],
    until: str | None,
    traffic: str | None,
    stop_on: tuple[str, ...],
    coverage: bool,
) -> tuple[Recording, dict[str, Any]]:
    """Return the recording, and what the options --stop-on and --coverage add to the JSON object."""
    extras: dict[str, Any] = {}
    if not (stop_on or coverage):
        return run(until=until), extras
    system = bench.system(traffic)
    recording: Recording | None = None
    if stop_on:
        from busbox.cli.stop_on import finders, stop_at_first

        recording = stop_at_first(run, until, finders(stop_on, system))
        if recording.stopped_on is None:
            extras["stopped_on"] = None
    recording = recording or run(until=until)
    if coverage:
        from busbox.exports.coverage import coverage as covered

        extras["coverage"] = covered(recording, system.devices)
    return recording, extras


def _compared(
    recording: Recording,
    bench: Bench,
    until: str | None,
    traffic: str | None,
    progress: Progress | None,
    wanted: bool,
) -> Checked | None:
    """Run the bench with every other engine too, if that is wanted, and compare."""
    if not wanted:
        return None
    from busbox.explain.difference import Checked, first_difference

    names = [recording.engine]
    for name in plugins.ENGINES.built_in:
        if name == recording.engine:
            continue
        other = bench.run(name, until, traffic=traffic, progress=progress)
        names.append(name)
        difference = first_difference(recording, other)
        if difference is not None:
            return Checked(tuple(names), difference)
    return Checked(tuple(names), None)


def _failed(recording: Recording, strict: bool) -> bool:
    broken = any(not one.met for one in recording.verdicts)
    carried = recording.carried
    strict = strict or (carried is not None and carried.tables.get("strict") is True)
    return broken or recording.ended == "hang" or (strict and bool(recording.counts))


def _print_rest(checked: Checked | None, last: bool) -> None:
    """Print what follows a summary: how the engines compare, a line before the next bench."""
    page = paper()
    if checked is not None:
        page.line()
        page.line((str(checked), "bold"))
    if not last:
        page.line()
    page.print()


@contextmanager
def _by_option() -> Iterator[None]:
    """Tell what is wrong with an argument by the name of its option."""
    try:
        yield
    except InputError as error:
        raise InputError(
            replace(mistake, where=f"--{mistake.key}", key="")
            if mistake.key in ("traffic", "until", "engine") and not mistake.where
            else mistake
            for mistake in error.mistakes
        ) from error


def _keep(result: Result, out: str | None) -> None:
    """Write the recording and the JSON report to the folder that ``--out`` names."""
    if out is None:
        return
    folder = Path(out)
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError.of(f"cannot be made: {error.strerror}", str(folder)) from None
    name = result.recording.bench
    result.recording.save(folder / f"{name}{SUFFIX}")
    with target_of(str(folder / f"{name}.json")) as target:
        find(EXPORTS, "json")(result, target)
