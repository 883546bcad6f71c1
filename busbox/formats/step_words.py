"""The words of a step in the text format: its target, its options, the value after a sign."""

from __future__ import annotations

from typing import Any

from busbox.basics.errors import format_value, join_or, nearest
from busbox.cpu.steps import Named, Target
from busbox.map.addresses import NAME, kept_name, lanes, number, step_address


def take_target(words: list[str], verb: str) -> Target:
    """Take the address or the name of a register that follows a step's first word."""
    if not words:
        raise ValueError(f"{verb} must be followed by an address or slot.REGISTER")
    word = words.pop(0)
    if word[0].isdigit():
        return step_address(word)
    found = NAME.fullmatch(word)
    if found is None:
        raise ValueError(f"a target must be an address or slot.REGISTER, not {format_value(word)}")
    return Named(found[1], found[2])


def take_options(words: list[str], known: tuple[str, ...]) -> dict[str, Any]:
    """Take ``lanes 0010``, ``pc 0x1f4``, ``every 12``, ``limit 9``, ``keep start`` and ``+12``."""
    options: dict[str, Any] = {}
    while words:
        word = words.pop(0)
        key, text = ("wait", word[1:]) if word[0] == "+" else (word, "")
        if key not in known:
            names = ["+CYCLES" if name == "wait" else name for name in known]
            raise ValueError(
                f"unexpected {format_value(word)}; expected {join_or(names)}{nearest(word, names)}"
            )
        if key in options:
            raise ValueError(f"{'+CYCLES' if key == 'wait' else key} is given twice")
        if key != "wait":
            if not words:
                raise ValueError(f"{key} must be followed by a value")
            text = words.pop(0)
        options[key] = _option(key, text)
    return options


def _option(key: str, text: str) -> int | str:
    if key == "keep":
        return kept_name(text)
    return lanes(text) if key == "lanes" else number(text, _OPTION_NAMES[key])


_OPTION_NAMES = {
    "wait": "a number of idle cycles",
    "pc": "pc",
    "every": "every",
    "enter": "enter",
    "leave": "leave",
    "limit": "limit",
}


def take_recorded(words: list[str]) -> str | None:
    """Take ``= VALUE``, which may stand after the target of a read."""
    if words[:1] == ["=="]:
        raise ValueError("use = before the recorded value, not ==")
    if words[:1] != ["="]:
        return None
    if len(words) < 2:
        raise ValueError("= must be followed by the recorded value")
    value = words[1]
    del words[:2]
    return value
