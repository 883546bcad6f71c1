"""The pages of rules: of those that come with Busbox, of plug-ins, and of a file's."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from busbox.basics.errors import InputError, join_or, nearest
from busbox.basics.loading import load_object
from busbox.basics.pages import page_of
from busbox.board.attachment import Decoder
from busbox.findings.rule_set import check_rule, rule_id
from busbox.plugins import ATTACHMENTS, RULES, checked, find, plug_ins


def own_pages() -> dict[str, str]:
    """Return the page of every rule that comes with Busbox, by id."""
    return {rule: page_of(find(RULES, rule)) for rule in RULES.built_in}


def plugin_pages() -> Iterator[tuple[str, str | InputError]]:
    """Yield (id, page) of the rules of plug-ins; (plug-in, error) for one that cannot be used."""
    for entry in plug_ins(RULES):
        try:
            yield entry.name, page_of(entry.load())
        except InputError as error:
            yield entry.name, error
    for entry in plug_ins(ATTACHMENTS):
        try:
            kind = entry.load()
        except InputError as error:
            yield entry.name, error
            continue
        if issubclass(kind, Decoder):
            yield from ((rule, page_of(page)) for rule, page in kind.rules.items())


def pages_for(name: str, folder: Path) -> dict[str, str]:
    """Return the pages for a name, by id.

    Parameters
    ----------
    name : a rule's id; or ``file.py:NAME``, a rule or a decoder in a file, for all rules that it brings
    folder : where a file is looked up

    Raises
    ------
    InputError : there is no such rule, or its file cannot be loaded
    """
    if ".py:" in name:
        return _pages_of_file(name, folder)
    if name in RULES.built_in:
        return {name: page_of(find(RULES, name))}
    known = dict(plugin_pages())
    page = known.get(name)
    if isinstance(page, InputError):
        raise page
    if page is None:
        names = [*RULES.built_in, *known]
        raise InputError.of(
            f"there is no rule {name!r}{nearest(name, names)} "
            f"(known: {join_or([*names, 'file.py:NAME'])})",
            "explain",
        )
    return {name: page}


def _pages_of_file(name: str, folder: Path) -> dict[str, str]:
    found = load_object(name, folder, "rule or decoder")
    if not isinstance(found, type):
        check_rule(name, found)
        return {rule_id(found): page_of(found)}
    kind = checked(ATTACHMENTS, name, found)
    if not issubclass(kind, Decoder) or not kind.rules:
        raise InputError.of(f"{name} brings no rules", "explain")
    return {rule: page_of(page) for rule, page in kind.rules.items()}
