"""What the engines ``python`` and ``llvm`` have in common: the contract around the loop.

The loop (:mod:`busbox.engines.loop`) runs cycles; it is the kernel's, which differs between the
two. This module answers when the loop returns: it asks models, informs observers, and puts commands
aside.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from array import array
from collections.abc import Callable, Iterable, Mapping, Sequence
from functools import partial
from typing import TYPE_CHECKING, Any, ClassVar

from busbox.basics.errors import ModelError
from busbox.bus.identity import fabric_levels
from busbox.bus.transfers import NONE, RESET
from busbox.cpu.commands import Command, Result, Suspended
from busbox.device import ERROR, Answer, BusAccess, Hold
from busbox.engines import NEVER, STRETCH, EngineFactory, Observer, Status, Stop
from busbox.engines.kernel import Kept, Kernel, Numbers, Parts
from busbox.engines.loop import (
    CACHED,
    CALL,
    COMMAND,
    DECODE,
    FOREVER,
    FULL,
    HANG,
    LAST,
    LIMIT,
    LOGGED,
    STARVED,
    STATE,
)
from busbox.engines.telling import Teller
from busbox.map.registers import WORD
from busbox.system.system import System

if TYPE_CHECKING:
    from busbox.core.core import Core

#: Place of each name in the state.
AT = {name: place for place, name in enumerate(STATE)}
_CYCLE, _LIMIT, _KIND, _START = (AT[name] for name in ("cycle", "limit", "kind", "start"))
_ENTERED, _BUDGET, _CALLED, _REST, _IDLE, _STOP = (
    AT[name] for name in ("entered", "budget", "called", "rest", "idle", "stop")
)
_WRITE, _DATA, _LANES, _FAILED = (AT[name] for name in ("write", "data", "lanes", "failed"))
_REPLY, _LOGGED, _QUIET = (AT[name] for name in ("reply", "logged", "quiet_from"))


class _Commands(ABC):
    """The commands of a run: fed, given by a core, suspended and resumed."""

    core: Core | None
    _state: Numbers
    _kernel: Kernel
    _waiting: array[int]

    @property
    @abstractmethod
    def cycle(self) -> int:
        """The first cycle that has not been run."""

    @property
    @abstractmethod
    def status(self) -> Status:
        """The state of the commands."""

    def _set(self, **values: int) -> None:
        for name, value in values.items():
            self._state[AT[name]] = value

    def _get(self, name: str) -> int:
        return self._state[AT[name]]

    def _set_result(self, result: Result | None) -> None:
        if result is None:
            self._set(failed=-1)
        else:
            self._set(result=result.data, failed=int(result.error))

    def feed(self, commands: array[int]) -> None:
        """Append commands."""
        if self._state[_KIND] < 0 and self._get("taken") == self._get("fed"):
            self._play(commands[:], 0)
        else:
            self._waiting.extend(commands)
            self._play(self._waiting, self._get("taken"))

    def _play(self, commands: array[int], taken: int) -> None:
        """Have commands played from now on, of which some have been taken up."""
        self._waiting = commands
        self._set(taken=taken, fed=len(commands) // COMMAND)
        self._kernel.play(commands)

    # The core.

    def line(self, lines: int) -> None:
        """Give the core's interrupt lines their levels from ``cycle`` on."""
        core, state = self.core, self._state
        assert core is not None
        cycle = state[_CYCLE]
        up = state[_KIND] >= 0 and state[_START] < cycle
        if core.line(cycle, lines, up):
            self._forget()
            self._set(free=core.cycle)
        if not core.ended:
            self._set(core=1)

    # Commands that are cut off, or put aside.

    def _forget(self) -> None:
        """Have no command under way, and none that waits."""
        self._set(kind=-1, start=0, reads=0, up=0, hold_until=0, request=0, written=0)
        self._play(array("q"), 0)

    def suspend(self) -> Suspended:
        """Put all commands aside."""
        cycle, under_way = self.cycle, self._state[_KIND] >= 0
        suspended = Suspended(
            self._waiting,
            self._get("taken") - under_way,
            under_way,
            self._state[_START] - cycle if under_way else 0,
            self._get("reads"),
            0 if under_way else max(0, self._get("free") - cycle),
            self.status.result,
        )
        self._forget()
        self._set(free=cycle)
        return suspended

    def resume(self, suspended: Suspended) -> None:
        """Go on with commands that were put aside."""
        cycle, place = self.cycle, suspended.place
        self._forget()
        self._set_result(suspended.result)
        self._set(free=cycle + suspended.idle)
        if suspended.under_way:
            at = place * COMMAND
            command = Command(*suspended.commands[at : at + COMMAND])._asdict()
            start = cycle + suspended.distance
            self._set(**{_NAMES.get(name, name): command[name] for name in _OF_A_COMMAND})
            self._set(start=start, reads=suspended.reads)
        self._play(suspended.commands, place + suspended.under_way)


