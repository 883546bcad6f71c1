"""The pins of a bench's devices: which there are, and what drives them."""

from __future__ import annotations

from collections.abc import Sequence

from busbox.basics.errors import nearest
from busbox.basics.toml_lines import KeyPath
from busbox.bench.context import Context
from busbox.system.hardware import Device

_ARTICLE = {"input": "an input", "output": "an output"}


class Pins:
    """The pins of all devices; an input pin has one thing at most that drives it."""

    def __init__(self, devices: Sequence[Device], context: Context) -> None:
        self._devices = {device.name: (number, device) for number, device in enumerate(devices)}
        self._context = context
        self._drivers: dict[str, str] = {}

    def find(
        self, path: KeyPath, name: str, direction: str | None = "input"
    ) -> tuple[int, str] | None:
        """Return (number of the device, name inside it) of the pin that a key names.

        Parameters
        ----------
        path : the key; a mistake is noted there, unless it is in the slot and reported there
        name : such as ``levers.in.4``
        direction : ``input``, ``output`` or None for either
        """
        note, slots = self._context.mistakes.note, self._context.slots
        slot, dot, pin = name.partition(".")
        if slot not in self._devices:
            if slot not in slots:
                note(path, f"there is no slot {slot!r}{nearest(slot, slots)}")
            return None
        if not dot:
            note(path, f"must be a slot and its pin, such as 'levers.in.4', not {name!r}")
            return None
        number, device = self._devices[slot]
        directions = {one.name: one.direction for one in device.pins}
        right = [one for one, way in directions.items() if direction in (None, way)]
        if pin in right:
            return number, pin
        if direction is not None and pin in directions:
            note(path, f"must be {_ARTICLE[direction]}; {name} is {_ARTICLE[directions[pin]]}")
        else:
            close = nearest(pin, right) if right else f"; it has no {direction or 'pin'}s"
            note(path, f"{slot} has no pin {pin!r}{close}")
        return None

    def driven_by_input(self, number: int, name: str) -> None:
        """Note that an ``[[input]]`` drives a pin; several of them may share one."""
        self._drivers[name] = f"input.{number}"

    def drive(self, path: KeyPath, name: str, shared: str = "") -> bool:
        """Return whether what a key says may drive a pin; note that something else does already.

        Parameters
        ----------
        path : the key, inside the table that drives the pin
        name : such as ``levers.in.4``
        shared : tables of this name may share a pin, "" if there are none
        """
        own = ".".join(map(str, path[:2]))
        other = self._drivers.setdefault(name, own)
        if other == own or (shared and other.startswith(shared)):
            return True
        self._context.mistakes.note(path, f"{name} is driven by {other} already")
        return False
