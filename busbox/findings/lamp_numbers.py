"""Notes where the number of lamps in a string, in its frames and in the device differ."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from busbox.findings.senders import sender_of

if TYPE_CHECKING:
    from busbox.board.decoding import DecodedLine
    from busbox.findings.rule import RunFacts


def lamp_notes(facts: RunFacts) -> tuple[str, ...]:
    """Return a sentence for each string that has another number of lamps than is sent or built.

    "Sent" is the number of lamps in the longest frame that the string shows; "built" is the setting
    ``lamps`` of the device, if it has one. A string that shows no frame is left out.
    """
    return tuple(
        note
        for name, decoded in facts.decoded_lines.items()
        for note in _notes(facts, name, decoded)
    )


def _notes(facts: RunFacts, name: str, decoded: DecodedLine) -> Iterator[str]:
    sender, count = (
        sender_of(facts.system, decoded.attached),
        decoded.attached.part.options.get("count"),
    )
    if sender is None or sender.pin.carries != "frames" or not isinstance(count, int):
        return
    device, begins = sender.device.name, {frame[0] for frame in decoded.report.frames or ()}
    frames = facts.recording.frames.get(device, ())
    sent = max((len(frame.colours) for frame in frames if frame.cycle in begins), default=None)
    if sent is None:
        return
    built = sender.device.settings.get("lamps", sent)
    if {count, sent} != {built}:
        more = f" and is built for {built:,}" if built != sent else ""
        yield f"{name} has {_lamps(count)}; {device} sends colours for {sent:,}{more}."


def _lamps(count: int) -> str:
    return "1 lamp" if count == 1 else f"{count:,} lamps"
