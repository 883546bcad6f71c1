"""The lessons and a decoder to play with, as one HTML page that needs no network.

Layout
======
The page is read from top to bottom, as one solves a task: what is asked, who answers, the whole map,
and a map of one's own at the end.

The words that the lessons use stand above them, folded.

1. *Lessons*: a row of numbers, the task at the left, the answer at the right of it.
2. *Who answers?*: the eight digits of an address, each over its four bits, each bit over what every
   slot makes of it. One reads down a column why a bit decides, and along a row why a slot does. The row
   ends in words, and below them stands what the address reaches. Where 32 columns do not fit, they
   stand in two or four bands, so that a bit stays above what it decides.
3. *The map*: a line to scale, and every stretch of addresses as a card, because windows of 4 KiB cannot
   be seen in 4 GiB. Windows are plain, images hatched, gaps dashed, each with its name.
4. *A map of your own*: a card a slot; what is refused is told at its field.

Every colour has a sign of its own (a digit, a cross, a dot, a ring), so that the page can be read
in grey. The state is in the address bar, nothing is stored elsewhere.
"""

from __future__ import annotations

from collections.abc import Sequence
from html import escape
from string import Template

from busbox import __version__
from busbox.lessons.drawing import Variant
from busbox.lessons.page_data import page_data
from busbox.lessons.script import asset, script
from busbox.lessons.terms import TERMS
from busbox.report.packing import Columns
from busbox.report.stills import style

TITLE = "Which address reaches what"


def lesson_page(lessons: Sequence[Sequence[Variant]], file: str = "") -> str:
    """Return the page of some lessons, each with variants of the same seeds.

    Parameters
    ----------
    file : name of the Python file of a lesson that does not come with Busbox; codes have no room for it

    Raises
    ------
    InputError : a lesson needs what the page cannot judge
    """
    return Template(asset("page.html")).substitute(
        title=escape(TITLE),
        version=escape(__version__),
        words="".join(f"<dt>{escape(word)}</dt><dd>{escape(text)}</dd>\n" for word, text in TERMS),
        style=style() + asset("page.css"),
        data=Columns().packed({**page_data(lessons), "file": file}),
        script=script(),
    )
