"""The engine ``reference``: Amaranth's own simulator, one row after the other. It is the judge.

Inside a row: inputs and reset, settle, outlets, settle, sample, tick. One test bench owns all of it:
its context sets the inputs, and a tick is two steps of the simulator, one for each edge of the clock.
"""

from __future__ import annotations

from array import array
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Mapping
from itertools import chain
from typing import Any, ClassVar, cast

from amaranth.hdl import Cat
from amaranth.sim import Simulator

from busbox.basics.errors import ModelError
from busbox.bus.design import CALL, Design, hardware_of
from busbox.bus.transfers import ACK, ERR, NONE, RESET, WATCHDOG
from busbox.bus.wishbone.guard import breaches
from busbox.bus.wishbone.rules import Row, RuleChecker
from busbox.cpu.commands import COMMAND, PAUSE, Command, Result, Suspended
from busbox.device import ERROR, Access, Answer, Hold
from busbox.engines import NEVER, STRETCH, Ear, Status, Stop
from busbox.engines.paths import check_hardware
from busbox.map.registers import WORD
from busbox.system.system import System


class ReferenceEngine:
    """Runs the design on Amaranth's simulator. See the contract in :mod:`busbox.engines`.

    Attributes
    ----------
    watch_ports : whether a rule checker watches every port in every row (slow; on in the tests);
        without it, guards watch the ports of hardware devices
    """

    name = "reference"
    unexecuted = ()
    watch_ports: ClassVar[bool] = False

    def __init__(
        self,
        system: System,
        answer: Callable[[int, Access], Answer],
        ears: Mapping[int, Ear],
    ) -> None:
        self.cycle, self._free = 0, 1
        self._result: Result | None = None
        self.stretch = STRETCH
        self.log: array[int] = array("q")
        self.breaches: list[tuple[str, Any]] = []
        check_hardware(system)
        self._answer, self._ears = answer, ears
        self._map = system.address_map
        self._numbers = {one.name: number for number, one in enumerate(system.devices)}
        self._stopped_at = self._reset_row = -1
        self._hang_after = system.hang_after
        self._waiting: deque[Command] = deque()
        self._limit, self._called = 0, NEVER
        self._count = 0
        self._reset_until: int | None = None
        self._forget()
        self._design = Design(
            [device.slot for device in system.devices], system.fabric, hardware_of(system)
        )
        self._bench, self._half_tick = _open(self._design)
        self.probes = {slot: ReferenceProbe(self, slot) for slot in self._design.views}
        #: What was seen of each hardware device last.
        self._seen: dict[int, int | None] = dict.fromkeys(self._design.views)
        self._told = False
        self._entered = -1
        self._rest = False
        self._watch = _Watch(self._design, self._bench) if self.watch_ports else None

    def _forget(self) -> None:
        """Have no command under way."""
        self._command: Command | None = None
        self._start = 0
        self._reads = 0
        self._up = False
        self._hold_until: int | None = 0

    # The contract.

    def feed(self, commands: array[int]) -> None:
        """Append commands."""
        self._waiting.extend(_each(commands))

    def lower(self, limit: int) -> None:
        """Stop the present ``run`` before row ``limit``."""
        self._limit = min(self._limit, limit)

    def ask_again(self) -> None:
        """Ask a model that holds in the next row."""
        self._hold_until = 0

    def stays(self, until: int | None) -> None:
        """Do nothing: this engine asks every time."""

    def run(
        self, limit: int, *, called: int = NEVER, rest: bool = False, idle: bool = False
    ) -> Stop:
        """Run cycles up to ``limit - 1``."""
        self._limit, self._rest = min(limit, self.cycle + self.stretch), rest
        self._called, self._entered, self._told = called, self.cycle, False
        while True:
            if self._reset_until is None and self._command is None and self.cycle >= self._free:
                if self._waiting:
                    self._begin(self._waiting.popleft())
                    continue
                if not idle:
                    return Stop.STARVED
            called_now = self.cycle >= self._called and self._is_idle
            if self.cycle >= self._limit or called_now or self._heed():
                return Stop.LIMIT
            if self._reset_until is not None:
                self._reset_rows(self._reset_until)
            elif self._command is None:
                self._idle(self._free if self.cycle < self._free else self._limit)
            elif self.cycle < self._start:
                self._idle(self._start)
            elif self._hangs():
                return Stop.LAST
            else:
                self._access_row()
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
        """What there is to tell of the commands; this engine proves nothing of a hang."""
        return Status(self._is_idle, self._result, None)

    # Hardware devices.

    def _heed(self) -> bool:
        """Return whether something that is heeded differs in ``cycle``, or all hardware rests."""
        if self.cycle == self._entered or not self._seen:
            return False
        if self._told or (self._rest and self._bench.get(self._design.resting)):
            return True
        return any(probe.moved for probe in self.probes.values())

    def _look_at_all(self) -> None:
        for probe in self.probes.values():
            probe.look()

    def _hear_all(self) -> None:
        for slot, guard in self._design.guards.items():
            self.probes[slot].hear()
            if self._watch is None:
                word = self._bench.get(guard.seen)
                if word & 1:
                    port = self._design.ports[slot + 1][0]
                    self.breaches += [(port, one) for one in breaches(port, self.cycle, word)]

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
        self._reset_row = self.cycle
        self._bench.set(self._design.request, 0)
        self._bench.set(self._design.data, 0)
        self._bench.set(self._design.rst, 1)
        self._reset_until = self.cycle + length
        self._free = self._reset_until + 1
        return rest

    def _reset_rows(self, end: int) -> None:
        self._idle(end)
        if self.cycle == end:
            self._reset_until = None
            self._bench.set(self._design.rst, 0)

    def leave(self) -> None:
        """Record an access that is still up."""
        if self._up:
            self._record(self.cycle - 1, NONE, 0)
            self._forget()

    # The steps of the CPU.

    def _begin(self, command: Command) -> None:
        if command.kind == PAUSE:
            self._free = self.cycle + command.cycles
            self._result = None
        else:
            self._command, self._start = command, self.cycle + command.wait
            self._reads = 0

    def _ended(self, terminator: int, data: int) -> None:
        """Take the end of an access in the row before ``cycle``."""
        command = self._command
        assert command is not None
        self._up, self._hold_until = False, 0
        self._reads += 1
        failed = terminator != ACK
        self._result = Result(data, failed)
        matched = not failed and data & command.mask == command.value
        again = not matched and self._reads < command.limit
        given_up = bool(command.poll) and not matched and not again
        self._record(self.cycle - 1, terminator, data, given_up)
        if again:
            self._start = self.cycle + command.every
            return
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

    # Rows.

    def _idle(self, end: int) -> None:
        """Run rows without an access."""
        half_tick, watch = self._half_tick, self._watch
        end = min(end, self._limit)
        if self.cycle < self._called:
            end = min(end, self._called)
        for _ in range(self.cycle, end):
            if watch is not None:
                watch.sample()
            if self._seen:
                if self._heed():
                    break
                self._look_at_all()
                self._hear_all()
                if self.cycle == self._reset_row:  # what follows is new, even if it looks the same
                    self._seen = dict.fromkeys(self._seen)
            half_tick()
            half_tick()
            self.cycle += 1
        if watch is not None:
            self.breaches = watch.breaches

    def _access_row(self) -> None:
        bench, design, command = self._bench, self._design, self._command
        assert command is not None
        if not self._up:
            word = design.request_word(bool(command.write), command.address, command.lanes)
            bench.set(design.request, word)
            bench.set(design.data, command.data)
            self._up = True
        status = bench.get(design.status)
        called = status >> CALL
        answered = called and self._ask(called - 1, command)
        if answered:
            status = bench.get(design.status)
        if self._watch is not None:
            self._watch.sample()
            self.breaches = self._watch.breaches
        if self._seen:
            self._look_at_all()
            if status & 1 and not status >> 2 & 1:
                self._tell_end()
            self._hear_all()
        self._half_tick()
        self._half_tick()
        self.cycle += 1
        if status & 1:
            bench.set(design.request, 0)
            bench.set(design.data, 0)
            if answered:
                bench.set(design.reply, 0)
            failed, cut = status >> 1 & 1, status >> 2 & 1
            self._ended(WATCHDOG if cut else ERR if failed else ACK, status >> 3 & WORD)

    def _tell_end(self) -> None:
        """Tell a hardware device's listener of the access that ends in ``row``."""
        command = self._command
        assert command is not None
        found = self._map.decode(command.address)
        slot = self._numbers[found.slot.name] if found.slot is not None else -1
        if slot in self._seen:
            data, offset = command.data if command.write else 0, found.offset & ~3
            self._ears[slot].take_end(
                Access(self.cycle, offset, bool(command.write), data, command.lanes, self._count),
            )

    def _ask(self, slot: int, command: Command) -> bool:
        """Ask the model whose outlet is called; return False while it holds."""
        if self._hold_until is None or self.cycle < self._hold_until:
            return False
        offset, write = self._bench.get(self._design.inner) << 2, bool(command.write)
        answer = self._answer(
            slot, Access(self.cycle, offset, write, command.data, command.lanes, self._count)
        )
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
        word = 0 if refuse else cast(int, answer) & WORD
        self._bench.set(self._design.reply, self._design.reply_word(word, refuse))
        return True


