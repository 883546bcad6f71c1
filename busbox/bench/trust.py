"""What a bench says of recorded traffic: reads that do not steer, and the slots that it covers."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from busbox.basics.distinct import distinct
from busbox.basics.errors import format_value, nearest
from busbox.basics.keys import Key
from busbox.basics.toml_lines import KeyPath
from busbox.bench.context import Context
from busbox.cpu.listed import ListedSource
from busbox.cpu.steps import AccessStep, Named, Poll
from busbox.cpu.table import AccessTable
from busbox.map.addresses import number
from busbox.map.registers import RegisterTable
from busbox.map.slots import AddressMap
from busbox.system.hardware import Device
from busbox.system.scenario import Attached, Harmless
from busbox.system.system import System

#: Keys of the table beside ``file``.
KEYS: Mapping[str, Key] = {
    "harmless": Key("Recorded reads that do not steer the firmware: another word is no doubt.",
                    "a list of registers such as 'clock.NOW', or 'clock.NOW@0x1a4' for the "
                    "instruction at that address", "['levers.IN']", default="none"),
    "move": Key("Accesses by number move along with a slot whose base is changed.",
                "true or false", "true", default="false"),
    "covers": Key("The slots whose accesses the recording holds.",
                  "a list of slots such as 'lamps'", "['levers', 'lamps', 'telegraph']",
                  default="every slot"),
}  # fmt: skip


def harmless_of(given: object, devices: Sequence[Device], context: Context) -> tuple[Harmless, ...]:
    """Return the reads that the key ``harmless`` of ``[traffic]`` names; mistakes are noted."""
    names = _texts(given, "harmless", context)
    found = [_harmless(name, ("traffic", "harmless"), devices, context) for name in names]
    return tuple(one for one in found if one is not None)


def _harmless(
    name: str, path: KeyPath, devices: Sequence[Device], context: Context
) -> Harmless | None:
    target, at, pc = name.partition("@")
    slot, dot, register = target.partition(".")
    known = {device.name: device for device in devices}
    note = context.mistakes.note
    if not dot:
        note(path, f"must name registers such as 'clock.NOW', not {name!r}")
    elif slot not in known:
        if slot not in context.slots:
            note(path, f"there is no slot {slot!r}{nearest(slot, context.slots)}")
    elif not _is_register(register, known[slot].slot.table):
        names = known[slot].slot.table.names
        note(path, f"{slot} has no register {register!r}{nearest(register, names)}")
    else:
        try:
            return Harmless(slot, register, number(pc, "the address after @") if at else None)
        except ValueError as error:
            note(path, f"{error}, in {name!r}")
    return None


def _is_register(name: str, table: RegisterTable) -> bool:
    """Return whether a register has a name: also an array as a whole, such as ``COLOUR``."""
    return table.offset_of(name) is not None or table.offset_of(f"{name}.0") is not None


def _covered(given: object, context: Context) -> tuple[str, ...]:
    """Return the slots that the key ``covers`` of ``[traffic]`` names."""
    names = _texts(given, "covers", context)
    for name in names:
        if name not in context.slots:
            text = f"there is no slot {name!r}{nearest(name, context.slots)}"
            context.mistakes.note(("traffic", "covers"), text)
    return names


def moves_along(given: object, context: Context) -> bool:
    """Return what the key ``move`` of ``[traffic]`` says."""
    if given is not None and not isinstance(given, bool):
        text = f"must be {KEYS['move'].kind}, not {format_value(given)}"
        context.mistakes.note(("traffic", "move"), text)
    return given is True


def _texts(given: object, key: str, context: Context) -> tuple[str, ...]:
    if given is None:
        return ()
    if isinstance(given, list) and all(isinstance(one, str) for one in given):
        return tuple(given)
    text = f"must be {KEYS[key].kind}, not {format_value(given)}"
    context.mistakes.note(("traffic", key), text)
    return ()


def check_covered(
    given: object, attached: Sequence[Attached], system: System, context: Context
) -> None:
    """Note traffic that leaves the covered slots, and changes that could act only outside them.

    Parameters
    ----------
    given : the key ``covers`` of ``[traffic]``, None without it
    """
    if given is None:
        return
    covers = _covered(given, context)
    note = context.mistakes.note
    source = system.new_source()
    if isinstance(source, ListedSource):
        for slot in dict.fromkeys(_slots_of(source, system.address_map)):
            if slot not in covers:
                text = f"must also name {slot}: the traffic has accesses to it"
                note(("traffic", "covers"), text)
    outside = [device.name for device in system.devices if device.name not in covers]
    overlapping = {one.name for pair in system.address_map.overlaps() for one in (pair[0], pair[1])}
    owner = {one.name: system.devices[one.device].name for one in attached}
    for path in sorted(context.mistakes.changed, key=str):
        kind, name = (*map(str, path), "", "")[:2]
        slot = name if kind == "slot" else owner.get(name, "") if kind == "attach" else ""
        if slot in outside and slot not in overlapping:
            text = (
                f"can act only through accesses to {slot}, and the recording has none: it covers "
            )
            note(path, f"{text}only {', '.join(covers)} (traffic.covers)")


def _slots_of(source: ListedSource, address_map: AddressMap) -> Iterator[str]:
    """Yield the slots that listed traffic accesses, some more than once."""
    addresses: set[int] = set()
    for piece in source.everything():
        if isinstance(piece, AccessTable):
            addresses.update(distinct(piece["address"]).tolist())
        elif isinstance(piece, AccessStep | Poll):
            if isinstance(piece.target, Named):
                yield piece.target.slot
            else:
                addresses.add(piece.target)
    for address in sorted(addresses):
        slot = address_map.decode(address).slot
        if slot is not None:
            yield slot.name
