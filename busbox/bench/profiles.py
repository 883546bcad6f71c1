"""``[profile.NAME]``: the timing that a kind of lamp requires, in addition to the built-in profiles."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from busbox.basics.errors import InputError, Mistake, join_and
from busbox.bench.context import Context
from busbox.lines.profiles import KEYS, PROFILES, Profile


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
            for mistake in _without_followers(error.mistakes):
                path = ("profile", name, *([mistake.key] if mistake.key else []))
                context.mistakes.note(path, mistake.text)
    return found


def _without_followers(mistakes: Sequence[Mistake]) -> list[Mistake]:
    """Return the mistakes with one for all missing keys; none for them beside an unknown key."""
    missing = [mistake.key for mistake in mistakes if mistake.text == "must be given"]
    others = [mistake for mistake in mistakes if mistake.text != "must be given"]
    if len(missing) < 2:
        return list(mistakes)
    if any(mistake.key and mistake.key not in KEYS for mistake in others):
        return others
    return [*others, Mistake(f"{join_and(missing)} must be given")]
