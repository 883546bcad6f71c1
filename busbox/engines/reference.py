"""The engine ``reference``: Amaranth's own simulator, one row after the other. It is the judge.

Inside a row: inputs and reset, settle, outlets, settle, sample, tick. One test bench owns all of it:
its context sets the inputs, and a tick is two steps of the simulator, one for each edge of the clock.
"""

from __future__ import annotations

from array import array
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any, ClassVar, Final, cast

from amaranth.hdl import Cat
from amaranth.sim import Simulator

from busbox.basics.errors import ModelError
from busbox.bus.design import CALL, Design, hardware_of
from busbox.bus.transfers import ACK, ERR, NONE, RESET, WATCHDOG
from busbox.bus.wishbone.guard import breaches
from busbox.bus.wishbone.rules import Row, RuleChecker
from busbox.cpu.source import Result
from busbox.device import ERROR, Access, Answer, Hold
from busbox.engines import ACCESS, AWAIT, MARK, PAUSE, RESET_STEP, STRETCH, Command, Ear, Stop
from busbox.engines.paths import check_hardware
from busbox.map.registers import WORD
from busbox.system.system import System

NO_COMMAND: Final = -1


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
        self.row, self.free, self.left, self.closed = 0, 1, 0, False
        self.result: Result | None = None
        self.stretch = STRETCH
        self.log: array[int] = array("q")
        self.timeouts: list[int] = []
        self.marks: list[tuple[int, int]] = []
        self.breaches: list[tuple[str, Any]] = []
        check_hardware(system)
        self._answer, self._ears = answer, ears
        self._map = system.address_map
        self.quiet_since: int | None = None
        self._numbers = {one.name: number for number, one in enumerate(system.devices)}
        self._stopped_at = self._reset_row = -1
        self._hang_after = system.hang_after
        self._waiting: deque[Command] = deque()
        self._limit = 0
        self._count = 0
        self._reset_until: int | None = None
        self._handler: _Suspended | None = None
        self._open = 1
        self._forget()
        self._design = Design(
            [device.slot for device in system.devices], system.fabric, hardware_of(system)
        )
        self._bench, self._half_tick = _open(self._design)
        self._seen: dict[int, int | None] = dict.fromkeys(self._design.views)
        self._heeded: dict[int, int] = {}
        self._heard: dict[int, bool] = {}
        self._told = False
        self._entered = -1
        self._rest = False
        self._watch = _Watch(self._design, self._bench) if self.watch_ports else None

    def _forget(self) -> None:
        """Have no command under way."""
        self._command: Command | None = None
        self._start = 0
        self._deadline = 0
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

    def run(self, limit: int, called: bool = False, rest: bool = False) -> Stop:
        """Run rows up to ``limit - 1``; if a handler is called, to a row that can take it."""
        self._limit, self._rest = min(limit, self.row + self.stretch), rest
        self._entered, self._told = self.row, False
        while True:
            if self._reset_until is None and self._command is None and self.row >= self.free:
                if self._waiting:
                    self._begin(self._waiting.popleft())
                    continue
                if self._handler is not None:
                    self._leave_handler(self._handler)
                    continue
                if not self.closed:
                    return Stop.STARVED
            if self._kind == RESET_STEP and self.row == self._start:
                return Stop.RESET
            if self.row >= self._limit or (called and self.interruptible) or self._heed():
                return Stop.LIMIT
            if self._reset_until is not None:
                self._reset_rows(self._reset_until)
            elif self._command is None:
                self._idle(self._limit if self.row >= self.free else min(self.free, self._limit))
            elif self._kind == AWAIT:
                self._idle(self._limit)
            elif self.row < self._start:
                self._idle(min(self._start, self._limit))
            elif self._hangs():
                return Stop.LIMIT
            else:
                self._access_row()
                if self._up and self.row > self._start + self._hang_after:
                    return Stop.HANG

    def _hangs(self) -> bool:
        """Return, once, whether ``row`` is the last one that the access may wait for."""
        if self.row != self.hangs_at or self._stopped_at == self.row:
            return False
        self._stopped_at = self.row
        return True

    @property
    def hangs_at(self) -> int | None:
        """The last row that the access which is up may wait for."""
        return self._start + self._hang_after if self._up else None

    # Hardware devices.

    def heed(self, slot: int, pins: Iterable[str], notes: bool) -> None:
        """Stop for these pins of a hardware device, and for its notes."""
        mask = self._design.views[slot].mask(pins)
        self._heeded[slot] = self._heeded.get(slot, 0) | mask
        self._heard[slot] = self._heard.get(slot, False) or notes

    def _heed(self) -> bool:
        """Return whether something that is heeded differs in ``row``, or all hardware rests."""
        if self.row == self._entered or not self._seen:
            return False
        if self._told or (self._rest and self._bench.get(self._design.resting)):
            return True
        for slot, mask in self._heeded.items():
            before, word = self._seen[slot], self._bench.get(self._design.seen[slot])
            if mask and (before is None or (before ^ word) & mask):
                return True
        return False

    def look(self, slot: int) -> bool:
        """Tell the pins of ``row``, if they changed; return whether the device is at rest in it."""
        view, word = self._design.views[slot], self._bench.get(self._design.seen[slot])
        before, self._seen[slot] = self._seen[slot], word
        if before is None or (before ^ word) & view.pin_mask:
            self._ears[slot].take_pins(self.row, view.changes(before, word))
        return view.at_rest(word)

    def hear(self, slot: int) -> None:
        """Tell the notes of ``row``, if there are any."""
        word = self._bench.get(self._design.seen[slot])
        if word & 1:
            self._ears[slot].take_notes(self.row, self._design.views[slot].notes(word))
            self._told = self._told or self._heard.get(slot, False)

    def drive(self, slot: int, pin: str, level: int) -> None:
        """Give an input pin a level from ``row`` on."""
        member, bit = self._design.views[slot].input(pin)
        word = self._bench.get(member)
        self._bench.set(member, word & ~(1 << bit) | level << bit)

    def peek(self, slot: int, offset: int) -> int:
        """Return what a read of a register would show in ``row``."""
        device = self._design.views[slot].device
        self._bench.set(device.watch_adr, offset >> 2)
        return int(self._bench.get(device.watch_data))

    def _look_at_all(self) -> None:
        for slot in self._design.views:
            self.look(slot)

    def _hear_all(self) -> None:
        for slot, guard in self._design.guards.items():
            self.hear(slot)
            if self._watch is None:
                word = self._bench.get(guard.seen)
                if word & 1:
                    port = self._design.ports[slot + 1][0]
                    self.breaches += [(port, one) for one in breaches(port, self.row, word)]

    @property
    def _kind(self) -> int:
        return NO_COMMAND if self._command is None else self._command.kind

    @property
    def awaiting(self) -> int | None:
        """The last row in which the await that stands may be looked at, or None."""
        standing = self._kind == AWAIT and self.row >= self._start and self._reset_until is None
        return self._deadline if standing else None

    @property
    def awaited(self) -> int:
        """The number of the await that stands."""
        assert self._command is not None
        return self._command.number

    def release(self, matched: bool) -> None:
        """End the await that stands, in ``row``."""
        self._forget()
        self.free = self._open = self.row + 1
        self.result = Result(int(matched), False)

    @property
    def handling(self) -> bool:
        """Whether a handler is running."""
        return self._handler is not None

    @property
    def interruptible(self) -> bool:
        """Whether a handler may be taken in ``row``."""
        if self._reset_until is not None or self._handler is not None or self.row < self._open:
            return False
        return self._kind in (NO_COMMAND, AWAIT) or self.row < self._start

    def interrupt(self, commands: array[int], enter: int, leave: int) -> None:
        """Play other commands first."""
        row = self.row
        self._handler = _Suspended(
            self._command,
            max(0, self._start - row),
            self._deadline - row,
            self._reads,
            max(0, self.free - row) if self._command is None else 0,
            self._waiting,
            self.result,
            leave,
        )
        self._forget()
        self._waiting = deque(_each(commands))
        self.free = row + 1 + enter

    def _leave_handler(self, handler: _Suspended) -> None:
        """Idle for the cycles of leaving, then take up what was going on."""
        if not handler.leaving:
            handler.leaving = True
            self.free = self.row + handler.leave
            return
        row, self._handler = self.row, None
        self.left = row
        self._command, self._reads = handler.command, handler.reads
        self._start = row + handler.distance
        self._deadline = row + handler.rows_left
        self._waiting, self.result = handler.waiting, handler.result
        self.free, self._open = row + handler.pause_left, row
        if self._kind == AWAIT:
            self._limit = row

    def reset(self, length: int, restart: bool, step: bool = False) -> None:
        """Put RST high in the rows from ``row`` on."""
        if step:
            self._forget()
            self.result = None
        else:
            self._cut()
        if restart:
            self._waiting.clear()
        self._reset_row = self.row
        self._bench.set(self._design.request, 0)
        self._bench.set(self._design.data, 0)
        self._bench.set(self._design.rst, 1)
        self._reset_until = self.row + length
        self.free = self._open = self._reset_until + 1

    def _cut(self) -> None:
        """Cut off what is under way in ``row``, a handler with it."""
        command = self._command
        if command is not None and self.row >= self._start:
            if command.kind == ACCESS:
                self._record(self.row, RESET, 0)
            self.result = Result(0, True)
            command = None
        elif self._reads:
            command = None
        self._forget()
        handler, self._handler = self._handler, None
        if handler is not None:
            self._waiting, self.result = handler.waiting, handler.result
            begun = handler.reads or (handler.command and handler.command.kind == AWAIT)
            command = None if begun else handler.command
        if command is not None:
            self._waiting.appendleft(command)

    def _reset_rows(self, end: int) -> None:
        self._idle(min(end, self._limit))
        if self.row == end:
            self._reset_until = None
            self._bench.set(self._design.rst, 0)

    def leave(self) -> None:
        """Record an access that is still up."""
        if self._up:
            self._record(self.row - 1, NONE, 0)
            self._forget()

    # The steps of the CPU.

    def _begin(self, command: Command) -> None:
        if command.kind == PAUSE:
            self.free = self.row + command.cycles
            self.result = None
        elif command.kind == AWAIT:
            self._command, self._start = command, self.row
            self._deadline = self.row + command.cycles - 1
            self._limit = self.row
        elif command.kind == MARK:
            self.marks.append((self.row, command.number))
            self.result = None
        else:
            self._command, self._start = command, self.row + command.wait
            self._reads = 0

    def _ended(self, terminator: int, data: int) -> None:
        """Take the end of an access in the row before ``row``."""
        command = self._command
        assert command is not None
        end = self.row - 1
        number = self._record(end, terminator, data)
        self._up, self._hold_until = False, 0
        self._open = self.row
        self._reads += 1
        failed = terminator != ACK
        matched = not failed and data & command.mask == command.value
        if not matched and self._reads < command.limit:
            self._start = self.row + command.every
            return
        if command.poll and not matched:
            self.timeouts.append(number)
        self._forget()
        self.free = self.row
        self.result = Result(data, failed)

    def _record(self, end: int, terminator: int, data: int) -> int:
        command = self._command
        assert command is not None
        if command.write:
            data = command.data
        self.log.extend(
            (self._start, end, command.address, command.write, command.lanes, data, terminator)
        )
        self.log.append(command.number)
        self._count += 1
        return self._count - 1

    # Rows.

    def _idle(self, end: int) -> None:
        """Run rows without an access."""
        half_tick, watch = self._half_tick, self._watch
        for _ in range(self.row, end):
            if watch is not None:
                watch.sample()
            if self._seen:
                if self._heed():
                    break
                self._look_at_all()
                self._hear_all()
                if self.row == self._reset_row:  # what follows is new, even if it looks the same
                    self._seen = dict.fromkeys(self._seen)
            half_tick()
            half_tick()
            self.row += 1
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
        self.row += 1
        if status & 1:
            bench.set(design.request, 0)
            bench.set(design.data, 0)
            if answered:
                bench.set(design.reply, 0)
            failed, cut = status >> 1 & 1, status >> 2 & 1
            self._ended(WATCHDOG if cut else ERR if failed else ACK, status >> 3 & WORD)

    def _tell_end(self) -> None:
        """Tell a hardware device's note reader of the access that ends in ``row``."""
        command = self._command
        assert command is not None
        found = self._map.decode(command.address)
        slot = self._numbers[found.slot.name] if found.slot is not None else -1
        if slot in self._seen:
            data, offset = command.data if command.write else 0, found.offset & ~3
            self._ears[slot].take_end(
                Access(self.row, offset, bool(command.write), data, command.lanes, self._count),
            )

    def _ask(self, slot: int, command: Command) -> bool:
        """Ask the model whose outlet is called; return False while it holds."""
        if self._hold_until is None or self.row < self._hold_until:
            return False
        offset, write = self._bench.get(self._design.inner) << 2, bool(command.write)
        answer = self._answer(
            slot, Access(self.row, offset, write, command.data, command.lanes, self._count)
        )
        if isinstance(answer, Hold):
            if answer.until is not None and answer.until <= self.row:
                raise ModelError(
                    f"a hold in cycle {self.row} must end in a later cycle, not in {answer.until}"
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
    width = len(Command._fields)
    for at in range(0, len(commands), width):
        yield Command(*commands[at : at + width])


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


@dataclass
class _Suspended:
    """What was going on when a handler was taken.

    Attributes
    ----------
    command, reads, waiting, result : as in the engine
    distance : rows to the start of the command
    rows_left : rows in which an await may still look at its pin, less one
    pause_left : rows of a pause that are left
    leave : idle cycles after the handler
    leaving : those have begun
    """

    command: Command | None
    distance: int
    rows_left: int
    reads: int
    pause_left: int
    waiting: deque[Command]
    result: Result | None
    leave: int
    leaving: bool = False


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
