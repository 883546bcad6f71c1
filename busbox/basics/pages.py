"""The page of a rule, as ``busbox explain`` shows it.

A page is a text: a first sentence that says what is wrong, then a paragraph that begins with ``Why it
matters:`` or has it in it, then sections, each with a title over a line of dashes. Every page has a
section ``What to do``; the pages of built-in rules also have ``Example`` and ``Finding``.
"""

from __future__ import annotations

import inspect
import re

from busbox.basics.errors import format_value

_ID = re.compile(r"[a-z][a-z0-9]*(-[a-z0-9]+)*")


def page_of(thing: object) -> str:
    """Return a page: a string itself, or an object's docstring; "" if it has none."""
    return inspect.cleandoc(thing if isinstance(thing, str) else thing.__doc__ or "")


def first_paragraph(page: str) -> str:
    """Return the first paragraph of a page, in one line."""
    return " ".join(page.split("\n\n")[0].split())


def section(page: str, title: str) -> str:
    """Return a section of a page, "" if there is none."""
    found = re.search(rf"^{title}\n-+\n(.*?)(?=\n\S[^\n]*\n-+\n|\Z)", page, re.M | re.S)
    return found[1].strip() if found else ""


def mistake_in_rule(rule: object, page: str) -> str | None:
    """Return what is wrong with a rule's id or page, or None."""
    if not isinstance(rule, str) or not _ID.fullmatch(rule):
        return (
            "the id of a rule must be words of lower-case letters and digits, joined by '-', such as "
            f"bell-silent, not {format_value(rule)}"
        )
    if not page:
        return f"rule {rule} must have a page: what is wrong, why it matters, what to do"
    if not first_paragraph(page).endswith("."):
        return f"the page of rule {rule} must begin with a sentence that ends with '.'"
    if not section(page, "What to do"):
        return f"the page of rule {rule} must have a section 'What to do'"
    return None
