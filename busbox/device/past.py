"""What a device was in a run, and why a pin of it moved: for those who ask afterwards."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final, Protocol

if TYPE_CHECKING:
    from busbox.basics.phrases import Phrases

#: No access caused this: the number of the access for what happens by itself.
NO_ACCESS: Final = -1


@dataclass(frozen=True)
class Reason:
    """Why a pin does what it does: a register that counted, and the access that wrote it.

    Attributes
    ----------
    what : as text, such as ``colour of lamp 2``
    register : its name
    access : the write that counted, :data:`NO_ACCESS` if the register had its reset value
    """

    what: str
    register: str
    access: int = NO_ACCESS


@dataclass(frozen=True)
class Reasons:
    """One reason of each of many edges, in their order.

    Attributes
    ----------
    what, register : as in :class:`Reason`; "" for an edge that does not have this reason
    accesses : the writes that counted, :data:`NO_ACCESS` for a reset value; a NumPy array
    """

    what: Phrases
    register: Phrases
    accesses: Any


class Past(Protocol):
    """What a device's registers, pins and events were in a run, as ``because`` may ask.

    Attributes
    ----------
    clock_hz : the bench's clock
    """

    clock_hz: int

    def write(self, register: str, cycle: int) -> int:
        """Return the write that gave a register the word that a read in ``cycle`` shows, -1 if none."""

    def word(self, register: str, cycle: int) -> int:
        """Return the stored word of a register as of ``cycle``."""

    def data(self, access: int) -> int:
        """Return the word that an access carried."""

    def event(self, kinds: tuple[str, ...], cycle: int) -> tuple[int, Mapping[str, Any]] | None:
        """Return (cycle, details) of the last event of these kinds up to ``cycle``, since a reset."""

    def begun(self, kinds: tuple[str, ...], cycles: Any) -> Any:
        """Return the cycles that :meth:`event` gives for many cycles in order, -1 for no event.

        Both are NumPy arrays of whole numbers.
        """

    def first_edge(self, pin: str, access: int) -> int | None:
        """Return the cycle of the first edge of a pin that an access caused."""
