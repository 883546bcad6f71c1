"""A run as one HTML page; :mod:`busbox.report` says what is on it, and why."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from html import escape
from itertools import groupby
from string import Template
from typing import Any

from busbox import __version__
from busbox.basics.listing import counted
from busbox.basics.units import show_time
from busbox.explain.why import Stories
from busbox.exports.brief import place_of
from busbox.pictures.address_map import size_words
from busbox.recording import Recording
from busbox.recording.judged import Finding
from busbox.report.causes import causes
from busbox.report.happened import happened
from busbox.report.packing import Columns
from busbox.report.rows import Rows, facts_of
from busbox.report.script import asset, script
from busbox.report.stills import finding_still, map_still, style
from busbox.report.verdict import is_good, run_rows, verdict_lines
from busbox.system.system import System

#: Findings of a rule that are shown with a picture; the others follow as a list.
PICTURED = 3


def run_page(system: System, recording: Recording) -> str:
    """Return the page of a judged run."""
    packed = pack(system, recording)
    return Template(asset("page.html")).substitute(
        title=escape(recording.bench),
        version=escape(__version__),
        style=style() + asset("page.css"),
        verdict=_verdict(recording),
        run=_pairs(run_rows(recording)),
        happened=_pairs(happened(recording)),
        expectations=_expectations(recording),
        findings=_findings(system, recording),
        map=map_still(system),
        map_rows=_map_rows(system),
        data=packed,
        script=script(),
    )


def pack(system: System, recording: Recording) -> str:
    """Return the data of a page: see :mod:`busbox.report`."""
    columns = Columns()
    rows = Rows(system, recording, columns)
    stories = Stories(system, recording)
    known = causes(system, recording, stories, columns)
    return columns.packed({**_facts(recording), **facts_of(rows), **known})


def _facts(recording: Recording) -> Mapping[str, Any]:
    return {
        "bench": recording.bench,
        "clock_hz": recording.clock_hz,
        "cycles": recording.cycles,
        "traffic": recording.traffic,
        "files": recording.files,
        "marks": recording.marks,
        "resets": recording.resets,
        "directions": {pin: line.direction for pin, line in recording.lines.items()},
    }


def _verdict(recording: Recording) -> str:
    good = is_good(recording)
    sign, word = ("&#10003;", "all well") if good else ("!", "look here")
    lines = " ".join(f"<span>{escape(line)}</span>" for line in verdict_lines(recording))
    kind = "good" if good else "bad"
    return f'<p class="verdict {kind}"><b class="sign">{sign} {word}</b> {lines}</p>'


def _pairs(rows: Iterator[tuple[str, str]]) -> str:
    inner = "".join(f"<dt>{escape(label)}</dt><dd>{escape(text)}</dd>" for label, text in rows)
    return f'<dl class="pairs">{inner}</dl>'


def _expectations(recording: Recording) -> str:
    """Return what the bench expects: those not met first."""
    if not recording.verdicts:
        return ""
    rows = "".join(
        f"<tr><td>{'met' if one.met else '<strong>not met</strong>'}</td>"
        f"<td>{escape(one.what)}</td><td>{escape(one.seen)}</td></tr>"
        for one in sorted(recording.verdicts, key=lambda one: one.met)
    )
    opened = "" if all(one.met for one in recording.verdicts) else " open"
    return (
        f"<details{opened}><summary>Expectations</summary><div class='scroll' tabindex='0' "
        "role='group' aria-label='Expectations'><table><thead><tr><th scope='col'>verdict</th>"
        f"<th scope='col'>expected</th><th scope='col'>seen</th></tr></thead><tbody>{rows}</tbody>"
        "</table></div></details>"
    )


def _findings(system: System, recording: Recording) -> str:
    """Return the findings, by rule in order of the first of each."""
    if not recording.findings:
        return "<p>None.</p>"
    first: dict[str, int] = {}
    for number, finding in enumerate(recording.findings):
        first.setdefault(finding.rule, number)
    numbered = sorted(enumerate(recording.findings), key=lambda one: (first[one[1].rule], one[0]))
    return "".join(
        _rule(system, recording, rule, list(members))
        for rule, members in groupby(numbered, key=lambda one: one[1].rule)
    )


def _rule(
    system: System, recording: Recording, rule: str, members: list[tuple[int, Finding]]
) -> str:
    count = sum(recording.counts[rule].values())
    times = "once" if count == 1 else counted(count, "time")
    html = [f"<section class='rule'><h3>{escape(rule)} <small>{times}</small></h3>"]
    html += [
        _pictured(system, recording, number, finding) for number, finding in members[:PICTURED]
    ]
    rest = members[PICTURED:]
    if rest:
        lines = "".join(_listed(recording, number, finding) for number, finding in rest)
        kept = f"; {count - len(members):,} were counted only" if count > len(members) else ""
        html.append(
            f"<details><summary>{counted(len(rest), 'more finding')} of this rule{kept}</summary>"
            f"<ol class='more'>{lines}</ol></details>"
        )
    return "".join([*html, "</section>"])


def _pictured(system: System, recording: Recording, number: int, finding: Finding) -> str:
    still = finding_still(system, recording, finding, number)
    label = f"Picture of finding.{number}"
    group = f"<div class='still' tabindex='0' role='group' aria-label='{label}'>"
    picture = f"{group}{still}</div>" if still else ""
    return (
        f"<article class='finding' id='finding-{number}'><div><p class='place'>{_jump(number)} "
        f"{escape(place_of(recording, finding))}</p><p>{escape(finding.message)}</p>"
        f"<p class='try'><b>Try:</b> {escape(finding.hint)}</p></div>{picture}</article>"
    )


def _listed(recording: Recording, number: int, finding: Finding) -> str:
    when = show_time(finding.cycle, recording.clock_hz)
    return f"<li>{_jump(number)} {escape(when)}: {escape(finding.message)}</li>"


def _jump(number: int) -> str:
    """Return the button that shows a finding in the timetable; hidden where no script runs."""
    return (
        f"<button type='button' class='jump' data-ask='finding.{number}'>finding.{number}</button>"
    )


def _map_rows(system: System) -> str:
    """Return the address map as a table."""
    rows = "".join(
        f"<tr><td>{escape(slot.name)}</td><td><code>{slot.base:#010x}</code></td>"
        f"<td><code>{slot.base + slot.size - 1:#010x}</code></td><td>{_size(slot.size)}</td>"
        f"<td>{escape(slot.how)}</td><td>{slot.images:,}</td></tr>"
        for slot in system.address_map.slots
    )
    return (
        "<div class='scroll' tabindex='0' role='group' aria-label='Address map'><table><thead><tr>"
        "<th scope='col'>slot</th><th scope='col'>first</th><th scope='col'>last</th>"
        "<th scope='col'>size</th><th scope='col'>decoding</th><th scope='col'>images</th></tr>"
        f"</thead><tbody>{rows}</tbody></table></div>"
    )


def _size(size: int) -> str:
    """Return a size in words that stay on one line."""
    return size_words(size).replace(" ", "&nbsp;")
