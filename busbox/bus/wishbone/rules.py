"""The rule checker: it reads the trace of one port and reports every bus rule that the port breaks.

A trace is one :class:`Sample` for each rising clock edge, the signals as they are just before it.
:class:`RuleChecker` takes the cycles one by one while a run goes on, :func:`check_trace` takes a
whole trace. Source of all rules: Wishbone B4, OpenCores, 2010; each one in :data:`RULES` names its
place there. Plain Python, so that any recording can be checked without the hardware.

How the rules are read
======================

Request
    A cycle with CYC and STB. In standard mode it waits until a cycle with a terminator (ACK, ERR or
    RTY); in pipelined mode it is accepted in the first cycle without STALL, and open until its
    terminator, which may come in the cycle of the acceptance (section 5.2.1).
Reset
    The cycles after a cycle with RST, the first one with RST low among them, are *at rest*: only 3.00
    and 3.20 are checked there. RST cuts off whatever is in progress: from the cycle in which it
    rises, no request has to wait, stay or be answered. The cycle before the first one of a trace
    counts as idle with RST low; to have the first cycle at rest, hand in a cycle with RST before it.
Terminator without a request
    One that was called for and has not fallen since breaks 3.50 (standard mode), a stalled request
    that is answered breaks 3.57 (pipelined), any other 3.35. A port whose ACK is tied high
    (permission 3.35) can therefore not be checked.
Group
    The cycles of a block or of a read-modify-write carry ``lock`` = 1, from the first one with CYC
    to the one of the last terminator: without that mark a group cannot be distinguished from
    single accesses. A group that only reads or only writes is a block; a group that does both is a
    read-modify-write. An access that ended in RTY does not count (pipelined mode cannot tell).
Cut off by the interconnect
    Where a watchdog ends an access in the place of a device, the trace of the device's port must
    show that ERR too, or STB seems to fall before a terminator.

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

from busbox.bus.rule import Breach, Checker, Rule
from busbox.map.registers import show_lanes

Mode = Literal["standard", "pipelined"]


@dataclass(frozen=True, slots=True)
class Sample:
    """The signals of one port just before a rising clock edge.

    Attributes
    ----------
    rst, cyc, stb, we : 0 or 1
    adr : word address, from 0
    sel : lanes, bit k = SEL(k) = byte k of the word (Wishbone B4, rule 3.100)
    write_data, read_data : word to the device and word from it
    ack, err, rty : the terminators, 0 or 1
    stall : 0 or 1; has no meaning in standard mode
    lock : 1 in every cycle of a block or read-modify-write group, else 0
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


