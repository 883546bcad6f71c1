"""An independent reader of a page's data, one byte at a time, by the sentences of its format."""

from __future__ import annotations

import base64
import json
import zlib
from typing import Any


def unpacked(text: str) -> tuple[dict[str, Any], dict[str, list[int]]]:
    """Return the facts and the columns of a page's data."""
    contents = zlib.decompress(base64.b64decode(text, validate=True))
    length, at = _group(contents, 0)
    length = length // 2
    facts = json.loads(contents[at : at + length].decode("utf-8"))
    at += length
    columns = {}
    for head in facts["columns"]:
        end = at + head["bytes"]
        values, last = [], 0
        while at < end:
            number, at = _group(contents, at)
            signed = -(number + 1) // 2 if number & 1 else number // 2
            last = last + signed if head["delta"] else signed
            values.append(last)
        assert len(values) == head["count"]
        columns[head["name"]] = values
    assert at == len(contents)
    return facts, columns


def _group(contents: bytes, at: int) -> tuple[int, int]:
    """Return a number and where the next begins. Source: DWARF 5, section 7.6, unsigned LEB128."""
    number = shift = 0
    while True:
        byte = contents[at]
        at += 1
        number += (byte & 0x7F) << shift
        shift += 7
        if byte < 0x80:
            return number, at
