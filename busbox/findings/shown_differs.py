"""The rule ``shown-differs``."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial
from typing import TYPE_CHECKING

from busbox.findings.line_findings import registers
from busbox.findings.rule import RunFacts, Sighting
from busbox.findings.senders import sender_of
from busbox.findings.sent_bytes import byte_difference
from busbox.findings.sent_frames import frame_difference

if TYPE_CHECKING:
    from busbox.board.decoding import DecodedLine
    from busbox.findings.sent import ShownDifference

_DIFFERENCES = {"frames": frame_difference, "text": byte_difference}


def shown_differs(facts: RunFacts) -> Iterator[Sighting]:
    """Lamps or a terminal show something other than the device behind their line sent.

    Why it matters: everything else looks right. Found once for each attachment, and only if neither
    another finding nor a reset explains it.

    Example
    -------
    A zero is high for 11 cycles instead of 7, like a one (set ``mistakes``, bench ``lamp_zeros``)::

        [attach.string]
        profile = "P4"

        write lamps.HIGH 0x000d000b
        write lamps.COLOUR.0 0x400000
        write lamps.COLOUR.1 0x004000
        write lamps.CONTROL 1

    Finding
    -------
    string: frame 0 was sent by lamps as 400000 004000 and is shown as ffffff ffffff: lamp 0, bit 0
    on the wire was sent as a zero and is high for 11 clocks (687.5 ns), as long as a one: P4 takes
    250..550 ns for a zero, 650..950 ns for a one.

    try: At 16 MHz P4 is kept by 6 clocks high for a zero and 13 for a one, 20 for a bit and 802 for
    the latch gap (busbox timing "16 MHz"). Set lamps.HIGH 0x000d0006 and lamps.PERIOD 0x03220014.

    What to do
    ----------
    Compare the bit with the windows of the lamps (``busbox timing``), and trace it with ``busbox why``.
    For a terminal, give both ends the same rate and format.
    """
    for name, decoded in facts.decoded_lines.items():
        sender = sender_of(facts.system, decoded.attached)
        if sender is None:
            continue
        find = _DIFFERENCES.get(sender.pin.carries)
        difference = None if find is None else find(facts, decoded, sender)
        if difference is not None:
            slot = facts.system.devices[decoded.attached.device].name
            describe = partial(_describe, facts, name, decoded, difference)
            cycle, access = difference.cycle, difference.access
            yield Sighting(cycle, access, slot, decoded.attached.pin, name, describe)


def _describe(
    facts: RunFacts, name: str, decoded: DecodedLine, difference: ShownDifference
) -> tuple[str, str]:
    explained = difference.explanation
    message = f"{name}: {difference.text}"
    if explained.text:
        message += f": {explained.text}"
    hint = explained.hint or "Trace the line at the first difference (busbox why)."
    named = registers(facts.system, decoded.attached, explained.advice)
    return f"{message}.", f"{hint} {named}".rstrip()
