"""``busbox run``."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from contextlib import ExitStack
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from busbox import plugins
from busbox.basics.errors import InputError, Mistake
from busbox.basics.files import make_folder
from busbox.bench.bench import Bench
from busbox.bench.find import benches_of
from busbox.cli import completing
from busbox.cli.common import (
    bench_argument,
    by_option,
    engine_option,
    is_recording,
    json_option,
    number_of,
    open_recording,
    paper,
    set_option,
    shown_progress,
    tell_last,
    traffic_option,
    until_option,
)
from busbox.cli.live_options import Terminal, live_options, show_typed, terminal_open
from busbox.cli.writes import Waveform, Write, listed, no_folder, write_each, writes_of
from busbox.exports.brief import SetRow, write_block, write_closing
from busbox.exports.contract import Result, target_of, text_of
from busbox.findings.judging import as_far_as_judged
from busbox.plugins import EXPORTS, find
from busbox.recording import SUFFIX, Recording

if TYPE_CHECKING:
    from busbox.explain.difference import Comparison
    from busbox.run.loop import Progress


@click.command("run")
@bench_argument
@engine_option
@click.option(
    "--check-engines",
    is_flag=True,
    help="Run with every engine, compare the recordings, and exit with 1 if they differ.",
)
@traffic_option
@set_option
@click.option(
    "--vcd",
    metavar="FILE",
    shell_complete=completing.files,
    help="Write bus, slots and pins as a waveform file.",
)
@click.option(
    "--vcd-depth",
    "depth",
    metavar="N",
    help="Add the signals inside hardware devices to the waveform file, N levels deep.",
)
@click.option(
    "--write",
    "given",
    metavar="NAME=FILE",
    shell_complete=completing.named(EXPORTS, "="),
    multiple=True,
    help="Write an export (busbox list exports, or FILE.py:NAME); - is standard output. May be "
    "repeated.",
)
@click.option(
    "--out",
    metavar="DIR",
    shell_complete=completing.folders,
    help="Write the recording and the JSON report there.",
)
@json_option
@click.option("--brief", is_flag=True, help="Print only the verdict: end, findings, expectations.")
@click.option("--strict", is_flag=True, help="Exit with 1 if there is any finding.")
@until_option
@click.option(
    "--stop-on",
    metavar="RULE|ADDRESS",
    shell_complete=completing.stops,
    multiple=True,
    help="Stop at the first finding of RULE, or after the first access to ADDRESS. May be repeated.",
)
@click.option(
    "--all-hardware",
    is_flag=True,
    help="Use the hardware twin of every device, except those set with --set.",
)
@click.option("--coverage", is_flag=True, help="Report which registers and fields were accessed.")
@live_options
def command(
    bench: str,
    engine: str,
    check_engines: bool,
    traffic: str | None,
    values: tuple[str, ...],
    vcd: str | None,
    depth: str | None,
    given: tuple[str, ...],
    out: str | None,
    as_json: bool,
    brief: bool,
    strict: bool,
    until: str | None,
    stop_on: tuple[str, ...],
    all_hardware: bool,
    coverage: bool,
    terminal: Terminal | None,
) -> int:
    """Run a bench's traffic and report what each device did.

    BENCH is a folder with bench.toml, the file, or the name of one that comes with Busbox (busbox
    list); or a folder of such folders: each is run, and a table summarizes them. For a saved
    recording, *.recording.npz, the results are printed again; nothing is run.
    """
    writes = _writes(given, _waveform(vcd, depth), as_json, brief, out)
    if is_recording(bench):
        return _again(open_recording(bench), writes, out, coverage, strict)
    several = benches_of(bench)
    _check_set(several or (), writes, terminal, bench)
    objects, rows, failed = [], [], False
    for name in [*several] if several else [bench]:
        opened = Bench.load(name)
        slots = opened.keys.get("slot") if all_hardware else None
        slots = slots if isinstance(slots, dict) else ()  # else the bench tells the mistake
        opened = opened.with_values([*(f"slot.{slot}.as=hardware" for slot in slots), *values])
        with (
            terminal_open(terminal) as far,
            shown_progress(as_json or bool(far)) as progress,
            by_option(),
        ):
            run = _judged(opened.run, engine, traffic=traffic, progress=progress, live=far)
            recording, extras = _run(opened, run, until, traffic, stop_on, coverage)
            tell_last(recording)
            checked = _compared(recording, opened, until, traffic, progress, check_engines)
            extras |= checked.as_object() if checked else {}
        result = Result(recording, partial(opened.system, traffic), extras)
        _keep(result, out)
        failed |= _failed(recording, strict) or bool(checked and checked.difference)
        if as_json and several:
            objects.append(text_of(find(EXPORTS, "json"), result))
            continue
        _write_all(result, writes, checked, bool(several), brief)
        rows.append(SetRow.of(recording.bench, recording))
        show_typed(terminal, far, recording)
    _close(objects, bench if several else "", rows)
    return int(failed)


def _judged(run: Callable[..., Recording], *given: Any, **more: Any) -> Callable[..., Recording]:
    """Return what runs a bench and gives what was judged, where a part of that fails."""
    return lambda **other: as_far_as_judged(partial(run, *given, **more, **other))


def _close(objects: Sequence[str], of_set: str, rows: Sequence[SetRow]) -> None:
    """Write what closes a run of several benches: all objects, or a table."""
    if objects:
        click.echo(listed(objects), nl=False)
    elif of_set:
        page = paper()
        write_closing(of_set, rows, page)
        page.print()


def _check_set(
    several: Sequence[Path], writes: Sequence[Write], terminal: Terminal | None, bench: str
) -> None:
    """Refuse, for several benches, options that are for one."""
    options = [one.option for one in writes if one.option in ("--vcd", "--write")]
    options += [] if terminal is None else ["--live"]
    if several and options:
        raise InputError.of(f"must not be used with a folder of benches, {bench!r}", options[0])


def _waveform(vcd: str | None, depth: str | None) -> Waveform | None:
    """Return the waveform file that the options name."""
    if depth is not None and vcd is None:
        raise InputError.of("needs --vcd FILE", "--vcd-depth")
    levels = 0 if depth is None else number_of(depth, "--vcd-depth", least=1)
    return None if vcd is None else Waveform(vcd, levels)


def _writes(
    given: tuple[str, ...], vcd: Waveform | None, as_json: bool, brief: bool, out: str | None
) -> tuple[Write, ...]:
    """Return what is written; places that cannot be written are refused before the run."""
    mistakes: list[Mistake] = []
    writes: tuple[Write, ...] = ()
    if as_json and brief:
        mistakes.append(Mistake("cannot be combined with --json", "--brief"))
    try:
        writes = writes_of(given, vcd, as_json, brief)
    except InputError as error:
        mistakes.extend(error.mistakes)
    problem = "" if out is None else no_folder(out) if out else "must name a folder, not ''"
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

    tell_last(recording)
    extras: dict[str, Any] = {}
    with ExitStack() as stack:
        result = Result(recording, lambda: stack.enter_context(opened(recording)), extras)
        if coverage:
            from busbox.exports.coverage import coverage as covered

            extras["coverage"] = covered(recording, result.system.devices)
        _keep(result, out)
        write_each(writes, result)
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
) -> Comparison | None:
    """Run the bench with every other engine too, if that is wanted, and compare."""
    if not wanted:
        return None
    from busbox.explain.difference import Comparison, first_difference

    names = [recording.engine]
    for name in plugins.ENGINES.built_in:
        if name == recording.engine:
            continue
        run = _judged(bench.run, name, until, traffic=traffic, progress=progress)
        other = run()
        names.append(name)
        difference = first_difference(recording, other)
        if difference is not None:
            return Comparison(tuple(names), difference)
    return Comparison(tuple(names), None)


def _failed(recording: Recording, strict: bool) -> bool:
    broken = any(not one.met for one in recording.verdicts)
    return broken or recording.ended == "hang" or (strict and bool(recording.counts))


def _write_all(
    result: Result,
    writes: Sequence[Write],
    checked: Comparison | None,
    in_set: bool,
    brief: bool,
) -> None:
    """Write the exports of one bench; of a bench of a set, print its block, or its verdict only."""
    page = paper()
    if in_set and not brief:
        write_block(result.recording, page, result.extras.get("coverage"))
    else:
        write_each(writes, result)
    if not any(one.shown and one.name in ("summary", "brief") for one in writes):
        return
    if checked is not None:
        page.line()
        page.line((str(checked), "bold"), hang=2)
    if in_set:
        page.line()
    page.print()


def _keep(result: Result, out: str | None) -> None:
    """Write the recording and the JSON report to the folder that ``--out`` names."""
    if out is None:
        return
    folder = Path(out)
    make_folder(folder)
    name = result.recording.bench
    result.recording.save(folder / f"{name}{SUFFIX}")
    with target_of(str(folder / f"{name}.json")) as target:
        find(EXPORTS, "json")(result, target)
