"""The modules of the page's script, joined to one: a browser loads no module from a file."""

from __future__ import annotations

import re
from collections.abc import Callable
from importlib.resources import files

#: The modules in an order in which each comes after those that it imports from.
MODULES = (
    "data.js", "words.js", "elements.js", "run.js", "causes.js", "pen.js", "lines.js", "draw.js",
    "view.js", "timetable.js", "strip.js", "slip.js", "search.js", "table.js", "lamps.js", "saving.js",
    "main.js",
)  # fmt: skip

_IMPORT = re.compile(r"^import (\{[^}]*\}) from \"\./([a-z]+\.js)\";$", re.MULTILINE)
_EXPORT = re.compile(r"^export ((?:async )?(?:function\*?|class|const) (\w+))", re.MULTILINE)


def asset(name: str) -> str:
    """Return a file of the folder ``assets``."""
    return files("busbox.report").joinpath("assets", name).read_text(encoding="utf-8")


def script(names: tuple[str, ...] = MODULES, read: Callable[[str], str] = asset) -> str:
    """Return modules as one script: each is a function that returns what it exports.

    Parameters
    ----------
    read : returns the text of a module; another room's page has modules of its own
    """
    return "".join(["const modules = {};\n", *(_wrapped(name, read(name)) for name in names)])


def _wrapped(name: str, text: str) -> str:
    exported = ", ".join(match[2] for match in _EXPORT.finditer(text))
    body = _EXPORT.sub(r"\1", _IMPORT.sub(r'const \1 = modules["\2"];', text))
    return f'modules["{name}"] = (() => {{\n{body}\nreturn {{ {exported} }};\n}})();\n'
