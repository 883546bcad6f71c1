"""What judging adds to a recording: findings of the rules, verdicts on expectations."""

from __future__ import annotations

from dataclasses import dataclass

from busbox.basics.listing import counted
from busbox.basics.units import show_time
from busbox.plugins import as_html


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
    doubtful : whether it lies after the end of what is certain (:class:`Certainty`)
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
    doubtful: bool = False

    def _repr_html_(self) -> str:
        return as_html(self)


@dataclass(frozen=True)
class Certainty:
    """How far a run can be trusted to be what the firmware would do.

    Recorded traffic is what firmware did once. The first read whose word is not the recorded one, in a
    byte that the access selects, is where the firmware might have gone another way: what comes later
    is not certain. A poll is no such read: it waits for its word, as the firmware would.

    Attributes
    ----------
    traffic : ``executed`` by a core, ``decided`` by a function while it runs (both see the words that
        the devices give), or ``listed``: steps from a file or a list
    compared : the number of reads that carry a recorded word
    vouched : the number of reads that differ, and are harmless by the bench (``harmless``)
    cycle : the last cycle that is certain, in which the read ended; -1 if all are
    access : the number of that read, -1 if there is none
    differs : what was read and what was recorded, such as
        ``telegraph.STATUS read 0x2, recorded 0x3``; "" if nothing differs
    """

    traffic: str
    compared: int = 0
    vouched: int = 0
    cycle: int = -1
    access: int = -1
    differs: str = ""

    @property
    def doubt(self) -> bool:
        """Whether anything of the run is not certain."""
        return self.cycle >= 0

    def covers(self, cycle: int) -> bool:
        """Return whether what happened in a cycle is certain."""
        return self.cycle < 0 or cycle <= self.cycle

    def text(self, clock_hz: int) -> str:
        """Return the answer as a sentence without its full stop, for people."""
        if self.traffic == "executed":
            return "certain throughout: the firmware is executed"
        if self.traffic == "decided":
            return "certain throughout: a function decides each step while it runs"
        more = f"; harmless differences: {self.vouched:,}" if self.vouched else ""
        if self.cycle >= 0:
            when = show_time(self.cycle, clock_hz)
            return f"certain until {when}, access {self.access:,}: {self.differs}{more}"
        if not self.compared:
            return "certain throughout: the steps hold no recorded words"
        reads = counted(self.compared, "read")
        return f"certain throughout: every word is the recorded one ({reads}){more}"


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
