"""The bytes that a device sent, against the characters that a terminal shows."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from busbox.board.attachment import Explanation
from busbox.findings.sent import (
    ShownDifference,
    at_rest,
    found_at_rest,
    reported_within,
    reset_within,
)

if TYPE_CHECKING:
    from busbox.board.decoding import DecodedLine
    from busbox.findings.rule import RunFacts
    from busbox.findings.senders import Sender

#: (tick of the start edge, value).
Shown = tuple[int, int]


@dataclass(frozen=True)
class Sent:
    """A byte that was sent.

    Attributes
    ----------
    number : from 0
    begin, end : first cycle in which it may begin, and the last of its stop bit
    value : the byte
    access : the one that wrote it
    """

    number: int
    begin: int
    end: int
    value: int
    access: int


def byte_difference(
    facts: RunFacts, decoded: DecodedLine, sender: Sender
) -> ShownDifference | None:
    """Return the first byte that is shown differently from how it was sent, or None.

    A character belongs to the byte whose stop bit ends next. After a reset nothing is compared until a
    byte is shown as it was sent: a receiver may take a while to find a start bit.
    """
    if decoded.report.text is None:
        return None
    sent = facts.recording.characters.get(sender.device.name)
    if sent is None or not len(sent.cycles):
        return None
    shown = list(decoded.report.characters)
    ends: list[int] = sent.cycles.tolist()
    values: list[int] = sent.bytes.tolist()
    owners = np.searchsorted(ends, [start for start, _ in shown], side="left").tolist()
    groups: list[list[Shown]] = [[] for _ in ends]
    for one, owner in zip(shown, owners, strict=True):
        if owner < len(ends):
            groups[owner].append(one)
    cut = False
    for number, (end, value, mine) in enumerate(zip(ends, values, groups, strict=True)):
        before = ends[number - 1] if number else -1
        cut = cut or reset_within(facts, before + 1, end)
        if [byte for _, byte in mine] == [value]:
            cut = False
            continue
        if cut or reported_within(decoded, before + 1, end):
            continue
        byte = Sent(number, before + 1, end, value, int(sent.accesses[number]))
        if not mine and number + 1 == len(ends):
            difference = _at_rest(facts, decoded, byte)
        else:
            difference = _difference(decoded, byte, mine)
        if difference is not None:
            return difference
    return None


def _at_rest(facts: RunFacts, decoded: DecodedLine, sent: Sent) -> ShownDifference | None:
    """Return what is different in the last byte, once the line has rested behind it."""
    resting = at_rest(facts, decoded)
    if resting is None:
        return None
    shown = [one for one in resting.report.characters if sent.begin <= one[0] <= sent.end]
    if [byte for _, byte in shown] != [sent.value]:
        return _difference(resting, sent, shown)
    explanation = found_at_rest(resting, sent.begin, sent.end)
    if explanation is None:
        return None
    text = f"byte {sent.number} was sent as {_named(sent.value)}, and is received with an error"
    return ShownDifference(sent.end, sent.access, text, explanation)


def _difference(decoded: DecodedLine, sent: Sent, shown: Sequence[Shown]) -> ShownDifference | None:
    """Return how a byte is shown; None if a finding of the decoder says it."""
    explanation = decoded.explain(shown[0][0] if shown else -1, sent.value)
    if explanation is None:
        return None
    if not shown:
        explanation = Explanation()
    what = f"byte {sent.number} was sent as {_named(sent.value)}"
    if not shown:
        text = f"{what} and is not shown"
    elif len(shown) == 1:
        text = f"{what} and is shown as {_named(shown[0][1])}"
    else:
        listed = ", ".join(_named(byte) for _, byte in shown[:3])
        text = f"{what} and is shown as {len(shown)} characters, {listed}"
    return ShownDifference(sent.end, sent.access, text, explanation)


def _named(value: int) -> str:
    return f"{value:#04x} {chr(value)!r}"
