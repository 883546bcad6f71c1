"""Signals inside hardware devices, cycle by cycle: a run off-line, from what a recording holds.

A recording holds no inner signal, but all that reaches a hardware device from outside: accesses with
their cycles, input pins and resets. So the design is run once more with these, on Amaranth's simulator,
and what is found inside is the same whatever engine made the recording. Every access must end as it was
recorded.
"""

from __future__ import annotations

import io
from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence
from contextlib import redirect_stdout
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from amaranth.hdl import Cat, ClockDomain, Fragment, Module, Signal, Value
from amaranth.sim import Simulator

from busbox.basics.errors import InputError
from busbox.bus.design import Design
from busbox.bus.identity import hardware_of
from busbox.bus.transfers import ACK, ERR, NONE, RESET, WATCHDOG
from busbox.engines.paths import check_hardware
from busbox.recording import Recording
from busbox.system.system import System

#: Called occasionally with the cycle and the share that is done.
Report = Callable[[int, float], None]

#: What belongs to the way in which Busbox looks at a device, and not to the device.
_WATCH = "watch_"
#: What the name of a signal begins with that its author gave none.
_NAMELESS = "$"
#: How the module of a device is called in the design.
_SLOT = "slot_"
#: Cycles between two reports.
_REPORTED = 1 << 12
#: Edges that change nothing, after which none will until something comes from outside. The first may
#: write a word of a memory, which a port with a register shows after the second.
_QUIET = 2


@dataclass
class InnerSignal:
    """A signal inside a hardware device.

    Attributes
    ----------
    slot : name of the slot
    path : names of the modules around it, from the device inwards; empty for the device's own
    name, width : of the signal, in bits
    cycles, values : from ``cycles[i]`` on it has ``values[i]``; the first is cycle 0
    """

    slot: str
    path: tuple[str, ...]
    name: str
    width: int
    cycles: list[int] = field(default_factory=list)
    values: list[int] = field(default_factory=list)


def inner_signals(
    recording: Recording, system: System, depth: int, report: Report | None = None
) -> list[InnerSignal]:
    """Return the signals of all hardware devices in a run, those of an outer module first.

    Parameters
    ----------
    depth : levels of the hierarchy, 1 or more; 1 is the device itself without the modules in it

    Raises
    ------
    InputError : the hardware does not do what was recorded, or breaks an assertion of its own
    NetlistError : no engine runs the hardware
    """
    if not any(device.model.in_amaranth for device in system.devices):
        return []
    check_hardware(system)
    run = _Run(recording, system, depth)
    try:
        with redirect_stdout(io.StringIO()):  # what the hardware prints was printed by the run
            run.play(report)
    except AssertionError as error:
        raise InputError.of(f"an assertion in the hardware does not hold: {error}") from None
    return run.found


