"""What the comparisons of sent and shown share: a difference, and what else may explain it."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from busbox.board.attachment import Explanation

if TYPE_CHECKING:
    from busbox.board.decoding import DecodedLine
    from busbox.findings.rule import RunFacts

#: Rules of decoders that are not about what is read.
_APART = ("flash-rate",)


@dataclass(frozen=True)
class ShownDifference:
    """The first place where an attachment shows something other than was sent.

    Attributes
    ----------
    cycle : where it is known
    access : the one that started the frame or byte, -1 if none did
    text : what was sent, and what is shown
    explanation : why, according to the decoder
    """

    cycle: int
    access: int
    text: str
    explanation: Explanation = field(default_factory=Explanation)


def reset_within(facts: RunFacts, first: int, last: int) -> bool:
    """Return whether a reset began in one of the cycles from ``first`` to ``last``."""
    return any(first <= begin <= last for begin, _ in facts.recording.resets)


def reported_within(decoded: DecodedLine, first: int, last: int) -> bool:
    """Return whether the decoder itself reported something in one of these cycles."""
    return any(
        first <= edge <= last
        for finding in decoded.report.findings
        if finding.rule not in _APART
        for edge in (finding.tick, finding.tick if finding.edge is None else finding.edge)
    )


def at_rest(facts: RunFacts, decoded: DecodedLine) -> DecodedLine | None:
    """Return what the decoder makes of the line if it never changes again; None if it may.

    It never changes again if the run ended with all devices at rest.
    """
    return decoded.resting if facts.recording.ended == "done" else None
