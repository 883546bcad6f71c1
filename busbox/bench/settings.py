"""What slots and attachments have in common: a class by its name, and settings that it declares."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from busbox.basics.errors import InputError, format_error, format_value, join_or, nearest
from busbox.bench.context import Context
from busbox.bench.toml_lines import KeyPath
from busbox.device import REQUIRED, Setting
from busbox.plugins import Kind, checked, find


def find_class(
    path: KeyPath,
    given: object,
    context: Context,
    kind: Kind,
    example: str,
) -> Any:
    """Return the class that a key names or holds; None, and a note, if there is none.

    Parameters
    ----------
    path : the key
    kind : what it is to be, as the registry knows it
    example : a name, as a message shows it
    """
    if not isinstance(given, str | type):
        context.mistakes.note(
            path, f"must be a string such as {example!r}, not {format_value(given)}"
        )
        return None
    try:
        if isinstance(given, type):
            return checked(kind, given.__name__, given)
        return find(kind, given, context.folder)
    except InputError as error:
        for mistake in error.mistakes:
            context.mistakes.note(path, str(mistake))
        return None


def ask(path: KeyPath, found: Any, method: str, *given: object, context: Context) -> Any:
    """Return what a method of a class says; what it raises is a mistake at the class's key."""
    try:
        return getattr(found, method)(*given)
    except Exception as error:
        context.mistakes.note(path, f"its {method} raised {format_error(error)}")
        return None


def check_settings(
    path: KeyPath, found: Any, given: Mapping[str, Any], keys: Sequence[str], context: Context
) -> dict[str, Any]:
    """Return every setting of a model or attachment, checked.

    Parameters
    ----------
    path : the table
    found : the class that declares them
    given : keys of the table that are not its own
    keys : the table's own keys; the first one names the class
    """
    before = len(context.mistakes)
    declared: dict[str, Setting] = {setting.name: setting for setting in found.settings}
    known, misspelt = [*keys, *declared], set()
    for key in given:
        if key not in declared:
            close = nearest(key, known)
            text = f"unknown key {key!r}{close} (known: {join_or(known)})"
            context.mistakes.note((*path, key), text)
            misspelt.add(close)
            for own in keys:
                if nearest(own, [own]) == close:
                    context.mistakes.withdraw_missing((*path, own))
    settings = {
        name: setting.default
        if name not in given and nearest(name, [name]) in misspelt  # that is the mistake
        else _setting((*path, name), setting, given, context)
        for name, setting in declared.items()
    }
    if not misspelt and len(context.mistakes) == before:
        problem = ask((*path, keys[0]), found, "check", settings, context=context)
        if problem:
            context.mistakes.note(path, problem)
    return settings


def _setting(path: KeyPath, setting: Setting, given: Mapping[str, Any], context: Context) -> Any:
    if setting.name not in given:
        if setting.default is REQUIRED:
            context.mistakes.note(path, f"must be given: {setting.text}")
        return setting.default
    value = given[setting.name]
    problem = setting.problem(value)
    if problem:
        context.mistakes.note(path, problem)
    elif setting.kind == "path":
        return context.file(path, value)
    return value
