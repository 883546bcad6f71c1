"""Asks a decoder for its report, and checks that against the contract."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import replace
from operator import index
from typing import TYPE_CHECKING, Any

from busbox.basics.errors import format_error, format_value
from busbox.board.attachment import Decoder, LineFinding, LineReport

if TYPE_CHECKING:
    from busbox.lines.wave import Wave


def report_of(decoder: Decoder, wave: Wave) -> LineReport:
    """Return a decoder's report on a line: facts as a file gives them back, findings in order.

    Raises
    ------
    ValueError : a setting does not fit the line, or the report breaks the contract
    """
    report: Any = decoder.decode(wave)
    if not isinstance(report, LineReport):
        raise ValueError(f"decode must return a LineReport, not {format_value(report)}")
    for row in report.rows:
        if not (isinstance(row, tuple) and len(row) == 2 and all(type(one) is str for one in row)):
            raise ValueError(f"rows must be pairs of strings, not {format_value(row)}")
    try:
        facts = json.loads(json.dumps(dict(report.facts)))
    except (TypeError, ValueError) as error:
        raise ValueError(
            f"facts must be values that JSON can hold: {format_error(error)}"
        ) from error
    findings = sorted(_findings(report), key=lambda finding: finding.tick)
    return replace(report, facts=facts, findings=tuple(findings))


def _findings(report: LineReport) -> Iterator[LineFinding]:
    """Yield the findings, their ticks as Python integers."""
    for found in report.findings:
        if not isinstance(found, LineFinding):
            raise ValueError(f"findings must be LineFinding objects, not {format_value(found)}")
        if not isinstance(found.rule, str):
            raise ValueError(
                f"a finding must name its rule by a string, not {format_value(found.rule)}"
            )
        tick, edge = index(found.tick), None if found.edge is None else index(found.edge)
        same = tick is found.tick and edge is found.edge
        yield found if same else replace(found, tick=tick, edge=edge)
