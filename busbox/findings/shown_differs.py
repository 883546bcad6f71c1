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
    """Lamps or a terminal show something else than the device behind their line sent.

    It hurts because everything in the run looks right: the firmware wrote the colours, the device sent
    them, every pulse has a length that the lamps allow. Only the first difference of each attachment is
    shown. Nothing is said where another finding explains it: exchanged channels, a wrong rate, a pulse
    in no window; of what a reset or the end of the run cut; of a pin that firmware drives bit by bit.

    Example
    -------
    The high of a zero was given 11 clocks instead of 7, which is long enough for a one (set
    ``mistakes``, bench ``lamp_zeros``)::

        [attach.string]
        kind = "lamp_string"
        profile = "P4"

        write lamps.HIGH 0x000d000b
        write lamps.COLOUR.0 0x400000
        write lamps.COLOUR.1 0x004000
        write lamps.CONTROL 1

    Finding
    -------

    What to do
    ----------
    Compare the bit that is named with the windows of the lamps (``busbox timing``), and trace it back
    with ``busbox why``. For a terminal, give both ends one rate and format.
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
    hint = explained.hint or "Trace the line at the first difference (busbox why), and compare it."
    named = registers(facts.system, decoded.attached, explained.advice)
    return f"{message}.", f"{hint} {named}".rstrip()
