"""Two runs of the same plan, and the first cycle in which they differ."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from busbox.device import LiveDevice
from busbox.engines import EngineFactory
from busbox.recording import Recording
from busbox.run.loop import replay
from busbox.system.system import System

_LOOKED_AT = ("start", "end", "terminator", "data")


@dataclass(frozen=True)
class Side:
    """One of the two runs.

    Attributes
    ----------
    recording : of the run
    registers : (cycle, register to value) for the first cycle, and for every cycle in which one changed
    """

    recording: Recording
    registers: tuple[tuple[int, Mapping[str, int]], ...]


@dataclass(frozen=True)
class Difference:
    """The first thing in which the two differ.

    Attributes
    ----------
    cycle : the first cycle that shows it
    what : ``access``, ``register``, ``pin`` or ``end``
    name : of the register or pin; what differs of an access: ``end``, ``terminator`` or ``data``
    model, hardware : the two values
    access : number of the last access raised by then, -1 if there is none
    """

    cycle: int
    what: str
    name: str
    model: Any
    hardware: Any
    access: int


class _Observer:
    """Records the registers of one device in every cycle."""

    def __init__(self, number: int, resets: Sequence[int]) -> None:
        self._number, self._resets = number, set(resets)
        self.seen: list[tuple[int, Mapping[str, int]]] = []

    def __call__(self, cycle: int, devices: Sequence[LiveDevice]) -> None:
        if cycle in self._resets:  # a model has its reset values one cycle early there
            return
        device = devices[self._number]
        device.advance(cycle)
        registers = device.registers()
        if not self.seen or self.seen[-1][1] != registers:
            self.seen.append((cycle, registers))


def observe(system: System, number: int, factory: EngineFactory, until: int | None = None) -> Side:
    """Run a system and record the registers of one device in every cycle."""
    observer = _Observer(number, [reset.at for reset in system.resets])
    recording = replay(system, factory, until, observe=observer)
    return Side(recording, tuple(observer.seen))


def with_hardware(system: System, number: int, hardware: Any, lag: int = 0) -> System:
    """Return the system with a device's hardware twin in its slot.

    The twin takes the settings that it declares, whether in capitals or not; others it does not know.

    Parameters
    ----------
    lag : cycles that it takes longer to answer; its slot has as many wait states less
    """
    devices = list(system.devices)
    given = {name.lower(): value for name, value in devices[number].settings.items()}
    settings = {one.name: given.get(one.name.lower(), one.default) for one in hardware.settings}
    slot = devices[number].slot
    devices[number] = replace(
        devices[number],
        model=hardware,
        settings=settings,
        pins=tuple(hardware.pins_for(settings)),
        slot=replace(slot, wait=slot.wait - lag),
    )
    return replace(system, devices=tuple(devices))


def compare(
    system: System,
    number: int,
    hardware: Any,
    factory: EngineFactory,
    lag: int = 0,
    registers: bool = True,
) -> tuple[Difference | None, Side, Side]:
    """Run model and hardware on the system's traffic; return their first difference, and both.

    Parameters
    ----------
    lag : cycles that the hardware takes longer to answer (:func:`with_hardware`)
    registers : whether they are compared too, in every cycle, apart from what reads show
    """
    model = observe(system, number, factory)
    last = model.recording.cycles + 1  # if it does not end there, that is a difference
    other = observe(with_hardware(system, number, hardware, lag), number, factory, last)
    name = system.devices[number].name
    found = [
        _accesses(model.recording, other.recording),
        _registers(model, other) if registers else None,
        *_pins(name, model.recording, other.recording),
        _ends(model.recording, other.recording),
    ]
    first = min((one for one in found if one is not None), key=_order, default=None)
    return first, model, other


def _order(difference: Difference) -> tuple[int, int]:
    return difference.cycle, ("register", "pin", "access", "end").index(difference.what)


def _raised(recording: Recording, cycle: int) -> int:
    return int(recording.accesses.start.searchsorted(cycle, side="right")) - 1


def _accesses(model: Recording, other: Recording) -> Difference | None:
    one, two = model.accesses, other.accesses
    for place in range(min(len(one), len(two))):
        for name in _LOOKED_AT:
            seen, there = int(one[name][place]), int(two[name][place])
            if seen != there:
                cycle = min(int(one.end[place]), int(two.end[place]))
                return Difference(cycle, "access", name, seen, there, place)
    return None


def _registers(model: Side, other: Side) -> Difference | None:
    one, two = (dict(side.registers) for side in (model, other))
    seen: Mapping[str, int] = {}
    there: Mapping[str, int] = {}
    last = min(model.recording.cycles, other.recording.cycles)
    for cycle in sorted({*one, *two}):
        if cycle >= last:
            break
        seen, there = one.get(cycle, seen), two.get(cycle, there)
        for name in seen:
            if seen[name] != there.get(name):
                access = _raised(model.recording, cycle)
                return Difference(cycle, "register", name, seen[name], there.get(name), access)
    return None


def _pins(slot: str, model: Recording, other: Recording) -> list[Difference]:
    found = []
    last = min(model.cycles, other.cycles)
    for pin, line in model.lines.items():
        if not pin.startswith(f"{slot}."):
            continue
        there = other.lines[pin]
        one = list(zip(line.cycles.tolist(), line.levels.tolist(), strict=True))
        two = list(zip(there.cycles.tolist(), there.levels.tolist(), strict=True))
        cycles = sorted(cycle for cycle, _ in set(one) ^ set(two) if cycle < last)
        if cycles:
            cycle, name = cycles[0], pin.removeprefix(f"{slot}.")
            levels = [_level(edges, cycle) for edges in (one, two)]
            access = _raised(model, cycle)
            found.append(Difference(cycle, "pin", name, levels[0], levels[1], access))
    return found


def _level(edges: Sequence[tuple[int, int]], cycle: int) -> int:
    return [level for when, level in edges if when <= cycle][-1]


def _ends(model: Recording, other: Recording) -> Difference | None:
    if model.cycles == other.cycles and model.ended == other.ended:
        return None
    cycle = min(model.cycles, other.cycles)
    return Difference(cycle, "end", "cycles", model.cycles, other.cycles, len(model.accesses) - 1)
