"""Findings: what is wrong, where, and one thing to try. One rule is one small function.

A rule takes the :class:`RunFacts` of a run and yields :class:`Sighting`\\ s in order of cycle. Add one by
writing the function in the module of its topic and naming it in :data:`RULES`.
"""

from busbox.findings import board, bus, devices, reads, registers, serial
from busbox.findings.rule import KEPT, Rule, RunFacts, Sighting, collect
from busbox.recording.judged import Finding

#: Every rule by its id.
RULES: dict[str, Rule] = {
    "unmapped-access": bus.unmapped_access,
    "no-answer": bus.no_answer,
    "bus-hang": bus.bus_hang,
    "wishbone-rule": bus.wishbone_rule,
    "image-access": registers.image_access,
    "register-hole": registers.register_hole,
    "read-only-write": registers.read_only_write,
    "write-only-read": registers.write_only_read,
    "lanes-lost": registers.lanes_lost,
    "reserved-bits": registers.reserved_bits,
    "read-differs": reads.read_differs,
    "poll-timeout": reads.poll_timeout,
    "poll-storm": reads.poll_storm,
    "uninitialised-read": devices.uninitialised_read,
    "rom-write": devices.rom_write,
    "frame-missed": devices.frame_missed,
    "byte-lost": serial.byte_lost,
    "framing": serial.framing,
    "baud-error": serial.baud_error,
    "interrupt-stuck": devices.interrupt_stuck,
    "pulse-width": board.pulse_width,
    "latch-gap": board.latch_gap,
    "broken-bit-count": board.broken_bit_count,
    "colour-order": board.colour_order,
    "supply-current": board.supply_current,
    "flash-rate": board.flash_rate,
}


def find(facts: RunFacts) -> tuple[tuple[Finding, ...], dict[str, dict[str, int]]]:
    """Return the findings of all rules, in order of cycle, and how many there were of each."""
    return collect(RULES, facts)


__all__ = ["KEPT", "RULES", "RunFacts", "Finding", "Sighting", "Rule", "find"]
