"""The keys of a bench file as Markdown: each with meaning, type, unit, default and example."""

from __future__ import annotations

import re
from collections.abc import Iterable
from itertools import groupby

from busbox.bench.keys import HEADS, BenchKey, bench_keys
from busbox.guide.markdown import code, escaped

#: A default that is a TOML value, not prose.
_VALUE = re.compile(r"'[^']*'|\"[^\"]*\"|\[.*\]|-?[\d_.]+|true|false")
#: The heading of the keys above the first table.
TOP = "Keys at the top of the file"
#: Tables whose keys are listed on another page, and the topic of that page.
ELSEWHERE = {HEADS["profile"]: "lamps", HEADS["expect"]: "expectations"}


def all_tables() -> str:
    """Return the keys of every table, without the settings of models and attachments."""
    blocks = []
    for head, keys in groupby(bench_keys(), key=lambda key: key.table):
        blocks.append(f"## {head or TOP}")
        if head in ELSEWHERE:
            blocks.append(f"`busbox guide {ELSEWHERE[head]}` lists its keys.")
        else:
            blocks.append(listed(key for key in keys if not key.owner))
        blocks += _NOTES.get(head, [])
    return "\n\n".join(blocks)


_NOTES = {
    HEADS["slot"]: ["Other keys are settings of the model, on its page: `busbox guide models`."],
    HEADS["attach"]: [
        "Other keys are settings of the kind, on its page: `busbox guide attachments`."
    ],
}


def keys_of(table: str, owner: str = "") -> str:
    """Return the keys of one table, or the settings of one model, attachment or expectation."""
    head = HEADS[table]
    return listed(key for key in bench_keys() if (key.table, key.owner) == (head, owner))


def listed(keys: Iterable[BenchKey]) -> str:
    """Return keys as a list; "None." if there are none."""
    return "\n".join(map(_item, keys)) or "None."


def _item(key: BenchKey) -> str:
    kind = escaped(key.kind[:1].upper() + key.kind[1:])
    unit = f" ({escaped(key.unit)})" if key.unit and key.unit not in key.kind else ""
    default = ""
    if key.required:
        default = "; required"
    elif key.default:
        default = (
            f"; default: {code(key.default) if _VALUE.fullmatch(key.default) else key.default}"
        )
    text = escaped(key.text[:1].upper() + key.text[1:].rstrip("."))
    example = code(f"{key.name} = {key.example}")
    return f"- {code(key.name)}: {text}.\\\n  {kind}{unit}{default}. Example: {example}"
