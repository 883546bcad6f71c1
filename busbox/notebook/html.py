"""Text and tables as HTML that stands by itself: no script, no style beyond the notebook's own."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape


def paragraph(text: str, strong: str = "") -> str:
    """Return a paragraph, which may begin with strong words."""
    begun = f"<strong>{escape(strong)}</strong>" if strong else ""
    return f"<p>{begun}{escape(text)}</p>\n"


def table(
    caption: str, head: Sequence[str], rows: Iterable[Sequence[object]], numbers: Sequence[int] = ()
) -> str:
    """Return a table; a cell is anything whose ``str`` is its text.

    Parameters
    ----------
    numbers : the columns aligned to the right
    """
    names = "".join(f'<th scope="col">{escape(name)}</th>' for name in head)
    lines = [
        "<tr>" + "".join(_cell(cell, at in numbers) for at, cell in enumerate(row)) + "</tr>\n"
        for row in rows
    ]
    return (
        f"<table>\n<caption>{escape(caption)}</caption>\n<thead><tr>{names}</tr></thead>\n"
        f"<tbody>\n{''.join(lines)}</tbody>\n</table>\n"
    )


def _cell(cell: object, is_number: bool) -> str:
    style = "right" if is_number else "left"
    return f'<td style="text-align: {style}">{escape(str(cell))}</td>'