class NetlistEngine(_Commands):
    """Runs a design by its netlist. See the contract in :mod:`busbox.engines`."""

    name: ClassVar[str]

    def __init__(
        self,
        system: System,
        answer: Callable[[int, BusAccess], Answer],
        observers: Mapping[int, Observer],
        parts: Callable[[System], Parts] = Parts,
    ) -> None:
        # Each device makes a cycle longer; machine code must be left often enough for Ctrl-C.
        self.stretch = STRETCH // max(1, sum(one.model.in_amaranth for one in system.devices))
        self.log: array[int] = array("q")
        self.breaches: list[tuple[str, Any]] = []
        self._answer, self._observers = answer, observers
        self._parts = parts(system)
        self._views = self._parts.views
        self._count = 0
        self._said: tuple[int | None] | None = None
        self._kept: set[int] = set()
        self._waiting: array[int] = array("q")
        self._kernel = self.make_kernel(self._parts, system)
        self._state = self._kernel.state
        self._kernel.tie(fabric_levels([one.slot for one in system.devices], system.fabric))
        self._set(hang_after=system.hang_after)
        self.core = None if system.core is None else self._kernel.attach(system.core)
        self._teller = Teller(system, self._kernel, self._views, observers)
        self.probes = {slot: NetlistProbe(self, slot) for slot in self._views}
        self._kernel.go()
        self._set(core=int(self.core is not None))
        for slot in self._views:
            self._kernel.samples(slot)
            self._kernel.guarded(slot)

    @classmethod
    def for_many_runs(cls) -> EngineFactory:
        """Return what makes engines that use a design again, if systems differ in traffic alone."""
        return partial(cls, parts=Kept())

    @staticmethod
    @abstractmethod
    def make_kernel(parts: Parts, system: System) -> Kernel:
        """Return the kernel for a run of a system, in its state before cycle 0."""

    # The contract.

    @property
    def unexecuted(self) -> Sequence[str]:
        """Hierarchical names of prints and checks that are not carried out."""
        return self._parts.outline.unexecuted

    @property
    def cycle(self) -> int:
        """The first cycle that has not been run."""
        return self._state[_CYCLE]

    @property
    def status(self) -> Status:
        """The state of the commands."""
        state, failed = self._state, self._state[_FAILED]
        idle = self._get("reset_until") < 0 and (state[_KIND] < 0 or state[_CYCLE] < state[_START])
        result = None if failed < 0 else Result(self._get("result"), bool(failed))
        quiet, hold = state[_QUIET], self._get("hold_until")
        quiet_since = quiet if quiet >= 0 and self._up and hold in (0, FOREVER) else None
        return Status(idle, result, quiet_since)

    @property
    def _up(self) -> bool:
        return bool(self._get("up"))

    def lower(self, limit: int) -> None:
        """Stop the present ``run`` before cycle ``limit``."""
        if limit < self._state[_LIMIT]:
            self._state[_LIMIT] = limit

    def ask_again(self) -> None:
        """Ask models in the next cycle, whatever they said of holding and staying."""
        self._set(hold_until=0, quiet_from=-1)
        self._forget_cached()

    def run(
        self, limit: int, *, called: int = NEVER, rest: bool = False, idle: bool = False
    ) -> Stop:
        """Run cycles up to ``limit - 1``."""
        state = self._state
        state[_LIMIT], state[_ENTERED], state[_BUDGET] = limit, state[_CYCLE], self.stretch
        state[_CALLED], state[_REST], state[_IDLE], state[_STOP] = called, rest, idle, 0
        go, ask = self._kernel.go, self._ask
        while (why := go()) in _GOING_ON:
            if why == CALL:
                ask()
            elif self.core is not None:
                self.core.fill()
        if state[_LOGGED] or self._views:
            self._flush()
        return _STOPS[why]

    def _flush(self) -> None:
        """Take over what the loop has recorded."""
        fresh = self._kernel.logged() if self._state[_LOGGED] else array("q")
        if self._views:
            self.breaches += self._teller.tell(self._count, fresh)
        self.log.extend(fresh)
        self._count += len(fresh) // LOGGED

    def reset(self, length: int) -> array[int]:
        """Put RST high from ``cycle`` on; return the commands that had not begun."""
        cycle, under_way = self.cycle, self._state[_KIND] >= 0
        begun = under_way and self._get("reads") > 0
        if under_way and cycle >= self._state[_START]:
            begun = True
            self._record(cycle, RESET, 0)
            self._set_result(Result(0, True))
        rest = self._waiting[(self._get("taken") - (under_way and not begun)) * COMMAND :]
        self._forget()
        self._teller.renew(cycle)
        self._forget_cached()
        self._set(rst=1, reset_cycle=cycle, reset_until=cycle + length, quiet_from=-1)
        self._set(free=cycle + length + 1)
        if self.core is not None:
            self.core.reset(cycle + length + 1)
            self._set(core=1)
        return rest

    def finish(self) -> None:
        """Record an access that is still up."""
        if self._up:
            self._record(self.cycle - 1, NONE, 0)
            self._forget()

    def _record(self, end: int, terminator: int, data: int) -> None:
        state = self._state
        write = state[_WRITE]
        self.log.extend((state[_START], end, self._get("address"), write, state[_LANES]))
        self.log.extend((state[_DATA] if write else data, terminator, self._get("number"), 0))
        self._count += 1

    # Models.

    def _ask(self) -> None:
        """Ask the model whose outlet is called."""
        state = self._state
        cycle, slot, inner, write, data, lanes, logged = self._kernel.call()
        self._said = None
        access = BusAccess(cycle, inner << 2, write == 1, data, lanes, self._count + logged)
        answer = self._answer(slot, access)
        if type(answer) is int:
            state[_REPLY] = answer << 2 & _ANSWER | 1
        else:
            self._take_answer(cycle, answer)
        if self._said is not None and not write and state[_REPLY] & 1:
            (until,) = self._said
            self._keep(slot, FOREVER if until is None else until, inner, state[_REPLY])
        elif slot in self._kept:
            self._keep(slot, 0, 0, 0)

    def _take_answer(self, cycle: int, answer: Answer) -> None:
        """Take an answer that is no plain word."""
        if isinstance(answer, Hold):
            until = answer.until
            if until is not None and until <= cycle:
                raise ModelError(
                    f"a hold in cycle {cycle} must end in a later cycle, not in {until}"
                )
            self._set(hold_until=FOREVER if until is None else until, quiet_from=-1)
        elif answer is ERROR:
            self._state[_REPLY] = 0b10
        elif isinstance(answer, int):  # a bool, say
            self._state[_REPLY] = int(answer) << 2 & _ANSWER | 1
        else:
            raise ModelError(f"a model must answer a word, ERROR or a Hold, not {answer!r}")

    def _keep(self, slot: int, until: int, inner: int, reply: int) -> None:
        """Let the loop answer reads of a word in the model's place, before a cycle."""
        cached, place = self._kernel.cached, slot * CACHED
        cached[place], cached[place + 1], cached[place + 2] = until, inner, reply
        if until:
            self._kept.add(slot)
        else:
            self._kept.discard(slot)

    def cacheable_until(self, until: int | None) -> None:
        """Take it that the word which is being read stays until a cycle."""
        self._said = (until,)

    def _forget_cached(self) -> None:
        for slot in list(self._kept):
            self._keep(slot, 0, 0, 0)

    # What a probe reaches.

    def _see(self, slot: int) -> int:
        """Report the pins of a hardware device in ``cycle``; return the word that is visible of it."""
        word = self._kernel.see(slot)
        self._teller.show(slot, self.cycle, word)
        return word


