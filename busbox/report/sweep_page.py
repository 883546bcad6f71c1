"""A sweep as one HTML page: which variants are well, a drawing of one measure, and all rows.

Which variants are well is the still picture of a sweep, with a cell for each. The drawing below has a
mark for each variant: a measure upwards, a key of the bench to the right, both chosen by the reader. A
variant with findings or an expectation that is not met is a triangle, others are circles: shape and
word say it, not colour alone. Last stands the table, which can be sorted by each column and narrowed
by a text. Picture and table are there without a script too.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from html import escape
from string import Template
from typing import Any

from busbox import __version__
from busbox.basics.listing import counted
from busbox.bench.json_schema import bench_schema
from busbox.report.script import asset, script
from busbox.report.stills import style, sweep_still
from busbox.variants.keeping import MESSAGE, Row
from busbox.variants.measures import BUILT_IN, WITH_PARTS, shown
from busbox.variants.tables import SweepTable

_UNITS = {one.name: one.unit for one in BUILT_IN}


def sweep_page(name: str, table: SweepTable) -> str:
    """Return the page of a sweep."""
    facts = {
        "columns": table.columns,
        "keys": keys_of(table),
        "rows": [[row.get(column) for column in table.columns] for row in table.rows],
        "units": [_UNITS.get(column, "") for column in table.columns],
        "wrong": [is_wrong(row) for row in table.rows],
    }
    return Template(asset("sweep.html")).substitute(
        title=escape(name),
        version=escape(__version__),
        style=style() + asset("page.css"),
        verdict=_verdict(table),
        cells=_cells(table),
        messages=_messages(table),
        head="".join(
            f"<th scope='col'><button type='button'>{escape(column)}</button></th>"
            for column in table.columns
        ),
        rows="".join(_row(table, row) for row in table.rows),
        data=json.dumps(facts).replace("<", "\\u003c"),
        script=script(("words.js", "elements.js", "sweep.js")),
    )


def keys_of(table: SweepTable) -> list[str]:
    """Return the columns that are keys of the bench: the first ones, up to the first measure."""
    known = bench_schema(plug_ins=False)["properties"]
    keys: list[str] = []
    for column in table.columns[:-1]:
        first = column.partition(".")[0]
        if first not in known or column in _UNITS or first in WITH_PARTS:
            break
        keys.append(column)
    return keys


def is_wrong(row: Row) -> bool:
    """Return whether a variant was not run, has findings or does not meet an expectation."""
    met, all_of_them = row.get("met"), row.get("expectations")
    return bool(row[MESSAGE] or row.get("findings")) or (
        met is not None and all_of_them is not None and met != all_of_them
    )


def _verdict(table: SweepTable) -> str:
    rows = table.rows
    wrong = sum(is_wrong(row) for row in rows)
    failed = sum(bool(row[MESSAGE]) for row in rows)
    found = sum(bool(row.get("findings")) for row in rows)
    good = not wrong
    sign, word = ("&#10003;", "all well") if good else ("!", "look here")
    lines = [f"{counted(len(rows), 'variant')}."]
    well = len(rows) - wrong
    lines.append(
        f"{well:,} {'is' if well == 1 else 'are'} well: no findings, all that is expected is met."
    )
    if found:
        lines.append(f"Findings in {found:,}.")
    if failed:
        lines.append(f"Not run: {failed:,}.")
    text = " ".join(lines)
    kind = "good" if good else "bad"
    return f'<p class="verdict {kind}"><b class="sign">{sign} {word}</b> {text}</p>'


def _cells(table: SweepTable) -> str:
    picture = sweep_still(table, keys_of(table))
    if not picture:
        return ""
    return (
        "<section aria-labelledby='h-cells'><h2 id='h-cells'>Which variants are well</h2>"
        f"<div class='still cells' tabindex='0' role='group' aria-label='Variants as cells'>{picture}"
        "</div></section>"
    )


def _messages(table: SweepTable) -> str:
    counts: dict[str, int] = {}
    for row in table.rows:
        if row[MESSAGE]:
            text = str(row[MESSAGE])
            counts[text] = counts.get(text, 0) + 1
    if not counts:
        return ""
    lines = "".join(
        f"<li>{counted(count, 'variant')}: {escape(text)}</li>" for text, count in counts.items()
    )
    return f"<h2>Why variants could not be run</h2><ul>{lines}</ul>"


def _row(table: SweepTable, row: Row) -> str:
    cells = "".join(f"<td>{escape(text)}</td>" for text in _texts(table.columns, row))
    return f"<tr{' class=wrong' if is_wrong(row) else ''}>{cells}</tr>\n"


def _texts(columns: Sequence[str], row: Mapping[str, Any]) -> Iterator[str]:
    for column in columns:
        value = row.get(column)
        if column == MESSAGE:
            yield str(value or ("! look here" if is_wrong(row) else ""))
        else:
            yield "" if value is None else shown(value, _UNITS.get(column, ""))
