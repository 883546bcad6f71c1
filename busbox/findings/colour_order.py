"""The rule ``colour-order``."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import partial
from itertools import permutations
from typing import TYPE_CHECKING

from busbox.findings.rule import RunFacts, Sighting
from busbox.findings.senders import sender_of
from busbox.findings.sent import listed
from busbox.lines.bits import SHIFTS

if TYPE_CHECKING:
    from busbox.board.decoding import DecodedLine
    from busbox.recording import Frame


def colour_order(facts: RunFacts) -> Iterator[Sighting]:
    """The lamps show the intended colours, but with their channels exchanged.

    Why it matters: red means stop. The order of the channels on the wire differs from part to part;
    device and lamps must use the same one.

    Example
    -------
    The string takes red first; the device sends green first (set ``mistakes``, bench
    ``lamp_order``)::

        [attach.string]
        kind = "lamp_string"
        order = "RGB"

        write lamps.COLOUR.0 0x400000
        write lamps.COLOUR.1 0x004020
        write lamps.CONTROL 1

    Finding
    -------
    string: The lamps show red as green and green as red: frame 0 was sent as 400000 004020 and
    is shown as 004000 400020.

    try: Make lamps send in the order that the string expects (string has RGB), or look the order up in
    its data sheet.

    What to do
    ----------
    Look the order up in the lamps' data sheet, and set it in one place: ``order`` of the device, which
    is built into the hardware, or the shifts in the firmware.
    """
    for name, decoded in facts.decoded_lines.items():
        found = exchange_of(facts, decoded)
        if found is None:
            continue
        slot = facts.system.devices[decoded.attached.device].name
        describe = partial(_describe_order, name, decoded, found)
        yield Sighting(found.cycle, found.frame.access, slot, decoded.attached.pin, name, describe)


@dataclass(frozen=True)
class Exchange:
    """An exchange of channels, and the first frame that shows it.

    Attributes
    ----------
    device : name of the one that sends
    places : which channel shows as which
    number, cycle : of the frame, and when the lamps show it
    frame : as it was sent
    shown : the colours that the lamps show
    """

    device: str
    places: dict[str, str]
    number: int
    cycle: int
    frame: Frame
    shown: tuple[int, ...]


def exchange_of(facts: RunFacts, decoded: DecodedLine) -> Exchange | None:
    """Return the exchange of channels that makes what lamps show what was sent, or None."""
    sender = sender_of(facts.system, decoded.attached)
    if sender is None or sender.pin.carries != "frames":
        return None
    sent = {frame.cycle: frame for frame in facts.recording.frames.get(sender.device.name, ())}
    pairs = [
        (number, shows, sent[begin], colours)
        for number, (begin, shows, colours) in enumerate(decoded.report.frames or ())
        if begin in sent
    ]
    places = _exchange([(frame.colours, shown) for *_, frame, shown in pairs])
    if places is None:
        return None
    number, shows, frame, shown = next(
        one for one in pairs if any(a != b for a, b in zip(one[2].colours, one[3], strict=False))
    )
    return Exchange(sender.device.name, places, number, shows, frame, shown)


_NAMES = {"R": "red", "G": "green", "B": "blue", "W": "white"}


def _exchange(pairs: list[tuple[tuple[int, ...], tuple[int, ...]]]) -> dict[str, str] | None:
    """Return which channel shows which, if one exchange makes all frames equal and they are not so.

    A string may have fewer lamps than were sent. Of several exchanges, the one that leaves most
    channels in place.
    """
    different = {
        (one, other)
        for wanted, shown in pairs
        for one, other in zip(wanted, shown, strict=False)
    }  # fmt: skip
    if all(one == other for one, other in different):
        return None
    wide = any(max(pair) > 0xFFFFFF for pair in different)
    letters = "RGBW" if wide else "RGB"
    found = []
    for order in permutations(letters):
        places = dict(zip(letters, order, strict=True))
        if all(_moved(one, places) == other for one, other in different):
            found.append(places)
    return max(found, key=lambda one: sum(a == b for a, b in one.items()), default=None)


def _moved(colour: int, places: dict[str, str]) -> int:
    """Return a colour whose channels show as others."""
    moved = 0
    for channel, shown in places.items():
        moved |= (colour >> SHIFTS[channel] & 0xFF) << SHIFTS[shown]
    return moved


def _describe_order(name: str, decoded: DecodedLine, found: Exchange) -> tuple[str, str]:
    moved = [(a, b) for a, b in found.places.items() if a != b]
    words = [f"{_NAMES[a]} as {_NAMES[b]}" for a, b in moved]
    exchanged = ", ".join(words[:-1]) + (" and " if len(words) > 1 else "") + words[-1]
    shows, sent = (listed(colours) for colours in (found.shown, found.frame.colours))
    order = str(decoded.attached.part.options.get("order") or "its profile's")
    return (
        f"{name}: The lamps show {exchanged}: frame {found.number} was sent as {sent} and is "
        f"shown as {shows}.",
        f"Make {found.device} send in the order that the string expects ({name} has {order}), or "
        "look the order up in its data sheet.",
    )