class NetlistProbe:
    """How one hardware device is reached (contract of engines, 12)."""

    def __init__(self, engine: NetlistEngine, slot: int) -> None:
        self._engine, self._slot = engine, slot
        self._view = engine._views[slot]
        self._pins = {
            f"pin_{stem}": sum(pin.level << place for place, pin in enumerate(group))
            for stem, group in self._view.groups.items()
        }

    def watch(self, pins: Iterable[str], notes: bool) -> None:
        """Stop for these pins, and for notes."""
        self._engine._set(watching=1)
        self._engine._kernel.watch(self._slot, self._view.mask(pins), notes)

    def sample_pins(self) -> bool:
        """Report the pins in ``cycle``, if they changed; return whether the device is at rest in it."""
        return self._view.at_rest(self._engine._see(self._slot))

    def sample_notes(self) -> None:
        """Report the notes in ``cycle``, if there are any."""
        word = self._engine._see(self._slot)
        if word & 1:
            notes = self._view.notes(word)
            self._engine._observers[self._slot].take_notes(self._engine.cycle, notes)

    def drive(self, pin: str, level: int) -> None:
        """Give an input pin a level from ``cycle`` on."""
        stem, _, number = pin.partition(".")
        member, bit = f"pin_{stem}", int(number or 0)
        word = self._pins[member] & ~(1 << bit) | level << bit
        self._pins[member] = word
        self._engine._set(awake=-1)
        self._engine._kernel.drive(self._slot, member, word)

    def peek(self, offset: int) -> int:
        """Return what a read of a register would show in ``cycle``."""
        return self._engine._kernel.peek(self._slot, offset)


_ANSWER = WORD << 2
_GOING_ON = (CALL, DECODE)
_STOPS = {STARVED: Stop.STARVED, LIMIT: Stop.LIMIT, FULL: Stop.LIMIT, LAST: Stop.LAST,
          HANG: Stop.HANG}  # fmt: skip
#: What belongs to the command that is under way, and how the state calls it where it differs.
_OF_A_COMMAND = ("kind", "number", "write", "address", "data", "lanes", "poll", "mask", "value",
                 "every", "limit", "keep", "since", "less", "at_least")  # fmt: skip
_NAMES = {"limit": "most"}
