"""What judging adds to a recording: findings of the rules, verdicts on expectations."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Finding:
    """One diagnosed problem.

    Attributes
    ----------
    rule : id of the rule, e.g. ``unmapped-access``
    cycle : when it happened
    access : number of the access in the recording, -1 if there is none
    slot, register : names, "" where there is none
    message : what happened, and what was expected
    hint : one thing to try
    line : line of the traffic file, -1 if there is none
    pc : address of the instruction, -1 if it is not known
    source : function and line of the firmware's source, "" if they are not known
    """

    rule: str
    cycle: int
    access: int
    slot: str
    register: str
    message: str
    hint: str
    line: int = -1
    pc: int = -1
    source: str = ""


@dataclass(frozen=True)
class Verdict:
    """Whether an expectation was met.

    Attributes
    ----------
    what : the expectation, as text
    met : whether it is met
    seen : what was seen instead, or as well
    """

    what: str
    met: bool
    seen: str
