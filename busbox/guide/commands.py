"""The verbs of the command line, from the declarations that parse them."""

from __future__ import annotations

import inspect

import click

from busbox.guide.markdown import code, escaped
from busbox.plugins import VERBS, find


def verbs() -> str:
    """Return every verb that comes with Busbox: usage, help and options."""
    return "\n\n".join(_verb(name, find(VERBS, name)) for name in VERBS.built_in)


def _verb(name: str, command: click.Command) -> str:
    # With the names of the command line: click keeps the first that a command is asked for.
    names = ["-h", "--help"]
    context = click.Context(command, info_name=f"busbox {name}", help_option_names=names)
    usage = " ".join([f"busbox {name}", *command.collect_usage_pieces(context)])
    blocks = [f"## busbox {name}", code(usage)]
    blocks += map(_paragraph, inspect.cleandoc(command.help or "").split("\n\n"))
    options = [param for param in command.params if isinstance(param, click.Option)]
    rows = [record for option in options if (record := option.get_help_record(context))]
    blocks.append("\n".join(f"- {code(option)}: {escaped(text)}" for option, text in rows))
    return "\n\n".join(block for block in blocks if block)


def _paragraph(text: str) -> str:
    """Return a paragraph of help; lines after click's mark ``\\b`` keep their breaks, as code."""
    if text.startswith("\b\n"):
        return f"```text\n{text[2:]}\n```"
    return escaped(text)
