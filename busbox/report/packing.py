"""How the data of a page is packed: whole numbers as bytes, deflated, as text in base64.

1. A *column* is a list of whole numbers below 2**52 in magnitude, as are their differences: JavaScript
   holds them exactly, and what sentence 2 makes of them.
2. Each number, or with ``delta`` each difference to the number before it (the first to 0), is mapped to
   a number that is not negative: n >= 0 to 2 n, n < 0 to -2 n - 1.
3. That is written as groups of seven bits, the least significant first, one group a byte; the top
   bit of a byte says that another follows. (LEB128, as in DWARF 5, section 7.6.)
4. The *contents* are one JSON text in UTF-8: the facts, and the columns with names, counts and
   lengths in bytes, so that a column is read when it is needed. The length of the text stands
   before it as such a number; the bytes of the columns follow in that order.
5. All of it is deflated (zlib format, RFC 1950: with a checksum) and written in base64 (RFC 4648).

Cycles grow and differ little, so that an edge takes one or two bytes, and less when deflated.
"""

from __future__ import annotations

import base64
import json
import zlib
from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from busbox.basics.phrases import GAP, Phrases

Array = NDArray[Any]

#: How hard it is deflated: 9 takes ten times as long for a file that is 5 % smaller (measured).
_LEVEL = 7
#: Numbers are below this: zigzag makes twice as much of them, and JavaScript is exact below 2**53.
EXACT = 1 << 52


class Columns:
    """The columns of a page, by name."""

    def __init__(self) -> None:
        self.heads: list[dict[str, Any]] = []
        self._pieces: list[bytes] = []
        self._numbers: dict[str, int] = {}

    def add(self, name: str, values: Any, *, delta: bool = False) -> int:
        """Add a column and return its number.

        Parameters
        ----------
        values : whole numbers
        delta : write differences

        Raises
        ------
        ValueError : a number is too large for JavaScript, or the name is taken
        """
        column = np.asarray(values, dtype="i8").ravel()
        if name in self._numbers:
            raise ValueError(f"there is a column {name!r} already")
        written = np.diff(column, prepend=0) if delta else column
        for numbers in (column, written):
            if len(numbers) and max(-int(numbers.min()), int(numbers.max())) >= EXACT:
                raise ValueError(f"numbers of {name!r} must be below 2**52")
        piece = varints(written)
        self._numbers[name] = len(self.heads)
        self.heads.append(
            {
                "name": name,
                "count": len(column),
                "bytes": len(piece),
                "kind": _kind(column),
                "delta": delta,
            }
        )
        self._pieces.append(piece)
        return self._numbers[name]

    def add_phrases(self, name: str, phrases: Phrases) -> dict[str, Any]:
        """Add the columns of texts, and return what the page needs to read them.

        ``forms`` are the texts with gaps, ``which`` is the column that says which one each has, and
        ``numbers`` holds for each form its columns, one for each gap.
        """
        gaps = []
        for form, text in enumerate(phrases.forms):
            rows = phrases.numbers[phrases.which == form] if GAP in text else phrases.numbers[:0]
            gaps.append(
                [
                    self.add(f"{name}/{form}/{gap}", rows[:, gap], delta=True)
                    for gap in range(text.count(GAP))
                ]
            )
        which = self.add(f"{name}/which", phrases.which)
        return {"forms": list(phrases.forms), "which": which, "numbers": gaps}

    def packed(self, facts: Mapping[str, Any]) -> str:
        """Return facts and columns as text."""
        contents = json.dumps({**facts, "columns": self.heads}, separators=(",", ":"))
        text = contents.encode("utf-8")
        length = varints(np.array([len(text)]))
        packed = zlib.compress(b"".join([length, text, *self._pieces]), _LEVEL)
        return base64.b64encode(packed).decode("ascii")


def _kind(column: Array) -> str:
    """Return the narrowest array of JavaScript that holds a column: ``u8``, ``i32`` or ``f64``."""
    least, most = (int(column.min()), int(column.max())) if len(column) else (0, 0)
    if least >= 0 and most < 1 << 8:
        return "u8"
    return "i32" if least >= -(1 << 31) and most < 1 << 31 else "f64"


def varints(values: Array) -> bytes:
    """Return whole numbers as bytes, by sentences 2 and 3."""
    signed = np.asarray(values, dtype="i8")
    left = ((signed << 1) ^ (signed >> 63)).astype("u8")
    groups = np.maximum(1, sum((left >> np.uint64(7 * k) > 0).astype("i8") for k in range(10)))
    ends = np.cumsum(groups)
    out = np.zeros(int(ends[-1]) if len(ends) else 0, dtype="u1")
    starts = ends - groups
    for k in range(int(groups.max()) if len(groups) else 0):
        have = groups > k
        piece = (left[have] >> np.uint64(7 * k)).astype("u1") & 0x7F
        out[starts[have] + k] = piece | np.where(groups[have] > k + 1, 0x80, 0).astype("u1")
    return out.tobytes()
