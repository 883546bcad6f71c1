"""The stimulus for one slot: accesses with their waits, inputs and resets.

A random plan is drawn against the model, if there is one: before each access the model is asked when it
may change next (``next_edge``, ``rest_at``), and most accesses are aimed to end within two cycles of
such an event.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from random import Random
from typing import Any

from busbox.basics.units import Span
from busbox.bus.transfers import RESET
from busbox.cpu.listed import ListedSource
from busbox.cpu.steps import ALL_LANES, AccessStep, Named, Pause, Target
from busbox.device import BusAccess, Hold
from busbox.map.registers import WORD, Place, Register
from busbox.recording import Recording
from busbox.run.host import DeviceHost
from busbox.system.hardware import Device
from busbox.system.scenario import BoardReset, InputLevel
from busbox.system.system import System

#: Words of a slot without registers that accesses are drawn for.
MOST_WORDS = 64
#: Cycles that are run after the last access.
TAIL = 40
#: Out of ten accesses, the number aimed at an event.
AIMED = 7
#: Cycles to an event that is too far away to wait for.
FAR = 600
#: Cycles from an event to the end of an access that is aimed at it. What an event changes shows in its
#: cycle: an access that ends in the cycle before meets it.
AIMS = (-2, -1, -1, -1, 0, 0, 1, 2)
#: Cycles from the end of a write to the count that it writes, as for an alarm.
SOON = (-1, 0, 0, 1, 2, 4, 8, 12, 20)


@dataclass(frozen=True)
class Plan:
    """The stimulus for one slot.

    Attributes
    ----------
    steps : accesses (a target is an address or a register's name), and pauses that a reset cuts off
    inputs : (cycle, pin, level)
    resets : (cycle, length) of RST; the CPU continues with the next step
    aimed : accesses of a random plan that end within two cycles of an event
    """

    steps: tuple[AccessStep | Pause, ...]
    inputs: tuple[tuple[int, str, int], ...] = ()
    resets: tuple[tuple[int, int], ...] = ()
    aimed: int = 0

    @property
    def played(self) -> tuple[AccessStep | Pause, ...]:
        """The steps, and a pause in which their effects, and those of the last input, can show."""
        least = sum(
            step.wait + 1 if isinstance(step, AccessStep) else step.span.cycles or 0
            for step in self.steps
        )
        cycles = [one[0] for one in self.inputs] + [one[0] for one in self.resets]
        last = max(cycles, default=0)
        return (*self.steps, Pause(Span(cycles=TAIL + max(0, last - least))))

    def system(self, system: System, number: int) -> System:
        """Return a system of the one slot, with this plan as its traffic."""
        device = system.devices[number]
        slot = replace(device.slot, yields_to=())
        return replace(
            system,
            devices=(replace(device, slot=slot),),
            inputs=tuple(InputLevel(cycle, 0, pin, level) for cycle, pin, level in self.inputs),
            resets=tuple(BoardReset(cycle, length) for cycle, length in self.resets),
            after_reset="continue",
            settle=1,
            new_source=ListedSource(lambda: self.played).again,
            core=None,
            traffic="",
            wires=(),
            replies=(),
            expectations=(),
            attached=(),
            poll_storm=None,
            stuck_after=None,
        )


def plan_of(recording: Recording, system: System, number: int) -> Plan:
    """Return the plan that repeats what a slot saw in a run: its accesses in the same cycles."""
    accesses, device = recording.accesses, system.devices[number]
    lengths, free = dict(recording.resets), 1
    steps: list[AccessStep | Pause] = []
    for place in range(len(accesses)):
        start, end = int(accesses.start[place]), int(accesses.end[place])
        if int(accesses.slot[place]) != number:
            continue
        for cycle, length in recording.resets:
            if free <= cycle < start:
                steps.append(Pause(Span(cycles=cycle - free + 1)))
                free = cycle + length + 1
        write = bool(accesses.write[place])
        steps.append(
            AccessStep(
                write,
                int(accesses.address[place]),
                int(accesses.data[place]) if write else None,
                int(accesses.lanes[place]),
                max(0, start - free),
            )
        )
        free = end + 1 + (lengths.get(end, 0) if accesses.terminator[place] == RESET else 0)
    inputs = []
    for pin in device.pins:
        if pin.direction == "input":
            line = recording.lines[f"{device.name}.{pin.name}"]
            changes = zip(line.cycles.tolist()[1:], line.levels.tolist()[1:], strict=True)
            inputs += [(cycle, pin.name, level) for cycle, level in changes]
    return Plan(tuple(steps), tuple(sorted(inputs)), tuple(recording.resets))


def random_plan(system: System, number: int, count: int, seed: int) -> Plan:
    """Draw a plan of ``count`` accesses; the same seed gives the same plan."""
    return _Drawing(system, number, Random(seed)).draw(count)


class _Drawing:
    """Draws a plan while the model plays it."""

    def __init__(self, system: System, number: int, random: Random) -> None:
        self._device: Device = system.devices[number]
        self._random = random
        self._delay = self._device.slot.wait + system.fabric.registered_decode
        self._host = DeviceHost(self._device, system.clock_hz, lambda cycle: None)
        model = self._device.model
        self._model: Any = (
            _Unknown() if model.in_amaranth else model(self._host, **self._device.settings)
        )
        self._aimed = self._zero = 0
        self._resets: list[tuple[int, int]] = []
        self._inputs = [pin.name for pin in self._device.pins if pin.direction == "input"]
        self._levels = {pin.name: pin.level for pin in self._device.pins}
        self._given: list[tuple[int, str, int]] = []
        self._coming: list[tuple[int, str, int]] = []

    def draw(self, count: int) -> Plan:
        """Draw the plan, access by access."""
        steps: list[AccessStep | Pause] = []
        free, random = 1, self._random
        places = list(self._device.slot.table.places()) or list(_words(self._device.slot.size))
        flags = [one for one in places if one[1].register.mask("ones_clear")]
        for number in range(count):
            if self._inputs and random.random() < 0.3:
                self._draw_inputs(free)
            end = self._aim(free)
            stuck = self._model.rest_at(free) > free + FAR  # a huge count: nothing will happen
            if random.random() < (0.2 if stuck else 0.01):
                steps.append(Pause(Span(cycles=end - free + 1)))
                free = self._reset(end)
                continue
            offset, place = random.choice(flags if flags and random.random() < 0.25 else places)
            step = self._access(place, offset, end)
            steps.append(replace(step, wait=end - self._delay - free))
            if random.random() < 0.01:  # cut off while it is on the bus
                free = self._reset(end - random.randint(0, self._delay))
            else:
                free = self._play(step, offset, end, number) + 1
        return Plan(tuple(steps), tuple(sorted(self._given)), tuple(self._resets), self._aimed)

    def _aim(self, free: int) -> int:
        """Return the cycle in which the next access is to end."""
        first, random = free + self._delay, self._random
        self._model.advance(free)
        events = [self._model.next_edge(free), self._model.rest_at(free)]
        events += [cycle + 2 for cycle, _, _ in self._coming]
        near = [
            cycle for cycle in events if cycle is not None and first - 2 <= cycle <= first + FAR
        ]
        end = first + random.choice((0, 0, 0, 1, 2, 5, 17))
        if near and random.randrange(10) < AIMED:
            end = max(first, random.choice(near) + random.choice(AIMS))
        self._aimed += any(abs(cycle - end) <= 2 for cycle in near)
        return end

    def _draw_inputs(self, free: int) -> None:
        """Let an input pin change once or more; a serial line needs several edges."""
        few = self._inputs[: self._random.choice((2, len(self._inputs)))]
        pin, cycle = self._random.choice(few), free + self._random.randint(1, 6)
        if self._coming and self._coming[-1][0] >= cycle:
            return
        for _ in range(self._random.choice((1, 1, 2, 6))):
            self._levels[pin] ^= 1
            self._coming.append((cycle, pin, self._levels[pin]))
            cycle += self._random.choice((1, 2, 3, 4, 8))

    def _deliver(self, cycle: int) -> None:
        while self._coming and self._coming[0][0] <= cycle:
            at, pin, level = self._coming.pop(0)
            self._given.append((at, pin, level))
            self._model.input(at, pin, level)

    def _reset(self, cycle: int) -> int:
        """Put RST high in ``cycle``; return the first cycle after it that an access may use."""
        length = self._random.choice((1, 1, 2, 3))
        self._deliver(cycle)
        self._coming = []
        self._resets.append((cycle, length))
        self._model.reset(cycle, length)
        self._host.reset(cycle)
        self._zero = cycle + length
        return cycle + length + 1

    def _access(self, place: Place, offset: int, cycle: int) -> AccessStep:
        random, slot, register = self._random, self._device.slot, place.register
        declared = slot.table.at(offset) is not None
        target: Target = Named(slot.name, place.name) if declared else slot.base + offset
        if random.random() < 0.03:
            target = slot.base + random.randrange(slot.size // 4) * 4
        lanes = random.choice((ALL_LANES, ALL_LANES, 1, random.randrange(16)))
        if random.random() < 0.45:
            return AccessStep(False, target, None, lanes)
        return AccessStep(True, target, self._word(register, cycle), lanes)

    def _word(self, register: Register, cycle: int) -> int:
        """Draw a word: small counts in each half, a cycle soon to come, single bits, ones, anything."""
        random, kind = self._random, self._random.randrange(20)
        if register.mask("ones_clear") and kind < 10:
            return random.choice((WORD, random.getrandbits(32)))
        if kind < 5 and len(register.fields) == 1 and register.mask() == WORD:
            # A cycle soon to come, counted from the last reset as a cycle counter does; or far
            # above it.
            soon = cycle - self._zero + random.choice(SOON)
            return soon + random.choice((0, 0, 0, 0x1_0000)) & WORD
        if kind < 12:
            return random.randint(0, 5) | random.randint(0, 5) << 16
        if kind < 17:
            return random.randint(0, 3)
        if kind == 17:
            return 1 << random.randrange(32)
        return random.choice((0, WORD, random.getrandbits(32), register.reset_value))

    def _play(self, step: AccessStep, offset: int, cycle: int, number: int) -> int:
        """Let the model answer; return the cycle in which the access ends."""
        if isinstance(step.target, int):
            offset = step.target - self._device.slot.base
        while True:
            self._deliver(cycle)
            answer = self._model.access(
                BusAccess(cycle, offset, step.write, step.data or 0, step.lanes, number)
            )
            if not isinstance(answer, Hold):
                return cycle
            cycle = cycle + 1 if answer.until is None else int(answer.until)


class _Unknown:
    """Stands for a device of which no model is there: nothing is known of its events."""

    def advance(self, cycle: int) -> None:
        """Do nothing."""

    def next_edge(self, cycle: int) -> int | None:
        """Return None: not known."""

    def rest_at(self, cycle: int) -> int:
        """Return the cycle itself."""
        return cycle

    def access(self, access: BusAccess) -> int:
        """Take it that the access ends at once."""
        return 0

    def input(self, cycle: int, pin: str, level: int) -> None:
        """Do nothing."""

    wake = advance

    def reset(self, cycle: int, length: int) -> None:
        """Do nothing."""


def _words(size: int) -> Iterator[tuple[int, Place]]:
    """Yield the words of a slot that declares no registers, the first ones."""
    for offset in range(0, min(size, MOST_WORDS * 4), 4):
        yield offset, Place(Register(f"AT_{offset:X}", offset), 0)


def show_steps(plan: Plan) -> Iterator[str]:
    """Yield the lines of the plan's traffic."""
    from busbox.formats.text import write_text

    return write_text(plan.steps)