class _Run:
    """The run off-line: a second clock, driven by hand, takes all signals of a cycle at once."""

    def __init__(self, recording: Recording, system: System, depth: int) -> None:
        self._recording, self._system = recording, system
        slots = [device.slot for device in system.devices]
        self._design = Design(slots, system.fabric, hardware_of(system))
        fragment = Fragment.get(self._design, None)
        self.found, signals = _signals(fragment, [slot.name for slot in slots], depth)
        self._taker = ClockDomain("taker", reset_less=True)
        self._taken = Signal(max(1, sum(len(signal) for signal in signals)))
        m = Module()
        m.domains += self._taker
        m.submodules.design = fragment
        m.d.taker += self._taken.eq(Cat(signals))
        self._simulator: Any = Simulator(m)
        self._simulator.add_clock(1e-6)  # the length of a cycle means nothing here
        self._simulator.add_testbench(self._open)
        self._actions = self._planned()

    async def _open(self, context: Any) -> None:
        self._context = context
        context.set(self._design.rst, 1)

    def play(self, report: Report | None) -> None:
        """Run all cycles, and keep what changes in them."""
        advance, cycles = self._simulator.advance, self._recording.cycles
        advance()
        advance()
        self._set(self._design.rst, 0)
        places = _Places(self.found)
        due = iter(sorted(self._actions))
        following, cycle, quiet = next(due, cycles), 0, 0
        while cycle < cycles:
            if cycle == following:
                for action in self._actions[cycle]:
                    action()
                following, quiet = next(due, cycles), 0
            quiet = 0 if places.take(cycle, self._all()) else quiet + 1
            if quiet >= _QUIET:
                cycle = min(following, cycles)
                continue
            advance()
            advance()
            cycle += 1
            if report is not None and not cycle % _REPORTED:
                report(cycle, cycle / cycles)

    def _all(self) -> int:
        self._set(self._taker.clk, 1)
        word = int(self._context.get(self._taken))
        self._set(self._taker.clk, 0)
        return word

    def _set(self, signal: Any, value: int) -> None:
        self._context.set(signal, value)

    # What reaches the design from outside, by cycle.

    def _planned(self) -> dict[int, list[Callable[[], None]]]:
        actions: dict[int, list[Callable[[], None]]] = defaultdict(list)
        for cycle, action in [*self._ends(), *self._resets(), *self._levels(), *self._begins()]:
            actions[cycle].append(action)
        return {
            cycle: all_of for cycle, all_of in actions.items() if cycle < self._recording.cycles
        }

    def _begins(self) -> Iterator[tuple[int, Callable[[], None]]]:
        """Yield the beginning of each access, and where it must end; these come last in a cycle."""
        accesses, devices = self._recording.accesses, self._system.devices
        names = ("start", "end", "write", "address", "lanes", "data", "terminator", "slot")
        for number, row in enumerate(zip(*(accesses[one].tolist() for one in names), strict=True)):
            start, end, write, address, lanes, data, ended, slot = row
            if ended == RESET and start == end:
                continue
            word = self._design.request_word(write, address, lanes)
            yield start, lambda word=word, data=data * write: self._request(word, data)  # type: ignore[misc]
            if ended in (ACK, ERR) and slot >= 0 and not devices[slot].model.in_amaranth:
                reply = self._design.reply_word(0 if write else data, ended == ERR)
                yield end, lambda reply=reply: self._set(self._design.reply, reply)  # type: ignore[misc]
            if ended not in (RESET, NONE):
                read = data if not write and ended == ACK else None
                yield end, lambda row=(number, ended, read): self._check(*row)  # type: ignore[misc]

    def _ends(self) -> Iterator[tuple[int, Callable[[], None]]]:
        accesses = self._recording.accesses
        for end, ended in zip(accesses.end.tolist(), accesses.terminator.tolist(), strict=True):
            yield end + (ended != RESET), lambda: self._request(0, 0)

    def _resets(self) -> Iterator[tuple[int, Callable[[], None]]]:
        for first, length in self._recording.resets:
            for cycle, level in ((first, 1), (first + length, 0)):
                yield cycle, lambda level=level: self._set(self._design.rst, level)  # type: ignore[misc]

    def _levels(self) -> Iterator[tuple[int, Callable[[], None]]]:
        numbers = {device.name: number for number, device in enumerate(self._system.devices)}
        for pin, line in self._recording.lines.items():
            slot, _, name = pin.partition(".")
            device = self._design.devices.get(numbers[slot])
            if device is None or line.direction != "input":
                continue
            stem, _, bit = name.partition(".")
            member = Value.cast(getattr(device, f"pin_{stem}"))
            for cycle, level in zip(line.cycles.tolist(), line.levels.tolist(), strict=True):
                yield cycle, lambda at=(member, int(bit or 0), level): self._drive(*at)  # type: ignore[misc]

    def _request(self, word: int, data: int) -> None:
        self._set(self._design.request, word)
        self._set(self._design.data, data)
        self._set(self._design.reply, 0)

    def _drive(self, member: Value, bit: int, level: int) -> None:
        word = int(self._context.get(member))
        self._set(member, word & ~(1 << bit) | level << bit)

    def _check(self, number: int, ended: int, read: int | None) -> None:
        """Refuse hardware in which an access does not end as it was recorded."""
        status = int(self._context.get(self._design.status))
        done, failed, cut = status & 1, status >> 1 & 1, status >> 2 & 1
        seen = (WATCHDOG if cut else ERR if failed else ACK) if done else NONE
        if seen != ended or (read is not None and status >> 3 & 0xFFFF_FFFF != read):
            raise InputError.of(
                f"the hardware does not do what was recorded: access {number} ends otherwise in cycle "
                f"{int(self._recording.accesses.end[number])}; the recording must be of this bench"
            )


