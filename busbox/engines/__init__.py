"""Engines: what executes a system, cycle by cycle. This page is their contract.

An engine runs cycles and accesses. It knows no model, no bench, and of the CPU nothing but the commands
that it is fed (:class:`busbox.cpu.commands.Command`): marks, awaits, handlers and the steps that reset
stand above it, in :mod:`busbox.cpu.player`.

Contract
========
1. An engine runs cycles in order. ``cycle`` is the first one that has not been run; ``run(limit)`` runs
   from there to ``limit - 1`` at most, takes up the commands that begin in cycle ``limit``, and says
   why it stopped (:class:`Stop`). It may stop earlier than it must, and does after ``stretch``
   cycles, not counting those that it runs in no time, because nothing in them differs.
2. It executes commands in the order of feeding, by the semantics page (rules 4 to 12 and 15).
   Many may be fed ahead. When the last one is over, ``run`` stops in F, the first cycle for the next,
   with ``STARVED``; with ``idle`` it runs on without a command.
3. ``status`` says whether nothing is on the bus, what the last command that is over has read, and since
   when nothing has moved (:class:`Status`).
4. ``run(limit, called=c)`` stops in the first cycle from c on in which ``status.idle`` is true.
5. ``reset(length)``, between two runs, puts RST high in the next ``length`` cycles that are run. It
   cuts off what is under way (rule 15), forgets all commands, and returns those that had not begun.
6. ``suspend()``, in a cycle in which ``status.idle`` is true, puts all commands aside: F is the present
   cycle then. ``resume()`` continues them in a later one: what was d cycles away is again.
7. Where an access may end at a model, the engine calls ``answer(slot, access)`` in that cycle. While a
   model holds until a cycle, it is not asked again before. During ``answer`` the limit may be lowered
   with ``lower(limit)``, not below ``cycle + 1``.
8. During ``answer`` to a read, ``cacheable_until(until)`` says that the word read stays (contract of a
   model, 10): until then, an engine may answer reads of that word in the model's place, as long as no
   other access and no reset has come. ``ask_again()`` lifts this, and a hold, when an input or a wake
   comes.
9. What is recorded is complete for all cycles before ``cycle``: ``log`` holds nine numbers an access
   (:data:`LOG`), in order; ``breaches`` what the rule checker saw. ``finish()`` puts an access that is
   still up into the log: terminator ``none``, the last cycle run as its end. No cycle is run after
   that, and no device looked at.
10. ``run`` stops with ``LAST`` before the last cycle that an access may wait for (rule 9), so that the
    registers can be looked at in it; with ``HANG`` after it.
11. A hardware device runs inside the engine. Of every cycle that is run, in this order, its
    :class:`Observer` receives its pins, if they changed; that an access which it answers
    ends; and its notes, if ``notes_valid`` is high: all of it at the latest when ``run`` returns. Of
    accesses, a note reader that says so receives only the last one.
12. Between two runs, the device is reached through its :class:`Probe`: ``sample_pins`` and
    ``sample_notes`` report pins and notes of ``cycle`` early; ``drive`` gives an input pin a level from
    ``cycle`` on; ``peek`` reads a register as of ``cycle``. After ``watch(pins, notes)``, ``run`` stops
    before a cycle in which one of these pins differs from the last report, or after a note. With
    ``rest``, it stops before a cycle in which every hardware device is at rest. Neither holds for the
    cycle in which it is called.
13. If the system has a core (:mod:`busbox.core`), it gives the commands: when none is left, it is asked
    for its next access. ``core`` is it, None without one. ``run`` stops with ``STARVED`` where it
    sleeps or has stopped. ``line(lines)``, between two runs, gives its interrupt lines their levels
    from ``cycle`` on, and takes back an access that is not raised before ``cycle`` and would not be
    made. ``reset`` resets it too. In the log, the command of its access is -2 - pc.
14. ``unexecuted`` names prints and checks in the hardware that the engine does not carry out.
"""

from __future__ import annotations

from array import array
from collections.abc import Callable, Iterable, Mapping, Sequence
from enum import Enum
from importlib.util import find_spec
from typing import TYPE_CHECKING, Any, NamedTuple, Protocol, cast

from busbox import plugins
from busbox.basics.errors import InputError, format_value
from busbox.cpu.commands import Result, Suspended
from busbox.device import Answer, BusAccess
from busbox.plugins import find
from busbox.system.system import System

if TYPE_CHECKING:
    from busbox.core.core import Core

#: The columns of an engine's log; ``given_up``: the access ended a poll at its limit.
LOG = ("start", "end", "address", "write", "lanes", "data", "terminator", "command", "given_up")

#: Cycles after which an engine lets its caller look at what has been recorded.
STRETCH = 1 << 20
#: Later than any cycle.
NEVER = 1 << 62


class Stop(Enum):
    """Why ``run`` stopped.

    ``LIMIT``: anything of its contract but what follows; ``STARVED``: no command is left; ``LAST``: the
    next cycle is the last one that an access may wait for; ``HANG``: it has waited in it, too.
    """

    LIMIT = "limit"
    STARVED = "starved"
    LAST = "last"
    HANG = "hang"


class Status(NamedTuple):
    """The state of the commands.

    Attributes
    ----------
    idle : in ``cycle`` no access is up or begins, and RST is low
    result : of the last command that is over; None after a pause
    quiet_since : the cycle from which on nothing moved while the access that is up waited, or None:
        not known
    """

    idle: bool
    result: Result | None
    quiet_since: int | None


