"""Rules about the bus itself: who answers, and whether anyone does."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial

import numpy as np

from busbox.engines import ERR, NONE, WATCHDOG
from busbox.findings.rule import Evidence, Hit


def unmapped_access(evidence: Evidence) -> Iterator[Hit]:
    """An access went to an address that no slot decodes, and got ERR.

    It hurts because the write is lost, or the read is 0: on the board the peripheral simply does
    nothing. Usually a base address differs between firmware and hardware.
    """
    accesses = evidence.recording.accesses
    for number in np.flatnonzero((accesses.terminator == ERR) & (accesses.slot == -1)).tolist():
        yield evidence.hit(number, partial(_tell_unmapped, evidence, number))


def _tell_unmapped(evidence: Evidence, access: int) -> tuple[str, str]:
    address = int(evidence.recording.accesses.address[access])
    message = (
        f"{evidence.describe(access)}: no slot answers at this address; {evidence.undone(access)}."
    )
    return message, _nearest_hint(evidence, address)


def _nearest_hint(evidence: Evidence, address: int) -> str:
    meant = evidence.system.address_map.meant(address)
    if not meant:
        return "The bench has no slot at all; give it one."
    meant = meant[0].upper() + meant[1:]
    return f"{meant}. Make the base in the bench and the one in the firmware agree."


def no_answer(evidence: Evidence) -> Iterator[Hit]:
    """Nobody answered an access, and the watchdog ended it with ERR.

    It hurts because the CPU stood still for the watchdog's time, and the access did nothing.
    """
    accesses = evidence.recording.accesses
    for number in np.flatnonzero(accesses.terminator == WATCHDOG).tolist():
        yield evidence.hit(number, partial(_tell_no_answer, evidence, number))


def _tell_no_answer(evidence: Evidence, access: int) -> tuple[str, str]:
    found = evidence.decoded(access)
    cycles = evidence.system.fabric.watchdog
    message = (
        f"{evidence.describe(access)}: unanswered for {cycles} cycles; the watchdog ended it with "
        f"ERR, and {evidence.undone(access)}."
    )
    if found.slot is None:
        return message + " No slot decodes it.", _nearest_hint(evidence, found.address)
    return message, (
        f"See what {found.slot.name} waits for; give the watchdog more cycles if it needs longer."
    )


def bus_hang(evidence: Evidence) -> Iterator[Hit]:
    """An access was never answered, and nothing ends it: the CPU would stand still for ever.

    It hurts because nothing goes on after it; on the board only a reset helps. Usually a silent fabric
    has no watchdog, or a device waits for something that never comes.
    """
    recording = evidence.recording
    if recording.ended != "hang":
        return
    (access,) = np.flatnonzero(recording.accesses.terminator == NONE).tolist()
    yield evidence.hit(access, partial(_tell_hang, evidence, access))


def _tell_hang(evidence: Evidence, access: int) -> tuple[str, str]:
    found = evidence.decoded(access)
    waited = evidence.system.hang_after
    message = (
        f"{evidence.describe(access)}: unanswered for {waited} cycles (the limit hang_after); "
        "the run ends here."
    )
    if found.slot is None:
        return message + " No slot decodes it.", (
            f"{_nearest_hint(evidence, found.address)} A fabric that is silent needs a watchdog."
        )
    return message, f"See what {found.slot.name} waits for; a watchdog would end it with ERR."


def wishbone_rule(evidence: Evidence) -> Iterator[Hit]:
    """A port broke a rule of Wishbone B4.

    It hurts because other components may rely on the rule: on the board it works by chance, or not.
    """
    accesses = evidence.recording.accesses
    for port, breach in evidence.breaches:
        before = int(np.searchsorted(accesses.start, breach.row, side="right")) - 1
        text = f"port {port}, rule {breach.rule}: {breach.text}"
        hint = "Compare the port's signals with the rule in the standard."
        slot = "" if port == "cpu" else port
        yield Hit(breach.row, before, slot, "", port, partial(_pair, text, hint))


def _pair(message: str, hint: str) -> tuple[str, str]:
    return message, hint