def _each(commands: array[int]) -> Iterator[Command]:
    """Yield commands out of their numbers."""
    for at in range(0, len(commands), COMMAND):
        yield Command(*commands[at : at + COMMAND])


def _open(design: Design) -> tuple[Any, Callable[[], object]]:
    """Return the context of the one test bench of a simulator, and what makes half a tick.

    The simulator stands between the rising edge that began row 0 (with RST high) and the falling
    one. So it stands in every row: what is set there settles long before the next rising edge, the
    second half of a tick.
    """
    opened: list[Any] = []

    async def bench(context: Any) -> None:
        opened.append(context)
        context.set(design.rst, 1)

    simulator = Simulator(design)
    simulator.add_clock(1e-6)  # the length of a cycle means nothing here
    simulator.add_testbench(bench)
    simulator.advance()
    simulator.advance()
    opened[0].set(design.rst, 0)
    return opened[0], simulator.advance


class ReferenceProbe:
    """How one hardware device is reached (contract of engines, 12)."""

    def __init__(self, engine: ReferenceEngine, slot: int) -> None:
        self._engine, self._slot = engine, slot
        self._view = engine._design.views[slot]
        self._heeded, self._hears = 0, False

    @property
    def _word(self) -> int:
        return int(self._engine._bench.get(self._engine._design.seen[self._slot]))

    @property
    def moved(self) -> bool:
        """Whether a pin that is heeded is not as it was told last."""
        if not self._heeded:
            return False
        before = self._engine._seen[self._slot]
        return before is None or (before ^ self._word) & self._heeded != 0

    def heed(self, pins: Iterable[str], notes: bool) -> None:
        """Stop for these pins, and for notes."""
        self._heeded |= self._view.mask(pins)
        self._hears = self._hears or notes

    def look(self) -> bool:
        """Tell the pins in ``cycle``, if they changed; return whether the device is at rest in it."""
        engine, word = self._engine, self._word
        before, engine._seen[self._slot] = engine._seen[self._slot], word
        if before is None or (before ^ word) & self._view.pin_mask:
            engine._ears[self._slot].take_pins(engine.cycle, self._view.changes(before, word))
        return self._view.at_rest(word)

    def hear(self) -> None:
        """Tell the notes in ``cycle``, if there are any."""
        engine, word = self._engine, self._word
        if word & 1:
            engine._ears[self._slot].take_notes(engine.cycle, self._view.notes(word))
            engine._told = engine._told or self._hears

    def drive(self, pin: str, level: int) -> None:
        """Give an input pin a level from ``cycle`` on."""
        member, bit = self._view.input(pin)
        word = self._engine._bench.get(member)
        self._engine._bench.set(member, word & ~(1 << bit) | level << bit)

    def peek(self, offset: int) -> int:
        """Return what a read of a register would show in ``cycle``."""
        device = self._view.device
        self._engine._bench.set(device.watch_adr, offset >> 2)
        return int(self._engine._bench.get(device.watch_data))


