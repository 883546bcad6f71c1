"""The rule checker of APB: it reads the trace of one port and reports every rule that is broken.

Source of all rules: AMBA APB Protocol Specification, IHI 0024C; the section stands beside each, its
number from memory. A completer (the device) can break little: PREADY may have any level outside the
access phase, read data means something only in the last cycle of a read, and how long a transfer may
wait is left open. The other rules bind the requester, here the bridge.

How the rules are read
======================

Transfer
    A cycle with PSEL high and PENABLE low is its setup phase, the cycles with both high that follow
    are its access phase, and the first of these with PREADY high is its last cycle.
Reset
    It cuts off whatever is in progress; cycles with RST are not checked.
"""

from __future__ import annotations

from dataclasses import dataclass

from busbox.bus.rule import Breach, Checker, Rule


@dataclass(frozen=True, slots=True)
class Sample:
    """The signals of one port just before a rising clock edge, named as the standard names them.

    A port that lacks ``pready``, ``pslverr``, ``pstrb`` or ``pprot`` shows the values given here.
    """

    rst: int = 0
    psel: int = 0
    penable: int = 0
    pwrite: int = 0
    paddr: int = 0
    pwdata: int = 0
    prdata: int = 0
    pready: int = 1
    pslverr: int = 0
    pstrb: int = 0
    pprot: int = 0

    @property
    def last(self) -> bool:
        """Whether it is the last cycle of a transfer."""
        return bool(self.psel and self.penable and self.pready)


#: Every rule that is checked.
RULES = (
    Rule(
        "3.1",
        "address, direction, strobes and write data stay from the setup phase to the end of the "
        "transfer (IHI 0024C, sections 3.1 and 3.3; numbers from memory)",
        "checker only",
    ),
    Rule(
        "3.2",
        "PSTRB is 0 in a read (IHI 0024C, section 3.2; number from memory)",
        "checker only",
    ),
    Rule(
        "3.4",
        "PSLVERR is low in every cycle but the last one of a transfer; recommended, not required "
        "(IHI 0024C, section 3.4; number from memory)",
        binding=False,
    ),
    Rule(
        "4.1",
        "a transfer is one cycle of setup, then PENABLE is high until PREADY, then low "
        "(IHI 0024C, section 4.1; number from memory)",
        "checker only",
    ),
)

_RESET = Sample(rst=1)


class ApbChecker(Checker):
    """Checks the cycles of one port against :data:`RULES`.

    Parameters
    ----------
    port : name of the port, for the texts
    first_cycle : number of the first cycle that will be handed in
    """

    def __init__(self, port: str, first_cycle: int = 0) -> None:
        super().__init__(port, RULES, first_cycle)
        self._last = _RESET

    def take(self, sample: Sample) -> tuple[Breach, ...]:
        """Check the next cycle and return its breaches; call it once per cycle."""
        self._cycle += 1
        if not sample.rst:
            self._phases(sample)
            if sample.psel and not sample.pwrite and sample.pstrb:
                self._report("3.2", sample, f"PSTRB is {sample.pstrb:#06b} in a read")
            if sample.pslverr and not sample.last:
                self._report("3.4", sample, f"PSLVERR is high {_where(sample)}")
        self._last = sample
        return self._taken()

    def _phases(self, sample: Sample) -> None:
        """Check which phase follows the cycle before (4.1), and what stays in it (3.1)."""
        last = self._last
        under_way = last.psel and not last.last and not last.rst
        if not under_way:
            if sample.psel and sample.penable:
                self._report("4.1", sample, "PENABLE is high without a setup phase")
            return
        if not sample.psel:
            self._report("4.1", sample, "PSEL fell before the end of the transfer")
        elif not sample.penable:
            self._report("4.1", sample, "PENABLE is low after the setup phase")
        else:
            changed = [name.upper() for name in _held(last) if _differ(name, last, sample)]
            if changed:
                self._report("3.1", sample, f"{' and '.join(changed)} changed in a transfer")


def _held(sample: Sample) -> tuple[str, ...]:
    names = ("paddr", "pwrite", "pprot")
    return (*names, "pstrb", "pwdata") if sample.pwrite else names


def _differ(name: str, one: Sample, two: Sample) -> bool:
    return bool(getattr(one, name) != getattr(two, name))


def _where(sample: Sample) -> str:
    if not sample.psel:
        return "while PSEL is low"
    return "in a cycle of access without PREADY" if sample.penable else "in the setup phase"
