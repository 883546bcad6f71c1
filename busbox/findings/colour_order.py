"""The rule ``colour-order``."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial
from itertools import permutations
from typing import TYPE_CHECKING

from busbox.findings.rule import RunFacts, Sighting
from busbox.lines.bits import SHIFTS

if TYPE_CHECKING:
    from busbox.board.decoding import DecodedLine


def colour_order(facts: RunFacts) -> Iterator[Sighting]:
    """The lamps show the colours that were meant, but with their channels exchanged.

    It hurts because red means stop. The order of the channels on the wire differs from part to part;
    device and lamps must have the same.

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
    string: The lamps show red as green and green as red: frame 0 was meant as 400000 004020, and
    shows 004000 400020.

    try: Give lamps the order of the lamps (string has RGB), or look it up in their data sheet.

    What to do
    ----------
    Look the order up in the lamps' data sheet, and set it in one place: ``order`` of the device, which
    is built into the hardware, or the shifts in the firmware.
    """
    for name, decoded in facts.decoded_lines.items():
        slot = facts.system.devices[decoded.attached.device].name
        meant, frames = facts.recording.frames.get(slot), decoded.report.frames
        if not meant or not frames:
            continue
        sent = {frame.cycle: frame for frame in meant}
        pairs = [
            (number, begin, shows, sent[begin].colours, colours)
            for number, (begin, shows, colours) in enumerate(frames)
            if begin in sent
        ]
        places = _exchange([(wanted, shown) for *_, wanted, shown in pairs])
        if places is None:
            continue
        number, begin, cycle, wanted, shown = next(
            one for one in pairs if any(a != b for a, b in zip(one[3], one[4], strict=False))
        )
        describe = partial(_describe_order, facts, name, decoded, places, number, wanted, shown)
        yield Sighting(cycle, sent[begin].access, slot, decoded.attached.pin, name, describe)


_NAMES = {"R": "red", "G": "green", "B": "blue", "W": "white"}


def _exchange(pairs: list[tuple[tuple[int, ...], tuple[int, ...]]]) -> dict[str, str] | None:
    """Return which channel shows which, if one exchange makes all frames equal and they are not so.

    A string may have fewer lamps than were meant. Of several exchanges, the one that leaves most
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


def _describe_order(
    facts: RunFacts,
    name: str,
    decoded: DecodedLine,
    places: dict[str, str],
    number: int,
    wanted: tuple[int, ...],
    shown: tuple[int, ...],
) -> tuple[str, str]:
    slot = facts.system.devices[decoded.attached.device].name
    moved = [(a, b) for a, b in places.items() if a != b]
    words = [f"{_NAMES[a]} as {_NAMES[b]}" for a, b in moved]
    listed = ", ".join(words[:-1]) + (" and " if len(words) > 1 else "") + words[-1]
    shows, sent = (" ".join(f"{one:06x}" for one in colours[:8]) for colours in (shown, wanted))
    order = str(decoded.attached.part.options.get("order") or "its profile's")
    return (
        f"{name}: The lamps show {listed}: frame {number} was meant as {sent}, and shows {shows}.",
        f"Give {slot} the order of the lamps ({name} has {order}), or look it up in their data sheet.",
    )
