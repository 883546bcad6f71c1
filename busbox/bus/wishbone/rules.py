"""The rule checker: looks at the trace of one port and names every bus rule that it breaks.

A trace is one :class:`Row` for each rising clock edge, the signals as they stand just before it.
:class:`RuleChecker` takes the rows one by one while a run goes on, :func:`check_trace` takes a
whole trace. Source of all rules: Wishbone B4, OpenCores, 2010; each one in :data:`RULES` names its
place there. Plain Python, so that any recording can be checked without the hardware.

How the rules are read
======================

Request
    A row with CYC and STB. In standard mode it waits until a row with a terminator (ACK, ERR or
    RTY); in pipelined mode it is accepted in the first row without STALL, and open until its
    terminator, which may come in the row of the acceptance (section 5.2.1).
Reset
    The rows after a row with RST, the first one with RST low among them, are *at rest*: only 3.00
    and 3.20 are looked at there. RST cuts off what is going on: from the row in which it rises
    nothing has to wait, stay or be answered any more. The row before the first one of a trace
    counts as idle with RST low; to have the first row at rest, hand in a row with RST before it.
Terminator without a request
    One that was called for and has not fallen since breaks 3.50 (standard mode), a stalled request
    that is answered breaks 3.57 (pipelined), any other 3.35. A port whose ACK is tied high
    (permission 3.35) can therefore not be checked.
Group
    The rows of a block or of a read-modify-write carry ``lock`` = 1, from the first one with CYC
    to the one of the last terminator: without that mark nothing tells a group from single
    accesses. A group that only reads or only writes is a block; a group that does both is a
    read-modify-write. An access that ended in RTY does not count (pipelined mode cannot tell).
Cut off by the interconnect
    Where a watchdog ends an access in the place of a device, the row of the device's port is to
    carry that ERR too, or it looks as if STB had been given up.

Rules that no trace can show
============================
They are tested instead by driving, in the tests of fabric and master: 3.05 and 3.10 (RST of one
clock at any moment), 2.30 (signals are active high), 3.30 (a device without CYC reacts to nothing),
3.55 (a master works with ACK tied high), 3.65 (read data means something only with a terminator)
and chapter 8 (SEL names lanes and selects no device).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

from busbox.map.registers import show_lanes

#: Breaches of one rule that a checker keeps; it counts those beyond too.
KEPT = 1000

Mode = Literal["standard", "pipelined"]


@dataclass(frozen=True, slots=True)
class Row:
    """The signals of one port just before a rising clock edge.

    Attributes
    ----------
    rst, cyc, stb, we : 0 or 1
    adr : word address, from 0
    sel : lanes, bit k = SEL(k) = byte k of the word (Wishbone B4, rule 3.100)
    write_data, read_data : word to the device and word from it
    ack, err, rty : the terminators, 0 or 1
    stall : 0 or 1; has no meaning in standard mode
    lock : 1 in every row of a block or read-modify-write group, else 0
    """

    rst: int
    cyc: int
    stb: int
    we: int
    adr: int
    sel: int
    write_data: int
    read_data: int
    ack: int
    err: int
    rty: int = 0
    stall: int = 0
    lock: int = 0

    def __str__(self) -> str:
        return (
            f"RST {self.rst} CYC {self.cyc} STB {self.stb} WE {self.we} ADR {self.adr:#x} "
            f"SEL {show_lanes(self.sel)} write data {self.write_data:#010x} "
            f"read data {self.read_data:#010x} ACK {self.ack} ERR {self.err} RTY {self.rty} "
            f"STALL {self.stall} LOCK {self.lock}"
        )


@dataclass(frozen=True)
class Rule:
    """One rule of the bus that a trace can show to be broken.

    Attributes
    ----------
    id : number of the rule, or of the section where the standard gives it none
    text : one sentence with its source
    applies : ``checker only`` for what a master of single cycles cannot exercise
    """

    id: str
    text: str
    applies: Literal["every port", "checker only"] = "every port"


#: Every rule that is checked.
RULES = (
    Rule(
        "3.00",
        "no terminator is up from the edge after RST rises until the edge after it falls "
        "(Wishbone B4, rules 3.00 and 3.15)",
    ),
    Rule(
        "3.20",
        "STB and CYC are 0 from the edge after RST rises until the edge after it falls "
        "(Wishbone B4, rule 3.20)",
    ),
    Rule("3.25", "CYC is up in every row in which STB is up (Wishbone B4, rule 3.25)"),
    Rule(
        "3.35",
        "a terminator comes only from a request, which is CYC and STB together "
        "(Wishbone B4, rule 3.35 and observation 3.25)",
    ),
    Rule("3.45", "at most one of ACK, ERR and RTY is up in a row (Wishbone B4, rule 3.45)"),
    Rule("3.50", "in standard mode a terminator falls with STB (Wishbone B4, rule 3.50)"),
    Rule(
        "3.60",
        "ADR, WE, SEL and in a write the write data do not change while STB waits "
        "(Wishbone B4, rule 3.60)",
    ),
    Rule("3.1.3.1", "STB stays up until a terminator (Wishbone B4, section 3.1.3.1)"),
    Rule(
        "3.57",
        "a request is accepted in a row with CYC and STB and not STALL, and not answered before "
        "(Wishbone B4, rules 3.57 and 3.58)",
        "checker only",
    ),
    Rule(
        "3.1.3.2",
        "a stalled request is repeated until it is accepted, each accepted request gets its "
        "terminator, and CYC stays up until the last of them (Wishbone B4, section 3.1.3.2)",
        "checker only",
    ),
    Rule(
        "3.80",
        "CYC does not fall inside a block or read-modify-write group "
        "(Wishbone B4, rules 3.80, 3.85 and 3.25)",
        "checker only",
    ),
    Rule(
        "3.85",
        "a group that reads and writes is one read and then one write (Wishbone B4, rule 3.85)",
        "checker only",
    ),
)

_TEXTS = {rule.id: rule.text for rule in RULES}

_IDLE = Row(0, 0, 0, 0, 0, 0, 0, 0, 0, 0)

#: What a group has become: its shape so far and the WE of one more access; all else breaks 3.85.
_SHAPES = {
    ("", 0): "read",
    ("", 1): "writes",
    ("read", 0): "reads",
    ("read", 1): "read, write",
    ("reads", 0): "reads",
    ("writes", 1): "writes",
}
_BROKEN = "broken"


@dataclass(frozen=True)
class Breach:
    """One rule broken in one row.

    Attributes
    ----------
    rule : id of the rule, see :data:`RULES`
    row : number of the row
    text : the port, what was seen, what the rule demands, and the signals of the row
    """

    rule: str
    row: int
    text: str


class RuleChecker:
    """Checks the rows of one port against :data:`RULES`.

    Parameters
    ----------
    port : name of the port, for the texts
    mode : ``standard`` or ``pipelined`` (Wishbone B4, sections 3.1.3.1 and 3.1.3.2)
    first_row : number of the first row that will be handed in

    Attributes
    ----------
    breaches : what was found so far, in the order of the rows; at most :data:`KEPT` of each rule
    counts : rule id to the number of all its breaches; a rule that held is not in it
    """

    def __init__(self, port: str, mode: Mode = "standard", first_row: int = 0) -> None:
        if mode not in ("standard", "pipelined"):
            raise ValueError(f"mode must be standard or pipelined, not {mode!r}")
        self.port = port
        self.mode = mode
        self.breaches: list[Breach] = []
        self.counts: dict[str, int] = {}
        self._number = first_row - 1
        self._last = _IDLE
        self._up = False  # anything was up in the last row
        self._waiting = False  # a request of the last row has to be there in this one again
        self._called = False  # standard: a request of the last row, or a terminator from one
        self._open = 0  # pipelined: accepted requests without a terminator
        self._shape = ""  # of the group that goes on; see _SHAPES
        self._found: list[Breach] = []

    def row(self, row: Row) -> tuple[Breach, ...]:
        """Check the next row and return what it breaks; to be called once for each clock."""
        self._number += 1
        terminated = row.ack or row.err or row.rty
        up = bool(row.cyc or row.stb or terminated or row.rst or row.lock)
        if not up and not self._up:
            return ()
        self._up = up
        if self._last.rst:
            self._at_rest(row)
        else:
            self._in_use(row, bool(terminated))
        self._last = row
        return self._taken()

    def finish(self) -> tuple[Breach, ...]:
        """Say that a complete trace has ended, and return what is missing.

        Only pipelined mode owes anything: terminators of accepted requests. Not to be called for a
        trace that was cut short.
        """
        if self._open:
            self._report("3.1.3.2", self._last, f"{self._open} accepted requests open at the end")
        self._open = 0
        return self._taken()

    def _taken(self) -> tuple[Breach, ...]:
        """Return what was found since the last call."""
        if not self._found:
            return ()
        found = tuple(self._found)
        self._found.clear()
        return found

    def _report(self, rule: str, row: Row, seen: str) -> None:
        """Count a breach of ``rule`` and keep it if there are not too many."""
        text = f"{self.port}: {seen}; {_TEXTS[rule]}. Row {self._number}: {row}"
        breach = Breach(rule, self._number, text)
        self._found.append(breach)
        self.counts[rule] = self.counts.get(rule, 0) + 1
        if self.counts[rule] <= KEPT:
            self.breaches.append(breach)

    def _at_rest(self, row: Row) -> None:
        """Check a row after one with RST (rules 3.00, 3.15 and 3.20)."""
        if row.cyc or row.stb:
            self._report("3.20", row, f"{_raised(row, 'cyc', 'stb')} up in reset")
        if row.ack or row.err or row.rty:
            self._report("3.00", row, f"{_raised(row, 'ack', 'err', 'rty')} up in reset")

    def _in_use(self, row: Row, terminated: bool) -> None:
        """Check a row after one without RST."""
        request = bool(row.cyc and row.stb)
        if row.stb and not row.cyc:
            self._report("3.25", row, "STB up without CYC")
        if row.ack + row.err + row.rty > 1:
            self._report("3.45", row, f"{_raised(row, 'ack', 'err', 'rty')} up together")
        if self.mode == "standard":
            self._standard(row, request, terminated)
        else:
            self._pipelined(row, request, terminated)
        if row.lock or self._shape:
            self._group(row, request)
        if row.rst:
            self._waiting = self._called = False
            self._open = 0

    def _standard(self, row: Row, request: bool, terminated: bool) -> None:
        """Check standard mode: STB against terminators (section 3.1.3.1, rules 3.35 to 3.60)."""
        if self._waiting and not row.rst:
            if row.stb:
                self._stable(row)
            else:
                self._report("3.1.3.1", row, "STB fell before a terminator")
        if terminated and not request:
            names = _raised(row, "ack", "err", "rty")
            if self._called and not row.stb:
                self._report("3.50", row, f"{names} up although STB fell")
            else:
                self._report("3.35", row, f"{names} up without a request")
        self._waiting = request and not terminated
        self._called = request or (terminated and self._called)

    def _pipelined(self, row: Row, request: bool, terminated: bool) -> None:
        """Check pipelined mode: requests against terminators (section 3.1.3.2, rule 3.57)."""
        if not row.rst:
            if self._open and not row.cyc:
                self._report("3.1.3.2", row, f"CYC fell with {self._open} accepted requests open")
            elif self._waiting and not row.stb:
                self._report("3.1.3.2", row, "STB fell although the request was stalled")
            elif self._waiting:
                self._stable(row)
        unanswered = self._open + (request and not row.stall)
        if terminated and not unanswered:
            names = _raised(row, "ack", "err", "rty")
            if request:
                self._report("3.57", row, f"{names} up for a request that is stalled")
            else:
                self._report("3.35", row, f"{names} up with no accepted request open")
        self._open = max(unanswered - terminated, 0) if row.cyc else 0
        self._waiting = request and bool(row.stall)

    def _stable(self, row: Row) -> None:
        """Check that a request that waits is the one of the last row (rule 3.60)."""
        last = self._last
        before = (last.adr, last.we, last.sel, last.write_data if last.we else 0)
        after = (row.adr, row.we, row.sel, row.write_data if last.we else 0)
        if before != after:
            changed = [
                f"{name} from {old:#x} to {new:#x}"
                for name, old, new in zip(
                    ("ADR", "WE", "SEL", "write data"), before, after, strict=True
                )
                if old != new
            ]
            self._report("3.60", row, f"{' and '.join(changed)} while STB waited")

    def _group(self, row: Row, request: bool) -> None:
        """Check a row of a group, which ``lock`` marks (rules 3.80 and 3.85)."""
        if row.rst or not row.lock:
            self._shape = ""
            return
        if self._last.lock and self._last.cyc and not row.cyc:
            self._report("3.80", row, "CYC fell inside a group")
        done = not row.stall if self.mode == "pipelined" else row.ack or row.err
        if request and done:
            before = self._shape
            self._shape = _SHAPES.get((before, row.we), _BROKEN)
            if self._shape == _BROKEN and before != _BROKEN:
                access = "write" if row.we else "read"
                self._report("3.85", row, f"a {access} in a group that was so far: {before}")


def _raised(row: Row, *names: str) -> str:
    """Return those of the signals that are up, as the standard spells them: ``ACK and ERR``."""
    return " and ".join(name.upper() for name in names if getattr(row, name))


def check_trace(rows: Iterable[Row], mode: Mode = "standard") -> list[Breach]:
    """Return what a complete trace of one port breaks, in the order of its rows from 0 on."""
    checker = RuleChecker("trace", mode)
    found = [breach for row in rows for breach in checker.row(row)]
    return [*found, *checker.finish()]
