"""What slots and attachments have in common: a class by its name, and settings that it declares."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from busbox.basics.errors import InputError, Mistake, format_value, join_or, nearest
from busbox.basics.hooks import PASSING, place_of, told, wanted
from busbox.basics.toml_lines import KeyPath
from busbox.bench.context import Context
from busbox.device import REQUIRED, Setting
from busbox.plugins import Kind, checked, find


def find_class(
    path: KeyPath,
    given: object,
    context: Context,
    kind: Kind,
    example: str,
    options: Mapping[str, Any] | None = None,
) -> Any:
    """Return the class that a key names or holds; None, and a note, if there is none.

    Parameters
    ----------
    path : the key
    kind : what it is to be, as the registry knows it
    example : a name, as a message shows it
    options : what else the table says of a file that is no Python
    """
    if not isinstance(given, str | type):
        context.mistakes.note(
            path, f"must be a string such as {example!r}, not {format_value(given)}"
        )
        return None
    try:
        if isinstance(given, type):
            return checked(kind, given.__name__, given)
        return find(kind, given, context.folder, options=options)
    except InputError as error:
        for mistake in error.mistakes:
            note_below(path, mistake, context)
        return None


def note_below(path: KeyPath, mistake: Mistake, context: Context) -> None:
    """Note a mistake at its own key beside that of ``path``, or there if it has none."""
    at = (*path[:-1], *mistake.key.split(".")) if mistake.key else path
    context.mistakes.note(at, str(replace(mistake, key="")))


def ask(path: KeyPath, found: Any, method: str, *given: object, context: Context) -> Any:
    """Return what a method of a class says; what it raises is a mistake at the class's key.

    So is None, unless the method is ``check``: the caller may take None for a mistake.
    """
    try:
        answer = getattr(found, method)(*given)
        if answer is None and method != "check":
            place = place_of(getattr(found, method))
            context.mistakes.note(path, f"its {method} must not return None{place}")
        return answer
    except InputError as error:
        for mistake in error.mistakes:
            note_below(path, mistake, context)
        return None
    except PASSING:
        raise
    except BaseException as error:
        hook = getattr(found, method, None)
        context.mistakes.note(path, f"its {method} raised {told(error, hook)}")
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
        if isinstance(problem, str) and problem:
            context.mistakes.note(path, problem)
        elif problem is not None and not isinstance(problem, str):
            text = f"its {wanted('check', 'a text or None', problem)}{place_of(found.check)}"
            context.mistakes.note((*path, keys[0]), text)
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
