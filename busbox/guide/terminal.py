"""Markdown as lines for a terminal: words wrapped at a width, code as it stands, tables in columns."""

from __future__ import annotations

import re
import textwrap
from collections.abc import Callable, Iterable, Iterator, Sequence

from markdown_it.tree import SyntaxTreeNode

from busbox.basics.paper import Word

#: A word and what is joined to it without a space.
Atom = tuple[Word, ...]
#: Code that is no longer than this is not divided at its spaces.
TIED = 32
#: Columns that a cell with longer text has at least.
LEAST = 20
GAP = 2

_STYLES = {"strong": "bold", "em": "italic", "code_inline": "cyan"}


def lines(page: SyntaxTreeNode, width: int, indent: str = "  ") -> Iterator[list[Word]]:
    """Yield a page, or a part of one, as lines of at most ``width`` columns."""
    blocks = page.children
    for number, block in enumerate(blocks):
        if number and not _close(blocks[number - 1], block):
            yield []
        writer = _BLOCKS.get(block.type)
        if writer is None:
            raise ValueError(f"a page of the guide must not have a {block.type}")
        yield from writer(block, width, indent)


def _close(before: SyntaxTreeNode, block: SyntaxTreeNode) -> bool:
    """Return whether no empty line stands between two blocks: under a heading, and in a tight list."""
    return before.type == "heading" or (before.type == "paragraph" and before.hidden)


def _heading(block: SyntaxTreeNode, width: int, indent: str) -> Iterator[list[Word]]:
    margin = "" if block.tag in ("h1", "h2") else indent
    for line in fold(atoms(block, "bold"), width - len(margin)):
        yield [(margin, ""), *line]


def _paragraph(block: SyntaxTreeNode, width: int, indent: str) -> Iterator[list[Word]]:
    inline = block.children[0].children
    breaks = [place for place, part in enumerate(inline) if part.type == "hardbreak"]
    for start, end in zip([-1, *breaks], [*breaks, len(inline)], strict=True):
        words = _joined(piece for part in inline[start + 1 : end] for piece in _pieces(part, ""))
        for line in fold(words, width - len(indent)):
            yield [(indent, ""), *line]


def _code(block: SyntaxTreeNode, width: int, indent: str) -> Iterator[list[Word]]:
    margin = indent + "  "
    room = width - len(margin)
    for line in block.content.rstrip("\n").split("\n"):
        deeper = " " * (len(line) - len(line.lstrip()) + 4)
        parts = textwrap.wrap(
            line, room, subsequent_indent=deeper, replace_whitespace=False, break_on_hyphens=False
        )
        for part in parts if len(line) > room else [line]:
            yield [(margin, ""), (part, _STYLES["code_inline"])]


def _list(block: SyntaxTreeNode, width: int, indent: str) -> Iterator[list[Word]]:
    numbered = block.type == "ordered_list"
    for number, item in enumerate(block.children):
        mark = f"{int(block.attrs.get('start', 1)) + number}. " if numbered else "- "
        loose = any(part.type == "paragraph" and not part.hidden for part in item.children)
        if number and loose:
            yield []
        for count, line in enumerate(lines(item, width - len(indent) - len(mark), "")):
            yield [(indent + (" " * len(mark) if count else mark), ""), *line]


def _table(block: SyntaxTreeNode, width: int, indent: str) -> Iterator[list[Word]]:
    rows = [
        [atoms(cell) for cell in row.children] for part in block.children for row in part.children
    ]
    head, body = rows[0], rows[1:]
    widths = columns(rows, width - len(indent))
    if widths is None:
        yield from _records(head, body, width, indent)
        return
    for row in rows if any(head) else body:
        folded = [fold(cell, size) for cell, size in zip(row, widths, strict=True)]
        for depth in range(max(map(len, folded))):
            words: list[Word] = [(indent, "")]
            for cell, size in zip(folded, widths, strict=True):
                line = cell[depth] if depth < len(cell) else []
                words += [(text, "bold" if row is head else look) for text, look in line]
                words.append((" " * (size - _length(line) + GAP), ""))
            yield _trimmed(words)


