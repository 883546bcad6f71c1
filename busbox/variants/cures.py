"""Changes that may cure a finding, tried on a bench: with which of them does it not occur?"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from busbox.basics.errors import InputError
from busbox.basics.listing import counted
from busbox.basics.units import parse_clock
from busbox.bench.bench import Bench
from busbox.recording import Recording
from busbox.system.system import System
from busbox.variants.working import forget_designs, kept_engine

#: Clocks of small systems. Common practice, no source.
CLOCKS = ("8 MHz", "12 MHz", "16 MHz", "24 MHz", "32 MHz", "48 MHz")
#: What is tried for each rule: clocks, and wait states of the slots that have the finding (a value, or
#: so many more). Common practice, no source: what changes how fast the firmware comes back, how long
#: a pulse lasts, and what a clock can divide.
CURES: Mapping[str, tuple[str, ...]] = {
    "byte-lost": ("clock", "wait=0", "wait+1", "wait+4"),
    "frame-missed": ("clock", "wait=0", "wait+1", "wait+4"),
    "latch-gap": ("clock", "wait+4"),
    "pulse-width": ("clock", "wait=0", "wait+1"),
    "baud-error": ("clock",),
    "framing": ("clock",),
    "flash-rate": ("clock",),
    "read-differs": ("wait=0", "wait+1", "wait+2"),
    "shown-differs": ("clock", "wait+4"),
    "poll-timeout": ("clock", "wait=0", "wait+4"),
    "poll-storm": ("wait+4", "wait+16"),
    "interrupt-stuck": ("clock", "wait=0"),
    "spin": ("clock",),
    "image-access": ("decode=range",),
}


@dataclass(frozen=True)
class Attempt:
    """One change that was tried.

    Attributes
    ----------
    changes : key to value
    count : how often the finding occurs with it; -1 if the bench cannot be run so
    more : rules that have more findings with it than without
    problem : why it cannot be run
    """

    changes: Mapping[str, Any]
    count: int
    more: tuple[str, ...] = ()
    problem: str = ""

    def __str__(self) -> str:
        change = ", ".join(f"{key} = {value}" for key, value in self.changes.items())
        if self.count < 0:
            return f"{change}: cannot be run: {self.problem}"
        times = counted(self.count, "time") if self.count else "it does not occur"
        others = f", but more of {', '.join(self.more)}" if self.more else ""
        return f"{change}: {times}{others}"


@dataclass(frozen=True)
class Attempts:
    """What was tried for a finding: how often it occurs in the bench as it stands, and with changes."""

    rule: str
    count: int
    tried: tuple[Attempt, ...]


def attempts(rule: str, bench: Bench, engine: str = "auto") -> Attempts:
    """Run a bench as it stands and, if it has the finding, with each change that may cure it.

    Raises
    ------
    InputError : there is something wrong with the bench
    """
    system = bench.system()
    forget_designs()
    base = bench.run(kept_engine(engine), system=system, carried=False)
    counts = base.by_rule
    if not counts.get(rule):
        return Attempts(rule, 0, ())
    tried = tuple(
        _tried(rule, bench, changes, counts, engine)
        for changes in _changes(CURES.get(rule, ()), rule, system, base)
    )
    return Attempts(rule, counts[rule], tried)


def _tried(
    rule: str, bench: Bench, changes: Mapping[str, Any], before: Mapping[str, int], engine: str
) -> Attempt:
    try:
        after = bench.with_values(changes).run(kept_engine(engine), carried=False).by_rule
    except InputError as error:
        return Attempt(changes, -1, problem=str(error).splitlines()[0])
    more = tuple(one for one in sorted(after) if one != rule and after[one] > before.get(one, 0))
    return Attempt(changes, after.get(rule, 0), more)


def _changes(
    cures: tuple[str, ...], rule: str, system: System, base: Recording
) -> Iterator[dict[str, Any]]:
    """Yield the changes that are tried: the keys that they change and the values."""
    slots = _slots(rule, system, base)
    seen: list[dict[str, Any]] = []
    for cure in cures:
        if cure.startswith("clock"):
            ways: list[dict[str, Any]] = [{"clock": clock} for clock in CLOCKS]
        elif cure.startswith("wait"):
            waits = {device.name: device.slot.wait for device in system.devices}
            ways = [{f"slot.{slot}.wait": _wait(cure, waits[slot])} for slot in slots]
        else:
            key, _, value = cure.partition("=")
            ways = [{f"slot.{slot}.{key}": value} for slot in slots]
        for way in ways:
            if way not in seen and not _is_as_it_stands(way, system):
                seen.append(way)
                yield way


def _slots(rule: str, system: System, base: Recording) -> list[str]:
    """Return the slots that have the finding, or whose pin carries the line that has it."""
    names = [device.name for device in system.devices]
    owners = {one.name: names[one.device] for one in system.attached}
    found = [key.partition(".")[0] for key in base.counts[rule]]
    found += [finding.slot for finding in base.findings if finding.rule == rule]
    slots = [owners.get(name, name) for name in found]
    return [name for name in dict.fromkeys(slots) if name in names]


def _wait(cure: str, wait: int) -> int:
    return int(cure.removeprefix("wait=")) if "=" in cure else wait + int(cure.partition("+")[2])


def _is_as_it_stands(way: Mapping[str, Any], system: System) -> bool:
    waits = {f"slot.{device.name}.wait": device.slot.wait for device in system.devices}
    if "clock" in way:
        return parse_clock(way["clock"]) == system.clock_hz
    return all(waits.get(key) == value for key, value in way.items())
