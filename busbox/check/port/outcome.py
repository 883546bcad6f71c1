"""The results of a check: the state of each rule, and the cycles that show a breach."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from busbox.bus.wishbone.rules import Sample
from busbox.map.registers import show_lanes

State = Literal["held", "broken", "not followed", "not exercised"]

#: What an excerpt shows of a port of another kind; of AXI4-Lite, by the first letters of the message.
_SHOWN = {
    "apb": ("psel", "penable", "pwrite", "paddr", "pready", "pslverr", "prdata"),
    "strobes": ("select", "write", "read", "address", "write_data", "read_data", "ready", "error"),
    "wishbone": (
        "cyc", "stb", "we", "adr", "sel", "write_data", "read_data", "ack", "err", "stall",
    ),
    "axi4-lite": ("arvalid", "arready", "rvalid", "rready", "rdata", "rresp"),
}  # fmt: skip
_AXI_WRITE = ("awvalid", "awready", "wvalid", "wready", "bvalid", "bready", "bresp")
#: Roles that are shown in hexadecimal.
_WIDE = ("paddr", "address", "adr", "prdata", "read_data", "write_data", "rdata")


@dataclass(frozen=True)
class Signals:
    """The signals of a port of another kind in a cycle: names to texts, in the order of a table."""

    cells: Mapping[str, str]

    @classmethod
    def of(cls, kind: str, levels: Mapping[str, int], seen: str) -> Signals:
        """Return what is to be shown of a cycle in which ``seen`` happened."""
        names = _SHOWN[kind]
        if kind == "axi4-lite" and seen.startswith(("AW", "W", "B")):
            names = _AXI_WRITE
        cells = {"RST": str(levels["rst"])}
        for name in names:
            if name in levels:
                level = levels[name]
                cells[name.upper()] = f"{level:#x}" if name in _WIDE else str(level)
        return cls(cells)


def _cells(sample: Sample | Signals) -> Mapping[str, str]:
    if isinstance(sample, Signals):
        return sample.cells
    one = sample
    return {
        "RST": str(one.rst), "CYC": str(one.cyc), "STB": str(one.stb), "WE": str(one.we),
        "ADR": f"{one.adr:#x}", "SEL": show_lanes(one.sel),
        "write data": f"{one.write_data:#010x}", "read data": f"{one.read_data:#010x}",
        "ACK": str(one.ack), "ERR": str(one.err),
    }  # fmt: skip


@dataclass(frozen=True)
class Excerpt:
    """The first breach of a rule.

    Attributes
    ----------
    part : in which part of the check it was seen; each part counts its cycles from 0
    number : the cycle in that part; None for what is proved without a run
    seen : what was seen
    before, sample : signals of the cycle before and of the cycle itself
    """

    part: str
    number: int | None
    seen: str
    before: Sample | Signals | None = None
    sample: Sample | Signals | None = None

    @property
    def place(self) -> str:
        """Where it was seen."""
        if self.number is None:
            return f"In the {self.part}"
        return f"Cycle {self.number:,} of the {self.part}"

    @property
    def head(self) -> tuple[str, ...]:
        """What is shown of a cycle: its number, and signals as the standard names them."""
        return ("cycle", *_cells(self.sample)) if self.sample is not None else ()

    def rows(self) -> list[tuple[str, ...]]:
        """Return the two cycles, in the order of :attr:`head`; none without a run."""
        if self.number is None or self.before is None or self.sample is None:
            return []
        shown, before = _cells(self.sample), _cells(self.before)
        return [
            (str(self.number - 1), *(before.get(name, "") for name in shown)),
            (str(self.number), *shown.values()),
        ]

    def lines(self) -> list[str]:
        """Return the two cycles as a table of text."""
        table = [row for row in (self.head, *self.rows()) if row]
        widths = [max(map(len, column)) for column in zip(*table, strict=True)]
        return ["  ".join(map(str.center, row, widths)).rstrip() for row in table]


@dataclass(frozen=True)
class Outcome:
    """The outcome of one rule.

    Attributes
    ----------
    rule : its id: that of a rule of the standard, or a word of ``OWN``
    text : what it demands, in one sentence
    state : ``held``, ``broken``, ``not followed`` (what the standard only recommends) or
        ``not exercised``
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
        binding: bool = True,
    ) -> Outcome:
        """Return the outcome of a rule that was exercised ``times`` times, counted in ``unit``.

        ``without`` says why it was not, if it was not; ``binding`` is false for a recommendation.
        """
        if evidence is not None:
            state: State = "broken" if binding else "not followed"
            return cls(rule, text, state, times, breaches, unit, evidence)
        if not times:
            return cls(rule, text, "not exercised", 0, 0, without)
        return cls(rule, text, "held", times, 0, unit)
