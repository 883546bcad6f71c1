"""``busbox capture``."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import click

from busbox.basics.errors import InputError, Mistake, format_value, join_or, nearest
from busbox.basics.hooks import calling, is_added, where_raised
from busbox.basics.paper import Paper
from busbox.basics.units import parse_clock, show_seconds
from busbox.bench.bench import Bench
from busbox.bench.set_values import toml_value
from busbox.board.attachment import Board, Decoder, LineReport
from busbox.board.compare import Difference, differences
from busbox.board.reports import report_of
from busbox.cli import completing
from busbox.cli.common import json_option, paper, print_json, shown_progress
from busbox.device import REQUIRED, Setting
from busbox.findings.line_findings import unknown_rule
from busbox.lines.captures import read_capture
from busbox.lines.profiles import PROFILES
from busbox.lines.wave import Wave
from busbox.plugins import ATTACHMENTS, RULES, Entry, find


@click.command("capture")
@click.argument("file", shell_complete=completing.files)
@click.option(
    "--as",
    "name",
    metavar="KIND",
    shell_complete=completing.named(ATTACHMENTS),
    help="What to decode the lines as: lamp_string, terminal, level.",
)
@click.option(
    "--set",
    "values",
    metavar="KEY=VALUE",
    multiple=True,
    help="A setting of the kind, e.g. baud=19200 or count=24. May be repeated.",
)
@click.option(
    "--line", "chosen", metavar="NAME", multiple=True, help="Only this line. May be repeated."
)
@click.option(
    "--sample-clock",
    "clock",
    metavar="CLOCK",
    help='Sampling rate, if times are sample numbers, e.g. "1 MHz".',
)
@click.option(
    "--against",
    metavar="BENCH PIN",
    nargs=2,
    help="Run a bench and compare with one of its pins; exit with 1 if they differ.",
)
@json_option
def command(
    file: str,
    name: str | None,
    values: tuple[str, ...],
    chosen: tuple[str, ...],
    clock: str | None,
    against: tuple[str, str] | None,
    as_json: bool,
) -> int:
    """Decode a capture of real hardware: as serial lines, or as strings of lamps.

    FILE is a CSV file with a column time_s, time_ms, time_us, time_ns or sample, then one for each
    line; or a VCD file. Lines are decoded from their edges alone, by the kinds that benches
    attach to pins (busbox attachments). A capture sees an edge only at the next sample, so every
    window is widened by a sample at each end.
    """
    if name is None:
        raise InputError.of("must be given, such as terminal or lamp_string", "--as")
    kind = _kind(name)
    settings = settings_of(kind, values)
    waves = read_capture(Path(file), _hertz(clock))
    lines = _chosen(waves, chosen, file)
    reports = {line: _decoded(kind, settings, waves[line], line) for line in lines}
    compared = None
    if against is not None:
        with shown_progress(as_json) as progress:
            wave = _wave_of_pin(*against, progress)
        other = _decoded(kind, settings, wave, against[1])
        compared = _Compared(against, {line: differences(reports[line], other) for line in lines})
    if as_json:
        print_json(_object(file, waves, name, reports, compared))
    else:
        page = paper()
        _write(page, file, waves, name, reports, compared)
        page.print()
    return int(compared is not None and not compared.same)


@dataclass(frozen=True)
class _Compared:
    """Each line, compared with a pin of a bench's run."""

    against: tuple[str, str]
    lines: Mapping[str, list[Difference]]

    @property
    def same(self) -> bool:
        """Whether every line is the same; times may differ."""
        return all(one.same for found in self.lines.values() for one in found)


def _kind(name: str) -> type[Decoder]:
    try:
        kind: type[Any] = find(ATTACHMENTS, name)
    except InputError as error:
        raise InputError(Mistake(one.text, "--as") for one in error.mistakes) from error
    if not issubclass(kind, Decoder):
        known = [
            one
            for one in ATTACHMENTS.built_in
            if issubclass(Entry(ATTACHMENTS, one).load(), Decoder)
        ]
        raise InputError.of(f"must decode a line, as {join_or(known)} do, not {name!r}", "--as")
    return kind


def settings_of(kind: type[Decoder], given: Iterable[str]) -> dict[str, Any]:
    """Return the value of every setting of a kind.

    Parameters
    ----------
    given : such as ``baud=19200``; of several, the last counts

    Raises
    ------
    InputError : with everything that is not a setting, or not a value of one
    """
    declared: dict[str, Setting] = {one.name: one for one in kind.settings}
    values: dict[str, Any] = {}
    mistakes = []
    for one in given:
        key, equals, text = (part.strip() for part in one.partition("="))
        if not equals:
            text = f"must be KEY=VALUE such as baud=19200, not {format_value(one)}"
            mistakes.append(Mistake(text, "--set"))
        elif key not in declared:
            known = list(declared)
            close = f"{nearest(key, known)} (known: {join_or(known)})"
            text = f"there is no setting {format_value(key)}{close}"
            mistakes.append(Mistake(text, "--set"))
        else:
            value = toml_value(text)
            is_text = declared[key].kind in ("text", "path") and not isinstance(value, str)
            values[key] = text if is_text else value  # 7E2 is a format, not a number
    for key, setting in declared.items():
        problem = setting.problem(values[key]) if key in values else None
        if key not in values and setting.default is REQUIRED:
            problem = f"must be given: {setting.text}"
        if problem:
            mistakes.append(Mistake(problem, "--set", key=key))
        values.setdefault(key, setting.default)
    if mistakes:
        raise InputError(mistakes)
    with calling(f"{kind.__name__}: its check", "--set", hook=kind.check):
        problem = kind.check(values)
    if problem:
        raise InputError.of(problem, "--set")
    return values