class _Watch:
    """Rule checkers on all ports. The row before row 0 is one with RST high."""

    def __init__(self, design: Design, bench: Any) -> None:
        self.breaches: list[tuple[str, Any]] = []
        self._get = bench.get
        chosen = design.ports
        self._ports = [(name, RuleChecker(name, first_row=-1)) for name, _ in chosen]
        for _, checker in self._ports:
            checker.row(Row(1, 0, 0, 0, 0, 0, 0, 0, 0, 0))
        fields = ("cyc", "stb", "we", "sel", "ack", "err", "write_data", "read_data", "adr")
        self._widths = [[len(getattr(port, field)) for field in fields] for _, port in chosen]
        signals = [getattr(port, field) for _, port in chosen for field in fields]
        self._all = Cat(design.rst, design.fabric.cut, *signals)
        self._last = -1
        self._rows: list[Row] = []

    def sample(self) -> None:
        """Give the row to every checker."""
        word = self._get(self._all)
        if word != self._last:
            self._last = word
            self._rows = list(self._split(word))
        for (name, checker), row in zip(self._ports, self._rows, strict=True):
            for breach in checker.row(row):
                self.breaches.append((name, breach))

    def _split(self, word: int) -> Any:
        rst, cut, word = word & 1, word >> 1 & 1, word >> 2
        for widths in self._widths:
            values = []
            for width in widths:
                values.append(word & (1 << width) - 1)
                word >>= width
            cyc, stb, we, sel, ack, err, write_data, read_data, adr = values
            # The watchdog ends an access in the place of the device, which is not told.
            err |= stb & cut
            yield Row(
                rst=rst, cyc=cyc, stb=stb, we=we, adr=adr, sel=sel, write_data=write_data,
                read_data=read_data, ack=ack, err=err,
            )  # fmt: skip
