"""The verdict of a run, for people: its end, its findings, its expectations."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from busbox.basics.listing import counted
from busbox.basics.paper import Paper
from busbox.basics.units import show_clock, show_time
from busbox.exports.contract import Result, Target
from busbox.exports.coverage import write_coverage
from busbox.recording import Recording
from busbox.recording.judged import Finding

_ENDS = {
    "done": "done",
    "until": "stopped at the requested time",
    "hang": "the CPU hangs",
    "settle": "stopped: a device was still busy",
}


def write(result: Result, target: Target) -> None:
    """The verdict of a run, with one line for each rule found and each expectation not met."""
    page = target.paper()
    write_brief(result.recording, page)
    covered = result.extras.get("coverage")
    if covered is not None:
        write_coverage(covered, page)
    target.put(page)


def write_brief(recording: Recording, paper: Paper) -> None:
    """Write the verdict, with a line for each rule and each expectation that was not met."""
    _write_end(recording, paper)
    _write_notes(recording, paper)
    write_certain(recording, paper)
    _write_found(recording, paper)
    paper.table(
        (
            [(rule, "bold red")],
            counted(count, "time"),
            f"first: finding.{number} in cycle {finding.cycle:,}",
        )
        for rule, count, number, finding in first_findings(recording)
    )
    _write_met(recording, paper)
    write_not_met(recording, paper)


def write_verdict(recording: Recording, paper: Paper) -> None:
    """Write how a run ended, and how many findings and expectations there are."""
    _write_end(recording, paper)
    if recording.certain is not None and recording.certain.doubt:
        write_certain(recording, paper)
    _write_found(recording, paper)
    _write_met(recording, paper)


def write_not_met(recording: Recording, paper: Paper) -> None:
    """Write a line for each expectation that was not met."""
    for verdict in recording.verdicts:
        if not verdict.met:
            words = ("not met", "bold red"), f"  {verdict.what}; seen: {verdict.seen}"
            paper.line("  ", *words, hang=2)


def found_in(recording: Recording) -> int:
    """Return the number of all findings."""
    return sum(recording.by_rule.values())


def first_findings(recording: Recording) -> Iterator[tuple[str, int, int, Finding]]:
    """Yield (rule, count, number of its first finding, that finding), in order of cycle."""
    seen: set[str] = set()
    for number, finding in enumerate(recording.findings):
        if finding.rule not in seen:
            seen.add(finding.rule)
            yield finding.rule, sum(recording.counts[finding.rule].values()), number, finding


def place_of(recording: Recording, finding: Finding) -> str:
    """Return cycle, time, access, line of the traffic and pc of a finding, as text."""
    when = show_time(finding.cycle, recording.clock_hz)
    parts = [f"cycle {finding.cycle:,} ({when})"]
    if finding.access >= 0:
        parts.append(f"access {finding.access:,}")
    if finding.line >= 0:
        parts.append(recording.place_of(finding.access))
    if finding.pc >= 0:
        parts.append(f"pc {finding.pc:#x}")
    if finding.source:
        parts.append(finding.source)
    if finding.doubtful:
        parts.append("after the end of what is certain")
    return ", ".join(parts)


def _end(recording: Recording) -> str:
    stopped = recording.ended == "until" and recording.stopped_on is not None
    if recording.trapped:
        return "ended by a trap"
    return "stopped" if stopped else _ENDS[recording.ended]


def _write_end(recording: Recording, paper: Paper) -> None:
    time = show_time(recording.cycles, recording.clock_hz)
    paper.line(
        (recording.bench, "bold"),
        f": {_end(recording)} after {time} ({counted(recording.cycles, 'cycle')} at "
        f"{show_clock(recording.clock_hz)}), engine {recording.engine}",
        hang=2,
    )


def _write_notes(recording: Recording, paper: Paper) -> None:
    for note in recording.notes:
        paper.line(f"note: {note}", hang=2)


def write_certain(recording: Recording, paper: Paper) -> None:
    """Write until when the run is what the firmware would do, if it has a recording or a program."""
    certain = recording.certain
    if certain is None or (certain.traffic == "listed" and not certain.compared):
        return
    text = certain.text(recording.clock_hz)
    style = "bold red" if certain.doubt else ""
    paper.line((text[0].upper() + text[1:], style), hang=2)


def _write_found(recording: Recording, paper: Paper) -> None:
    found = found_in(recording)
    paper.line((f"Findings: {found:,}" if found else "Findings: none", "bold"))


def _write_met(recording: Recording, paper: Paper) -> None:
    paper.line((f"Expectations: {_met(recording)}", "bold"))


def _met(recording: Recording) -> str:
    count = len(recording.verdicts)
    met = sum(verdict.met for verdict in recording.verdicts)
    return f"{met:,} of {count:,} met" if count else "none"


# A set of benches.


@dataclass(frozen=True)
class SetRow:
    """What the closing table of a set says of one bench."""

    bench: str
    end: str
    findings: int
    met: str
    all_met: bool

    @classmethod
    def of(cls, bench: str, recording: Recording) -> SetRow:
        """Return the row of a run of the bench of that name."""
        all_met = all(verdict.met for verdict in recording.verdicts)
        return cls(bench, _end(recording), found_in(recording), _met(recording), all_met)


def write_block(
    recording: Recording, paper: Paper, covered: Mapping[str, Any] | None = None
) -> None:
    """Write a bench of a set: how it ended, the first finding of each rule, expectations not met."""
    _write_end(recording, paper)
    _write_notes(recording, paper)
    write_certain(recording, paper)
    if not recording.counts:
        paper.line("  no findings")
    for rule, count, number, finding in first_findings(recording):
        times = "" if count == 1 else f"{count:,} times; the first is "
        place = f"  {times}finding.{number}, {place_of(recording, finding)}"
        paper.line("  ", (rule, "bold red"), place, hang=2)
        paper.line(f"    {finding.message}")
    if recording.verdicts:
        paper.line(f"  expectations: {_met(recording)}")
    write_not_met(recording, paper)
    if covered is not None:
        write_coverage(covered, paper)


def write_closing(name: str, rows: Iterable[SetRow], paper: Paper) -> None:
    """Write the table that closes the run of a set, and which command shows more."""
    rows = list(rows)
    found = sum(row.findings > 0 for row in rows)
    paper.line((f"{len(rows):,} benches, {found:,} with findings", "bold"))
    paper.table(
        (
            (
                row.bench,
                row.end,
                f"{row.findings:,}",
                [(row.met, "" if row.all_met else "bold red")],
            )
            for row in rows
        ),
        head=("bench", "ended", "findings", "expectations"),
        numbers=(2,),
    )
    paper.line()
    paper.line(f"busbox run {name.rstrip('/')}/NAME prints the whole summary of one.")
