"""What a kernel is, and the parts that it is made from: a design with its program."""

from __future__ import annotations

from array import array
from collections import OrderedDict
from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Protocol

from busbox.bus.design import Design, design_key, hardware_of
from busbox.bus.wishbone.fabric import Fabric
from busbox.core.core import Core
from busbox.engines.loop import PARTS
from busbox.engines.netlist import Program, build
from busbox.engines.netlist.parts import hold, split
from busbox.system.system import System


class Numbers(Protocol):
    """A row of numbers that can be changed."""

    def __len__(self) -> int: ...

    def __getitem__(self, place: int, /) -> int: ...

    def __setitem__(self, place: int, number: int, /) -> None: ...


class Kernel(Protocol):
    """The loop of one design, and what it keeps."""

    @property
    def state(self) -> Numbers:
        """The numbers named in :data:`busbox.engines.loop.STATE`."""

    @property
    def cached(self) -> Numbers:
        """:data:`busbox.engines.loop.CACHED` numbers for each slot."""

    @property
    def noted(self) -> bool:
        """Whether something was seen of a hardware device, and is not forgotten."""

    def go(self) -> int:
        """Run the loop until it returns; return why."""

    def call(self) -> Sequence[int]:
        """Return the numbers of :data:`busbox.engines.loop.CALLED`."""

    def play(self, commands: array[int]) -> None:
        """Take commands from here; called again when there are more of them."""

    def attach(self, core: Core) -> None:
        """Let a core give commands."""

    def logged(self) -> array[int]:
        """Return what the loop has logged, and forget it."""

    def samples(self, slot: int) -> tuple[list[int], list[int]]:
        """Return cycles and words that were seen of a hardware device, and forget them."""

    def guarded(self, slot: int) -> tuple[list[int], list[int]]:
        """Return cycles and words of a hardware device's guard, and forget them."""

    def see(self, slot: int) -> int:
        """Settle; return what is seen of a hardware device, and compare with that from now on."""

    def watch(self, slot: int, mask: int, notes: bool) -> None:
        """Stop for these bits of what is seen, and for notes."""

    def drive(self, slot: int, member: str, word: int) -> None:
        """Give the pins of a member their levels."""

    def tie(self, levels: Mapping[str, int]) -> None:
        """Tie inputs of the design to levels for the whole run, before its first cycle."""

    def peek(self, slot: int, offset: int) -> int:
        """Return a register of a hardware device."""


@dataclass(frozen=True)
class Parts:
    """A settable design with its program, and what a kernel must know of both.

    Attributes
    ----------
    slots : how many there are
    made : what kernels have made of it, and use again
    """

    design: Design
    program: Program
    slots: int
    made: dict[str, Any] = field(default_factory=dict)

    @classmethod
    def of(cls, system: System) -> Parts:
        """Build the design of a system."""
        slots = [device.slot for device in system.devices]
        design = Design(slots, system.fabric, hardware_of(system), settable=True)
        return cls(design, build(design, _ports(design)), len(slots))

    @property
    def outputs(self) -> list[str]:
        """The outputs that every cycle needs."""
        names = ["status", "inner", "resting"]
        for slot in self.design.views:
            names += [seen(slot), guard(slot)]
        return names

    def quiet(self) -> list[Program]:
        """Return the parts of the design while nothing is on the bus and RST is low."""
        held = hold(self.program, dict.fromkeys(IDLE, 0))
        return split(held, [[seen(slot), guard(slot)] for slot in self.design.views], PARTS)

    @property
    def peeked(self) -> list[str]:
        """The outputs that show registers."""
        return [watch_data(slot) for slot in self.design.views]


#: Inputs that are 0 while nothing is on the bus.
IDLE = ("rst", "request", "data", "reply")


class Kept:
    """Keeps the designs that were used last; systems that differ in base or wait states share one.

    Parameters
    ----------
    most : how many are kept
    """

    def __init__(self, most: int = 32) -> None:
        self._most = most
        self._kept: OrderedDict[Hashable, Parts] = OrderedDict()

    def __call__(self, system: System) -> Parts:
        key = design_key(system, settable=True)
        parts = self._kept.pop(key, None)  # threads may share this: no key is looked up twice
        if parts is None:
            parts = Parts.of(system)
        self._kept[key] = parts
        if len(self._kept) > self._most:
            self._kept.popitem(last=False)
        return parts


def fabric_levels(system: System) -> dict[str, int]:
    """Return the levels of the inputs that make a design the one of a system."""
    return Fabric.settings([device.slot for device in system.devices], system.fabric)


def seen(slot: int) -> str:
    """Return the name of the output that shows pins and notes of a hardware device."""
    return f"seen_{slot}"


def guard(slot: int) -> str:
    """Return the name of the output of a guard."""
    return f"guard_{slot}"


def watch_address(slot: int) -> str:
    """Return the name of the input that chooses a register."""
    return f"watch_adr_{slot}"


def watch_data(slot: int) -> str:
    """Return the name of the output that shows a register."""
    return f"watch_data_{slot}"


def pin(slot: int, member: str) -> str:
    """Return the name of an input that is a member of pins."""
    return f"{member}_{slot}"


def _ports(design: Design) -> dict[str, Any]:
    ports: dict[str, Any] = {
        "clk": design.domain.clk,
        "rst": design.domain.rst,
        "request": design.request,
        "data": design.data,
        "reply": design.reply,
        "status": design.status,
        "inner": design.inner,
        "resting": design.resting,
        **{name: getattr(design.fabric, name) for name in design.fabric.levels},
    }
    for slot, view in design.views.items():
        device = view.device
        ports[seen(slot)] = design.seen[slot]
        ports[guard(slot)] = design.guards[slot].seen
        ports[watch_data(slot)] = device.watch_data
        ports[watch_address(slot)] = device.watch_adr
        for stem, group in device.groups.items():
            if group[0].direction == "input":
                ports[pin(slot, f"pin_{stem}")] = getattr(device, f"pin_{stem}")
    return {name: port for name, port in ports.items() if len(port)}
