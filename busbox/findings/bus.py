"""Rules about the bus itself: who answers, and whether anyone does."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np

from busbox.bus.transfers import ERR, NONE, WATCHDOG
from busbox.findings.rule import RunFacts, Sighting

if TYPE_CHECKING:
    from busbox.recording import Accesses, HandlerStorm


def unmapped_access(facts: RunFacts) -> Iterator[Sighting]:
    """An access went to an address that no slot decodes, and got ERR.

    It hurts because the write is lost, or the read is 0: on the board the peripheral simply does
    nothing. Usually a base address differs between firmware and hardware.

    Example
    -------
    The firmware tells the signal lamps how many of them there are. Its header has one digit of
    their base wrong, 0x41000000 for 0x44000000 (set ``mistakes``, bench ``addresses``)::

        write 0x41000008 1

    Finding
    -------
    write of 0x1 to 0x41000008: no slot answers at this address; the write is lost.

    try: The nearest slot is levers at 0x40000000..0x40000fff; the same offset there is
    levers.CLEAR (0x40000008). Make the base in the bench and the one in the firmware agree.

    What to do
    ----------
    See which constant of the firmware made the address, and give it the base that the hardware has.
    The nearest slot is a guess: here the lamps were meant. ``busbox where BENCH FILE.h`` checks every
    constant of a C header at once.
    """

    def unmapped(part: Accesses) -> Any:
        return (part.terminator == ERR) & (part.slot == -1)

    for number in facts.where(unmapped):
        yield facts.hit(number, partial(_tell_unmapped, facts, number))


def _tell_unmapped(facts: RunFacts, access: int) -> tuple[str, str]:
    address = int(facts.recording.accesses.address[access])
    message = f"{facts.describe(access)}: no slot answers at this address; {facts.undone(access)}."
    return message, _nearest_hint(facts, address)


def _nearest_hint(facts: RunFacts, address: int) -> str:
    meant = facts.system.address_map.meant(address)
    if not meant:
        return "The bench has no slot at all; give it one."
    meant = meant[0].upper() + meant[1:]
    return f"{meant}. Make the base in the bench and the one in the firmware agree."


def no_answer(facts: RunFacts) -> Iterator[Sighting]:
    """Nobody answered an access, and the watchdog ended it with ERR.

    It hurts because the CPU stood still for the watchdog's time, and the access did nothing.

    Example
    -------
    The firmware drops a signal arm through a port that this hardware does not have. The fabric says
    nothing about it, but a watchdog counts (set ``mistakes``, bench ``silence``)::

        [fabric]
        unanswered = "silence"
        watchdog = 64

        write 0x50000000 1

    Finding
    -------
    write of 0x1 to 0x50000000: unanswered for 64 cycles; the watchdog ended it with ERR, and the
    write is lost. No slot decodes it.

    try: The nearest slot is levers at 0x40000000..0x40000fff; the same offset there is levers.OUT
    (0x40000000). Make the base in the bench and the one in the firmware agree.

    What to do
    ----------
    Where no slot decodes the address, mend the base as for unmapped-access. Where one does, its
    device kept the CPU waiting: let the firmware ask it whether it is ready before it uses it, or
    give the watchdog more cycles.
    """
    for number in facts.where(lambda part: part.terminator == WATCHDOG):
        yield facts.hit(number, partial(_tell_no_answer, facts, number))


def _tell_no_answer(facts: RunFacts, access: int) -> tuple[str, str]:
    found = facts.decoded(access)
    cycles = facts.system.fabric.watchdog
    message = (
        f"{facts.describe(access)}: unanswered for {cycles} cycles; the watchdog ended it with "
        f"ERR, and {facts.undone(access)}."
    )
    if found.slot is None:
        return message + " No slot decodes it.", _nearest_hint(facts, found.address)
    return message, (
        f"See what {found.slot.name} waits for; give the watchdog more cycles if it needs longer."
    )


def bus_hang(facts: RunFacts) -> Iterator[Sighting]:
    """An access was never answered, or handlers left the CPU no row: it would never get on.

    It hurts because nothing goes on after it; on the board only a reset helps. Usually a silent fabric
    has no watchdog, a device waits for something that never comes, or a handler does not clear what
    called it.

    Example
    -------
    The firmware asks a bell that is not built in whether it rings. The fabric says nothing about
    such an address, and there is no watchdog (set ``mistakes``, bench ``hang``)::

        [fabric]
        unanswered = "silence"

        read 0x50000000

    Finding
    -------
    read of 0x50000000: unanswered for 500 cycles (the limit hang_after); the run ends here.
    Nothing has moved since cycle 4 and nothing more is to come: it would never be answered. No
    slot decodes it.

    try: The nearest slot is levers at 0x40000000..0x40000fff; the same offset there is levers.OUT
    (0x40000000). Make the base in the bench and the one in the firmware agree. A fabric that is
    silent needs a watchdog.

    What to do
    ----------
    Mend the address, or what the device waits for. Then give the fabric a watchdog all the same, here
    and in the hardware: the next mistake of this kind ends with ERR, and the firmware goes on.
    """
    storm = facts.recording.handler_storm
    if storm is not None:
        cycle, slot = facts.recording.cycles - 1, storm.pin.partition(".")[0]
        tell = partial(_tell_storm, storm, cycle - storm.since)
        yield Sighting(cycle, -1, slot, "", storm.pin, tell)
    elif facts.recording.ended == "hang":
        (access,) = facts.where(lambda part: part.terminator == NONE)
        yield facts.hit(access, partial(_tell_hang, facts, access))


def _tell_storm(storm: HandlerStorm, cycles: int) -> tuple[str, str]:
    return (
        f"handler {storm.handler} was taken again and again for {cycles} cycles (the limit "
        f"hang_after), because {storm.pin} stays high: the CPU never comes back to its steps; the "
        "run ends here.",
        f"Have the handler end what holds {storm.pin} high, such as a flag that wants a one written.",
    )


def _tell_hang(facts: RunFacts, access: int) -> tuple[str, str]:
    found = facts.decoded(access)
    waited = facts.system.hang_after
    message = (
        f"{facts.describe(access)}: unanswered for {waited} cycles (the limit hang_after); "
        "the run ends here."
    )
    quiet_since = facts.recording.quiet_since
    if quiet_since is not None:
        message += (
            f" Nothing has moved since cycle {quiet_since} and nothing more is to come: it "
            "would never be answered."
        )
    if found.slot is None:
        return message + " No slot decodes it.", (
            f"{_nearest_hint(facts, found.address)} A fabric that is silent needs a watchdog."
        )
    return message, f"See what {found.slot.name} waits for; a watchdog would end it with ERR."


def wishbone_rule(facts: RunFacts) -> Iterator[Sighting]:
    """A port broke a rule of Wishbone B4.

    It hurts because other components may rely on the rule: on the board it works by chance, or not.

    Example
    -------
    A bell written in Amaranth holds its ACK for one cycle too long. No traffic can do that; it is
    in the device (set ``mistakes``, bench ``hasty``)::

        m.d.sync += late.eq(request)
        m.d.comb += self.bus.ack.eq(request | late)

    Finding
    -------
    port bell, rule 3.50: ACK up although STB fell; in standard mode a terminator falls with STB
    (Wishbone B4, rule 3.50). Row 3: RST 0 CYC 0 STB 0 WE 0 ADR 0x0 SEL 0000 write data 0x00000000
    read data 0x00000000 ACK 1 ERR 0 RTY 0 STALL 0 LOCK 0

    try: Compare the port's signals with the rule in the standard.

    What to do
    ----------
    Mend the hardware, not the firmware: here, let ACK follow CYC and STB alone. The rule's number is
    that of the standard. Watched are the ports of devices in Amaranth.
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
