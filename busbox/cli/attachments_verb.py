"""``busbox attachments``."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import click

from busbox.basics.errors import InputError
from busbox.basics.pages import first_paragraph, page_of, section
from busbox.board.attachment import Driver
from busbox.cli import completing
from busbox.cli.common import json_option, paper, plain, print_json
from busbox.device import REQUIRED, Setting
from busbox.plugins import ATTACHMENTS, entries, find


@click.command("attachments")
@click.argument("kind", required=False, shell_complete=completing.named(ATTACHMENTS))
@json_option
def command(kind: str | None, as_json: bool) -> int:
    """List what can be attached to pins, or show one kind with its settings.

    KIND is the name of a kind that comes with Busbox or with a plug-in, or FILE.py:CLASS. A bench
    attaches it with [attach.NAME], kind and pin.
    """
    if kind is None:
        found = list(_kinds())
        if as_json:
            print_json({"attachments": found})
        else:
            page = paper()
            page.table((one["name"], one["how"], one["source"], one["text"]) for one in found)
            page.line()
            page.line("busbox attachments KIND shows one, with its settings.")
            page.print()
        return 0
    shown = find(ATTACHMENTS, kind)
    if as_json:
        print_json(
            {
                "name": kind,
                "how": _how(shown),
                "settings": list(_settings(shown)),
                "rules": _rules(shown),
            }
        )
    else:
        _show(kind, shown)
    return 0


def _how(kind: Any) -> str:
    return "drives" if issubclass(kind, Driver) else "decodes"


def _kinds() -> Iterator[dict[str, str]]:
    for entry in entries(ATTACHMENTS):
        found = {"name": entry.name, "source": entry.origin}
        try:
            kind = entry.load()
        except InputError as error:
            yield found | {"how": "", "text": f"cannot be used: {error}"}
            continue
        yield found | {"how": _how(kind), "text": plain(first_paragraph(page_of(kind)))}


def _settings(kind: Any) -> Iterator[dict[str, Any]]:
    for one in kind.settings:
        yield {
            "name": one.name,
            "kind": one.kind,
            "required": one.default is REQUIRED,
            "default": None if one.default is REQUIRED else one.default,
            "text": one.text,
        }


def _rules(kind: Any) -> dict[str, str]:
    """Return the rules that a kind declares: id to the first sentence of its page."""
    pages = {} if issubclass(kind, Driver) else kind.rules
    return {rule: plain(first_paragraph(page_of(page))) for rule, page in pages.items()}


def _show(name: str, kind: Any) -> None:
    page = paper()
    page.line((name, "bold"), f": {_how(kind)} at a pin")
    page.line(f"  {plain(first_paragraph(page_of(kind)))}")
    for title in ("Timing", "Caution"):
        text = section(page_of(kind), title)
        if text:
            page.title(title)
            page.line(f"  {plain(' '.join(text.split()))}")
    page.title("Settings")
    page.table((one.name, _default(one), one.text) for one in kind.settings)
    if not kind.settings:
        page.line("  none")
    if _rules(kind):
        page.title("Its own findings")
        page.table(_rules(kind).items())
    page.print()


def _default(setting: Setting) -> str:
    if setting.default is REQUIRED:
        return "required"
    if setting.default in (None, ()):
        return "none"
    return f"{setting.default}"
