"""The rule checker of AXI4-Lite: it reads the trace of one port and reports every rule that is broken.

Source of all rules: AMBA AXI and ACE Protocol Specification, IHI 0022E; the section stands beside
each, its number from memory. The rules bind both sides: a device can break them on the channels B and
R, which it drives with BVALID and RVALID, the bridge on AW, W and AR.

How the rules are read
======================

Handshake
    A cycle with VALID and READY of a channel high.
Reset
    The cycles after a cycle with RST, the first one with RST low among them, are *in reset*. RST cuts
    off whatever is in progress. The cycle before the first one of a trace counts as one with RST.
After
    An answer comes after a handshake if its VALID rises in a later cycle. In the same cycle it could
    only follow from the handshake through a combinational path, which A3.1.1 forbids.

Rules that no trace can show
============================
:data:`PATHS` is proved from the netlist, and :data:`WAITS` is seen by a master that keeps READY low
until the device has had time enough.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Final

from busbox.bus.rule import Breach, Checker, Rule


@dataclass(frozen=True, slots=True)
class Sample:
    """The signals of one port just before a rising clock edge, named as the standard names them."""

    rst: int = 0
    awvalid: int = 0
    awready: int = 0
    awaddr: int = 0
    awprot: int = 0
    wvalid: int = 0
    wready: int = 0
    wdata: int = 0
    wstrb: int = 0
    bvalid: int = 0
    bready: int = 0
    bresp: int = 0
    arvalid: int = 0
    arready: int = 0
    araddr: int = 0
    arprot: int = 0
    rvalid: int = 0
    rready: int = 0
    rdata: int = 0
    rresp: int = 0


PATHS: Final = "A3.1.1"
WAITS: Final = "A3.3"

#: Every rule, but for the two that no trace can show.
RULES = (
    Rule(
        "A3.1.2",
        "VALID is low from the edge after RST rises until the edge after it falls "
        "(IHI 0022E, section A3.1.2; number from memory)",
    ),
    Rule(
        "A3.2.1",
        "VALID, and what its channel carries, stay until READY "
        "(IHI 0022E, section A3.2.1; number from memory)",
    ),
    Rule(
        "A3.3.1",
        "RVALID comes after the handshake of AR, BVALID after those of AW and W, once for each "
        "(IHI 0022E, section A3.3.1; number from memory)",
    ),
    Rule(
        "B1.1.1",
        "an answer is OKAY, SLVERR or DECERR, never EXOKAY (IHI 0022E, sections A3.4.4 and B1.1.1; "
        "numbers from memory)",
    ),
)
#: The two.
UNSEEN = (
    Rule(
        PATHS,
        "no input of the port reaches an output of it within a cycle "
        "(IHI 0022E, section A3.1.1; number from memory)",
    ),
    Rule(
        WAITS,
        "BVALID and RVALID do not wait for BREADY and RREADY "
        "(IHI 0022E, sections A3.2.1 and A3.3.1; numbers from memory)",
    ),
)

#: What each channel carries, and what is in its messages.
PAYLOADS: Final = {
    "aw": ("awaddr", "awprot"),
    "w": ("wdata", "wstrb"),
    "b": ("bresp",),
    "ar": ("araddr", "arprot"),
    "r": ("rdata", "rresp"),
}
_EXOKAY = 0b01


class Axi4LiteChecker(Checker):
    """Checks the cycles of one port against :data:`RULES`.

    Parameters
    ----------
    port : name of the port, for the texts
    first_cycle : number of the first cycle that will be handed in
    """

    def __init__(self, port: str, first_cycle: int = 0) -> None:
        super().__init__(port, RULES, first_cycle)
        self._last = Sample(rst=1)
        self._open = {"aw": 0, "w": 0, "ar": 0}  # handshakes whose answer is still due

    def take(self, sample: Sample) -> tuple[Breach, ...]:
        """Check the next cycle and return its breaches; call it once per cycle."""
        self._cycle += 1
        values = {one.name: getattr(sample, one.name) for one in fields(sample)}
        if self._last.rst:
            for channel in PAYLOADS:
                if values[f"{channel}valid"]:
                    self._report("A3.1.2", sample, f"{channel.upper()}VALID is high in reset")
        else:
            self._stay(sample, values)
            self._answers(sample, values)
        if sample.rst:
            self._open = dict.fromkeys(self._open, 0)
        else:
            for channel in self._open:
                self._open[channel] += values[f"{channel}valid"] & values[f"{channel}ready"]
        self._last = sample
        return self._taken()

    def _stay(self, sample: Sample, values: dict[str, int]) -> None:
        """Check what waited in the cycle before (A3.2.1)."""
        if sample.rst:
            return
        for channel, payload in PAYLOADS.items():
            valid, ready = f"{channel}valid", f"{channel}ready"
            if not getattr(self._last, valid) or getattr(self._last, ready):
                continue
            if not values[valid]:
                self._report("A3.2.1", sample, f"{valid.upper()} fell before {ready.upper()}")
                continue
            for name in payload:
                before = getattr(self._last, name)
                if values[name] != before:
                    change = f"{name.upper()} from {before:#x} to {values[name]:#x}"
                    self._report("A3.2.1", sample, f"{change} while {valid.upper()} waited")

    def _answers(self, sample: Sample, values: dict[str, int]) -> None:
        """Check the answers (A3.3.1 and B1.1.1)."""
        for channel, asked in (("b", ("aw", "w")), ("r", ("ar",))):
            if not values[f"{channel}valid"]:
                continue
            name = f"{channel.upper()}VALID"
            if not all(self._open[one] for one in asked):
                handshakes = " and ".join(one.upper() for one in asked)
                self._report("A3.3.1", sample, f"{name} without a handshake of {handshakes} before")
            if values[f"{channel}resp"] == _EXOKAY:
                self._report("B1.1.1", sample, f"{channel.upper()}RESP is EXOKAY")
            if values[f"{channel}ready"]:
                for one in asked:
                    self._open[one] = max(self._open[one] - 1, 0)
