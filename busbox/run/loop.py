"""The one loop that drives any engine: steps in, calls of models in between, a run's facts out."""

from __future__ import annotations

import heapq
from array import array
from collections import deque
from collections.abc import Callable, Sequence
from itertools import count
from pathlib import Path

import numpy as np

from busbox.basics.errors import BusboxError, InputError, nearest
from busbox.basics.growing import Column
from busbox.basics.units import show_time
from busbox.cpu.source import ListedSource, Source
from busbox.cpu.steps import Access as AccessStep
from busbox.cpu.steps import Await, Handler, Mark, Named, Pause, Poll, Reset, Step, Target
from busbox.cpu.table import AccessTable
from busbox.device import Access, Answer, LiveDevice
from busbox.engines import (
    ACCESS,
    AWAIT,
    LOG,
    MARK,
    PAUSE,
    RESET_STEP,
    Command,
    Engine,
    EngineFactory,
    Stop,
)
from busbox.recording import (
    COLUMNS,
    Accesses,
    AwaitGivenUp,
    HandlerStorm,
    IntColumn,
    PollGivenUp,
    PortBreach,
    Recording,
    SlotInfo,
)
from busbox.run.connections import Connections
from busbox.run.hardware_host import HardwareHost
from busbox.run.host import DeviceHost
from busbox.system.hardware import Device
from busbox.system.scenario import InputLevel
from busbox.system.system import System

#: Steps taken from a source in one go, if it does not look at results.
AHEAD = 4096
#: Rows between two reports of progress.
PROGRESS_ROWS = 8192
FOREVER = 1 << 62

#: Told now and then: the row, and the share of the steps that is over (None if nobody knows).
Progress = Callable[[int, float | None], None]
#: Told before each row: the row, and the devices in the order of the bench.
Observe = Callable[[int, Sequence[LiveDevice]], None]


def address_of(target: Target, system: System) -> int:
    """Return the byte address of a step's target.

    Raises
    ------
    ValueError : no slot or no register of that name
    """
    if isinstance(target, int):
        return target
    slot = system.address_map.slot(target.slot)
    if slot is None:
        known = [device.name for device in system.devices]
        raise ValueError(f"there is no slot {target.slot!r}{nearest(target.slot, known)}")
    address = system.address_map.address_of(target.slot, target.register)
    if address is None:
        raise ValueError(
            f"{target.slot} has no register {target.register!r}"
            f"{nearest(target.register, slot.table.names)}"
        )
    return address


class _Ledger:
    """The commands made from steps, and what the recording will say of each."""

    def __init__(self, system: System) -> None:
        self._system = system
        self._facts = Column("i8")
        self._new: array[int] = array("q")
        self._polls = Column("i8")
        self._count = 0
        self.marks: dict[int, str] = {}
        self.awaits: dict[int, Await] = {}
        self.steps = 0

    def command(self, step: Step, place: int | None = None) -> Command:
        """Return the command of the next step, or of a handler's step with its number."""
        number, self._count = self._count, self._count + 1
        pc = step.pc if isinstance(step, AccessStep | Poll) else None
        expected = step.data if isinstance(step, AccessStep) and not step.write else None
        facts = (self.steps if place is None else place, step.line, pc, expected)
        self._new.extend(-1 if fact is None else fact for fact in facts)
        self.steps += place is None
        clock = self._system.clock_hz
        match step:
            case Pause():
                return Command(PAUSE, number, cycles=step.span.in_cycles(clock))
            case Mark():
                self.marks[number] = step.text
                return Command(MARK, number)
            case Await():
                self.awaits[number] = step
                return Command(AWAIT, number, cycles=step.limit.in_cycles(clock))
            case Reset():
                return Command(RESET_STEP, number, wait=step.wait)
            case Handler():
                raise AssertionError("a handler is no step of the sequence")
        return self._transfer(step, number)

    def commands(self, table: AccessTable) -> array[int]:
        """Return the commands of many steps that are accesses by number."""
        count = len(table)
        numbers = np.arange(self._count, self._count + count)
        self._count += count
        facts = np.empty((count, 4), dtype="i8")
        facts[:, 0] = np.arange(self.steps, self.steps + count)
        facts[:, 1], facts[:, 2] = table["line"], table["pc"]
        facts[:, 3] = np.where(table["write"], -1, table["data"])
        self._new.frombytes(facts.tobytes())
        self.steps += count
        rows = np.zeros((count, len(Command._fields)), dtype="i8")
        given = {"number": numbers, "limit": 1, "data": np.where(table["write"], table["data"], 0)}
        given |= {name: table[name] for name in ("write", "address", "lanes", "wait")}
        for name, values in given.items():
            rows[:, Command._fields.index(name)] = values
        found = array("q")
        found.frombytes(rows.tobytes())
        return found

    def _transfer(self, step: AccessStep | Poll, number: int) -> Command:
        address = self._address(step.target, step.line)
        if isinstance(step, Poll):
            self._polls.extend((number, step.mask, step.value, step.limit))
            return Command(
                ACCESS, number, 0, address, 0, step.lanes, step.wait,
                1, step.mask, step.value, step.every, step.limit,
            )  # fmt: skip
        data = step.data if step.write and step.data is not None else 0
        return Command(ACCESS, number, int(step.write), address, data, step.lanes, step.wait)

    def _address(self, target: Target, line: int | None) -> int:
        if not isinstance(target, Named):
            return target
        try:
            return address_of(target, self._system)
        except ValueError as error:
            raise InputError.of(str(error), self._system.traffic, line) from None

    def facts(self) -> IntColumn:
        """Return (step, line, pc, expected) a command."""
        self._facts.extend(self._new)
        del self._new[:]
        return self._facts.array().reshape(-1, 4)

    def given_up(self, number: int, access: int) -> PollGivenUp:
        """Return the poll of a command that was given up, with its last read."""
        polls = self._polls.array().reshape(-1, 4)
        _, mask, value, limit = polls[np.searchsorted(polls[:, 0], number)].tolist()
        return PollGivenUp(access, mask, value, limit)


