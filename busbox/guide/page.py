"""The manual as one page for a browser: everything in one file, nothing from a network."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from html import escape
from importlib.resources import files
from itertools import groupby
from string import Template
from typing import Any

from markdown_it.token import Token

from busbox import __version__
from busbox.guide.markdown import parser
from busbox.guide.models import FIELD
from busbox.guide.terminal import TIED
from busbox.guide.topics import FIRST, Topic, topics

_SEE = re.compile(r"busbox (?:guide|explain) ([a-z][\w-]*)")


def html_page() -> str:
    """Return the whole manual as one HTML document."""
    known = topics()
    writer = _Writer(known)
    return Template(_file("page.html")).substitute(
        version=escape(__version__),
        style=_file("style.css"),
        script=_file("search.js"),
        first=", ".join(f'<a href="#{name}">{name}</a>' for name in FIRST),
        contents=_contents(known),
        topics="\n".join(writer.topic(topic) for topic in known.values()),
    )


def _file(name: str) -> str:
    return files("busbox.guide").joinpath("web", name).read_text(encoding="utf-8")


def _contents(known: Mapping[str, Topic]) -> str:
    """Return the list of contents: a list of groups, in each its topics."""
    groups = []
    for group, members in groupby(known.values(), key=lambda topic: topic.group):
        links = "".join(f'<li><a href="#{topic.name}">{topic.name}</a></li>' for topic in members)
        groups.append(f'<li class="group"><span>{escape(group)}</span><ul>{links}</ul></li>')
    return f"<ul>{''.join(groups)}</ul>"


class _Writer:
    """Writes topics; every heading has its own id."""

    def __init__(self, known: Mapping[str, Topic]) -> None:
        self._known = known
        self._ids = set(known)
        self._topic = ""
        self._heads: list[str] = []
        self._cells: Iterator[str] = iter(())
        self._parser = parser()
        renderer: Any = self._parser.renderer
        rules = renderer.rules
        rules["code_inline"] = self._code_inline
        rules["fence"] = rules["code_block"] = self._code_block
        rules["table_open"] = self._table_open
        rules["table_close"] = lambda *_: "</table></div>\n"
        rules["tr_open"] = self._row_open
        rules["td_open"] = self._cell_open
        rules["th_open"] = lambda *_: '<th scope="col" role="columnheader">'

    def topic(self, topic: Topic) -> str:
        """Return a topic as a section: its title, and a part for each heading below that."""
        self._topic = topic.name
        tokens = self._parser.parse(topic.make())
        title, parts = tokens[:3], list(_parts(tokens[3:]))
        html = [
            f'<section class="topic" id="{topic.name}">',
            f"<h2>{self._render(title[1:2])}</h2>",
        ]
        for part in parts:
            html.append(f'<div class="part">\n{self._render(part)}</div>')
        return "\n".join([*html, "</section>"])

    def _render(self, tokens: Sequence[Token]) -> str:
        for number, token in enumerate(tokens):
            if token.type in ("heading_open", "heading_close"):
                token.tag = f"h{int(token.tag[1]) + 1}"
            if token.type == "heading_open":
                token.attrSet("id", self._new_id(tokens[number + 1].content))
        return str(self._parser.renderer.render(tokens, self._parser.options, {}))

    def _new_id(self, text: str) -> str:
        """Return an id for a heading of the present topic that nothing else has."""
        words = "-".join(re.findall(r"[a-z0-9]+", text.lower()))
        name, count = f"{self._topic}--{words}", 1
        while name in self._ids:
            count += 1
            name = f"{self._topic}--{words}-{count}"
        self._ids.add(name)
        return name

    def _code_inline(self, tokens: Sequence[Token], at: int, *_: object) -> str:
        """Return code; where it asks for a topic of the guide, it is a link to that."""
        text = tokens[at].content
        tied = ' class="tied"' if len(text) <= TIED else ""
        shown = f"<code{tied}>{escape(text)}</code>"
        asked = _SEE.fullmatch(text)
        if asked is None or asked[1] not in self._known or asked[1] == self._topic:
            return shown
        return f'<a href="#{asked[1]}">{shown}</a>'

    @staticmethod
    def _code_block(tokens: Sequence[Token], at: int, *_: object) -> str:
        return f'<pre tabindex="0"><code>{escape(tokens[at].content)}</code></pre>\n'

    def _table_open(self, tokens: Sequence[Token], at: int, *_: object) -> str:
        """Return the start of a table; roles hold also where a narrow screen stacks its cells."""
        end = next(place for place in range(at, len(tokens)) if tokens[place].type == "thead_close")
        self._heads = [token.content for token in tokens[at:end] if token.type == "inline"]
        pair = " pair" if len(self._heads) == 2 else ""
        return f'<div class="table{pair}" tabindex="0"><table role="table">\n'

    def _row_open(self, *_: object) -> str:
        self._cells = iter(self._heads)
        return '<tr role="row">\n'

    def _cell_open(self, tokens: Sequence[Token], at: int, *_: object) -> str:
        """Return the start of a cell; the name of a field is indented below that of its register."""
        text, kind = (tokens[at + 1].children or [Token("text", "", 0)])[0], ""
        if text.content.startswith(FIELD):
            text.content, kind = text.content.removeprefix(FIELD), ' class="field"'
        return f'<td role="cell"{kind} data-head="{escape(next(self._cells))}">'


def _parts(tokens: Sequence[Token]) -> Iterator[list[Token]]:
    """Yield the tokens of a topic, divided before every heading of the second level."""
    part: list[Token] = []
    for token in tokens:
        if token.type == "heading_open" and token.tag == "h2" and part:
            yield part
            part = []
        part.append(token)
    yield part
