"""Which rules apply to a bench: those of Busbox, those that it names, those of its attachments."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from functools import partial
from operator import index
from pathlib import Path
from typing import TYPE_CHECKING, Any

from busbox.basics.errors import InputError, format_value
from busbox.basics.hooks import calling, refuse
from busbox.basics.pages import mistake_in_rule, page_of
from busbox.board.attachment import Decoder
from busbox.findings.rule import Rule, RunFacts, Sighting
from busbox.plugins import RULES, checked, find

if TYPE_CHECKING:
    from busbox.system.scenario import Attached
    from busbox.system.system import System


def rule_ids(added: Iterable[str], attached: Iterable[Attached]) -> list[str]:
    """Return the ids of the rules that a bench can use: Busbox's, those it names, its attachments'."""
    brought = [rule for one in attached for rule in _brought(one)]
    return list(dict.fromkeys([*RULES.built_in, *added, *brought]))


def _brought(one: Attached) -> Mapping[str, str]:
    """Return the rules that an attachment brings, id to page."""
    return one.part.rules if isinstance(one.part, Decoder) else {}


def rules_of(system: System) -> dict[str, Rule]:
    """Return the rules that apply to a system, in the order in which they are checked."""
    found: dict[str, Rule] = {}
    for rule in rule_ids(system.rules, system.attached):
        if rule in RULES.built_in:
            found[rule] = find(RULES, rule)
        elif rule in system.rules:
            found[rule] = partial(_guarded, rule, system.rules[rule])
        else:
            found[rule] = _by_decoders
    return found


def _by_decoders(facts: RunFacts) -> Iterator[Sighting]:
    """Yield nothing: the decoder of the attachment that declares the rule reports its findings."""
    yield from ()


class RuleMistake(ValueError):
    """A mistake in one of the rules that a bench names."""

    def __init__(self, number: int, text: str) -> None:
        super().__init__(text)
        self.number = number


def added_rules(given: Sequence[object], folder: Path) -> dict[str, Rule]:
    """Return the rules that a bench names under ``rules``, by id.

    Parameters
    ----------
    given : each the id of a plug-in's rule, ``file.py:function``, or the function itself
    folder : where files are looked up

    Raises
    ------
    RuleMistake : one of them is not a rule, or has the id of another
    """
    found: dict[str, Rule] = {}
    for number, one in enumerate(given):
        try:
            rule, check = _added(one, folder)
        except InputError as error:
            raise RuleMistake(number, str(error)) from error
        if rule in RULES.built_in or rule in found:
            raise RuleMistake(number, f"a rule {rule} already exists; choose another id")
        found[rule] = check
    return found


def _added(given: object, folder: Path) -> tuple[str, Rule]:
    if isinstance(given, str):
        found: Rule = find(RULES, given, folder)
    else:
        found = checked(RULES, format_value(given), given)
    return rule_id(found), found


def rule_id(rule: Any) -> str:
    """Return the id of a rule: its name, with ``-`` for ``_``."""
    return str(rule.__name__).replace("_", "-")


def check_rule(label: str, found: Any) -> None:
    """Refuse anything that is not a rule.

    Parameters
    ----------
    label : how it was named; the name of a plug-in must be the rule's id
    found : the object with that label

    Raises
    ------
    InputError : it is not a function, or its id or page is not valid
    """
    name = getattr(found, "__name__", None)
    if not callable(found) or isinstance(found, type) or not isinstance(name, str):
        raise InputError.of(
            f"{label} must be a function that yields sightings, not {format_value(found)}"
        )
    rule = rule_id(found)
    if label != rule and re.fullmatch(r"[a-z0-9-]+", label):
        raise InputError.of(f"plug-in {label!r} must be named like its rule, {rule!r}")
    mistake = mistake_in_rule(rule, page_of(found))
    if mistake:
        raise InputError.of(mistake)


def clashes(attached: Sequence[Attached], added: Mapping[str, Rule]) -> Iterator[tuple[str, str]]:
    """Yield (attachment, message) for each attachment that brings the id of another rule."""
    seen: dict[str, tuple[str, str]] = {}
    for one in attached:
        for rule, page in _brought(one).items():
            if rule in added:
                yield one.name, f"it brings the rule {rule}, which the bench names under rules"
            elif seen.setdefault(rule, (one.name, page))[1] != page:
                yield one.name, f"it brings the rule {rule}, as attach.{seen[rule][0]} already does"


def _guarded(rule: str, check: Rule, facts: RunFacts) -> Iterator[Sighting]:
    """Yield the sightings of a rule that does not come with Busbox, checked.

    Raises
    ------
    InputError : it raises, or yields something that is not a sighting of this run
    """
    with calling(f"rule {rule}", key="rules", hook=check):
        for sighting in check(facts):
            mistake = _mistake_in(sighting, facts)
            if mistake:
                refuse(f"rule {rule} {mistake}", check, "rules")
            describe = partial(_described, rule, sighting)
            cycle, access = index(sighting.cycle), index(sighting.access)
            yield replace(sighting, cycle=cycle, access=access, describe=describe)


def _mistake_in(sighting: Any, facts: RunFacts) -> str | None:
    if not isinstance(sighting, Sighting):
        return f"must yield a Sighting, not {format_value(sighting)}"
    cycles, accesses = facts.recording.cycles, len(facts.recording.accesses)
    if not 0 <= index(sighting.cycle) < cycles:
        return (
            f"must name a cycle of the run, 0 to {cycles - 1}, not {format_value(sighting.cycle)}"
        )
    if not -1 <= index(sighting.access) < accesses:
        return f"must name an access of the run, or -1, not {format_value(sighting.access)}"
    for name in ("slot", "register", "key"):
        value = getattr(sighting, name)
        if not isinstance(value, str):
            return f"must give its {name} as a string, not {format_value(value)}"
    return None


def _described(rule: str, sighting: Sighting) -> tuple[str, str]:
    with calling(f"rule {rule}", key="rules", hook=sighting.describe):
        message, hint = sighting.describe()
        if not isinstance(message, str) or not isinstance(hint, str):
            raise TypeError("describe must return two strings, message and hint")
    return message, hint
