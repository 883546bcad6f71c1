"""``[profile.NAME]``: the timing that a kind of lamp requires, in addition to the built-in profiles."""

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
            text = f"the name {name!r} is taken by a built-in profile; choose another"
            context.mistakes.note(("profile", name), text)
            continue
        context.check_name(("profile", name), name, "a profile")
        try:
            found[name] = Profile.of(name, keys)
        except InputError as error:
            for mistake in error.mistakes:
                path = ("profile", name, *([mistake.key] if mistake.key else []))
                context.mistakes.note(path, mistake.text)
    return found
