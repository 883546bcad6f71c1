"""How the text of the core finds what an instruction does: one test after another, or by halving."""

from __future__ import annotations

from textwrap import indent


def chosen(of: list[tuple[int, int, str]]) -> str:
    """Return text that does one of the cases, one comparison after the other."""
    lines = []
    for place, (first, last, text) in enumerate(of):
        test = f"op == {first}" if first == last else f"op >= {first} and op <= {last}"
        lines += [f"{'elif' if place else 'if'} {test}:", indent(text.strip(), "    ")]
    return "\n".join(lines)


def halved(of: list[tuple[int, int, str]]) -> str:
    """Return text that does one of the cases, halving them with each comparison."""
    if len(of) == 1:
        return of[0][2].strip()
    middle = len(of) // 2
    first, second = indent(halved(of[:middle]), "    "), indent(halved(of[middle:]), "    ")
    return f"if op < {of[middle][0]}:\n{first}\nelse:\n{second}"
