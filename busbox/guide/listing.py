"""The list of topics that ``busbox guide`` prints."""

from __future__ import annotations

from itertools import groupby

from busbox.guide.markdown import code, table
from busbox.guide.topics import FINDINGS, FIRST, topics


def contents() -> str:
    """Return the list as Markdown: a table for each group; findings by name only, as there are many."""
    first = ", ".join(map(code, FIRST))
    blocks = [
        "`busbox guide TOPIC` shows one topic, `busbox guide --html FILE` writes all of them as one "
        f"page for a browser. New to Busbox? Read README.md, then {first}."
    ]
    for group, members in groupby(topics().values(), key=lambda topic: topic.group):
        blocks.append(f"## {group}")
        if group == FINDINGS:
            names = ", ".join(code(topic.name) for topic in members)
            blocks.append(f"{names}. `busbox guide findings` explains each in one line.")
        else:
            rows = [(code(topic.name), topic.summary) for topic in members]
            blocks.append(table(("", ""), rows))
    return "\n\n".join(blocks)
