"""What a design depends on, known without building it; imports no Amaranth.

An engine that has code of a design at hand, in memory or on disk, needs no more than this to use it.
"""

from __future__ import annotations

import hashlib
import sys
from collections.abc import Hashable, Iterator, Sequence
from dataclasses import astuple, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from busbox.device import Site
from busbox.map.slots import Slot
from busbox.plugins import DEVICES
from busbox.system.hardware import Device, FabricOptions
from busbox.system.system import System

if TYPE_CHECKING:
    from busbox.bus.hardware import Hardware

#: What a setting may be so that its text says all of it.
_PLAIN = (bool, int, float, str, type(None))


def hardware_of(system: System) -> dict[int, Hardware]:
    """Build the hardware devices of a system, by the number of their slot."""
    return {number: hardware(device, system.clock_hz) for number, device in _in_hardware(system)}


def hardware(device: Device, clock_hz: int) -> Hardware:
    """Build a hardware device for its slot."""
    slot = device.slot
    built: Hardware = device.model(
        Site(device.name, slot.base, slot.size, clock_hz), **device.settings
    )
    return built


def design_key(system: System, settable: bool = False) -> Hashable:
    """Return a key of the design of a system: equal keys mean equal designs, in this process.

    For a device with a model in Python it holds the slot; for one in hardware, also its class, its
    settings with what is in the files that they name, its base, which it may know, and the clock.

    Parameters
    ----------
    settable : whether base and wait states are settings of the design, not parts of it
    """
    hardware = tuple(
        (number, device.model, device.slot.base, _settings(device), _files(device))
        for number, device in _in_hardware(system)
    )
    slots = tuple(device.slot for device in system.devices)
    if settable:
        slots = tuple(replace(slot, base=0, wait=0) for slot in slots)
    return slots, system.fabric, hardware, system.clock_hz if hardware else 0


def content_of(system: System) -> str | None:
    """Return what the settable design of a system follows from beside code of Busbox, as a text.

    None where that is not known: hardware of somebody else's may do anything and read anything, so
    its design is elaborated in every process.
    """
    hardware = []
    for number, device in _in_hardware(system):
        settings, files = _settings(device), _files(device)
        known = _is_built_in(device.model) and _is_plain(settings)
        if not known or not all(digest for _, _, digest in files):
            return None
        name = f"{device.model.__module__}.{device.model.__qualname__}"
        hardware.append((number, name, device.slot.base, settings, files))
    slots = [
        (one.name, one.size, one.decode, sorted(one.compare), one.yields_to)
        for one in (device.slot for device in system.devices)
    ]
    clock = system.clock_hz if hardware else 0
    return repr((slots, astuple(system.fabric), hardware, clock))


def fabric_levels(slots: Sequence[Slot], options: FabricOptions) -> dict[str, int]:
    """Return the levels of the inputs that make a settable fabric that of these slots."""
    levels = {"most": most_waited(slots, options)}
    for number, slot in enumerate(slots):
        levels |= {f"base_{number}": slot.base >> 2, f"wait_{number}": slot.wait}
    return levels


def most_waited(slots: Sequence[Slot], options: FabricOptions) -> int:
    """Return the largest number of waited cycles that matters."""
    most = max([1, *(slot.wait for slot in slots)]) + int(options.registered_decode)
    return max(most, options.watchdog or 0)


def _in_hardware(system: System) -> Iterator[tuple[int, Device]]:
    for number, device in enumerate(system.devices):
        if device.model.in_amaranth:
            yield number, device


def _is_built_in(model: type) -> bool:
    """Return whether a class stands in a file that comes with Busbox."""
    package, _, name = model.__module__.rpartition(".")
    ours = {place.partition(":")[0] for place in DEVICES.built_in.values()}
    found = sys.modules.get(model.__module__)
    return package in ours and name == "hardware" and getattr(found, model.__name__, None) is model


def _settings(device: Device) -> tuple[tuple[str, Any], ...]:
    """Return the settings of a device that are no files."""
    paths = {one.name for one in device.model.settings if one.kind == "path"}
    return tuple((key, one) for key, one in sorted(device.settings.items()) if key not in paths)


def _files(device: Device) -> tuple[tuple[str, str, str], ...]:
    """Return, for each file that a setting names, the setting, the name, and a digest of the file.

    The digest of a file that cannot be read is "".
    """
    found = []
    for setting in device.model.settings:
        given = device.settings.get(setting.name)
        if setting.kind != "path" or given is None:
            continue
        try:
            digest = hashlib.sha256(Path(given).read_bytes()).hexdigest()
        except OSError:
            digest = ""
        found.append((setting.name, str(given), digest))
    return tuple(found)


def _is_plain(value: object) -> bool:
    if isinstance(value, tuple | list):
        return all(map(_is_plain, value))
    return type(value) in _PLAIN
