"""The rule ``wishbone-rule``."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial

import numpy as np

from busbox.findings.rule import RunFacts, Sighting


def wishbone_rule(facts: RunFacts) -> Iterator[Sighting]:
    """A port broke a rule of Wishbone B4.

    Why it matters: other components may rely on the rule; on the board it works by chance, if at all.

    Example
    -------
    A bell written in Amaranth keeps ACK high for one cycle too long. The mistake is in the device; no
    traffic can cause it (set ``mistakes``, bench ``hasty``)::

        m.d.sync += late.eq(request)
        m.d.comb += self.bus.ack.eq(request | late)

    Finding
    -------
    port bell, rule 3.50: ACK asserted although STB fell; in standard mode a terminator falls with STB
    (Wishbone B4, rule 3.50). Cycle 3: RST 0 CYC 0 STB 0 WE 0 ADR 0x0 SEL 0000 write data 0x00000000
    read data 0x00000000 ACK 1 ERR 0 RTY 0 STALL 0 LOCK 0

    try: Compare the port's signals with the rule in the standard.

    What to do
    ----------
    Correct the hardware, not the firmware: here, derive ACK from CYC and STB alone. The number of the
    rule is that of the standard. Only ports of devices in Amaranth are checked.
    """
    accesses = facts.recording.accesses
    for breach in facts.recording.breaches:
        port = breach.port
        before = int(np.searchsorted(accesses.start, breach.cycle, side="right")) - 1
        text = f"port {port}, rule {breach.rule}: {breach.text.removeprefix(f'{port}: ')}"
        hint = "Compare the port's signals with the rule in the standard."
        slot = "" if port == "cpu" else port
        yield Sighting(breach.cycle, before, slot, "", port, partial(_pair, text, hint))


def _pair(message: str, hint: str) -> tuple[str, str]:
    return message, hint
