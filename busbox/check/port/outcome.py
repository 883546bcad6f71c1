"""The results of a check: the state of each rule, and the cycles that show a breach."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from busbox.bus.wishbone.rules import Sample
from busbox.map.registers import show_lanes

State = Literal["held", "broken", "not exercised"]

#: What an excerpt shows of a cycle: its number, and signals as the standard names them.
SIGNALS = (
    "cycle", "RST", "CYC", "STB", "WE", "ADR", "SEL", "write data", "read data", "ACK", "ERR",
)  # fmt: skip


@dataclass(frozen=True)
class Excerpt:
    """The first breach of a rule.

    Attributes
    ----------
    part : in which part of the check it was seen; each part counts its cycles from 0
    number : the cycle in that part
    seen : what was seen
    before, sample : signals of the cycle before and of the cycle itself
    """

    part: str
    number: int
    seen: str
    before: Sample
    sample: Sample

    def lines(self) -> list[str]:
        """Return the two cycles as a table: signals as the standard names them."""
        head = "cycle  RST CYC STB WE        ADR  SEL write data   read data  ACK ERR"
        line = "{:>5}   {}   {}   {}   {} {:>10} {} {}  {}   {}   {}"
        return [head, *(line.format(*row) for row in self.rows())]

    def rows(self) -> list[tuple[object, ...]]:
        """Return the signals of the two cycles, in the order of :data:`SIGNALS`."""
        return [_signals(self.number - 1, self.before), _signals(self.number, self.sample)]


def _signals(number: int, sample: Sample) -> tuple[object, ...]:
    one = sample
    return (
        number, one.rst, one.cyc, one.stb, one.we, f"{one.adr:#x}", show_lanes(one.sel),
        f"{one.write_data:#010x}", f"{one.read_data:#010x}", one.ack, one.err,
    )  # fmt: skip


@dataclass(frozen=True)
class Outcome:
    """The outcome of one rule.

    Attributes
    ----------
    rule : its id: of :data:`busbox.bus.wishbone.rules.RULES`, or a word of ``OWN``
    text : what it demands, in one sentence
    state : ``held``, ``broken`` or ``not exercised``
    times : how often it was exercised
    breaches : how often it was broken
    note : what was counted, or why nothing was counted
    evidence : the first breach
    """

    rule: str
    text: str
    state: State
    times: int
    breaches: int
    note: str
    evidence: Excerpt | None = None

    @classmethod
    def of(
        cls,
        rule: str,
        text: str,
        times: int,
        unit: str,
        without: str,
        evidence: Excerpt | None = None,
        breaches: int = 0,
    ) -> Outcome:
        """Return the outcome of a rule that was exercised ``times`` times, counted in ``unit``.

        ``without`` says why it was not, if it was not.
        """
        if evidence is not None:
            return cls(rule, text, "broken", times, breaches, unit, evidence)
        if not times:
            return cls(rule, text, "not exercised", 0, 0, without)
        return cls(rule, text, "held", times, 0, unit)
