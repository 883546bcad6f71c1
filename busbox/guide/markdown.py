"""Markdown: parsed once for terminal and page, and made from tables and docstrings."""

from __future__ import annotations

import inspect
import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import MISSING, fields, is_dataclass
from typing import Any

from markdown_it import MarkdownIt
from markdown_it.tree import SyntaxTreeNode

from busbox.basics.pages import section
from busbox.device import REQUIRED

_ROLE = re.compile(r":\w+:`~?([^`]*)`")
_RULE = re.compile(r"^(\d+[a-z]?)\. +", re.MULTILINE)
_UNDERLINED = re.compile(r"^(\S[^\n]*)\n[-=]{3,}$", re.MULTILINE)
_UNESCAPED_BAR = re.compile(r"(?<!\\)\|")
_LISTED = re.compile(r"^(\w[\w, ]*) : ", re.MULTILINE)


def parser() -> MarkdownIt:
    """Return the parser of all pages: CommonMark with tables, without HTML."""
    return MarkdownIt("commonmark", {"html": False}).enable("table")


def tree(text: str) -> SyntaxTreeNode:
    """Return a text as nodes."""
    return SyntaxTreeNode(parser().parse(text))


def code(text: object) -> str:
    """Return a text as code."""
    return f"`` {text} ``" if "`" in str(text) else f"`{text}`"


def table(head: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    """Return a table whose cells are Markdown."""
    shown = [[_UNESCAPED_BAR.sub(r"\|", str(cell)) for cell in row] for row in rows]
    return "\n".join(f"| {' | '.join(line)} |" for line in [head, ["---"] * len(head), *shown])


def escaped(text: str) -> str:
    """Return plain text as one line of Markdown; code in it stays code."""
    parts = re.split("(`[^`]*`)", of_docstring(text).replace("\n", " "))
    return "".join(
        part if part.startswith("`") else re.sub(r"([*|<\[\]\\])", r"\\\1", part) for part in parts
    )


def of_docstring(text: str) -> str:
    """Return a docstring, or a part of one, as Markdown."""
    text = _ROLE.sub(r"`\1`", inspect.cleandoc(text))
    text = re.sub(r"(the )?semantics page", "`busbox guide cycles`", text)
    return re.sub(r"``([^`\n]+)``", r"`\1`", re.sub(r"::$", ":", text, flags=re.MULTILINE))


def page_of_docstring(text: str) -> str:
    """Return a docstring of sections and numbered rules as Markdown: sections become headings.

    Literal blocks stay as they are; each numbered rule is a paragraph, its number in bold.
    """
    blocks = []
    for block in re.split(r"\n{2,}", of_docstring(text)):
        if not block.startswith(" "):
            block = _UNDERLINED.sub(r"## \1\n", block)
            block = _RULE.sub(r"\n**\1.** ", block)
            block = re.sub(r"^`([^`\n]+)`(.*)\n {4,}", r"- `\1`\2: ", block, flags=re.MULTILINE)
            block = re.sub(r"\n +(?=\S)", "\n", block)
        blocks.append(block.strip("\n"))
    return "\n\n".join(blocks)


def items(listing: str) -> Iterator[tuple[tuple[str, ...], str]]:
    """Yield (names, text) of a section such as Attributes; ``high, low : bits`` has two names."""
    text = inspect.cleandoc(listing)
    starts = list(_LISTED.finditer(text))
    ends = [start.start() for start in starts[1:]] + [len(text)]
    for start, end in zip(starts, ends, strict=True):
        meaning = " ".join(text[start.end() : end].split())
        yield tuple(name.strip() for name in start[1].split(",")), meaning


def attributes(declared: type) -> Iterator[tuple[tuple[str, ...], str]]:
    """Yield (names, text) of the attributes that a docstring lists."""
    return items(section(inspect.cleandoc(declared.__doc__ or ""), "Attributes"))


def keywords(declared: type) -> Iterator[tuple[tuple[str, ...], str, str]]:
    """Yield (keywords, default, text) of a dataclass: from its fields and its docstring.

    Raises
    ------
    LookupError : the docstring and the fields do not name the same keywords, in the same order
    """
    assert is_dataclass(declared)
    defaults = {field.name: shown_default(field.default) for field in fields(declared)}
    listed = list(attributes(declared))
    named = [name for names, _ in listed for name in names]
    if named != list(defaults):
        raise LookupError(f"{declared.__name__} lists {named}, but its fields are {list(defaults)}")
    for names, text in listed:
        yield names, ", ".join(dict.fromkeys(defaults[name] for name in names)), text


def shown_default(value: Any) -> str:
    """Return a default as code, or what stands for none."""
    if value is MISSING or value is REQUIRED:
        return "required"
    if value is None or value == ():
        return "none"
    if type(value) is int and value > 0xFFFF:
        return code(f"{value:#x}")
    return code(f'"{value}"' if isinstance(value, str) else value)
