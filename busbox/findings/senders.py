"""Which device is behind the line that an attachment reads."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from busbox.device import Pin
    from busbox.system.hardware import Device
    from busbox.system.scenario import Attached
    from busbox.system.system import System


@dataclass(frozen=True)
class Sender:
    """A device, and the output pin that carries what it sends (``Pin.carries``)."""

    device: Device
    pin: Pin

    def words(self, clocks: Mapping[str, int]) -> Mapping[str, int]:
        """Return the register words that give the line these cycle counts, according to the device."""
        words_for = getattr(self.device.model, "words_for", None)
        if words_for is None:
            return {}
        words: Mapping[str, int] = words_for(self.device.settings, self.pin.name, clocks)
        return words


def sender_of(system: System, attached: Attached) -> Sender | None:
    """Return the device that sends what an attachment reads: at its own pin, or over a wire.

    None if that pin carries nothing, such as one that firmware drives bit by bit.
    """
    number, name = attached.device, attached.pin
    for wire in system.wires:
        if (wire.to_device, wire.to_pin) == (attached.device, attached.pin):
            number, name = wire.from_device, wire.from_pin
    device = system.devices[number]
    pin = next(pin for pin in device.pins if pin.name == name)
    return Sender(device, pin) if pin.carries else None