#: Every rule that is checked.
RULES = (
    Rule(
        "3.00",
        "no terminator is asserted from the edge after RST rises until the edge after it falls "
        "(Wishbone B4, rules 3.00 and 3.15)",
    ),
    Rule(
        "3.20",
        "STB and CYC are 0 from the edge after RST rises until the edge after it falls "
        "(Wishbone B4, rule 3.20)",
    ),
    Rule("3.25", "CYC is asserted in every cycle in which STB is (Wishbone B4, rule 3.25)"),
    Rule(
        "3.35",
        "a terminator comes only from a request, which is CYC and STB together "
        "(Wishbone B4, rule 3.35 and observation 3.25)",
    ),
    Rule("3.45", "at most one of ACK, ERR and RTY is asserted in a cycle (Wishbone B4, rule 3.45)"),
    Rule("3.50", "in standard mode a terminator falls with STB (Wishbone B4, rule 3.50)"),
    Rule(
        "3.60",
        "ADR, WE, SEL and in a write the write data do not change while STB waits "
        "(Wishbone B4, rule 3.60)",
    ),
    Rule("3.1.3.1", "STB stays asserted until a terminator (Wishbone B4, section 3.1.3.1)"),
    Rule(
        "3.57",
        "a request is accepted in a cycle with CYC and STB and not STALL, and not answered before "
        "(Wishbone B4, rules 3.57 and 3.58)",
        "checker only",
    ),
    Rule(
        "3.1.3.2",
        "a stalled request is repeated until it is accepted, each accepted request gets its "
        "terminator, and CYC stays asserted until the last of them (Wishbone B4, section 3.1.3.2)",
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

_IDLE = Sample(0, 0, 0, 0, 0, 0, 0, 0, 0, 0)

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


class RuleChecker(Checker):
    """Checks the cycles of one port against :data:`RULES`.

    Parameters
    ----------
    port : name of the port, for the texts
    mode : ``standard`` or ``pipelined`` (Wishbone B4, sections 3.1.3.1 and 3.1.3.2)
    first_cycle : number of the first cycle that will be handed in

    Attributes
    ----------
    breaches : the breaches so far, in order of cycle; at most
        :data:`busbox.bus.rule.KEPT` of each rule
    counts : rule id to the number of its breaches, for broken rules only
    """

    def __init__(self, port: str, mode: Mode = "standard", first_cycle: int = 0) -> None:
        if mode not in ("standard", "pipelined"):
            raise ValueError(f"mode must be standard or pipelined, not {mode!r}")
        super().__init__(port, RULES, first_cycle)
        self.mode = mode
        self._last = _IDLE
        self._active = False  # any signal was asserted in the last cycle
        self._waiting = False  # a request of the last cycle has to be there in this one again
        self._answerable = False  # standard: a request of the last cycle, or a terminator from one
        self._open = 0  # pipelined: accepted requests without a terminator
        self._shape = ""  # of the group that goes on; see _SHAPES

    def take(self, sample: Sample) -> tuple[Breach, ...]:
        """Check the next cycle and return its breaches; call it once per cycle."""
        self._cycle += 1
        terminated = sample.ack or sample.err or sample.rty
        active = bool(sample.cyc or sample.stb or terminated or sample.rst or sample.lock)
        if not active and not self._active:
            return ()
        self._active = active
        if self._last.rst:
            self._at_rest(sample)
        else:
            self._in_use(sample, bool(terminated))
        self._last = sample
        return self._taken()

    def finish(self) -> tuple[Breach, ...]:
        """End a complete trace, and return the breaches at its end.

        Only pipelined mode can have any: accepted requests without a terminator. Do not call it for a
        truncated trace.
        """
        if self._open:
            self._report("3.1.3.2", self._last, f"{self._open} accepted requests open at the end")
        self._open = 0
        return self._taken()

    def _at_rest(self, sample: Sample) -> None:
        """Check a cycle after one with RST (rules 3.00, 3.15 and 3.20)."""
        if sample.cyc or sample.stb:
            self._report("3.20", sample, f"{_raised(sample, 'cyc', 'stb')} asserted in reset")
        if sample.ack or sample.err or sample.rty:
            self._report(
                "3.00", sample, f"{_raised(sample, 'ack', 'err', 'rty')} asserted in reset"
            )

    def _in_use(self, sample: Sample, terminated: bool) -> None:
        """Check a cycle after one without RST."""
        request = bool(sample.cyc and sample.stb)
        if sample.stb and not sample.cyc:
            self._report("3.25", sample, "STB asserted without CYC")
        if sample.ack + sample.err + sample.rty > 1:
            self._report(
                "3.45", sample, f"{_raised(sample, 'ack', 'err', 'rty')} asserted together"
            )
        if self.mode == "standard":
            self._standard(sample, request, terminated)
        else:
            self._pipelined(sample, request, terminated)
        if sample.lock or self._shape:
            self._group(sample, request)
        if sample.rst:
            self._waiting = self._answerable = False
            self._open = 0

    def _standard(self, sample: Sample, request: bool, terminated: bool) -> None:
        """Check standard mode: STB against terminators (section 3.1.3.1, rules 3.35 to 3.60)."""
        if self._waiting and not sample.rst:
            if sample.stb:
                self._stable(sample)
            else:
                self._report("3.1.3.1", sample, "STB fell before a terminator")
        if terminated and not request:
            names = _raised(sample, "ack", "err", "rty")
            if self._answerable and not sample.stb:
                self._report("3.50", sample, f"{names} asserted although STB fell")
            else:
                self._report("3.35", sample, f"{names} asserted without a request")
        self._waiting = request and not terminated
        self._answerable = request or (terminated and self._answerable)

    def _pipelined(self, sample: Sample, request: bool, terminated: bool) -> None:
        """Check pipelined mode: requests against terminators (section 3.1.3.2, rule 3.57)."""
        if not sample.rst:
            if self._open and not sample.cyc:
                self._report(
                    "3.1.3.2", sample, f"CYC fell with {self._open} accepted requests open"
                )
            elif self._waiting and not sample.stb:
                self._report("3.1.3.2", sample, "STB fell although the request was stalled")
            elif self._waiting:
                self._stable(sample)
        unanswered = self._open + (request and not sample.stall)
        if terminated and not unanswered:
            names = _raised(sample, "ack", "err", "rty")
            if request:
                self._report("3.57", sample, f"{names} asserted for a stalled request")
            else:
                self._report("3.35", sample, f"{names} asserted with no accepted request open")
        self._open = max(unanswered - terminated, 0) if sample.cyc else 0
        self._waiting = request and bool(sample.stall)

    def _stable(self, sample: Sample) -> None:
        """Check that a request that waits is the one of the last cycle (rule 3.60)."""
        last = self._last
        before = (last.adr, last.we, last.sel, last.write_data if last.we else 0)
        after = (sample.adr, sample.we, sample.sel, sample.write_data if last.we else 0)
        if before != after:
            changed = [
                f"{name} from {old:#x} to {new:#x}"
                for name, old, new in zip(
                    ("ADR", "WE", "SEL", "write data"), before, after, strict=True
                )
                if old != new
            ]
            self._report("3.60", sample, f"{' and '.join(changed)} while STB waited")

    def _group(self, sample: Sample, request: bool) -> None:
        """Check a cycle of a group, which ``lock`` marks (rules 3.80 and 3.85)."""
        if sample.rst or not sample.lock:
            self._shape = ""
            return
        if self._last.lock and self._last.cyc and not sample.cyc:
            self._report("3.80", sample, "CYC fell inside a group")
        done = not sample.stall if self.mode == "pipelined" else sample.ack or sample.err
        if request and done:
            before = self._shape
            self._shape = _SHAPES.get((before, sample.we), _BROKEN)
            if self._shape == _BROKEN and before != _BROKEN:
                access = "write" if sample.we else "read"
                self._report("3.85", sample, f"a {access} in a group that was so far: {before}")


def _raised(sample: Sample, *names: str) -> str:
    """Return those of the signals that are asserted, as the standard spells them: ``ACK and ERR``."""
    return " and ".join(name.upper() for name in names if getattr(sample, name))


def check_trace(samples: Iterable[Sample], mode: Mode = "standard") -> list[Breach]:
    """Return the breaches in a complete trace of one port, in order of cycle, starting at 0."""
    checker = RuleChecker("trace", mode)
    breaches = [breach for sample in samples for breach in checker.take(sample)]
    return [*breaches, *checker.finish()]