class _Places:
    """Takes the signals out of the word of all, where they change.

    The signals that are kept are the lowest bits of the word.
    """

    def __init__(self, kept: Sequence[InnerSignal]) -> None:
        self._kept, self._before = [], -1
        low = 0
        for signal in kept:
            self._kept.append((signal, low, (1 << signal.width) - 1))
            low += signal.width

    def take(self, cycle: int, word: int) -> bool:
        """Take the word of a cycle; return whether anything is another than in the one before."""
        if word == self._before:
            return False
        differs = -1 if self._before < 0 else word ^ self._before
        self._before = word
        for signal, low, mask in self._kept:
            if differs >> low & mask:
                signal.cycles.append(cycle)
                signal.values.append(word >> low & mask)
        return True


def _signals(
    fragment: Any, slots: Sequence[str], depth: int
) -> tuple[list[InnerSignal], list[Any]]:
    """Return the signals to keep, and all of the design, in this order and each of them once.

    A signal that several modules of a device know belongs to the outermost of them. One without a name
    is not kept.
    """
    modules = _prepared(fragment)
    clocks = [signal for module in modules for domain in module.domains for signal in domain]
    seen = {id(signal) for signal in clocks}
    kept: list[tuple[InnerSignal, Any]] = []
    others: list[Any] = []
    devices = {_SLOT + slot for slot in slots}
    modules.sort(key=lambda module: not devices & {*module.place[:1]})  # those of devices first
    for module in modules:
        place = module.place
        shown = bool(devices & {*place[:1]}) and len(place) <= depth
        for name, signal in module.signals:
            if id(signal) in seen or not len(signal):
                continue
            seen.add(id(signal))
            if shown and not _left_out((*place[1:], name)):
                slot = place[0][len(_SLOT) :]
                kept.append((InnerSignal(slot, place[1:], name, len(signal)), signal))
            else:
                others.append(signal)
    kept.sort(key=lambda one: slots.index(one[0].slot))
    return [inner for inner, _ in kept], [signal for _, signal in kept] + others


class _Module(NamedTuple):
    """A module of the design: where it is, its signals by name, clock and reset of its domains."""

    place: tuple[str, ...]
    signals: list[tuple[str, Any]]
    domains: list[tuple[Any, ...]]


def _prepared(fragment: Any) -> list[_Module]:
    """Return the modules with the names that Amaranth gives, outer ones first; change nothing.

    Preparing spreads the clock domains over the modules, and a design can be prepared only once; so
    they are put back as they were.
    """
    before = [(one, dict(one.domains), dict(one.domains_propagated_up)) for one in _each(fragment)]
    prepared = fragment.prepare()
    modules = [
        _Module(
            tuple(info.name[1:]),
            [(name, signal) for signal, name in info.signal_names.items()],
            [
                (one.clk,) if one.rst is None else (one.clk, one.rst)
                for one in part.domains.values()
            ],
        )
        for part, info in prepared.fragments.items()
    ]
    for one, domains, propagated in before:
        one.domains.clear()
        one.domains.update(domains)
        one.domains_propagated_up.clear()
        one.domains_propagated_up.update(propagated)
    return sorted(modules, key=lambda module: (len(module.place), module.place))


def _each(fragment: Any) -> Iterator[Any]:
    yield fragment
    for inner, _, _ in fragment.subfragments:
        yield from _each(inner)


def _left_out(names: Sequence[str]) -> bool:
    return any(name.startswith((_WATCH, _NAMELESS)) for name in names)
