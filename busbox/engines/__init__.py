"""Engines: what executes a system, cycle by cycle. This page is their contract.

Contract
========
1. An engine runs rows in order. ``row`` is the first row that has not been run; ``run(limit)`` runs
   the rows from there to ``limit - 1`` at most, takes up the commands that begin in row ``limit``,
   and says why it stopped (:class:`Stop`).
2. It plays :class:`Command`\\ s in the order in which they were fed, by the semantics page (rules 4 to
   17). Many may be fed ahead. When the last one is over, ``free`` is the first row for the next, and
   ``run`` stops in that row with ``STARVED``, until commands are fed or ``closed`` is set; so a source
   that answers is asked with the result of its last step at hand (``result``).
3. Where an access may end at a model, the engine calls ``answer(slot, access)`` in that row. While a
   model holds until a cycle, it is not asked again before; ``ask_again()`` lifts that.
4. During ``answer`` the limit may be lowered with ``lower(limit)``, not below ``row + 1``.
5. Between two calls of ``run``, ``reset(length, restart)`` puts RST high in the next ``length`` rows
   that are run. It cuts off what is under way (rules 15 to 17); with ``restart`` it drops every
   command.
6. A command ``AWAIT`` stops ``run`` in the row in which it begins (or goes on), and stands in the
   engine until ``release()``: the caller, who knows the pins, says in a row (before it is run) that it
   is over: the next step may use the next row. ``awaiting`` is the last row in which it may still be
   looked at, or None.
7. In the row of a command ``RESET_STEP``, ``run`` stops with ``RESET`` before that row; the caller
   answers with ``reset(1, restart=False, step=True)``, which cuts off nothing.
8. ``interrupt(commands, enter, leave)``, in a row in which ``interruptible`` is true, plays other
   commands first (rule 12c), and then the rest of what was going on. ``run(limit, called=True)`` stops
   in the first such row, too. ``left`` is the row b of the last handler that is over.
9. What is recorded is complete for all rows before ``row``: ``log`` holds eight numbers an access
   (:data:`LOG`), in order; ``timeouts`` the accesses that ended a poll at its limit; ``marks`` pairs
   (row, command); ``breaches`` what the rule checker saw.
10. An access still up is put into the log by ``leave()``: terminator ``none``, last row run as its end.
11. A hardware device runs inside the engine. Of every row that is run, in this order, its
   :class:`Ear` is told what its pins are, if they changed; that an access which it answers ends; and
   its notes, if ``notes_valid`` is high: all of it at the latest when ``run`` returns. Of accesses, a
   note reader that says so is told the last one only. Between two calls of ``run``, ``look`` and
   ``hear`` tell pins and notes of ``row`` early; ``drive`` gives an input pin a level from ``row``
   on; ``peek`` reads a register as of ``row``.
12. ``run`` stops before the last row that an access may wait for (rule 9), so that the registers can
   be looked at in it.
13. ``heed(slot, pins, notes)``: ``run`` stops before a row in which one of these pins of a hardware
   device is not as it was told last, or after one with notes. With ``rest``, it stops before a row
   in which every hardware device is at rest. Neither holds for the row in which it is called.
14. During ``answer`` to a read, ``stays(until)`` says that the word read stays (contract of a model,
   10): until then, an engine may answer reads of that word in the model's place, as long as no other
   access, no input, wake or reset has come.
15. It may run rows in no time, as long as nothing in them differs. ``quiet_since`` is the row from
   which on nothing moved while the access that is up waited, or None: not known.
16. ``unexecuted`` names prints and checks in the hardware that the engine does not carry out.
17. ``run`` may stop earlier than it must, and does so after ``stretch`` rows, not counting those that
   it runs in no time. An engine knows no model and no bench.
"""

from __future__ import annotations

from array import array
from collections.abc import Callable, Iterable, Mapping, Sequence
from enum import Enum
from importlib.util import find_spec
from typing import Any, NamedTuple, Protocol, cast

from busbox.basics.errors import InputError, nearest, one_of
from busbox.cpu.source import Result
from busbox.device import Access, Answer
from busbox.system.system import System

#: The columns of an engine's log.
LOG = ("start", "end", "address", "write", "lanes", "data", "terminator", "command")

ACCESS, PAUSE, MARK, AWAIT, RESET_STEP = range(5)

#: Rows after which an engine lets its caller look at what has been recorded.
STRETCH = 1 << 20


class Command(NamedTuple):
    """A step, ready to be played: whole numbers only.

    Attributes
    ----------
    kind : ``ACCESS``, ``PAUSE``, ``MARK``, ``AWAIT`` or ``RESET_STEP``
    number : place in the order in which commands were made in this run
    write, address, data, lanes, wait : of an access
    poll : the read is repeated, by mask, value, every and limit
    cycles : of a pause; of an await: the rows in which it looks at its pin, at most
    """

    kind: int
    number: int
    write: int = 0
    address: int = 0
    data: int = 0
    lanes: int = 0
    wait: int = 0
    poll: int = 0
    mask: int = 0
    value: int = 0
    every: int = 0
    limit: int = 1
    cycles: int = 0


class Stop(Enum):
    """Why ``run`` stopped: limit reached, no command left, an access hangs, a reset is due."""

    LIMIT = "limit"
    STARVED = "starved"
    HANG = "hang"
    RESET = "reset"


