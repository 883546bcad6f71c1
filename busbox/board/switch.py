"""A switch on an input pin, whose contact may bounce."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction

from busbox.basics.units import Span, parse_span
from busbox.board.attachment import Driver
from busbox.device import Setting


class Switch(Driver):
    """A switch that changes at given times; its contact may bounce after each change.

    Timing
    ------
    The pin has ``level`` from cycle 0 on, and the other level after each of ``turns``. With ``bounces``
    N and ``bounce`` B, the contact opens and closes N more times before it settles: it changes at
    t + k B / (2 N) for k = 0 to 2 N, each rounded up to a cycle. Real contacts bounce for some
    milliseconds, without any pattern (common practice, no source): this one is regular, so that
    every run is the same.
    """

    settings = (
        Setting("turns", (), kind="times", text="When it changes: a list of times.", unit="cycles"),
        Setting("level", 0, high=1, text="Level before the first change."),
        Setting(
            "bounce",
            0,
            kind="time",
            text="How long the contact bounces after a change.",
            unit="cycles",
        ),
        Setting("bounces", 4, low=1, high=1000, text="How often it bounces in that time."),
    )

    def drive(self) -> Iterator[tuple[int, int]]:
        """Yield the levels.

        Raises
        ------
        ValueError : two changes would fall into one cycle, or turns are not in order
        """
        level = self.options["level"]
        yield 0, level
        last = 0
        for turn in self.options["turns"]:
            for number, cycle in enumerate(self._changes(parse_span(turn))):
                if cycle <= last:
                    raise ValueError(self._clash(number, cycle, last))
                level, last = 1 - level, cycle
                yield cycle, level

    @staticmethod
    def _clash(number: int, cycle: int, last: int) -> str:
        """Return what is wrong with a change that is not after the last one."""
        if number:
            return (
                f"bounce must leave at least one cycle between changes of the contact; two fall into "
                f"cycle {cycle}"
            )
        if not last:
            return "turns must be in cycle 1 or later, not 0"
        return (
            f"turns must come in order, each after the bouncing of the one before (until cycle "
            f"{last}), not in cycle {cycle}"
        )

    def _changes(self, turn: Span) -> Iterator[int]:
        """Yield the cycles in which the contact changes because of one turn."""
        bounce, count = parse_span(self.options["bounce"]), self.options["bounces"]
        if not bounce.in_cycles(self.board.clock_hz):
            yield turn.in_cycles(self.board.clock_hz)
            return
        start, length = self._cycles(turn), self._cycles(bounce)
        for number in range(2 * count + 1):
            yield -(-(start + number * length / (2 * count)) // 1)

    def _cycles(self, span: Span) -> Fraction:
        """Return a span in cycles, exact."""
        if span.cycles is not None:
            return Fraction(span.cycles)
        assert span.seconds is not None
        return span.seconds * self.board.clock_hz
