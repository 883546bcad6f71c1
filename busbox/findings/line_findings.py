"""What decoders of lines found wrong (:class:`busbox.board.attachment.LineFinding`), as sightings.

A decoder works from its line alone and names a rule for each thing that it finds: a rule's findings
are those of its own check and those of decoders.
"""

from __future__ import annotations

from collections.abc import Container
from functools import partial
from typing import TYPE_CHECKING

from busbox.basics.errors import format_value
from busbox.basics.failures import Failures
from busbox.basics.hooks import HookError, calling, refuse
from busbox.findings.rule import RunFacts, Sighting
from busbox.findings.senders import sender_of

if TYPE_CHECKING:
    from busbox.board.attachment import Advice, LineFinding
    from busbox.board.decoding import DecodedLine
    from busbox.system.scenario import Attached
    from busbox.system.system import System


def line_sightings(
    facts: RunFacts, known: Container[str], failures: Failures
) -> dict[str, list[tuple[str, Sighting]]]:
    """Return (attachment, what its decoder found), by rule, each in order of cycle.

    Parameters
    ----------
    failures : takes the decoders that name an unknown rule
    """
    found: dict[str, list[tuple[str, Sighting]]] = {}
    for name, decoded in facts.decoded_lines.items():
        failures.attempt(partial(_take, found, facts, known, name, decoded))
    for sightings in found.values():
        sightings.sort(key=lambda one: one[1].cycle)
    return found


def _take(
    found: dict[str, list[tuple[str, Sighting]]],
    facts: RunFacts,
    known: Container[str],
    name: str,
    decoded: DecodedLine,
) -> None:
    """Add what one decoder found.

    Raises
    ------
    HookError : it names an unknown rule
    """
    for finding in decoded.report.findings:
        if finding.rule not in known:
            text = unknown_rule(decoded.attached.kind, finding.rule)
            raise HookError.of(text, key=f"attach.{name}")
        sighting = _sighting(facts, name, decoded, finding)
        found.setdefault(finding.rule, []).append((name, sighting))


def unknown_rule(kind: str, rule: object) -> str:
    """Return the message about a decoder that names an unknown rule."""
    return (
        f"{kind} names an unknown rule, {rule!r}; name an existing rule, or declare it in its rules"
    )


def _sighting(facts: RunFacts, name: str, decoded: DecodedLine, finding: LineFinding) -> Sighting:
    edge = finding.tick if finding.edge is None else finding.edge
    key = f"{name}.{finding.part}" if finding.part else name
    slot = facts.system.devices[decoded.attached.device].name
    describe = partial(_describe, facts.system, name, decoded, finding)
    access = decoded.access_at(edge)
    return Sighting(finding.tick, access, slot, decoded.attached.pin, key, describe)


def _describe(
    system: System, name: str, decoded: DecodedLine, finding: LineFinding
) -> tuple[str, str]:
    key = f"attach.{name}"
    with calling(decoded.attached.kind, key=key, hook=finding.describe):
        message, hint = finding.describe()
    if not isinstance(message, str) or not isinstance(hint, str):
        both = format_value((message, hint))
        refuse(
            f"describe must return two strings, message and hint, not {both}", finding.describe, key
        )
    if finding.advice is not None:
        with calling(decoded.attached.kind, key=key, hook=finding.advice):
            from busbox.board.attachment import Advice

            advice = finding.advice()
            if not isinstance(advice, Advice):
                raise TypeError(f"advice must be an Advice, not {format_value(advice)}")
            named = registers(system, decoded.attached, advice)
        hint = " ".join(filter(None, (hint, named)))
    return f"{name}: {message}", hint


def registers(system: System, attached: Attached, advice: Advice) -> str:
    """Return the sentence that names the registers with which a line has the clocks of an advice.

    "" if there is no such device behind the line, or its registers do not set them.
    """
    sender = sender_of(system, attached)
    if sender is None or not advice.clocks:
        return ""
    now = sender.words(advice.now) if advice.now else {}
    words = [
        f"{sender.device.name}.{register} {_word(word)}"
        + (f" (now {_word(now[register])})" if register in now else "")
        for register, word in sender.words(advice.clocks).items()
    ]
    return f"Set {' and '.join(words)}." if words else ""


def _word(word: int) -> str:
    return f"{word:#010x}" if word > 0xFFFF else f"{word}"
