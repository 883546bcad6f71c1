"""The frames that a device sent, against those that the lamps show."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from typing import TYPE_CHECKING

from busbox.findings.colour_order import exchange_of
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
    from busbox.recording import Frame

#: (tick of the first edge, tick from which the lamps show it, colours).
Shown = tuple[int, int, tuple[int, ...]]
#: How many lamps a message lists.
LISTED = 8


def frame_difference(
    facts: RunFacts, decoded: DecodedLine, sender: Sender
) -> ShownDifference | None:
    """Return the first frame that the lamps show differently from how it was sent, or None.

    A shown frame belongs to the last frame that was sent by the cycle in which it begins. Lamps beyond
    the string are not compared.
    """
    if decoded.report.frames is None or exchange_of(facts, decoded) is not None:
        return None
    return _Frames(facts, decoded, sender).first()


class _Frames:
    """The comparison for one attachment."""

    def __init__(self, facts: RunFacts, decoded: DecodedLine, sender: Sender) -> None:
        self.facts, self.decoded, self.device = facts, decoded, sender.device.name
        frames = facts.recording.frames.get(self.device, [])
        self.sent = [frame for frame in frames if frame.colours]
        count = decoded.attached.part.options.get("count")
        self.count: int | None = count if isinstance(count, int) else None
        self.shown = self._grouped(decoded.report.frames or ())

    def _grouped(self, shown: Sequence[Shown]) -> list[list[Shown]]:
        """Return, for each frame that was sent, those that are shown of it."""
        begins = [frame.cycle for frame in self.sent]
        groups: list[list[Shown]] = [[] for _ in self.sent]
        for one in shown:
            number = bisect_right(begins, one[0]) - 1
            if number >= 0:
                groups[number].append(one)
        return groups

    def first(self) -> ShownDifference | None:
        for number in range(len(self.sent)):
            if not self._same(number, self.shown[number]):
                difference = self._difference(number)
                if difference is not None:
                    return difference
        return None

    def _same(self, number: int, shown: Sequence[Shown]) -> bool:
        """Return whether a frame is shown once, with the colours that were sent."""
        if len(shown) != 1:
            return False
        colours, sent = shown[0][2], self.sent[number].colours
        wanted = len(sent) if self.count is None else min(len(sent), self.count)
        if self.count is None:
            wanted = min(wanted, len(colours))
        return len(colours) == wanted and colours == sent[:wanted]

    def _difference(self, number: int) -> ShownDifference | None:
        """Return what is different in a frame; None if it was cut off or another finding says it."""
        frame, shown = self.sent[number], self.shown[number]
        last = number + 1 == len(self.sent)
        end = self.facts.recording.cycles - 1 if last else self.sent[number + 1].cycle
        until = max((one[1] for one in shown), default=end)
        if reset_within(self.facts, frame.cycle, until):
            return None
        if not shown and last:
            return self._at_rest(number)
        if len(shown) != 1:
            if reported_within(self.decoded, self.sent[max(0, number - 1)].cycle, end):
                return None
            return self._wrong_number(number, shown, until)
        begin, cycle, colours = shown[0]
        if len(colours) > len(frame.colours) and reported_within(self.decoded, frame.cycle, cycle):
            return None
        explanation = self.decoded.explain(begin, frame.colours)
        if explanation is None:
            return None
        text = self._colours(number, frame, colours)
        return ShownDifference(cycle, frame.access, text, explanation)

    def _at_rest(self, number: int) -> ShownDifference | None:
        """Return what is different in the last frame once its latch gap is over."""
        resting = at_rest(self.facts, self.decoded)
        frame, cycles = self.sent[number], self.facts.recording.cycles
        if resting is None:
            return None
        shown = self._grouped(resting.report.frames or ())[number]
        line = self.decoded.line.cycles
        if not shown:
            if (line >= frame.cycle).any() or reported_within(self.decoded, frame.cycle, cycles):
                return None
            return self._wrong_number(number, shown, cycles - 1)
        begin, _, colours = shown[0]
        cut = colours == frame.colours[: len(colours)]
        if len(shown) > 1 or cut or reported_within(self.decoded, frame.cycle, cycles):
            return None
        explanation = resting.explain(begin, frame.colours)
        if explanation is None:
            return None
        text = self._colours(number, frame, colours)
        return ShownDifference(cycles - 1, frame.access, text, explanation)

    def _wrong_number(self, number: int, shown: Sequence[Shown], cycle: int) -> ShownDifference:
        """Return a difference for a frame that is not shown, or shown in parts."""
        frame = self.sent[number]
        what = f"frame {number}, sent by {self.device} as {_listed(frame.colours)}"
        if shown:
            parts = ", then ".join(_listed(colours) for _, _, colours in shown[:2])
            text = f"{what}, is shown as {len(shown)} frames, {parts}"
        elif (self.decoded.line.cycles == frame.cycle).any():
            text = f"{what}, is not shown: the lamps treat it as part of the frame before"
        else:
            text = f"{what}, is not shown: the line does not change in cycle {frame.cycle:,}, its first"
        return ShownDifference(min(cycle, self.facts.recording.cycles - 1), frame.access, text)

    def _colours(self, number: int, frame: Frame, colours: Sequence[int]) -> str:
        """Return the colours sent and shown, from the first lamp that differs on."""
        pairs = zip(colours, frame.colours, strict=False)
        lamp = next((place for place, (one, other) in enumerate(pairs) if one != other), None)
        what = f"frame {number} was sent by {self.device} as {_listed(frame.colours)}"
        if lamp is None or lamp < LISTED:
            return f"{what} and is shown as {_listed(colours)}"
        return (
            f"lamp {lamp} of frame {number} was sent by {self.device} as {frame.colours[lamp]:06x} "
            f"and is shown as {colours[lamp]:06x}"
        )


def _listed(colours: Sequence[int]) -> str:
    """Return colours as text."""
    if not colours:
        return "no lamp"
    more = f" and {len(colours) - LISTED} more" if len(colours) > LISTED else ""
    return " ".join(f"{colour:06x}" for colour in colours[:LISTED]) + more
