"""``[profile.NAME]``: what a kind of lamp asks of its line, besides the built-in profiles."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from busbox.basics.errors import InputError
from busbox.bench.context import Context
from busbox.lines.profiles import PROFILES, Profile


def build_profiles(tables: Mapping[str, Mapping[str, Any]], context: Context) -> dict[str, Profile]:
    """Return all profiles by name; :meth:`busbox.lines.profiles.Profile.of` checks the keys of each."""
    found = dict(PROFILES)
    for name, keys in tables.items():
        if name in PROFILES:
            text = f"must have a name of its own, not that of one that comes with Busbox, {name!r}"
            context.mistakes.note(("profile", name), text)
            continue
        context.check_name(("profile", name), name, "a profile's")
        try:
            found[name] = Profile.of(name, keys)
        except InputError as error:
            for mistake in error.mistakes:
                path = ("profile", name, *([mistake.key] if mistake.key else []))
                context.mistakes.note(path, mistake.text)
    return found
