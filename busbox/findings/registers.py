"""What the rules about registers share: which kinds of accesses a rule applies to."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING, Any

import numpy as np

from busbox.basics.distinct import distinct
from busbox.bus.transfers import ACK
from busbox.findings.rule import RunFacts
from busbox.map.registers import Register, lane_mask
from busbox.map.slots import Decoded

if TYPE_CHECKING:
    from busbox.recording import Accesses


#: Says whether a rule can apply to one kind of access (decoded address, write, lanes).
Filter = Callable[[Decoded, bool, int], bool]


def acknowledged(facts: RunFacts, applies: Filter) -> Iterator[int]:
    """Return the acknowledged accesses of the kinds for which ``applies`` returns true, in order.

    ``applies`` is called once for each (address, write, lanes) that occurs, not for each access.
    """

    def is_applied(kind: int) -> bool:
        found = facts.system.address_map.decode(kind >> 5)
        return found.slot is not None and applies(found, bool(kind & 1), kind >> 1 & 15)

    def chosen(part: Accesses) -> Any:
        kinds = part.address.astype("i8") << 5 | part.lanes.astype("i8") << 1 | part.write
        applied = [kind for kind in distinct(kinds).tolist() if is_applied(kind)]
        return (part.terminator == ACK) & (part.slot >= 0) & np.isin(kinds, applied)

    return facts.where(chosen)


def register_of(found: Decoded) -> Register | None:
    """Return the register at a decoded address, or None."""
    return found.place.register if found.place is not None else None


def writes_read_only(found: Decoded, write: bool, lanes: int) -> bool:
    """Return whether it is a write to a register without any writable bit."""
    register = register_of(found)
    return write and register is not None and register.mask() == register.mask("ro")


def reaches_a_bit(register: Register, lanes: int) -> bool:
    """Return whether the register has a bit in one of the selected bytes."""
    return bool(lane_mask(lanes) & register.mask())


def show_bytes(lanes: int) -> str:
    """Return which bytes of a word are selected: ``byte 1``, ``bytes 0 and 1``."""
    chosen = [str(lane) for lane in range(4) if lanes >> lane & 1]
    if len(chosen) < 2:
        return f"byte {chosen[0]}" if chosen else "no byte"
    return f"bytes {', '.join(chosen[:-1])} and {chosen[-1]}"
