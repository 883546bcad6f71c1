"""The contract of a model: what a device in Python receives, and what it may do.

Contract
========
1. A model is called in cycle order; within a cycle in this order: when an input pin changes
   (``input``), when a wake is due (``wake``), when an access may end (``access``). A call in cycle c
   sees the state of c; all that it changes shows from c + 1 (semantics page, rules 1 to 3).
2. An access gives cycle, offset, lanes and data. The model returns the word read (0 for a write),
   :data:`ERROR`, or a :class:`Hold`: until a later cycle, or (without one) until an input or a wake
   comes. A held access has changed nothing, and comes again; only the last call counts.
3. State moves only through these calls; before each, the model brings itself forward to that cycle.
   Nothing calls it once a cycle. (:class:`busbox.device.CycleModel` does that for beginners.)
4. Edges of an output pin are announced to the host in order of cycle, and may be announced ahead
   once nothing but a reset can alter them: on a reset in cycle r the host forgets those after r.
   The access that an edge names is the one whose effect it is: a write, or a read whose side effect
   moves the pin, at once or later. A read that changes nothing is never named, nor is an access from
   before a reset; what comes of inputs or of time alone names none (``NO_ACCESS``).
5. A model raises nothing because of bad firmware: it reports an event, with the access that caused it.
6. ``reset(cycle, length)`` puts registers to their reset values; contents of memories stay. The
   values show from cycle + 1 to cycle + length, and move again from there. Two runs are identical.
7. ``next_edge(cycle)`` gives the first cycle after ``cycle`` in which an output pin may change by
   itself, or None: so that observers of the pin are informed in that cycle. It may be too early.
8. ``registers()`` gives every register's value, as of the cycle the model was last brought to,
   without side effects; a memory, which has too many, gives none, and ``peek(offset)`` a word of it.
   ``rest_at(cycle)`` gives the first cycle, from ``cycle`` on, in which the
   device may be at rest if nothing more reaches it; it is asked again in that cycle.
9. ``advance(cycle)`` brings the model to that cycle: all edges up to and including it are announced.
   ``close(cycle)`` ends a run whose last cycle is ``cycle``: what happened in that cycle is
   reported too.
10. A read that changes nothing may say ``host.cacheable_until(until)``: in every cycle before ``until``
   a read of the same offset shows the same word, changes nothing and can be skipped, unless another
   access, an input, a wake or a reset reaches the device first. So a poll costs no calls.

A model is built as ``Model(host, **settings)``; it reports everything to its :class:`Host`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any, ClassVar, Final, Protocol

from busbox.device.past import NO_ACCESS, Past, Reason, Reasons
from busbox.device.pins import Pin
from busbox.device.settings import Setting
from busbox.map.registers import RegisterTable


@dataclass(slots=True)
class BusAccess:
    """One access as a model sees it.

    Attributes
    ----------
    cycle : the cycle in which it may end
    offset : bytes inside the slot, a multiple of 4
    write : a write, else a read
    data : 32-bit word in lane position (0 for a read)
    lanes : selected bytes, bit k = SEL(k)
    number : the access in the recording, counted from 0
    """

    cycle: int
    offset: int
    write: bool
    data: int
    lanes: int
    number: int


@dataclass(frozen=True, slots=True)
class Hold:
    """The answer "not yet": ask again in cycle ``until``, or (None) after an input or a wake."""

    until: int | None = None


class _Error:
    __slots__ = ()

    def __repr__(self) -> str:
        return "ERROR"


#: The answer of a device that ends an access with ERR.
ERROR: Final = _Error()

Answer = int | Hold | _Error


@dataclass(frozen=True)
class Site:
    """Where a device is built.

    Attributes
    ----------
    name, base, size : the slot; base and size in bytes
    clock_hz : the bench's clock, in hertz
    """

    name: str
    base: int
    size: int
    clock_hz: int


class Declaration:
    """What a device is from outside: settings, registers, pins. Model and hardware twin share it.

    A subclass declares ``settings``, ``table``, ``pins`` and ``sends``; where registers or pins depend
    on settings, it defines ``table_for`` or ``pins_for``. The pin that frames or text go out by says so
    (``Pin(carries="text")``): what an attachment reads there is compared with them.
    """

    #: Whether the device is a component in Amaranth.
    in_amaranth: ClassVar[bool] = False
    settings: ClassVar[tuple[Setting, ...]] = ()
    #: What it gives in addition to levels: ``text`` (characters) or ``frames`` (events with colours).
    sends: ClassVar[tuple[str, ...]] = ()
    table: ClassVar[RegisterTable] = RegisterTable()
    pins: ClassVar[tuple[Pin, ...]] = ()

    @classmethod
    def check(cls, settings: Mapping[str, Any]) -> str | None:
        """Return what is wrong with settings that are each fine on their own, or None."""
        return None

    @classmethod
    def table_for(cls, settings: Mapping[str, Any], size: int) -> RegisterTable:
        """Return the registers that the settings give in a slot of ``size`` bytes."""
        return cls.table

    @classmethod
    def resets_for(cls, settings: Mapping[str, Any], clock_hz: int) -> Mapping[str, int]:
        """Return the reset values that depend on the clock, in hertz, by register.

        They stand in the place of those of ``table_for``.
        """
        return {}

    @classmethod
    def pins_for(cls, settings: Mapping[str, Any]) -> tuple[Pin, ...]:
        """Return the pins that the settings give."""
        return cls.pins

    @classmethod
    def because(
        cls, settings: Mapping[str, Any], pin: str, cycle: int, access: int, past: Past
    ) -> Iterator[Reason]:
        """Yield what an edge of an output pin in ``cycle`` depends on, apart from its own access.

        Nothing, for a device that reports only the access of each edge.
        """
        return iter(())

    @classmethod
    def because_all(
        cls, settings: Mapping[str, Any], pin: str, cycles: Any, accesses: Any, past: Past
    ) -> Iterable[Reasons] | None:
        """Return what :meth:`because` yields for many edges in order of cycle.

        A device whose pins have a million edges overrides this, and has :meth:`because` follow from it.

        Parameters
        ----------
        cycles, accesses : NumPy arrays of whole numbers, one an edge

        Returns
        -------
        None : :meth:`because` is asked, edge by edge
        """
        return None

    @classmethod
    def words_for(
        cls, settings: Mapping[str, Any], pin: str, clocks: Mapping[str, int]
    ) -> Mapping[str, int]:
        """Return the register words that give a pin's line these times, by register, for hints.

        Nothing, for a device whose registers do not set them.

        Parameters
        ----------
        pin : an output pin that carries something
        clocks : of one that carries frames ``zero_high``, ``one_high``, ``period`` and ``gap``; of one
            that carries text ``bit``; in cycles, at least 1
        """
        return {}


def has_one_table(device: type) -> bool:
    """Return whether the registers of a device are those of its ``table``, whatever the settings."""
    own = getattr(device, "table_for", None)
    one: object = Declaration.table_for.__func__  # type: ignore[attr-defined]
    return getattr(own, "__func__", None) is one


class Host(Protocol):
    """What a model may use: its surroundings in one run.

    Attributes
    ----------
    name, base, size : the slot; base and size in bytes
    clock_hz : the bench's clock, in hertz
    """

    name: str
    base: int
    size: int
    clock_hz: int

    def edge(self, pin: str, cycle: int, level: int, access: int = NO_ACCESS) -> None:
        """Announce that output ``pin`` has ``level`` from ``cycle`` on."""

    def event(self, cycle: int, kind: str, access: int = NO_ACCESS, **details: Any) -> None:
        """Report that something happened in ``cycle``."""

    def character(self, cycle: int, byte: int, access: int = NO_ACCESS) -> None:
        """Report a byte that has left the device as text, in the last cycle of its stop bit."""

    def wake_at(self, cycle: int) -> None:
        """Ask for a call of ``wake`` in ``cycle``, which must not have begun yet."""

    def cacheable_until(self, until: int | None) -> None:
        """Say of the read that is being answered that its word stays until a cycle; None: for good."""


class LiveDevice(Protocol):
    """A model, as the replay loop uses it. See the contract in the module's docstring."""

    in_amaranth: ClassVar[bool]
    settings: ClassVar[tuple[Setting, ...]]
    #: What it gives in addition to levels: ``text`` (characters) or ``frames`` (events with colours).
    sends: ClassVar[tuple[str, ...]]

    @classmethod
    def check(cls, settings: Mapping[str, Any]) -> str | None:
        """Return what is wrong with settings that are each fine on their own, or None."""

    @classmethod
    def table_for(cls, settings: Mapping[str, Any], size: int) -> RegisterTable:
        """Return the registers that the settings give in a slot of ``size`` bytes."""

    @classmethod
    def pins_for(cls, settings: Mapping[str, Any]) -> tuple[Pin, ...]:
        """Return the pins that the settings give."""

    def access(self, access: BusAccess) -> Answer:
        """Answer an access."""

    def input(self, cycle: int, pin: str, level: int) -> None:
        """Take a level that is on an input pin from ``cycle`` on."""

    def wake(self, cycle: int) -> None:
        """Do what is due in ``cycle``."""

    def advance(self, cycle: int) -> None:
        """Bring the device to ``cycle``."""

    def close(self, cycle: int) -> None:
        """End the run with cycle ``cycle``."""

    def reset(self, cycle: int, length: int) -> None:
        """Take RST, high in the cycles ``cycle`` to ``cycle + length - 1``."""

    def next_edge(self, cycle: int) -> int | None:
        """Return the first cycle after ``cycle`` in which an output may change by itself."""

    def rest_at(self, cycle: int) -> int:
        """Return the first cycle from ``cycle`` on in which the device may be at rest."""

    def registers(self) -> dict[str, int]:
        """Return every register's value by name; a memory returns none."""

    def peek(self, offset: int) -> int:
        """Return what a read at an offset would show, without its side effects."""


#: How a system builds one of its devices: ``Model(host, **settings)``.
DeviceFactory = Callable[..., LiveDevice]
