"""The results of a check: the state of each rule, and the cycles that show a breach."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from busbox.bus.wishbone.rules import Sample
from busbox.map.registers import show_lanes

State = Literal["held", "broken", "not exercised"]


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
        return [
            "cycle  RST CYC STB WE        ADR  SEL write data   read data  ACK ERR",
            _signals(self.number - 1, self.before),
            _signals(self.number, self.sample),
        ]


def _signals(number: int, sample: Sample) -> str:
    one = sample
    return (
        f"{number:>5}   {one.rst}   {one.cyc}   {one.stb}   {one.we} {one.adr:>#10x} "
        f"{show_lanes(one.sel)} {one.write_data:#010x}  {one.read_data:#010x}   {one.ack}   {one.err}"
    )


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
