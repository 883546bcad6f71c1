"""Many texts that differ in their numbers: a few texts with gaps, and the numbers as a table."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from busbox.basics.distinct import numbered

#: A whole number in decimal as Python writes it, which is no part of a word or of another number.
NUMBER = re.compile(r"(?<!\w)(?<!\d[.,])(?:0|[1-9][0-9]{0,14})(?!\w|,\d)", re.ASCII)
#: What stands for a number in a form; no text of a run holds it.
GAP = "\x00"

Ints = NDArray[Any]


@dataclass(frozen=True)
class Phrases:
    """Texts by number, from 0; "" where there is none.

    Attributes
    ----------
    forms : the different texts, with gaps
    which : the number of the form of each text
    numbers : texts x gaps; what is right of the gaps of a text's form does not count
    """

    forms: tuple[str, ...]
    which: Ints
    numbers: Ints

    @classmethod
    def of(cls, texts: Iterable[str]) -> Phrases:
        """Return texts: whatever is a number in them fills a gap."""
        forms: dict[str, int] = {}
        which: list[int] = []
        rows: list[tuple[int, ...]] = []
        last: str | None = None
        for text in texts:
            if text == last:  # as a pulse has two edges
                which.append(which[-1])
                rows.append(rows[-1])
                continue
            form, last = NUMBER.sub(GAP, text), text
            which.append(forms.setdefault(form, len(forms)))
            rows.append(tuple(map(int, NUMBER.findall(text))))
        most = max(map(len, rows), default=0)
        table = np.zeros((len(rows), most), dtype="i8")
        for number, row in enumerate(rows):
            table[number, : len(row)] = row
        return cls(tuple(forms), np.array(which, dtype="i8"), table)

    @classmethod
    def filled(cls, forms: Sequence[str], which: Ints, *columns: Ints) -> Phrases:
        """Return texts by their forms, whose gaps are filled from columns, from the left."""
        table = np.zeros((len(which), len(columns)), dtype="i8")
        for gap, column in enumerate(columns):
            table[:, gap] = column
        return cls(tuple(forms), np.asarray(which, dtype="i8"), table)

    @classmethod
    def joined(cls, parts: Sequence[Phrases], between: str) -> Phrases:
        """Return the texts of several, one after the other; a part without a text is left out."""
        count = len(parts[0]) if parts else 0
        shape = [max(1, len(one.forms)) for one in parts]
        if not count:
            return cls((), np.zeros(0, dtype="i8"), np.zeros((0, 0), dtype="i8"))
        used, which = numbered(np.ravel_multi_index([one.which for one in parts], shape))
        forms, chosen = [], []
        for row in np.stack(np.unravel_index(used, shape), axis=1).tolist():
            some = [(one, form) for one, form in zip(parts, row, strict=True) if one.forms[form]]
            chosen.append([(one, one.forms[form].count(GAP)) for one, form in some])
            forms.append(between.join(one.forms[form] for one, form in some))
        most = max((sum(gaps for _, gaps in one) for one in chosen), default=0)
        table = np.zeros((count, most), dtype="i8")
        for form, some in enumerate(chosen):
            mine, at = np.flatnonzero(which == form), 0
            for part, gaps in some:
                table[mine, at : at + gaps] = part.numbers[mine, :gaps]
                at += gaps
        return cls(tuple(forms), which, table)

    def placed(self, places: Ints, count: int) -> Phrases:
        """Return a number of texts: these at places, "" elsewhere."""
        which = np.full(count, len(self.forms), dtype="i8")
        which[places] = self.which
        table = np.zeros((count, self.numbers.shape[1]), dtype="i8")
        table[places] = self.numbers
        return Phrases((*self.forms, ""), which, table)

    def __len__(self) -> int:
        return len(self.which)

    def __iter__(self) -> Iterator[str]:
        return (self.text(number) for number in range(len(self)))

    def text(self, number: int) -> str:
        """Return a text."""
        form = self.forms[int(self.which[number])]
        for value in self.numbers[number, : form.count(GAP)].tolist():
            form = form.replace(GAP, str(value), 1)
        return form
