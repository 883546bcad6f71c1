"""``busbox run``."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from busbox.basics.errors import InputError, Mistake
from busbox.bench.bench import Bench
from busbox.bench.find import benches_of
from busbox.cli.common import (
    is_recording,
    json_option,
    open_recording,
    paper,
    print_json,
    set_option,
    shown_progress,
)
from busbox.engines import DEFAULT_ENGINE, ENGINES
from busbox.recording import SUFFIX, Recording

if TYPE_CHECKING:
    from busbox.explain.difference import Checked
    from busbox.run.loop import Progress


@click.command("run")
@click.argument("bench")
@click.option("--engine", default=DEFAULT_ENGINE, help=f"What runs it: {', '.join(ENGINES)}.")
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
    _check_places(vcd, out)
    if is_recording(bench):
        return _print_again(open_recording(bench), vcd, out, coverage, as_json, strict)
    several = benches_of(bench)
    if several and vcd is not None:
        raise InputError.of(f"must not be used with a folder of benches, {bench!r}", "--vcd")
    objects, failed = [], False
    names: list[Path | str] = [*several] if several else [bench]
    for name in names:
        opened = Bench.load(name)
        slots = opened.keys.get("slot", {}) if all_hardware else ()
        opened = opened.with_values([*(f"slot.{slot}.as=hardware" for slot in slots), *values])
        with shown_progress(as_json) as progress, _by_option():
            run = partial(opened.run, engine, traffic=traffic, progress=progress)
            recording, extras = _run(opened, run, until, traffic, stop_on, coverage)
            checked = _compared(recording, opened, until, traffic, progress, check_engines)
            extras |= checked.as_object() if checked else {}
        _write(recording, vcd, out, extras)
        failed |= _failed(recording, strict) or bool(checked and checked.difference)
        if as_json:
            from busbox.exports.json_report import as_object

            objects.append(as_object(recording) | extras)
        else:
            _print_summary(recording, extras, checked, last=name == names[-1])
    if as_json:
        print_json(objects if several else objects[0])
    return int(failed)


def _print_again(
    recording: Recording,
    vcd: str | None,
    out: str | None,
    coverage: bool,
    as_json: bool,
    strict: bool,
) -> int:
    """Print the results of a saved recording; return the exit code."""
    extras: dict[str, Any] = {}
    if coverage:
        from busbox.exports.coverage import coverage as covered
        from busbox.opening import opened

        with opened(recording) as system:
            extras["coverage"] = covered(recording, system.devices)
    _write(recording, vcd, out, extras)
    if as_json:
        from busbox.exports.json_report import as_object

        print_json(as_object(recording) | extras)
    else:
        _print_summary(recording, extras, None, last=True)
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
    for name in ENGINES[1:]:
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
    return broken or recording.ended == "hang" or (strict and bool(recording.counts))


def _print_summary(
    recording: Recording, extras: dict[str, Any], checked: Checked | None, last: bool
) -> None:
    from busbox.exports.summary import summarise

    page = paper()
    summarise(recording, page, extras.get("coverage"))
    if checked is not None:
        page.title(str(checked))
    if not last:
        page.line()
    page.print()


def _check_places(vcd: str | None, out: str | None) -> None:
    """Refuse places that cannot be written before the run, not after it."""
    mistakes = []
    if vcd is not None and os.path.isdir(vcd):
        mistakes.append(Mistake(f"must be a file, not the folder {vcd!r}", "--vcd"))
    elif vcd is not None:
        folder = Path(vcd).parent
        if not os.path.isdir(folder):
            mistakes.append(Mistake(f"there is no folder {str(folder)!r}", "--vcd"))
        elif not os.access(folder, os.W_OK):
            mistakes.append(
                Mistake(f"must be in a folder that can be written to, not {str(folder)!r}", "--vcd")
            )
    if out is not None:
        above = Path(out).absolute()
        while not os.path.lexists(above):
            above = above.parent
        if not above.is_dir():
            what = out if above == Path(out).absolute() else str(above)
            mistakes.append(Mistake(f"must be a folder, not the file {what!r}", "--out"))
        elif not os.access(above, os.W_OK):
            mistakes.append(
                Mistake(f"must be a folder that can be written to, not {out!r}", "--out")
            )
    if mistakes:
        raise InputError(mistakes)


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


def _write(recording: Recording, vcd: str | None, out: str | None, extras: dict[str, Any]) -> None:
    if vcd is not None:
        from busbox.exports.waveform import write_vcd

        write_vcd(recording, Path(vcd))
    if out is not None:
        import json

        from busbox.basics.files import replace_file
        from busbox.exports.json_report import as_object

        folder = Path(out)
        try:
            folder.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise InputError.of(f"cannot be made: {error.strerror}", str(folder)) from None
        recording.save(folder / f"{recording.bench}{SUFFIX}")
        report = json.dumps(as_object(recording) | extras, indent=2) + "\n"
        replace_file(folder / f"{recording.bench}.json", report.encode("ascii"))
