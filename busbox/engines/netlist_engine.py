"""What the engines ``python`` and ``llvm`` have in common: the contract around the loop.

The loop (:mod:`busbox.engines.loop`) runs rows; it is the kernel's, which differs between the two. This
module answers when the loop returns: it takes what the loop cannot play, asks models, and tells ears.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from array import array
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any, ClassVar

from busbox.basics.errors import ModelError
from busbox.bus.transfers import NONE, RESET
from busbox.cpu.source import Result
from busbox.device import ERROR, Access, Answer, Hold
from busbox.engines import ACCESS, AWAIT, MARK, STRETCH, Command, Ear, EngineFactory, Stop
from busbox.engines.kernel import Kept, Kernel, Parts
from busbox.engines.loop import (
    CALL,
    COMMAND,
    DUE,
    FOREVER,
    FULL,
    GIVEN_UP,
    HANG,
    LIMIT,
    LOGGED,
    OVER,
    STARVED,
    STATE,
    STAYS,
    TAKE,
)
from busbox.engines.telling import Teller
from busbox.map.registers import WORD
from busbox.system.system import System

#: Place of each name in the state.
AT = {name: place for place, name in enumerate(STATE)}
_ROW, _LIMIT, _FREE, _KIND, _START = (
    AT[name] for name in ("row", "limit", "free", "kind", "start")
)
_WRITE, _DATA, _LANES = (AT[name] for name in ("write", "data", "lanes"))
_REPLY, _LOGGED, _QUIET = (AT[name] for name in ("reply", "logged", "quiet_from"))


class NetlistEngine(ABC):
    """Runs a design by its netlist. See the contract in :mod:`busbox.engines`."""

    name: ClassVar[str]

    def __init__(
        self,
        system: System,
        answer: Callable[[int, Access], Answer],
        ears: Mapping[int, Ear],
        parts: Callable[[System], Parts] = Parts.of,
    ) -> None:
        self.left, self.stretch = 0, STRETCH
        self.log: array[int] = array("q")
        self.timeouts: list[int] = []
        self.marks: list[tuple[int, int]] = []
        self.breaches: list[tuple[str, Any]] = []
        self._answer, self._ears = answer, ears
        self._parts = parts(system)
        self._views = self._parts.design.views
        self._pins = {
            slot: {f"pin_{stem}": sum(pin.level << place for place, pin in enumerate(group))
                   for stem, group in view.device.groups.items()}
            for slot, view in self._views.items()
        }  # fmt: skip
        self._count = 0
        self._deadline = 0
        self._said: tuple[int | None] | None = None
        self._kept: set[int] = set()
        self._handler: _Suspended | None = None
        self._waiting: array[int] = array("q")
        self._kernel = self.make_kernel(self._parts)
        self._state = self._kernel.state
        self._set(hang_after=system.hang_after)
        self._teller = Teller(system, self._kernel, self._views, ears)
        self._kernel.go()
        for slot in self._views:
            self._kernel.heard(slot)
            self._kernel.guarded(slot)

    @classmethod
    def for_many_runs(cls) -> EngineFactory:
        """Return what makes engines that use a design again, if systems differ in traffic alone."""
        return partial(cls, parts=Kept())

    @staticmethod
    @abstractmethod
    def make_kernel(parts: Parts) -> Kernel:
        """Return the kernel, in its state before row 0."""

    def _set(self, **values: int) -> None:
        for name, value in values.items():
            self._state[AT[name]] = value

    def _get(self, name: str) -> int:
        return self._state[AT[name]]

    # The contract.

    @property
    def unexecuted(self) -> Sequence[str]:
        """Hierarchical names of prints and checks that are not carried out."""
        return self._parts.program.unexecuted

    @property
    def row(self) -> int:
        """The first row that has not been run."""
        return self._state[_ROW]

    @property
    def free(self) -> int:
        """The first row for the next command."""
        return self._state[_FREE]

    @property
    def closed(self) -> bool:
        """Whether no command will come."""
        return bool(self._get("closed"))

    @closed.setter
    def closed(self, closed: bool) -> None:
        self._set(closed=int(closed))

    @property
    def result(self) -> Result | None:
        """The result of the last command."""
        failed = self._get("failed")
        return None if failed < 0 else Result(self._get("result"), bool(failed))

    @result.setter
    def result(self, result: Result | None) -> None:
        if result is None:
            self._set(failed=-1)
        else:
            self._set(result=result.data, failed=int(result.error))

    @property
    def quiet_since(self) -> int | None:
        """The row from which on nothing has moved, while the access that is up waits."""
        quiet, hold = self._state[_QUIET], self._get("hold_until")
        return quiet if self._up and quiet >= 0 and hold in (0, FOREVER) else None

    @property
    def _up(self) -> bool:
        return bool(self._get("up"))

    @property
    def hangs_at(self) -> int | None:
        """The last row that the access which is up may wait for."""
        return self._state[_START] + self._get("hang_after") if self._up else None

    @property
    def _resetting(self) -> bool:
        return self._get("reset_until") >= 0

    @property
    def awaiting(self) -> int | None:
        """The last row in which the await that stands may be looked at, or None."""
        state = self._state
        standing = state[_KIND] == AWAIT and state[_ROW] >= state[_START] and not self._resetting
        return self._deadline if standing else None

    @property
    def awaited(self) -> int:
        """The number of the await that stands."""
        return self._get("number")

    @property
    def handling(self) -> bool:
        """Whether a handler is running."""
        return self._handler is not None

    @property
    def interruptible(self) -> bool:
        """Whether a handler may be taken in ``row``."""
        state, row = self._state, self.row
        if self._resetting or self.handling or row < self._get("opened"):
            return False
        return state[_KIND] in (-1, AWAIT) or row < state[_START]

    def feed(self, commands: array[int]) -> None:
        """Append commands."""
        if self._get("taken") == self._get("fed"):
            self._waiting = array("q")
            self._set(taken=0)
        self._waiting.extend(commands)
        self._load()

    def _load(self) -> None:
        self._set(fed=len(self._waiting) // COMMAND)
        self._kernel.play(self._waiting)

    def lower(self, limit: int) -> None:
        """Stop the present ``run`` before row ``limit``."""
        if limit < self._state[_LIMIT]:
            self._state[_LIMIT] = limit

    def ask_again(self) -> None:
        """Ask models in the next row, whatever they said of holding and staying."""
        self._set(hold_until=0, quiet_from=-1)
        self._forget_stays()

    def run(self, limit: int, called: bool = False, rest: bool = False) -> Stop:
        """Run rows up to ``limit - 1``; if a handler is called, to a row that can take it."""
        row = self.row
        self._set(limit=limit, entered=row, called=int(called), rest=int(rest), stop=0)
        self._set(budget=self.stretch)
        go, ask, stop = self._kernel.go, self._ask, None
        while stop is None:
            why = go()
            if why == CALL:
                ask()
            else:
                stop = self._returned(why)
        self._flush()
        return stop

    def _returned(self, why: int) -> Stop | None:
        """Do what the loop left to be done; return why ``run`` is over, or None."""
        if why == TAKE:
            self._take()
        elif why == OVER:
            assert self._handler is not None
            self._leave_handler(self._handler)
        elif why == GIVEN_UP:
            self.timeouts.append(self._count + self._state[_LOGGED] - 1)
        else:
            return _STOPS[why]
        return None

    def _flush(self) -> None:
        """Take over what the loop has recorded."""
        fresh = self._kernel.logged() if self._state[_LOGGED] else array("q")
        if self._views:
            self.breaches += self._teller.tell(self._count, fresh)
        self.log.extend(fresh)
        self._count += len(fresh) // LOGGED

    # Commands that the loop does not play.

    def _take(self) -> None:
        at = self._get("taken") * COMMAND
        command = Command(*self._waiting[at : at + COMMAND])
        row = self.row
        self._set(taken=self._get("taken") + 1)
        if command.kind == MARK:
            self.marks.append((row, command.number))
            self._set(failed=-1)
            return
        self._set(kind=command.kind, number=command.number, start=row + command.wait, reads=0)
        if command.kind == AWAIT:
            self._deadline = row + command.cycles - 1
            self._set(limit=row)

    def release(self, matched: bool) -> None:
        """End the await that stands, in ``row``."""
        self._forget()
        row = self.row + 1
        self._set(free=row, opened=row)
        self.result = Result(int(matched), False)

    def _forget(self) -> None:
        """Have no command under way."""
        self._set(kind=-1, start=0, reads=0, up=0, hold_until=0, request=0, written=0)

    def interrupt(self, commands: array[int], enter: int, leave: int) -> None:
        """Play other commands first."""
        row, kind = self.row, self._state[_KIND]
        self._handler = _Suspended(
            {name: self._get(name) for name in _OF_A_COMMAND},
            max(0, self._state[_START] - row),
            self._deadline - row,
            max(0, self.free - row) if kind < 0 else 0,
            self._waiting,
            self._get("taken"),
            self.result,
            leave,
        )
        self._forget()
        self._waiting = array("q")
        self._set(taken=0, fed=0, handling=1, free=row + 1 + enter)
        self.feed(commands)

    def _leave_handler(self, handler: _Suspended) -> None:
        """Idle for the cycles of leaving, then take up what was going on."""
        row = self.row
        if not handler.leaving:
            handler.leaving = True
            self._set(free=row + handler.leave)
            return
        self._handler, self.left = None, row
        self._set(**handler.command)
        self._set(start=row + handler.distance, free=row + handler.pause_left, opened=row)
        self._set(handling=0)
        self._deadline = row + handler.rows_left
        self.result = handler.result
        self._resume(handler)
        if self._state[_KIND] == AWAIT:
            self._set(limit=row)

    def _resume(self, handler: _Suspended) -> None:
        """Take up the commands that waited behind a handler."""
        self._waiting = handler.waiting
        self._set(taken=handler.taken)
        self._load()

    def reset(self, length: int, restart: bool, step: bool = False) -> None:
        """Put RST high in the rows from ``row`` on."""
        row = self.row
        if step:
            self._forget()
            self.result = None
        else:
            self._cut()
        if restart:
            self._set(taken=0, fed=0)
            self._waiting = array("q")
        self._teller.renew(row)
        self._forget_stays()
        self._set(rst=1, reset_row=row, reset_until=row + length, quiet_from=-1)
        self._set(free=row + length + 1, opened=row + length + 1)

    def _cut(self) -> None:
        """Cut off what is under way in ``row``, a handler with it."""
        kind, waits = self._state[_KIND], self._state[_KIND] >= 0
        if waits and self.row >= self._state[_START]:
            if kind == ACCESS:
                self._record(self.row, RESET, 0)
            self.result = Result(0, True)
            waits = False
        elif waits and self._get("reads"):
            waits = False
        self._forget()
        handler, self._handler = self._handler, None
        if handler is not None:
            self._set(handling=0)
            self.result = handler.result
            self._resume(handler)
            kind = handler.command["kind"]
            waits = kind >= 0 and kind != AWAIT and not handler.command["reads"]
        if waits:  # it was the last one taken
            self._set(taken=self._get("taken") - 1)

    def leave(self) -> None:
        """Record an access that is still up."""
        if self._up:
            self._record(self.row - 1, NONE, 0)
            self._forget()

    def _record(self, end: int, terminator: int, data: int) -> None:
        state = self._state
        write = state[_WRITE]
        self.log.extend((state[_START], end, self._get("address"), write, state[_LANES]))
        self.log.extend((state[_DATA] if write else data, terminator, self._get("number")))
        self._count += 1

    # Models.

    def _ask(self) -> None:
        """Ask the model whose outlet is called."""
        state = self._state
        row, slot, inner, write, data, lanes, logged = self._kernel.call()
        self._said = None
        access = Access(row, inner << 2, write == 1, data, lanes, self._count + logged)
        answer = self._answer(slot, access)
        if type(answer) is int:
            state[_REPLY] = answer << 2 & _ANSWER | 1
        else:
            self._take_answer(row, answer)
        if self._said is not None and not write and state[_REPLY] & 1:
            (until,) = self._said
            self._keep(slot, FOREVER if until is None else until, inner, state[_REPLY])
        elif slot in self._kept:
            self._keep(slot, 0, 0, 0)

    def _take_answer(self, row: int, answer: Answer) -> None:
        """Take an answer that is no plain word."""
        if isinstance(answer, Hold):
            until = answer.until
            if until is not None and until <= row:
                raise ModelError(f"a hold in cycle {row} must end in a later cycle, not in {until}")
            self._set(hold_until=FOREVER if until is None else until, quiet_from=-1)
        elif answer is ERROR:
            self._state[_REPLY] = 0b10
        elif isinstance(answer, int):  # a bool, say
            self._state[_REPLY] = int(answer) << 2 & _ANSWER | 1
        else:
            raise ModelError(f"a model must answer a word, ERROR or a Hold, not {answer!r}")

    def _keep(self, slot: int, until: int, inner: int, reply: int) -> None:
        """Let the loop answer reads of a word in the model's place, before a row."""
        stays, place = self._kernel.stays, slot * STAYS
        stays[place], stays[place + 1], stays[place + 2] = until, inner, reply
        if until:
            self._kept.add(slot)
        else:
            self._kept.discard(slot)

    def stays(self, until: int | None) -> None:
        """Take it that the word which is being read stays until a row."""
        self._said = (until,)

    def _forget_stays(self) -> None:
        for slot in list(self._kept):
            self._keep(slot, 0, 0, 0)

    # Hardware devices.

    def heed(self, slot: int, pins: Iterable[str], notes: bool) -> None:
        """Stop for these pins of a hardware device, and for its notes."""
        self._set(heeding=1)
        self._kernel.heed(slot, self._views[slot].mask(pins), notes)

    def look(self, slot: int) -> bool:
        """Tell the pins of ``row``, if they changed; return whether the device is at rest in it."""
        word = self._kernel.see(slot)
        self._teller.show(slot, self.row, word)
        return self._views[slot].at_rest(word)

    def hear(self, slot: int) -> None:
        """Tell the notes of ``row``, if there are any."""
        word = self._kernel.see(slot)
        self._teller.show(slot, self.row, word)
        if word & 1:
            self._ears[slot].take_notes(self.row, self._views[slot].notes(word))

    def drive(self, slot: int, pin: str, level: int) -> None:
        """Give an input pin a level from ``row`` on."""
        stem, _, number = pin.partition(".")
        member, bit = f"pin_{stem}", int(number or 0)
        word = self._pins[slot][member] & ~(1 << bit) | level << bit
        self._pins[slot][member] = word
        self._set(awake=-1)
        self._kernel.drive(slot, member, word)

    def peek(self, slot: int, offset: int) -> int:
        """Return what a read of a register would show in ``row``."""
        return self._kernel.peek(slot, offset)


_ANSWER = WORD << 2
_STOPS = {STARVED: Stop.STARVED, LIMIT: Stop.LIMIT, FULL: Stop.LIMIT, DUE: Stop.RESET,
          HANG: Stop.HANG}  # fmt: skip
#: What belongs to the command that is under way, but for its start.
_OF_A_COMMAND = ("kind", "number", "write", "address", "data", "lanes", "poll", "mask", "value",
                 "every", "most", "reads")  # fmt: skip


@dataclass
class _Suspended:
    """What was going on when a handler was taken.

    Attributes
    ----------
    command : the state of the command that waited
    distance : rows to its start
    rows_left : rows in which an await may still look at its pin, less one
    pause_left : rows of a pause that are left
    waiting, taken : the commands behind it, and how many of them had been taken
    result : of the last command before
    leave : idle cycles after the handler
    leaving : those have begun
    """

    command: dict[str, int]
    distance: int
    rows_left: int
    pause_left: int
    waiting: array[int]
    taken: int
    result: Result | None
    leave: int
    leaving: bool = False