class Observer(Protocol):
    """What an engine reports of one hardware device (contract, 11)."""

    def take_pins(self, cycle: int, levels: Iterable[tuple[str, int]]) -> None:
        """Take the levels in ``cycle`` of the output pins that may have changed."""

    def take_end(self, access: BusAccess) -> None:
        """Take an access that the device ends in ``access.cycle``."""

    def take_notes(self, cycle: int, notes: Mapping[str, int]) -> None:
        """Take the device's notes in ``cycle``."""


class Probe(Protocol):
    """How one hardware device is reached from outside (contract, 12)."""

    def watch(self, pins: Iterable[str], notes: bool) -> None:
        """Stop for these pins from now on, and for notes."""

    def sample_pins(self) -> bool:
        """Report the pins in ``cycle``; return whether the device is at rest in it."""

    def sample_notes(self) -> None:
        """Report the notes in ``cycle``."""

    def drive(self, pin: str, level: int) -> None:
        """Give an input pin a level from ``cycle`` on."""

    def peek(self, offset: int) -> int:
        """Return what a read of a register would show in ``cycle``."""


class Engine(Protocol):
    """What the replay loop drives, and the player feeds."""

    stretch: int
    log: array[int]
    breaches: list[tuple[str, Any]]
    core: Core | None

    @property
    def name(self) -> str:
        """How a recording calls it."""

    @property
    def unexecuted(self) -> Sequence[str]:
        """Hierarchical names of prints and checks that are not carried out."""

    @property
    def probes(self) -> Mapping[int, Probe]:
        """The hardware devices, by the number of their slot."""

    @property
    def cycle(self) -> int:
        """The first cycle that has not been run."""

    @property
    def status(self) -> Status:
        """The state of the commands."""

    def feed(self, commands: array[int]) -> None:
        """Append commands, one after the other."""

    def run(
        self, limit: int, *, called: int = NEVER, rest: bool = False, idle: bool = False
    ) -> Stop:
        """Run cycles up to ``limit - 1``."""

    def lower(self, limit: int) -> None:
        """Stop the present ``run`` earlier."""

    def cacheable_until(self, until: int | None) -> None:
        """Take it that the word which is being read stays until a cycle; None: for good."""

    def ask_again(self) -> None:
        """Ask models in the next cycle, whatever they said of holding and staying."""

    def line(self, lines: int) -> None:
        """Give the core's interrupt lines their levels from ``cycle`` on."""

    def suspend(self) -> Suspended:
        """Put all commands aside."""

    def resume(self, suspended: Suspended) -> None:
        """Go on with commands that were put aside."""

    def reset(self, length: int) -> array[int]:
        """Put RST high from ``cycle`` on; return the commands that had not begun."""

    def finish(self) -> None:
        """Record an access that is still up."""


#: How an engine is made: from the system, the function that answers for the models, and an observer for
#: each hardware device, by the number of its slot.
EngineFactory = Callable[
    [System, Callable[[int, BusAccess], Answer], Mapping[int, Observer]], Engine
]

#: What comes with Busbox; ``auto`` is the one that :func:`preferred` names.
ENGINES = ("auto", *plugins.ENGINES.built_in)
DEFAULT_ENGINE = "auto"
#: Steps that plain Python has played before machine code is made and loaded (measured on first_light's
#: models, where both take as long at 5,000 to 10,000 steps).
FEW_STEPS = 5_000


def for_many_runs(factory: EngineFactory) -> EngineFactory:
    """Return a factory that builds a design once for many runs of it, where the engine can do that."""
    reusing = getattr(factory, "for_many_runs", None)
    return factory if reusing is None else cast(EngineFactory, reusing())


def preferred(system: System, many: bool = False) -> str:
    """Return the engine that will be quickest for a system: what ``auto`` is.

    That is ``python`` for models alone that play a few steps, since it need not make machine code, and
    where llvmlite is not installed; else ``llvm``.

    Parameters
    ----------
    many : its design is run many times, so that it matters little what making it takes
    """
    if find_spec("llvmlite") is None:
        return "python"
    if many:
        return "llvm"
    in_cycles = system.core is not None or any(one.model.in_amaranth for one in system.devices)
    steps = None if in_cycles else system.new_source().count
    return "python" if steps is not None and steps <= FEW_STEPS else "llvm"


class _Quickest:
    """Makes the engine that :func:`preferred` names for each system.

    Parameters
    ----------
    many : its engines build a design once for many runs of it
    """

    def __init__(self, many: bool = False) -> None:
        self._many = many
        self._factories: dict[str, EngineFactory] = {}

    def __call__(
        self,
        system: System,
        answer: Callable[[int, BusAccess], Answer],
        observers: Mapping[int, Observer],
    ) -> Engine:
        name = preferred(system, self._many)
        if name not in self._factories:
            factory = engine_class(name)
            self._factories[name] = for_many_runs(factory) if self._many else factory
        return self._factories[name](system, answer, observers)

    @staticmethod
    def for_many_runs() -> EngineFactory:
        """Return a factory that builds a design once for many runs of it."""
        return _Quickest(many=True)


def engine_class(name: str = DEFAULT_ENGINE) -> EngineFactory:
    """Return what makes the engine of that name, imported on first use.

    Raises
    ------
    InputError : there is none, or it is not installed
    """
    if name == "auto":
        return _Quickest()
    if name == "llvm" and find_spec("llvmlite") is None:
        raise InputError.of(
            "engine llvm needs llvmlite, which is not installed: install busbox[fast], or take "
            "--engine python"
        )
    found: EngineFactory = find(plugins.ENGINES, name, besides=("auto",))
    return found


def check_engine(name: str, found: Any) -> None:
    """Refuse what makes no engine.

    Raises
    ------
    InputError : it cannot be called
    """
    if not callable(found):
        raise InputError.of(f"{name!r} must be a class of engines, not {format_value(found)}")
