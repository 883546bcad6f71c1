"""What lockstep runs exercised of a device, and what they never did."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from busbox.bus.transfers import RESET
from busbox.check.twin.compare import Side
from busbox.check.twin.plan import Plan
from busbox.exports.coverage import coverage
from busbox.map.registers import Field, Register, RegisterTable, show_lanes
from busbox.system.system import System

_CAN_BE_WRITTEN = ("rw", "wo", "ones_clear", "ones_act")
_CAN_BE_SEEN = ("rw", "ro", "ones_clear")


class Exercise:
    """Collects what the runs of one slot exercised.

    Attributes
    ----------
    accesses, aimed, cut, inputs, resets, cycles : counts; ``cut`` are accesses that a reset cut off
    """

    def __init__(self, table: RegisterTable) -> None:
        self._table = table
        self.accesses = self.aimed = self.cut = self.inputs = self.resets = self.cycles = 0
        self._lanes: set[str] = set()
        self._reads: dict[str, int] = {}
        self._writes: dict[str, int] = {}
        self._written: set[str] = set()
        self._ones: dict[str, int] = {}
        self._zeros: dict[str, int] = {}

    def add(self, side: Side, plan: Plan, system: System) -> None:
        """Take one run of the slot."""
        accesses = side.recording.accesses
        self.accesses += len(accesses)
        self.cut += int((accesses.terminator == RESET).sum())
        self.aimed += plan.aimed
        self.inputs += len(plan.inputs)
        self.resets += len(plan.resets)
        self.cycles += side.recording.cycles
        (device,) = system.devices
        for name, one in coverage(side.recording, [device])[device.name]["registers"].items():
            self._reads[name] = self._reads.get(name, 0) + one["reads"]
            self._writes[name] = self._writes.get(name, 0) + one["writes"]
            self._lanes |= set(one["lanes"])
            self._written |= {f"{name}.{f}" for f, marks in one["fields"].items()
                              if marks["written_one"]}  # fmt: skip
        for _, registers in side.registers:
            for name, value in registers.items():
                self._ones[name] = self._ones.get(name, 0) | value
                self._zeros[name] = self._zeros.get(name, 0) | ~value

    def as_object(self) -> dict[str, Any]:
        """Return everything as a JSON object."""
        counts = ("accesses", "aimed", "cut", "inputs", "resets", "cycles")
        return {name: getattr(self, name) for name in counts} | {
            "lanes": sorted(self._lanes),
            "registers": {
                name: {"reads": self._reads.get(name, 0), "writes": self._writes.get(name, 0)}
                for name in (place.name for _, place in self._table.places())
            },
            "never": list(self.never()),
        }

    def never(self) -> Iterator[str]:
        """Yield what was never reached, one phrase each."""
        lanes = [show_lanes(one) for one in range(16) if show_lanes(one) not in self._lanes]
        if lanes:
            yield f"lanes {' '.join(lanes)}"
        for register in self._table:
            names = [register.name_of(index) for index in range(max(1, register.count))]
            if not any(self._reads.get(name) for name in names):
                yield f"{register.name} read"
            if not any(self._writes.get(name) for name in names):
                yield f"{register.name} written"
            for field in register.fields:
                yield from self._field(register, names, field)

    def _field(self, register: Register, names: list[str], field: Field) -> Iterator[str]:
        access = field.access or register.access
        label = register.name if field.name == "VALUE" else f"{register.name}.{field.name}"
        if access in _CAN_BE_WRITTEN and not any(
            f"{n}.{field.name}" in self._written for n in names
        ):
            yield f"1 written to {label}"
        if access in _CAN_BE_SEEN and self._ones:
            if not any(self._ones.get(name, 0) & field.mask for name in names):
                yield f"1 seen in {label}"
            if not any(self._zeros.get(name, 0) & field.mask for name in names):
                yield f"0 seen in {label}"