class Replay:
    """One run of a system on an engine."""

    def __init__(self, system: System, factory: EngineFactory) -> None:
        if any(system.devices[wire.from_device].model.in_amaranth for wire in system.wires):
            from busbox.engines.paths import check_wires

            check_wires(system)
        self._system = system
        self._wakes: list[tuple[int, int]] = []
        self._hosts = [
            DeviceHost(device, system.clock_hz, self._waker(number), self._stays)
            for number, device in enumerate(system.devices)
        ]
        self._ears: dict[int, HardwareHost] = {}
        self._models = [self._device(number) for number in range(len(self._hosts))]
        try:
            self._engine: Engine = factory(system, self._answer, self._ears)
        except BusboxError:
            raise
        except Exception as error:
            if self._ears:
                slots = _some([self._hosts[number].name for number in self._ears])
                error.add_note(f"in {system.name}: while the hardware of {slots} was built")
            raise
        self._source: Source = system.new_source()
        self._ledger = _Ledger(system)
        self._inputs: list[tuple[int, int, InputLevel]] = []
        self._order = count()
        for level in system.inputs:
            self._schedule(level)
        self._connections = Connections(system, self._hosts, self._models, self._engine.heed)
        self._accesses = [model.access for model in self._models]
        self._watched = self._connections.watched
        self._resets = deque(system.resets)
        self._free, self._rest = 0, 0
        self._seeks = False
        self._quiet: int | None = None
        self._given_up: list[tuple[int, Await]] = []
        self._done: list[tuple[int, int]] = []
        self._served = False
        self._chain = 0
        self._crowd: tuple[int, Handler] | None = None
        self._handlers = self._numbered_handlers()
        for handler, _ in self._handlers:
            self._connections.watch(handler.pin)
            for step in handler.steps:
                if isinstance(step, Await):
                    self._connections.watch(step.pin)
        self._registers: dict[str, dict[str, int]] = {}
        self._columns = {name: Column(kind) for name, kind in COLUMNS.items()}
        self._polls_given_up: list[PollGivenUp] = []
        self._last_step = 0

    def _device(self, number: int) -> LiveDevice:
        """Return the device of a slot: its model, or what stands for the hardware."""
        device, host = self._system.devices[number], self._hosts[number]
        if not device.model.in_amaranth:
            model: LiveDevice = device.model(host, **device.settings)
            return model
        self._ears[number] = HardwareHost(number, device, host, lambda: self._engine)
        return self._ears[number]

    def _schedule(self, level: InputLevel) -> None:
        heapq.heappush(self._inputs, (level.cycle, next(self._order), level))

    def _waker(self, number: int) -> Callable[[int], None]:
        def wake_at(cycle: int) -> None:
            heapq.heappush(self._wakes, (cycle, number))
            self._engine.lower(cycle)

        return wake_at

    def _stays(self, until: int | None) -> None:
        self._engine.stays(until)

    def _answer(self, slot: int, access: Access) -> Answer:
        try:
            answer = self._accesses[slot](access)
        except Exception as error:
            error.add_note(
                f"in {self._system.name}: {self._hosts[slot].name}, cycle {access.cycle}, "
                f"access {access.number}"
            )
            raise
        if slot in self._watched:
            change = self._connections.next_change(slot, access.cycle)
            if change is not None:
                self._engine.lower(change)
        return answer

    # The loop.

    def run(
        self,
        until: int | None = None,
        progress: Progress | None = None,
        observe: Observe | None = None,
    ) -> Recording:
        """Run to the end (semantics page, rules 19 to 21) and return what was recorded."""
        try:
            last, ended = self._run(FOREVER if until is None else until, progress, observe)
        finally:
            self._source.close()
        self._engine.leave()
        for model, host in zip(self._models, self._hosts, strict=True):
            model.close(last)
            host.forget_after(last)
        self._put_away(last)
        return self._recording(last, ended)

    def _run(
        self, until: int, progress: Progress | None, observe: Observe | None
    ) -> tuple[int, str]:
        engine = self._engine
        if progress is not None:
            engine.stretch = PROGRESS_ROWS
        if not self._feed():
            self._close(0)
        while True:
            row = engine.row
            if row >= FOREVER:
                raise InputError.of(f"a run must be shorter than {FOREVER:,} cycles")
            if row >= until:
                return until - 1, "until"
            stop = engine.run(row)
            if stop is Stop.STARVED:
                if not self._feed():
                    self._close(engine.free)
                continue
            if len(engine.log) > AHEAD * len(LOG):
                self._put_away(row)
            self._deliver(row)
            if row == until - 1 or row == engine.hangs_at:
                self._look(row)
            if self._resets and self._resets[0].at == row:
                restart = self._system.after_reset == "restart"
                self._reset(row, self._resets.popleft().length, restart, step=False)
            elif stop is Stop.RESET:
                self._reset(row, 1, restart=False, step=True)
            ended = self._over(row) if engine.closed else ""
            if ended != "done" and self._crowded(row):
                ended = "hang"
            if ended:
                self._look(row)
                engine.run(row + 1)
                return row, ended
            called = self._call_handler(row)
            if self._look_for_level(row):
                continue
            limit = self._limit(row, until)
            if progress is not None:
                progress(row, self._share())
            if observe is not None:
                observe(row, self._models)
                limit = min(limit, row + 1)
            if engine.run(limit, called, self._seeks) is Stop.HANG:
                self._quiet = engine.quiet_since
                return engine.row - 1, "hang"

    def _numbered_handlers(self) -> list[tuple[Handler, int]]:
        """Return the handlers, each with the number of its first step: after all steps."""
        number, found = getattr(self._source, "count", None) or 0, []
        for handler in getattr(self._source, "handlers", ()):
            found.append((handler, number))
            number += len(handler.steps)
        return found

    def _share(self) -> float | None:
        """Return how much of the traffic is over, where its length is known."""
        steps = getattr(self._source, "count", None)
        return min(1.0, self._last_step / steps) if steps else None

    def _limit(self, row: int, until: int) -> int:
        """Return the row before which the loop has something to do again."""
        rows = [until if row == until - 1 else until - 1]
        if self._inputs:
            rows.append(self._inputs[0][0])
        change = self._connections.next_change_of_all(row)
        if change is not None:
            rows.append(change)
        if self._engine.awaiting is not None:
            rows.append(max(self._engine.awaiting, row + 1))
        if self._resets:
            rows.append(self._resets[0].at)
        if self._wakes:
            rows.append(self._wakes[0][0])
        if self._engine.closed:
            if not self._seeks:
                rows.append(max(self._rest, row + 1, self._free))
            rows.append(max(self._free - 1 + self._system.settle, row + 1))
        return min(rows)

    def _close(self, free: int) -> None:
        """Note that no step is left from row ``free`` on."""
        self._engine.closed, self._free = True, free

    def _over(self, row: int) -> str:
        """Return how the run ends with ``row``, or "" if it goes on."""
        if self._served:
            self._free = max(self._free, self._engine.free)
        free, self._rest, self._seeks = self._free, 0, False
        if row < free or self._engine.handling:
            return ""
        rests = [(model.rest_at(row), model.in_amaranth) for model in self._models]
        self._rest = max((at for at, hardware in rests if not hardware), default=row)
        self._seeks = any(at > row for at, hardware in rests if hardware)
        if self._rest <= row and not self._seeks:
            return "done"
        return "settle" if row >= free - 1 + self._system.settle else ""

    def _look(self, row: int) -> None:
        """Take the registers as of ``row``, before an access ends in it."""
        for model, host in zip(self._models, self._hosts, strict=True):
            model.advance(row)
            self._registers[host.name] = model.registers()

    # What reaches the system from outside.

    def _feed(self) -> bool:
        """Take steps from the source; return False if there is none left."""
        source, commands = self._source, array("q")
        if isinstance(source, ListedSource):
            most = AHEAD * len(Command._fields)
            while len(commands) < most and (piece := source.take()) is not None:
                if isinstance(piece, AccessTable):
                    commands.extend(self._ledger.commands(piece))
                else:
                    commands.extend(self._command(piece))
        else:
            for _ in range(AHEAD if source.ahead else 1):
                step = source.next(self._engine.result)
                if step is None:
                    break
                commands.extend(self._command(step))
        self._engine.feed(commands)
        return bool(commands)

    def _command(self, step: Step) -> Command:
        if isinstance(step, Await):
            self._connections.watch(step.pin)
        return self._ledger.command(step)

    def _deliver(self, row: int) -> None:
        """Give inputs and wakes of ``row`` to whom they belong."""
        for reply in self._connections.replies(row):
            self._schedule(reply)
        levels = list(self._connections.wired(row))
        while self._inputs and self._inputs[0][0] <= row:
            levels.append(heapq.heappop(self._inputs)[2])
        for level in levels:
            self._hosts[level.device].input(level.pin, level.cycle, level.level)
            self._models[level.device].input(level.cycle, level.pin, level.level)
            self._engine.ask_again()
        while self._wakes and self._wakes[0][0] <= row:
            cycle, number = heapq.heappop(self._wakes)
            self._models[number].wake(cycle)
            self._engine.ask_again()

    def _called(self, row: int) -> tuple[Handler, int] | None:
        """Return the handler whose pin is high in ``row``, and the number of its first step."""
        for handler, first in self._handlers:
            if self._connections.level(handler.pin, row) == 1:
                return handler, first
        return None

    def _crowded(self, row: int) -> bool:
        """Return whether the run ends because handlers leave the CPU no row (rule 12f)."""
        engine = self._engine
        if engine.left != row or row - self._chain < self._system.hang_after:
            return False
        called = self._called(row) if engine.interruptible else None
        if called is not None:
            self._crowd = self._chain, called[0]
        return called is not None

    def _call_handler(self, row: int) -> bool:
        """Let the CPU take a handler whose pin is high; return whether one is called or running."""
        called = self._called(row)
        if called is not None and self._engine.interruptible:
            handler, first = called
            commands = array("q")
            for place, step in enumerate(handler.steps):
                commands.extend(self._ledger.command(step, first + place))
            if self._engine.left != row:
                self._chain = row
            self._engine.interrupt(commands, handler.enter, handler.leave)
            self._served = True
        return called is not None

    def _look_for_level(self, row: int) -> bool:
        """End an await that stands, if its pin shows the level in ``row`` or its time is over."""
        last = self._engine.awaiting
        if last is None:
            return False
        step = self._ledger.awaits[self._engine.awaited]
        matched = self._connections.level(step.pin, row) == step.level
        if not matched and row < last:
            return False
        if not matched:
            self._given_up.append((row, step))
        del self._ledger.awaits[self._engine.awaited]
        self._engine.release(matched)
        return True

    def _reset(self, row: int, length: int, restart: bool, step: bool) -> None:
        self._wakes.clear()
        self._done.append((row, length))
        for model, host in zip(self._models, self._hosts, strict=True):
            model.reset(row, length)
            host.reset(row)
        self._engine.reset(length, restart, step)
        self._free = self._engine.free
        if restart:
            self._source.close()
            self._source = self._source.again()
            self._ledger.steps = 0
            self._engine.closed = False

    # The recording.

    def _recording(self, last: int, ended: str) -> Recording:
        system, engine = self._system, self._engine
        events = [event for host in self._hosts for event in host.events]
        return Recording(
            bench=system.name,
            engine=engine.name,
            traffic=Path(system.traffic).name,
            clock_hz=system.clock_hz,
            cycles=last + 1,
            ended=ended,
            accesses=Accesses({name: one.array() for name, one in self._columns.items()}),
            slots=tuple(_slot_info(device, system) for device in system.devices),
            lines={name: line for host in self._hosts for name, line in host.lines()},
            characters={
                device.name: host.text()
                for device, host in zip(system.devices, self._hosts, strict=True)
                if "text" in device.model.sends
            },
            events=tuple(sorted(events, key=lambda event: event.cycle)),
            registers=self._registers,
            marks=tuple((row, self._ledger.marks[number]) for row, number in engine.marks),
            resets=tuple(reset for reset in self._done if reset[0] <= last),
            run_notes=tuple(self._notes()),
            polls_given_up=tuple(self._polls_given_up),
            awaits_given_up=tuple(_await_given_up(row, step) for row, step in self._given_up),
            handler_storm=None if self._crowd is None else _storm(*self._crowd),
            breaches=tuple(
                PortBreach(port, breach.row, breach.rule, breach.text)
                for port, breach in engine.breaches
            ),
            quiet_since=self._quiet_since(),
        )

    def _notes(self) -> list[str]:
        names = [device.name for device in self._system.devices]
        left = [
            f"input {names[one.device]}.{one.pin} in cycle {cycle}"
            for cycle, _, one in sorted(self._inputs, key=lambda entry: entry[:2])
        ]
        left += [f"reset in cycle {one.at}" for one in self._resets]
        notes = []
        if self._engine.unexecuted:
            notes.append(
                f"Prints and checks of the hardware are not carried out by engine "
                f"{self._engine.name}, but by engine reference: {_some(self._engine.unexecuted)}."
            )
        if left:
            end = show_time(self._engine.row, self._system.clock_hz)
            notes.append(f"The run ended at {end}, before: {_some(left)}.")
        return notes

    def _put_away(self, row: int) -> None:
        """Put what is recorded of the rows before ``row`` into columns: no run is held in memory."""
        engine, first = self._engine, len(self._columns["end"])
        log = np.array(engine.log, dtype="i8").reshape(-1, len(LOG))
        columns: dict[str, IntColumn] = {name: log[:, place] for place, name in enumerate(LOG)}
        commands = columns.pop("command")
        facts = self._ledger.facts()[commands]
        for place, name in enumerate(("step", "line", "pc", "expected")):
            columns[name] = facts[:, place]
        columns["slot"] = self._slots(columns["address"])
        for name, column in self._columns.items():
            column.extend(columns[name])
        for access in engine.timeouts:
            given_up = self._ledger.given_up(int(commands[access - first]), access)
            self._polls_given_up.append(given_up)
        self._last_step = int(columns["step"][-1]) + 1 if len(log) else self._last_step
        del engine.log[:], engine.timeouts[:]
        for host in self._hosts:
            host.settle(row)

    def _slots(self, addresses: IntColumn) -> IntColumn:
        names = [device.name for device in self._system.devices]
        unique, where = np.unique(addresses, return_inverse=True)
        found = [self._system.address_map.decode(int(address)).slot for address in unique]
        numbers = [-1 if slot is None else names.index(slot.name) for slot in found]
        slots: IntColumn = np.array(numbers, dtype="i2")[where]
        return slots

    def _quiet_since(self) -> int | None:
        """Return since when an access that hangs could not be answered any more, if that is sure."""
        row = self._engine.row
        coming = self._inputs or self._wakes or self._resets
        if coming or self._connections.next_change_of_all(row) is not None:
            return None
        return self._quiet