def _trimmed(words: list[Word]) -> list[Word]:
    while words and not words[-1][0].strip():
        words.pop()
    return words


def _records(
    head: Sequence[list[Atom]], body: Sequence[Sequence[list[Atom]]], width: int, indent: str
) -> Iterator[list[Word]]:
    """Yield a table that is too wide: of each row the first cell, and the others below it."""
    for number, (first, *others) in enumerate(body):
        if number:
            yield []
        for line in fold(first, width - len(indent)):
            yield [(indent, ""), *line]
        for title, cell in zip(head[1:], others, strict=True):
            if cell:
                named = [*title[:-1], (*title[-1], (":", ""))] if title else []
                for line in fold([*named, *cell], width - len(indent) - 2):
                    yield [(indent + "  ", ""), *line]


def columns(rows: Sequence[Sequence[list[Atom]]], width: int) -> list[int] | None:
    """Return the widths of a table's columns, or None if they do not fit without cutting words.

    The first row is the head, whose titles may be folded at every word.
    """
    cells = list(zip(*rows, strict=True))
    widths = [max(map(_total, column)) for column in cells]
    words = [
        max((_length(atom) for cell in column for atom in cell), default=0) for column in cells
    ]
    texts = [max(map(_total, column[1:]), default=0) for column in cells]
    least = [max(word, min(text, LEAST)) for word, text in zip(words, texts, strict=True)]
    room = width - GAP * (len(widths) - 1)
    while sum(widths) > room:
        loose = [place for place in range(len(widths)) if widths[place] > least[place]]
        if not loose:
            return None
        widest = max(loose, key=lambda place: widths[place])
        widths[widest] -= 1
    return widths


def atoms(node: SyntaxTreeNode, style: str = "") -> list[Atom]:
    """Return the words of a node; what stands together without a space is one."""
    return _joined(_pieces(node, style))


def _joined(pieces: Iterable[Word]) -> list[Atom]:
    found: list[Atom] = []
    joined = False
    for text, look in pieces:
        tied = look == _STYLES["code_inline"] and len(text) <= TIED
        for part in [text] if tied else re.split(r"(\s+)", text):
            if not part:
                continue
            if part.isspace():
                joined = False
            elif joined:
                found[-1] = (*found[-1], (part, look))
            else:
                found.append(((part, look),))
                joined = True
    return found


def _pieces(node: SyntaxTreeNode, style: str) -> Iterator[Word]:
    if node.type in ("text", "code_inline"):
        yield node.content, _STYLES.get(node.type, style)
    elif node.type in ("softbreak", "hardbreak"):
        yield " ", style
    else:
        for child in node.children:
            yield from _pieces(child, _STYLES.get(node.type, style))


def fold(words: Sequence[Atom], width: int) -> list[list[Word]]:
    """Return words as lines of at most so many columns; a longer word is divided."""
    lines: list[list[Word]] = [[]]
    used = 0
    for atom in words:
        for piece in _divided(atom, width):
            size = _length(piece)
            if used and used + 1 + size > width:
                lines.append([])
                used = 0
            if used:
                lines[-1].append((" ", ""))
                used += 1
            lines[-1] += piece
            used += size
    return lines


def _divided(atom: Atom, width: int) -> Iterator[Atom]:
    """Yield an atom, or pieces of it that are no longer than a line."""
    if _length(atom) <= width:
        yield atom
        return
    for text, look in atom:
        yield from (((text[at : at + width], look),) for at in range(0, len(text), width))


def _length(words: Sequence[Word]) -> int:
    return sum(len(text) for text, _ in words)


def _total(cell: Sequence[Atom]) -> int:
    return sum(_length(atom) for atom in cell) + max(0, len(cell) - 1)


_BLOCKS: dict[str, Callable[[SyntaxTreeNode, int, str], Iterator[list[Word]]]] = {
    "heading": _heading,
    "paragraph": _paragraph,
    "fence": _code,
    "code_block": _code,
    "bullet_list": _list,
    "ordered_list": _list,
    "table": _table,
}
