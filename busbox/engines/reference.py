"""The engine ``reference``: Amaranth's own simulator, one cycle after the other. It is the judge."""

from __future__ import annotations

from abc import ABC, abstractmethod
from array import array
from collections import deque
from collections.abc import Callable, Iterator, Mapping
from functools import partial
from itertools import chain
from typing import ClassVar, cast

from busbox.basics.errors import ModelError
from busbox.bus.design import CALL
from busbox.bus.transfers import ACK, ERR, NONE, RESET, WATCHDOG
from busbox.core.core import Core
from busbox.core.machine import ACCESS, IDLE
from busbox.cpu.commands import ACCESS as _ACCESS
from busbox.cpu.commands import COMMAND, KEPT, PAUSE, Command, Result, Suspended
from busbox.device import ERROR, Answer, BusAccess, Hold
from busbox.engines import NEVER, STRETCH, EngineFactory, Observer, Status, Stop
from busbox.engines.simulated import Simulated
from busbox.engines.simulation import KeptSimulations
from busbox.map.registers import WORD
from busbox.system.system import System


class _Commands(ABC):
    """The commands of a run, the one that is under way, and what is recorded of them."""

    def __init__(self) -> None:
        self._free = 1
        self._result: Result | None = None
        self.log: array[int] = array("q")
        self._waiting: deque[Command] = deque()
        self._count = 0
        self._kept = [0] * KEPT
        self._forget()

    @property
    @abstractmethod
    def cycle(self) -> int:
        """The first cycle that has not been run."""

    def _forget(self) -> None:
        """Have no command under way."""
        self._command: Command | None = None
        self._start = 0
        self._reads = 0
        self._up = False
        self._hold_until: int | None = 0

    def _begin(self, command: Command) -> None:
        if command.kind == PAUSE:
            self._free = self.cycle + command.cycles
            self._result = None
        else:
            self._command, self._start = command, self.cycle + command.wait
            self._reads = 0

    def _ended(self, terminator: int, data: int) -> None:
        """Take the end of an access in the cycle before ``cycle``."""
        command = self._command
        assert command is not None
        self._up, self._hold_until = False, 0
        self._reads += 1
        failed = terminator != ACK
        self._result = Result(data, failed)
        distance = (data - self._kept[command.since] - command.less) & command.mask
        equal, above = distance == command.value, distance > command.value
        matched = not failed and (equal or (bool(command.at_least) and above))
        again = not matched and self._reads < command.limit
        given_up = bool(command.poll) and not matched and not again
        self._record(self.cycle - 1, terminator, data, given_up)
        if again:
            self._start = self.cycle + command.every
            return
        if command.keep:
            self._kept[command.keep] = data
        self._forget()
        self._free = self.cycle

    def _record(self, end: int, terminator: int, data: int, given_up: bool = False) -> None:
        command = self._command
        assert command is not None
        if command.write:
            data = command.data
        self.log.extend(
            (self._start, end, command.address, command.write, command.lanes, data, terminator)
        )
        self.log.extend((command.number, given_up))
        self._count += 1


class _CoreCommands(_Commands):
    """Commands that a core may give."""

    core: Core | None
    _core_gives: bool

    def _consult(self) -> bool:
        """Ask the core what comes next; return False if it sleeps or has stopped."""
        core, result = self.core, self._result or Result(0, False)
        assert core is not None
        left = core.consult(self.cycle, result.data, int(result.error))
        if left == IDLE:
            self._free = core.cycle
        elif left == ACCESS:
            write, address, data, lanes = (
                core.get(f"out_{what}") for what in ("write", "address", "data", "lanes")
            )
            self._command = Command(_ACCESS, -2 - core.get("pc"), write, address, data, lanes)
            self._start, self._reads = core.get("out_start"), 0
        else:
            self._core_gives = False
        return self._core_gives

    def line(self, lines: int) -> None:
        """Give the core's interrupt lines their levels from ``cycle`` on."""
        core = self.core
        assert core is not None
        up = self._command is not None and self._start < self.cycle
        if core.line(self.cycle, lines, up):
            self._forget()
            self._free = core.cycle
        if not core.ended:
            self._core_gives = True