def _slot_info(device: Device, system: System) -> SlotInfo:
    slot, delay = device.slot, device.slot.wait + system.fabric.registered_decode
    sends = tuple(device.model.sends)
    return SlotInfo(slot.name, device.kind, slot.base, slot.size, slot.wait, delay, sends)


def _await_given_up(row: int, step: Await) -> AwaitGivenUp:
    limit = f"{step.limit} cycles" if step.limit.cycles is not None else str(step.limit)
    line = -1 if step.line is None else step.line
    return AwaitGivenUp(row, step.pin, step.level, limit, line)


def _storm(since: int, handler: Handler) -> HandlerStorm:
    line = -1 if handler.line is None else handler.line
    return HandlerStorm(since, handler.name, handler.pin, line)


def _some(names: Sequence[str]) -> str:
    """Return up to three names, and how many there are besides."""
    more = "" if len(names) < 4 else f" and {len(names) - 3} more"
    return f"{', '.join(names[:3])}{more}"


def replay(
    system: System,
    factory: EngineFactory,
    until: int | None = None,
    progress: Progress | None = None,
    observe: Observe | None = None,
) -> Recording:
    """Run a system on an engine and return its recording: facts only, not judged.

    Parameters
    ----------
    until : run the rows 0 to until - 1 at most
    progress : called now and then with the row and the share of the steps that is over
    observe : called before each row is run, with the row and the devices; this makes runs slow

    Raises
    ------
    InputError : a step that cannot be played
    """
    return Replay(system, factory).run(until, progress, observe)
