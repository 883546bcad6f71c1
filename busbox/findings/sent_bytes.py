"""The bytes that a device sent, against the characters that a terminal shows."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from busbox.board.attachment import Explanation
from busbox.findings.sent import (
    ShownDifference,
    at_rest,
    reported_within,
    reset_within,
)

if TYPE_CHECKING:
    from busbox.board.decoding import DecodedLine
    from busbox.findings.rule import RunFacts
    from busbox.findings.senders import Sender

#: (tick of the start edge, value).
Shown = tuple[int, int]


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
        if [one for _, one in mine] == [value]:
            cut = False
            continue
        if cut or reported_within(decoded, before + 1, end):
            continue
        access = int(sent.accesses[number])
        last = number + 1 == len(ends)
        difference = _difference(facts, decoded, (number, end, value, access), mine, last)
        if difference is not None:
            return difference
    return None


def _difference(
    facts: RunFacts,
    decoded: DecodedLine,
    sent: tuple[int, int, int, int],
    shown: Sequence[Shown],
    last: bool,
) -> ShownDifference | None:
    number, end, value, access = sent
    if not shown and last and not _missed(facts, decoded, end):
        return None
    explanation: Explanation | None = Explanation()
    if shown:
        explanation = decoded.explain(shown[0][0], value)
    elif decoded.explain(-1, value) is None:
        return None
    if explanation is None:
        return None
    what = f"byte {number} was sent as {_named(value)}"
    if not shown:
        text = f"{what} and is not shown"
    elif len(shown) == 1:
        text = f"{what} and is shown as {_named(shown[0][1])}"
    else:
        listed = ", ".join(_named(one) for _, one in shown[:3])
        text = f"{what} and is shown as {len(shown)} characters, {listed}"
    return ShownDifference(end, access, text, explanation)


def _missed(facts: RunFacts, decoded: DecodedLine, end: int) -> bool:
    """Return whether the last byte will not be shown if the line stays at rest after it."""
    resting = at_rest(facts, decoded)
    if resting is None:
        return False
    begun = len(decoded.report.characters)
    return not any(start <= end for start, _ in resting.report.characters[begun:])


def _named(value: int) -> str:
    return f"{value:#04x} {chr(value)!r}"
