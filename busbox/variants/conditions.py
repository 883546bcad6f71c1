"""Conditions on a run: ``profile P4 kept``, ``no finding byte-lost``, ``duration <= 20 ms``."""

from __future__ import annotations

import operator
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from busbox.basics.errors import InputError, format_value, nearest
from busbox.findings.rule_set import rule_ids
from busbox.recording import Recording
from busbox.system.system import System
from busbox.variants.axes import quantity
from busbox.variants.measures import Base, Measure, Measured, measure_of, shown

#: Characters of what a measure is compared with.
LONGEST_WORD = 1000
#: The forms of a condition, for messages and help.
FORMS = (
    "no finding [RULE]", "profile NAME kept [by ATTACHMENT]", "expectations met", "texts equal",
    "colours equal", "certain", "MEASURE OP VALUE (OP: ==, !=, <, <=, >, >=)",
)  # fmt: skip
_WORDS = ("no finding", "profile", "expectations met", "texts equal", "colours equal", "certain")
_COMPARED = re.compile(r"(?P<name>\S+)\s*(?P<sign>==|!=|<=|>=|<|>)\s*(?P<value>.+)")
_SIGNS: Mapping[str, Callable[[float, float], bool]] = {
    "==": operator.eq, "!=": operator.ne, "<": operator.lt, "<=": operator.le, ">": operator.gt,
    ">=": operator.ge,
}  # fmt: skip


@dataclass(frozen=True)
class Condition:
    """Something that holds for a run, or does not.

    Attributes
    ----------
    text : as it was given
    check : returns whether it holds, and what was seen
    """

    text: str
    check: Callable[[Measured], tuple[bool, str]] = field(compare=False)


def condition_of(text: str, system: System, folder: Path, option: str = "--such-that") -> Condition:
    """Return the condition that a text says.

    Raises
    ------
    InputError : it says none, or names what there is not
    """
    words = text.split()
    compared = _COMPARED.fullmatch(text.strip())
    if compared is not None:
        return Condition(text, _comparison(compared, system, folder, option))
    if words[:2] == ["no", "finding"] and len(words) <= 3:
        rule = words[2] if len(words) == 3 else ""
        known = list(rule_ids(system.rules, system.attached))
        if rule and rule not in known:
            raise InputError.of(
                f"there is no rule {format_value(rule)}{nearest(rule, known)}", option
            )
        return Condition(text, lambda one: _no_finding(one, rule))
    if len(words) in (3, 5) and (words[0], words[2]) == ("profile", "kept"):
        return Condition(text, _kept(words, system, option))
    match words:
        case ["expectations", "met"]:
            return Condition(text, _met)
        case ["texts", "equal"]:
            return Condition(text, lambda one: (one.recording.texts == one.base.texts, _texts(one)))
        case ["colours", "equal"]:
            return Condition(text, _colours)
        case ["certain"]:
            return Condition(text, _certain)
    close = nearest(text, _WORDS)
    raise InputError.of(
        f"is no condition: {format_value(text)}{close} (known: {'; '.join(FORMS)})", option
    )


def _no_finding(one: Measured, rule: str) -> tuple[bool, str]:
    found = {name: count for name, count in one.recording.by_rule.items() if rule in ("", name)}
    return not found, ", ".join(f"{name} {count:,}" for name, count in found.items()) or "none"


def _kept(words: list[str], system: System, option: str) -> Callable[[Measured], tuple[bool, str]]:
    strings = [one.name for one in system.attached if "frames" in one.part.sends]
    if len(words) == 5:
        if words[3] != "by" or words[4] not in strings:
            text = f"there is no lamp string {format_value(words[4])}{nearest(words[4], strings)}"
            raise InputError.of(text, option)
        strings = [words[4]]
    if not strings:
        raise InputError.of("the bench has no lamp string that could keep a profile", option)
    measures = [measure_of(f"kept.{name}.{words[1]}", system, Path(), option) for name in strings]

    def check(one: Measured) -> tuple[bool, str]:
        broken = [
            name for name, measure in zip(strings, measures, strict=True) if not measure.of(one)
        ]
        return not broken, f"not kept by {', '.join(broken)}" if broken else "kept"

    return check


def _met(one: Measured) -> tuple[bool, str]:
    missed = [verdict for verdict in one.recording.verdicts if not verdict.met]
    if not missed:
        return True, "all met"
    return False, f"not met: {missed[0].what}; seen: {missed[0].seen}"


def _texts(one: Measured) -> str:
    texts = one.recording.texts
    other = _unlike(texts, one.base.texts)
    return f"{', '.join(other)} differs" if other else "equal"


def _unlike(one: Mapping[str, Any], other: Mapping[str, Any]) -> list[str]:
    return sorted(name for name in {*one, *other} if one.get(name) != other.get(name))


def _colours(one: Measured) -> tuple[bool, str]:
    other = _unlike(Base.of(one.recording).frames, one.base.frames)
    return not other, f"{', '.join(other)} differs" if other else "equal"


def _certain(one: Measured) -> tuple[bool, str]:
    certain = one.recording.certain
    fine = certain is None or not certain.doubt
    return fine, "throughout" if certain is None else certain.text(one.recording.clock_hz)


def _comparison(
    found: re.Match[str], system: System, folder: Path, option: str
) -> Callable[[Measured], tuple[bool, str]]:
    measure = measure_of(found["name"], system, folder, option)
    sign, text = _SIGNS[found["sign"]], found["value"].strip()
    number = quantity(text.removeprefix("-"))
    if number is None and len(text) > LONGEST_WORD:
        most = f"{measure.name} is compared with at most {LONGEST_WORD:,} characters"
        raise InputError.of(f"{most}, not {format_value(text)}", option)
    if number is None:
        return _word_comparison(measure, found["sign"], text, option)
    if number.kind != (measure.unit if measure.unit == "s" else ""):
        needed = "a time such as 20 ms" if measure.unit == "s" else "a number without a unit"
        raise InputError.of(
            f"{measure.name} is compared with {needed}, not {format_value(text)}", option
        )
    limit = float(-number.size if text.startswith("-") else number.size)

    def check(one: Measured) -> tuple[bool, str]:
        value = measure.of(one)
        if isinstance(value, bool) or not isinstance(value, int | float):
            return False, f"{measure.name} is {shown(value, measure.unit)}"
        return sign(value, limit), f"{measure.name} is {shown(value, measure.unit)}"

    return check


def _word_comparison(
    measure: Measure, sign: str, text: str, option: str
) -> Callable[[Measured], tuple[bool, str]]:
    if measure.unit and text != "nothing":
        needed = "a time such as 20 ms" if measure.unit == "s" else "a number"
        raise InputError.of(
            f"{measure.name} is compared with {needed}, not {format_value(text)}", option
        )
    if sign not in ("==", "!="):
        raise InputError.of(
            f"{measure.name} {sign} needs a number, not {format_value(text)}", option
        )

    def check(one: Measured) -> tuple[bool, str]:
        value = shown(measure.of(one), measure.unit)
        return (value == text) == (sign == "=="), f"{measure.name} is {value}"

    return check


def first_broken(
    conditions: tuple[Condition, ...], recording: Recording, base: Base
) -> tuple[str, str] | None:
    """Return the first condition that does not hold and what was seen, or None if all hold."""
    one = Measured(recording, base)
    for condition in conditions:
        holds, seen = condition.check(one)
        if not holds:
            return condition.text, seen
    return None
