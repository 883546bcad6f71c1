"""Asks a decoder for its report, and checks that against the contract."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from numbers import Rational
from operator import index
from typing import TYPE_CHECKING, Any

from busbox.basics.errors import format_error, format_value
from busbox.basics.hooks import whole
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
    _check_lists(report)
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


def _check_lists(report: Any) -> None:
    """Refuse parts of a report that have not the form of the contract.

    Raises
    ------
    ValueError : one has not
    """
    if report.text is not None and not isinstance(report.text, str):
        raise ValueError(f"text must be a string or None, not {format_value(report.text)}")
    for name in ("rows", "findings"):
        part = getattr(report, name)
        if isinstance(part, str) or not isinstance(part, Iterable):
            raise ValueError(f"{name} must be a list, not {format_value(part)}")
    for name, form, fits in (
        ("characters", "pairs of a tick and a value", _is_character),
        ("frames", "a tick, a tick and the colours, for each frame", _is_frame),
        ("current", "pairs of a tick and amperes", _is_current),
    ):
        part = getattr(report, name)
        if part is None and name != "characters":
            continue
        if not isinstance(part, Sequence) or not all(map(fits, part)):
            raise ValueError(f"{name} must be a list of {form}, not {format_value(part)}")


def _is_character(row: Any) -> bool:
    return isinstance(row, tuple | list) and len(row) == 2 and None not in map(whole, row)


def _is_frame(row: Any) -> bool:
    if not (isinstance(row, tuple | list) and len(row) == 3 and isinstance(row[2], tuple | list)):
        return False
    return None not in map(whole, (*row[:2], *row[2]))


def _is_current(row: Any) -> bool:
    if not (isinstance(row, tuple | list) and len(row) == 2 and whole(row[0]) is not None):
        return False
    return isinstance(row[1], Rational)


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
