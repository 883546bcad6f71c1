"""What an engine sees of a hardware device: one word a cycle, and how to read it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import TYPE_CHECKING, Any

from busbox.device import RELEASED
from busbox.device.pins import pin_groups

if TYPE_CHECKING:
    from amaranth.hdl import Value

    from busbox.bus.hardware import Hardware


class View:
    """The pins, notes and rest of a device as one word; from what it declares, without building it.

    The word has, from bit 0 on: ``notes_valid``, ``at_rest``, then the members of output pins with
    their enables, then the notes.

    Parameters
    ----------
    model : class of the device
    settings : all of its settings

    Attributes
    ----------
    groups : member of pins to its :class:`busbox.device.Pin` objects
    width : bits of the word
    """

    def __init__(self, model: type[Hardware], settings: Mapping[str, Any]) -> None:
        self.groups = pin_groups(model.pins_for(settings))
        self._notes = model.note_widths(settings)
        self._places: dict[str, tuple[int, int]] = {}
        width = 0
        for name, bits in self._members():
            self._places[name] = width, bits
            width += bits
        self.width = width
        first = self._places["at_rest"][0] + 1
        last = min((place for name, (place, _) in self._places.items() if name.startswith("note_")),
                   default=width)  # fmt: skip
        #: The bits of the word that are pins.
        self.pin_mask = (1 << last) - (1 << first)
        self._pins = self._pin_bits()

    def _members(self) -> Iterator[tuple[str, int]]:
        yield "notes_valid", 1
        yield "at_rest", 1
        for stem, group in self.groups.items():
            if group[0].direction == "output":
                yield f"pin_{stem}", len(group)
                if group[0].released:
                    yield f"pin_{stem}_enable", len(group)
        for name, bits in self._notes.items():
            yield f"note_{name}", bits

    def signals(self, device: Hardware) -> Value:
        """Return the word of a device, as Amaranth's value."""
        from amaranth.hdl import Cat

        parts = [getattr(device, name) for name in self._places]
        assert [len(one) for one in parts] == [bits for _, bits in self._places.values()]
        word: Value = Cat(*parts)
        return word

    def _of(self, word: int, name: str) -> int:
        place, width = self._places[name]
        return word >> place & (1 << width) - 1

    def at_rest(self, word: int) -> bool:
        """Return whether the device is at rest."""
        return bool(self._of(word, "at_rest"))

    def notes(self, word: int) -> dict[str, int]:
        """Return the notes of the device, by name."""
        return {name: self._of(word, f"note_{name}") for name in self._notes}

    def changes(self, before: int | None, word: int) -> list[tuple[str, int]]:
        """Return the output pins that changed, with their levels; all, if ``before`` is None."""
        different = self.pin_mask if before is None else (before ^ word) & self.pin_mask
        alone = self._pins.get(different)
        if alone is not None:  # most often it is one pin
            return [self._level(alone, word)]
        changed = []
        while different:
            pin = self._pins[different & -different]
            changed.append(self._level(pin, word))
            different &= ~(pin[1] | pin[2])
        return changed

    @staticmethod
    def _level(pin: tuple[str, int, int], word: int) -> tuple[str, int]:
        name, level, enable = pin
        return name, RELEASED if enable and not word & enable else int(word & level > 0)

    def mask(self, pins: Iterable[str]) -> int:
        """Return the bits of the word that are these output pins, with their enables."""
        wanted, mask = set(pins), 0
        for name, level, enable in self._pins.values():
            mask |= level | enable if name in wanted else 0
        return mask

    def _pin_bits(self) -> dict[int, tuple[str, int, int]]:
        """Return (name, bit of the level, bit of the enable or 0) of each pin, by each of its bits."""
        found = {}
        for stem, group in self.groups.items():
            if group[0].direction != "output":
                continue
            first = self._places[f"pin_{stem}"][0]
            enables = self._places[f"pin_{stem}_enable"][0] if group[0].released else None
            for place, pin in enumerate(group):
                level = 1 << first + place
                enable = 0 if enables is None else 1 << enables + place
                found[level] = pin.name, level, enable
                if enable:
                    found[enable] = found[level]
        return found
