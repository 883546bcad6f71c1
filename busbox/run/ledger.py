"""The ledger: the commands made from steps, and what the recording says about each."""

from __future__ import annotations

from array import array
from collections.abc import Iterator

import numpy as np

from busbox.basics.errors import InputError, nearest
from busbox.basics.growing import Column
from busbox.cpu.commands import ACCESS, KEPT, PAUSE, Command
from busbox.cpu.steps import AccessStep, Await, Named, Pause, Poll, Target, Until
from busbox.cpu.table import AccessTable
from busbox.recording import IntColumn, PollGivenUp
from busbox.system.system import System

#: What the recording says about a command, in this order.
FACTS = ("step", "line", "pc", "expected", "file")


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


class Ledger:
    """The commands of one run.

    Attributes
    ----------
    steps : number of steps taken from the traffic so far
    """

    def __init__(self, system: System) -> None:
        self._system = system
        self._facts = Column("i8")
        self._new: array[int] = array("q")
        self._polls, self._wanted = Column("i8"), Column("i8")
        self._kept: dict[str, int] = {"": 0}
        self._count = 0
        self._numbers: dict[str, int] = {}
        self._addresses: dict[Named, int] = {}
        self.steps = 0

    @property
    def files(self) -> tuple[str, ...]:
        """The files of steps other than the traffic file."""
        return tuple(self._numbers)

    def command(self, step: AccessStep | Poll | Pause, number: int | None) -> Command:
        """Return the command of a step; ``number``: its number, None for the next one."""
        place, self._count = self._count, self._count + 1
        self._note(step, self.steps if number is None else number)
        self.steps += number is None
        if isinstance(step, Pause):
            return Command(PAUSE, place, cycles=step.span.in_cycles(self._system.clock_hz))
        address = self._address(step.target, step)
        if isinstance(step, Poll):
            at_least, since = isinstance(step, Until), step.since if isinstance(step, Until) else 0
            kept, less = (self._keep(since, step), 0) if isinstance(since, str) else (0, since)
            self._polls.extend((place,))
            self._wanted.extend((step.mask, step.value, step.limit, at_least, kept, less))
            return Command(
                ACCESS, place, 0, address, 0, step.lanes, step.wait,
                1, step.mask, step.value, step.every, step.limit,
                0, self._keep(step.keep, step), kept, less, at_least,
            )  # fmt: skip
        data = step.data if step.write and step.data is not None else 0
        return Command(
            ACCESS, place, int(step.write), address, data, step.lanes, step.wait,
            keep=self._keep(step.keep, step),
        )  # fmt: skip

    def _keep(self, name: str | None, step: AccessStep | Poll) -> int:
        """Return the number under which the word of a name is kept.

        Raises
        ------
        InputError : there are too many names
        """
        number = self._kept.setdefault(name or "", len(self._kept))
        if number >= KEPT:
            where = self._system.traffic if step.file is None else step.file
            text = f"at most {KEPT - 1} names of kept words are possible; {name!r} is one more"
            raise InputError.of(text, where, step.line)
        return number

    def _note(self, step: AccessStep | Poll | Pause, number: int) -> None:
        pc = None if isinstance(step, Pause) else step.pc
        expected = step.data if isinstance(step, AccessStep) and not step.write else None
        file = None if isinstance(step, Pause) else step.file
        place = None if file is None else self._numbers.setdefault(file, len(self._numbers))
        facts = (number, step.line, pc, expected, place)
        self._new.extend([-1 if fact is None else fact for fact in facts])

    def commands(self, table: AccessTable) -> array[int]:
        """Return the commands of many steps that are accesses by number."""
        count = len(table)
        numbers = np.arange(self._count, self._count + count)
        self._count += count
        facts = np.full((count, len(FACTS)), -1, dtype="i8")
        facts[:, 0] = np.arange(self.steps, self.steps + count)
        facts[:, 1], facts[:, 2] = table["line"], table["pc"]
        facts[:, 3] = np.where(table["write"], -1, table["data"])
        self._new.frombytes(facts.tobytes())
        self.steps += count
        fields = np.zeros((count, len(Command._fields)), dtype="i8")
        given = {"number": numbers, "limit": 1, "data": np.where(table["write"], table["data"], 0)}
        given |= {name: table[name] for name in ("write", "address", "lanes", "wait")}
        for name, values in given.items():
            fields[:, Command._fields.index(name)] = values
        found = array("q")
        found.frombytes(fields.tobytes())
        return found

    def pass_over(self) -> None:
        """Count a step that is not a command."""
        self.steps += 1

    def cycles(self, step: Await) -> int:
        """Return the limit of an await."""
        return step.limit.in_cycles(self._system.clock_hz)

    def restart(self) -> None:
        """Begin with the first step again."""
        self.steps = 0

    def _address(self, target: Target, step: AccessStep | Poll) -> int:
        if not isinstance(target, Named):
            return target
        found = self._addresses.get(target)
        if found is not None:
            return found
        try:
            address = self._addresses[target] = address_of(target, self._system)
        except ValueError as error:
            where = self._system.traffic if step.file is None else step.file
            raise InputError.of(str(error), where, step.line) from None
        return address

    def facts(self) -> IntColumn:
        """Return :data:`FACTS` of each command."""
        self._facts.extend(self._new)
        del self._new[:]
        return self._facts.array().reshape(-1, len(FACTS))

    def given_up(self, numbers: IntColumn, accesses: IntColumn) -> Iterator[PollGivenUp]:
        """Yield the polls of some commands as given up, each with an access."""
        if not len(numbers):  # a column that has grown is copied
            return
        places = np.searchsorted(self._polls.array(), numbers)
        wanted = self._wanted.array().reshape(-1, 6)[places].tolist()
        names = list(self._kept)
        for access, (mask, value, limit, at_least, kept, less) in zip(
            accesses.tolist(), wanted, strict=True
        ):
            since = names[kept] if kept else f"{less:#x}" if less else ""
            yield PollGivenUp(access, mask, value, limit, bool(at_least), since)
