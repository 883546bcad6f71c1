"""The topics of the manual: their order, and where the text of each comes from."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import partial
from importlib.resources import files

from busbox.basics.errors import InputError, nearest
from busbox.basics.pages import first_paragraph, page_of
from busbox.guide.inserts import INSERTS
from busbox.guide.markdown import escaped, page_of_docstring
from busbox.guide.models import attachment_page, model_page
from busbox.plugins import ATTACHMENTS, DEVICES, RULES, find

#: Topics with a file in ``pages``, by the heading that lists them.
WRITTEN: Mapping[str, tuple[str, ...]] = {
    "Describe a bench": ("bench", "addresses", "pins", "expectations", "attachments"),
    "Traffic": ("steps", "csv", "python", "core", "firmware", "importing", "host-driver"),
    "Devices": (
        "tutorial",
        "models",
        "device",
        "registers",
        "hardware",
        "check",
        "verilog",
        "export",
    ),
    "Run and understand": (
        "run",
        "report",
        "what-if",
        "findings",
        "why",
        "draw",
        "recording",
        "notebook",
        "teaching",
        "pytest",
        "captures",
        "lamps",
        "serial",
        "engines",
    ),
    "Learn": ("lessons",),
    "Look up": (
        "cycles",
        "verbs",
        "exit-codes",
        "limits",
        "strangers",
        "adding",
        "cautions",
        "words",
    ),
}
#: Topics to read first, in this order.
FIRST = ("bench", "steps", "run", "findings")
#: Headings of the topics that are made from declarations.
MODELS, KINDS, FINDINGS = "Models", "Kinds of attachment", "Findings"

_INSERT = re.compile(r"^\{\{([a-z-]+)\}\}$", re.MULTILINE)


@dataclass(frozen=True)
class Topic:
    """One page of the manual.

    Attributes
    ----------
    name : what ``busbox guide NAME`` takes
    group : the heading that lists it
    summary : one line, Markdown
    make : returns the page, Markdown that begins with its title, ``# ...``
    """

    name: str
    group: str
    summary: str
    make: Callable[[], str]


def topics() -> dict[str, Topic]:
    """Return every topic by name, in the order of the manual."""
    found = [_written(name, group) for group, names in WRITTEN.items() for name in names]
    for name in DEVICES.built_in:
        text = escaped(first_paragraph(page_of(find(DEVICES, name))))
        found.append(Topic(name, MODELS, text, partial(model_page, name)))
    for name in ATTACHMENTS.built_in:
        text = escaped(first_paragraph(page_of(find(ATTACHMENTS, name))))
        found.append(Topic(name, KINDS, text, partial(attachment_page, name)))
    for name in RULES.built_in:
        page = page_of(find(RULES, name))
        found.append(
            Topic(name, FINDINGS, escaped(first_paragraph(page)), partial(_rule, name, page))
        )
    return {topic.name: topic for topic in found}


def find_topic(name: str) -> Topic:
    """Return a topic.

    Raises
    ------
    InputError : no topic has this name
    """
    known = topics()
    if name not in known:
        text = f"there is no topic {name!r}{nearest(name, list(known))} (busbox guide lists them)"
        raise InputError.of(text, "guide")
    return known[name]


def _written(name: str, group: str) -> Topic:
    text = files("busbox.guide").joinpath("pages", f"{name}.md").read_text(encoding="utf-8")
    return Topic(name, group, first_paragraph(text.partition("\n\n")[2]), lambda: filled(text))


def filled(text: str) -> str:
    """Return a page with every ``{{NAME}}`` replaced by what code makes of the declarations."""
    return _INSERT.sub(lambda insert: INSERTS[insert[1]](), text)


def _rule(name: str, page: str) -> str:
    return f"# {name}: a finding\n\n{page_of_docstring(page)}"
