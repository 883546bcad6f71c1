"""What a kernel is, and the parts that it is made from: a design with its program."""

from __future__ import annotations

from array import array
from collections import OrderedDict
from collections.abc import Callable, Hashable, Mapping, Sequence
from functools import cached_property
from typing import TYPE_CHECKING, Any, Protocol

from busbox.basics.cache import found, keep
from busbox.bus.identity import content_of, design_key, hardware_of
from busbox.bus.view import View
from busbox.engines.loop import PARTS
from busbox.engines.netlist.outline import Outline
from busbox.engines.sources import sources
from busbox.system.system import System

if TYPE_CHECKING:
    from busbox.bus.design import Design
    from busbox.core.core import Core
    from busbox.core.setup import CoreSetup
    from busbox.engines.netlist.program import Program


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

    def attach(self, setup: CoreSetup) -> Core:
        """Return a core, which gives the commands from now on."""

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


class Parts:
    """A settable design, and what kernels have made of it. It is built when it is needed.

    Attributes
    ----------
    slots : how many there are
    views : slot number to what is seen of the hardware device in it
    content : what it follows from, None if that is not known
    made : what kernels have made of it, and use again
    """

    def __init__(self, system: System) -> None:
        self._system = system
        self.content = content_of(system)
        self._outline: Outline | None = None
        self.slots = len(system.devices)
        self.views = {
            number: View(device.model, device.settings)
            for number, device in enumerate(system.devices)
            if device.model.in_amaranth
        }
        self.made: dict[str, Any] = {}

    @cached_property
    def design(self) -> Design:
        """The design in Amaranth."""
        from busbox.bus.design import Design

        slots = [device.slot for device in self._system.devices]
        return Design(slots, self._system.fabric, hardware_of(self._system), settable=True)

    @cached_property
    def program(self) -> Program:
        """The design, ready to be written as code."""
        from busbox.engines.netlist.building import build

        return build(self.design, _ports(self.design))

    @property
    def outline(self) -> Outline:
        """The program without its expressions."""
        if self._outline is None:
            self._outline = self.program.outline
        return self._outline

    def kept(self, kinds: Sequence[bytes], make: Callable[[], bytes]) -> bytes:
        """Return code of the design, made or kept on disk; with kept code, nothing is built.

        What is kept is the code with the outline of the program. Where it is not known what the
        design follows from, nothing is kept, nor if a file changed while it was built.

        Parameters
        ----------
        kinds : all that it follows from beside the design, and the sources of Busbox and Amaranth; of
            kinds that serve equally, the last one is made if none is kept
        """
        if self.content is None:
            return make()
        keys = [b"\n".join([kind, sources(), self.content.encode()]) for kind in kinds]
        kept = next((one for one in map(found, keys) if one is not None), None)
        if kept is None:
            code = make()
            if content_of(self._system) == self.content:
                keep(keys[-1], self.outline.line() + code)
            return code
        line, _, code = kept.partition(b"\n")
        if self._outline is None:
            self._outline = Outline.of_line(line)
        return code

    @property
    def outputs(self) -> list[str]:
        """The outputs that every cycle needs."""
        names = ["status", "inner", "resting"]
        for slot in self.views:
            names += [seen(slot), guard(slot)]
        return names

    def quiet(self) -> list[Program]:
        """Return the parts of the design while nothing is on the bus and RST is low."""
        from busbox.engines.netlist.parts import hold, split

        held = hold(self.program, dict.fromkeys(IDLE, 0))
        return split(held, [[seen(slot), guard(slot)] for slot in self.views], PARTS)

    @property
    def peeked(self) -> list[str]:
        """The outputs that show registers."""
        return [watch_data(slot) for slot in self.views]


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
            parts = Parts(system)
        self._kept[key] = parts
        if len(self._kept) > self._most:
            self._kept.popitem(last=False)
        return parts


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
    for slot, device in design.devices.items():
        ports[seen(slot)] = design.seen[slot]
        ports[guard(slot)] = design.guards[slot].seen
        ports[watch_data(slot)] = device.watch_data
        ports[watch_address(slot)] = device.watch_adr
        for stem, group in device.groups.items():
            if group[0].direction == "input":
                ports[pin(slot, f"pin_{stem}")] = getattr(device, f"pin_{stem}")
    return {name: port for name, port in ports.items() if len(port)}