class ReferenceEngine(_CoreCommands):
    """Runs the design on Amaranth's simulator. See the contract in :mod:`busbox.engines`.

    Attributes
    ----------
    watch_ports : whether a rule checker watches every port in every cycle (slow; on in the tests);
        without it, guards watch the ports of hardware devices
    """

    name = "reference"
    unexecuted = ()
    watch_ports: ClassVar[bool] = False

    def __init__(
        self,
        system: System,
        answer: Callable[[int, BusAccess], Answer],
        observers: Mapping[int, Observer],
        kept: KeptSimulations | None = None,
    ) -> None:
        super().__init__()
        self.stretch = STRETCH
        self._answer, self._map = answer, system.address_map
        self._stopped_at = self._entered = -1
        self._hang_after = system.hang_after
        self._limit, self._called, self._rest = 0, NEVER, False
        self._reset_until: int | None = None
        self._simulated = Simulated(
            system, observers, self.watch_ports, KeptSimulations() if kept is None else kept
        )
        self.core = None if system.core is None else Core(system.core)
        self._core_gives = self.core is not None
        self.probes, self.breaches = self._simulated.probes, self._simulated.breaches

    @classmethod
    def for_many_runs(cls) -> EngineFactory:
        """Return what makes engines that use a simulator again, if systems differ in traffic alone."""
        return partial(cls, kept=KeptSimulations())

    # The contract.

    @property
    def cycle(self) -> int:
        """The first cycle that has not been run."""
        return self._simulated.cycle

    def feed(self, commands: array[int]) -> None:
        """Append commands."""
        self._waiting.extend(_each(commands))

    def lower(self, limit: int) -> None:
        """Stop the present ``run`` before cycle ``limit``."""
        self._limit = min(self._limit, limit)

    def ask_again(self) -> None:
        """Ask a model that holds in the next cycle."""
        self._hold_until = 0

    def cacheable_until(self, until: int | None) -> None:
        """Do nothing: this engine asks every time."""

    def run(
        self, limit: int, *, called: int = NEVER, rest: bool = False, idle: bool = False
    ) -> Stop:
        """Run cycles up to ``limit - 1``."""
        self._limit, self._rest = min(limit, self.cycle + self.stretch), rest
        self._called, self._entered, self._simulated.noted = called, self.cycle, False
        while True:
            if self._reset_until is None and self._command is None and self.cycle >= self._free:
                if self._waiting:
                    self._begin(self._waiting.popleft())
                    continue
                if self._core_gives and self._consult():
                    continue
                if not idle:
                    return Stop.STARVED
            called_now = self.cycle >= self._called and self._is_idle
            if self.cycle >= self._limit or called_now or self._stops:
                return Stop.LIMIT
            if self._reset_until is not None:
                self._reset_cycles(self._reset_until)
            elif self._command is None:
                self._idle(self._free if self.cycle < self._free else self._limit)
            elif self.cycle < self._start:
                self._idle(self._start)
            elif self._hangs():
                return Stop.LAST
            else:
                self._access_cycle()
                if self._up and self.cycle > self._start + self._hang_after:
                    return Stop.HANG

    def _hangs(self) -> bool:
        """Return, once, whether ``cycle`` is the last one that the access may wait for."""
        last = self._start + self._hang_after
        if not self._up or self.cycle != last or self._stopped_at == last:
            return False
        self._stopped_at = last
        return True

    @property
    def _is_idle(self) -> bool:
        waits = self._command is None or self.cycle < self._start
        return self._reset_until is None and waits

    @property
    def status(self) -> Status:
        """The state of the commands; this engine cannot prove a hang."""
        return Status(self._is_idle, self._result, None)

    @property
    def _stops(self) -> bool:
        """Whether a hardware device has ``run`` stop before ``cycle``."""
        return self.cycle != self._entered and self._simulated.stops(self._rest)

    # Commands that are cut off, or put aside.

    def _fed(self) -> array[int]:
        """Return the commands that are not over, but for one under way."""
        return array("q", chain.from_iterable(self._waiting))

    def suspend(self) -> Suspended:
        """Put all commands aside."""
        command, waiting = self._command, self._fed()
        suspended = Suspended(
            waiting if command is None else array("q", command) + waiting,
            0,
            command is not None,
            0 if command is None else self._start - self.cycle,
            self._reads,
            max(0, self._free - self.cycle) if command is None else 0,
            self._result,
        )
        self._forget()
        self._waiting.clear()
        self._free = self.cycle
        return suspended

    def resume(self, suspended: Suspended) -> None:
        """Go on with commands that were put aside."""
        self._waiting = deque(_each(suspended.commands[suspended.place * COMMAND :]))
        self._result = suspended.result
        self._free = self.cycle + suspended.idle
        if suspended.under_way:
            self._command = self._waiting.popleft()
            self._start, self._reads = self.cycle + suspended.distance, suspended.reads

    def reset(self, length: int) -> array[int]:
        """Put RST high from ``cycle`` on; return the commands that had not begun."""
        command, begun = self._command, self._reads > 0
        if command is not None and self.cycle >= self._start:
            begun = True
            self._record(self.cycle, RESET, 0)
            self._result = Result(0, True)
        if command is not None and not begun:
            self._waiting.appendleft(command)
        rest = self._fed()
        self._forget()
        self._waiting.clear()
        self._simulated.reset(1)
        self._reset_until = self.cycle + length
        self._free = self._reset_until + 1
        if self.core is not None:
            self.core.reset(self._free)
            self._core_gives = True
        return rest

    def _reset_cycles(self, end: int) -> None:
        self._idle(end)
        if self.cycle == end:
            self._reset_until = None
            self._simulated.reset(0)

    def finish(self) -> None:
        """Record an access that is still up; the run is over, and its simulator free for another."""
        if self._up:
            self._record(self.cycle - 1, NONE, 0)
            self._forget()
        self._simulated.finish()

    # Cycles.

    def _idle(self, end: int) -> None:
        """Run cycles without an access."""
        end = min(end, self._limit)
        if self.cycle < self._called:
            end = min(end, self._called)
        for _ in range(self.cycle, end):
            if self._stops:
                break
            self._simulated.run()

    def _access_cycle(self) -> None:
        """Run a cycle with an access."""
        simulated, command = self._simulated, self._command
        assert command is not None
        if not self._up:
            simulated.request(command)
            self._up = True
        status = simulated.status
        called = status >> CALL
        if called and self._ask(called - 1, command):
            status = simulated.status
        failed, cut = status >> 1 & 1, status >> 2 & 1
        if status & 1 and not cut:
            offset, data = self._map.decode(command.address).offset & ~3, command.data
            simulated.run(
                self._access(offset, command, data if command.write else 0), command.address
            )
        else:
            simulated.run()
        if status & 1:
            simulated.release()
            self._ended(WATCHDOG if cut else ERR if failed else ACK, status >> 3 & WORD)

    def _access(self, offset: int, command: Command, data: int) -> BusAccess:
        """Return the access that is up, as a device sees it."""
        write = bool(command.write)
        return BusAccess(self.cycle, offset, write, data, command.lanes, self._count)

    def _ask(self, slot: int, command: Command) -> bool:
        """Ask the model whose outlet is called; return False while it holds."""
        if self._hold_until is None or self.cycle < self._hold_until:
            return False
        answer = self._answer(slot, self._access(self._simulated.inner, command, command.data))
        if isinstance(answer, Hold):
            if answer.until is not None and answer.until <= self.cycle:
                raise ModelError(
                    f"a hold in cycle {self.cycle} must end in a later cycle, not in {answer.until}"
                )
            self._hold_until = answer.until
            return False
        if answer is not ERROR and not isinstance(answer, int):
            raise ModelError(f"a model must answer a word, ERROR or a Hold, not {answer!r}")
        refuse = answer is ERROR
        self._simulated.reply(0 if refuse else cast(int, answer) & WORD, refuse)
        return True


def _each(commands: array[int]) -> Iterator[Command]:
    """Yield commands out of their numbers."""
    for at in range(0, len(commands), COMMAND):
        yield Command(*commands[at : at + COMMAND])
