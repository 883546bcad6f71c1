"""What a reader of imported traffic should know: what was counted, changed or left out."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

from busbox.basics.listing import counted


@dataclass
class Notes:
    """Counts of what is told once, when a file has been read.

    Attributes
    ----------
    show : returns a time of the file as text
    """

    show: Callable[[int], str] = str
    outside: int = 0
    given_up: int = 0
    retried: int = 0
    cut_off: int = 0
    open_at_end: int = 0
    unfinished: int = 0
    overlapping: int = 0
    rounded: int = 0
    moments: int = 0
    clock: str = ""
    in_first_cycle: bool = False
    resets: list[str] = field(default_factory=list)
    _periods: list[str] = field(default_factory=list)
    _stopped: str = ""
    _more_periods: int = 0
    _more_resets: int = 0

    def period(self, time: int, old: int, new: int) -> None:
        """Note that a period of the clock is another one, from an edge on."""
        if self._periods:
            self._more_periods += 1
        elif new >= 4 * old:
            self._periods.append(
                f"the clock stops at {self.show(time)} and goes on at {self.show(time + new)}"
            )
        else:
            self._periods.append(
                f"the period of the clock changes from {self.show(old)} to {self.show(new)} at "
                f"{self.show(time)}"
            )

    def stopped(self, time: int, last: int) -> None:
        """Note that the clock stops before the end."""
        self._stopped = f"the clock stops at {self.show(time)}; the file ends at {self.show(last)}"

    def reset(self, time: int, cycles: int) -> None:
        """Note a reset after the first cycle."""
        if self.resets:
            self._more_resets += 1
        else:
            length = counted(cycles, "cycle")
            self.resets.append(f"the reset at {self.show(time)} ({length}) counts as idle time")

    def texts(self) -> tuple[str, ...]:
        """Return one sentence for each thing to know."""
        said = [_with_more(text, self._more_periods) for text in self._periods]
        said += [self._stopped] if self._stopped else []
        said += [_with_more(text, self._more_resets) for text in self.resets]
        accesses = "access", "accesses"
        for count, text in (
            (self.outside, "outside the slots of the bench became idle time"),
            (self.given_up, "given up by the master left out"),
            (self.cut_off, "cut off by a reset left out"),
            (self.retried, "ended by RTY left out"),
            (self.unfinished, "without a beginning or an end in the file left out"),
            (
                self.open_at_end,
                "still open at the end of the file, played without a word to compare",
            ),
            (self.overlapping, "began before the one before ended: played one after the other"),
        ):
            if count:
                said.append(f"{counted(count, *accesses)} {text}")
        if self.in_first_cycle:
            said.append("the first access began in cycle 0: it is played in cycle 1")
        if self.rounded:
            times = counted(self.moments, "time")
            said.append(
                f"{self.rounded:,} of {times} rounded up to the next whole cycle of {self.clock}"
            )
        return tuple(said)


def _with_more(text: str, more: int) -> str:
    return f"{text} (and {more:,} more like this)" if more else text