def _decoded(kind: type[Decoder], settings: Mapping[str, Any], wave: Wave, line: str) -> LineReport:
    """Return what a line says.

    Raises
    ------
    InputError : settings contradict each other, or do not fit the line
    """
    try:
        with calling(kind.__name__, "--set", hook=kind, refusing=True):
            part = kind(Board(round(1 / wave.tick), PROFILES), **settings)
    except ValueError as error:
        raise InputError.of(str(error), "--set") from None
    try:
        with calling(kind.__name__, line, hook=part.decode, refusing=True):
            report = report_of(part, wave)
    except ValueError as error:
        place = where_raised(error, part.decode) if is_added(part) else ""
        raise InputError.of(f"{error}{place}", line) from None
    for finding in report.findings:
        if finding.rule not in RULES.built_in and finding.rule not in kind.rules:
            raise InputError.of(unknown_rule(kind.__name__, finding.rule), line)
    return report


def _wave_of_pin(name: str, pin: str, progress: Any) -> Wave:
    """Run a bench, and return the wave of one of its pins."""
    recording = Bench.load(name).run(progress=progress)
    if pin not in recording.lines:
        known = list(recording.lines)
        raise InputError.of(f"there is no pin {pin!r} in {name}{nearest(pin, known)}", "--against")
    return Wave.of_line(recording.lines[pin], recording.clock_hz, recording.cycles)


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
                f"there is no line {format_value(line)} in {file}{nearest(line, known)} "
                f"(known: {join_or(known)})",
                "--line",
            )
    return list(dict.fromkeys(chosen)) or list(waves)


def _object(
    file: str,
    waves: dict[str, Wave],
    name: str,
    reports: Mapping[str, LineReport],
    compared: _Compared | None,
) -> dict[str, Any]:
    wave = next(iter(waves.values()))
    found: dict[str, Any] = {
        "file": Path(file).name,
        "tick": float(wave.tick),
        "ticks": wave.end,
        "lines": {
            line: {"as": name, **one.facts, "findings": _counts(one)}
            for line, one in reports.items()
        },
    }
    if compared is not None:
        found["against"] = {
            "bench": compared.against[0],
            "pin": compared.against[1],
            "same": compared.same,
            "lines": {
                line: {one.what: one.as_object() for one in differ}
                for line, differ in compared.lines.items()
            },
        }
    return found


def _write(
    page: Paper,
    file: str,
    waves: dict[str, Wave],
    name: str,
    reports: Mapping[str, LineReport],
    compared: _Compared | None,
) -> None:
    wave = next(iter(waves.values()))
    page.line(
        (Path(file).name, "bold"),
        f": {len(waves)} {'line' if len(waves) == 1 else 'lines'}, in steps of "
        f"{show_seconds(wave.tick)}",
    )
    for line, one in reports.items():
        page.title(f"{line} as {name}")
        page.table(one.rows)
        page.table(_frames(one, wave))
        for rule, (count, (message, hint)) in _firsts(one).items():
            page.line(
                "  ", (rule, "bold red"), "" if count == 1 else f"  {count:,} times; the first:"
            )
            page.line(f"    {message}")
            page.line(f"    try: {hint}", hang=2)
    if compared is not None:
        bench, pin = compared.against
        for line, differ in compared.lines.items():
            same = "the same" if all(one.same for one in differ) else "not the same"
            page.title(f"{line} against {pin} of {bench}: {same}")
            page.table((one.what, str(one)) for one in differ)


def _counts(report: LineReport) -> dict[str, int]:
    """Return the number of findings by rule."""
    return dict(Counter(finding.rule for finding in report.findings))


def _firsts(report: LineReport) -> dict[str, tuple[int, tuple[str, str]]]:
    """Return the number of findings and the text of the first, by rule."""
    first = {finding.rule: finding for finding in reversed(list(report.findings))}
    return {rule: (count, first[rule].describe()) for rule, count in _counts(report).items()}


def _frames(report: LineReport, wave: Wave) -> Iterator[tuple[str, str, str]]:
    """Yield number, time and colours of each frame; white comes before red."""
    frames = report.frames or ()
    digits = 8 if any(colour > 0xFFFFFF for *_, colours in frames for colour in colours) else 6
    for number, (tick, _, colours) in enumerate(frames):
        listed = " ".join(f"{colour:0{digits}x}" for colour in colours)
        yield f"frame {number}", show_seconds(tick * wave.tick), listed or "no lamp"