class Ear(Protocol):
    """What an engine tells of one hardware device (contract, 11)."""

    def take_pins(self, row: int, levels: Iterable[tuple[str, int]]) -> None:
        """Take the levels in ``row`` of the output pins that may have changed."""

    def take_end(self, access: Access) -> None:
        """Take an access that the device ends in ``access.cycle``."""

    def take_notes(self, row: int, notes: Mapping[str, int]) -> None:
        """Take what the device tells in ``row``."""


class Engine(Protocol):
    """What the replay loop drives."""

    closed: bool
    stretch: int
    log: array[int]
    timeouts: list[int]
    marks: list[tuple[int, int]]
    breaches: list[tuple[str, Any]]

    @property
    def unexecuted(self) -> Sequence[str]:
        """Hierarchical names of prints and checks that are not carried out."""

    @property
    def name(self) -> str:
        """How a recording calls it."""

    @property
    def row(self) -> int:
        """The first row that has not been run."""

    @property
    def free(self) -> int:
        """The first row for the next command."""

    @property
    def left(self) -> int:
        """The row in which the last handler was over."""

    @property
    def result(self) -> Result | None:
        """The result of the last command."""

    @property
    def quiet_since(self) -> int | None:
        """The row from which on nothing has moved, while the access that is up waits."""

    @property
    def hangs_at(self) -> int | None:
        """The last row that the access which is up may wait for, or None."""

    @property
    def interruptible(self) -> bool:
        """Whether a handler may be taken in ``row``."""

    @property
    def handling(self) -> bool:
        """Whether a handler is running."""

    @property
    def awaiting(self) -> int | None:
        """The last row in which the await that stands may be looked at, or None."""

    @property
    def awaited(self) -> int:
        """The number of the await that stands."""

    def feed(self, commands: array[int]) -> None:
        """Append commands, one after the other."""

    def run(self, limit: int, called: bool = False, rest: bool = False) -> Stop:
        """Run rows up to ``limit - 1``; if a handler is called, to a row that can take it."""

    def lower(self, limit: int) -> None:
        """Stop the present ``run`` earlier."""

    def ask_again(self) -> None:
        """Ask models in the next row, whatever they said of holding and staying."""

    def stays(self, until: int | None) -> None:
        """Take it that the word which is being read stays until a row; None: for good."""

    def reset(self, length: int, restart: bool, step: bool = False) -> None:
        """Put RST high from ``row`` on."""

    def release(self, matched: bool) -> None:
        """End the await that stands, in ``row``."""

    def interrupt(self, commands: array[int], enter: int, leave: int) -> None:
        """Play other commands first."""

    def heed(self, slot: int, pins: Iterable[str], notes: bool) -> None:
        """Stop for these pins of a hardware device from now on, and for its notes."""

    def look(self, slot: int) -> bool:
        """Tell the pins of a hardware device in ``row``; return whether it is at rest in it."""

    def hear(self, slot: int) -> None:
        """Tell the notes of a hardware device in ``row``."""

    def drive(self, slot: int, pin: str, level: int) -> None:
        """Give an input pin of a hardware device a level from ``row`` on."""

    def peek(self, slot: int, offset: int) -> int:
        """Return what a read of a hardware device's register would show in ``row``."""

    def leave(self) -> None:
        """Record an access that is still up."""


#: How an engine is made: from the system, the function that answers for the models, and an ear for
#: each hardware device, by the number of its slot.
EngineFactory = Callable[[System, Callable[[int, Access], Answer], Mapping[int, Ear]], Engine]

#: What runs a system; ``auto`` is ``llvm`` where llvmlite is installed, else ``python``.
ENGINES = ("auto", "llvm", "python", "reference")
DEFAULT_ENGINE = "auto"


def for_many_runs(factory: EngineFactory) -> EngineFactory:
    """Return a factory that builds a design once for many runs of it, where the engine can do that."""
    reusing = getattr(factory, "for_many_runs", None)
    return factory if reusing is None else cast(EngineFactory, reusing())


def preferred() -> str:
    """Return what ``auto`` is here."""
    return "python" if find_spec("llvmlite") is None else "llvm"


def engine_class(name: str = DEFAULT_ENGINE) -> EngineFactory:
    """Return the engine of that name, imported on first use.

    Raises
    ------
    InputError : there is none, or it is not installed
    """
    if name == "auto":
        name = preferred()
    if name == "reference":
        from busbox.engines.reference import ReferenceEngine

        return ReferenceEngine
    if name == "python":
        from busbox.engines.python_kernel import PythonEngine

        return PythonEngine
    if name == "llvm" and find_spec("llvmlite") is not None:
        from busbox.engines.llvm_kernel import LlvmEngine

        return LlvmEngine
    if name == "llvm":
        raise InputError.of(
            "engine llvm needs llvmlite, which is not installed: install busbox[fast], or take "
            "--engine python"
        )
    raise InputError.of(
        f"there is no engine {name!r}{nearest(name, ENGINES)} (known: {one_of(ENGINES)})"
    )


__all__ = [
    "ACCESS", "AWAIT", "DEFAULT_ENGINE", "ENGINES", "LOG", "MARK", "PAUSE", "RESET_STEP", "STRETCH",
    "Command", "Ear", "Engine", "EngineFactory", "Stop", "engine_class", "for_many_runs", "preferred",
]  # fmt: skip
