"""The rule ``data-off-lanes``."""

from __future__ import annotations

from collections.abc import Iterator
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np

from busbox.bus.transfers import ACK
from busbox.findings.registers import (
    reaches_a_bit,
    register_of,
    show_bytes,
    writes_read_only,
)
from busbox.findings.rule import RunFacts, Sighting
from busbox.map.registers import LANE_MASKS, WORD, lane_mask, show_lanes

if TYPE_CHECKING:
    from busbox.recording import Accesses

#: For the lanes of a halfword or a byte: its lowest bit, and the factor that repeats it in all lanes.
_REPEATED = {0b0011: (0, 0x0001_0001), 0b1100: (16, 0x0001_0001)} | {
    1 << lane: (8 * lane, 0x0101_0101) for lane in range(4)
}


def data_off_lanes(facts: RunFacts) -> Iterator[Sighting]:
    """A write had data in byte lanes that it did not select.

    Why it matters: that data is ignored, and the register keeps its old bytes there. Zeros are fine in
    those lanes, and so is the selected byte or halfword repeated, as many cores drive it.

    Example
    -------
    The firmware lights lever lamp 0, but selects byte 1 of the word instead of byte 0 (set
    ``mistakes``, bench ``registers``)::

        write levers.OUT 0x1 lanes 0010

    Finding
    -------
    write of 0x1 to levers.OUT (0x40000000) with lanes 0010 (byte 1 of the word): 0x1 is in
    lanes that are not selected; it is ignored and nothing is written.

    try: Select lanes 0001 (byte 0), where the data is.

    What to do
    ----------
    In traffic that you write, select the lanes that hold the data, or shift the data into the selected
    lanes: lane k is bits 8k+7..8k. In recorded traffic, check how the core or the bridge derives SEL
    from the size of a store and the low bits of its address.
    """
    for access in facts.where(_strays):
        found = facts.decoded(access)
        register = register_of(found)
        lanes = int(facts.recording.accesses.lanes[access])
        if register is None or writes_read_only(found, True, lanes):
            continue
        if lanes & register.whole == register.whole:  # otherwise the write is lanes-lost
            yield facts.sighting(access, partial(_describe_strays, facts, access))


def _strays(part: Accesses) -> Any:
    """Return which accesses are writes that lose data in lanes that are not selected."""
    data, lanes = part.data.astype("u4"), part.lanes.astype("u1")
    off = data & ~np.array(LANE_MASKS, dtype="u4")[lanes]
    repeated = np.zeros_like(data)
    for selected, (low, times) in _REPEATED.items():
        bits = 0xFF if times == 0x0101_0101 else 0xFFFF
        word = (data >> low & bits).astype("u4") * np.uint32(times)
        repeated = np.where(lanes == selected, word, repeated)
    stray = np.zeros(len(data), dtype=bool)
    for lane in range(4):
        byte = np.uint32(0xFF << 8 * lane)
        stray |= (off & byte != 0) & (off & byte != repeated & byte)
    return stray & part.write.astype(bool) & (part.terminator == ACK) & (part.slot >= 0)


def _describe_strays(facts: RunFacts, access: int) -> tuple[str, str]:
    accesses = facts.recording.accesses
    data, lanes = int(accesses.data[access]), int(accesses.lanes[access])
    lost = data & WORD & ~lane_mask(lanes)
    needed = sum(1 << lane for lane in range(4) if lost >> 8 * lane & 0xFF)
    kept = data & lane_mask(lanes)
    register = register_of(facts.decoded(access))
    written = f"{kept:#x} is" if register and reaches_a_bit(register, lanes) else "nothing is"
    selected = f"{show_lanes(needed)} ({show_bytes(needed)})"
    hint = (
        f"Select lanes {selected} as well, or clear the bits outside of {_bits(lanes)}."
        if kept
        else f"Select lanes {selected}, where the data is."
    )
    return (
        f"{facts.describe(access)} with lanes {show_lanes(lanes)} ({show_bytes(lanes)} of the word): "
        f"{lost:#x} is in lanes that are not selected; it is ignored and {written} written.",
        hint,
    )


def _bits(lanes: int) -> str:
    """Return the bits of the lowest and the highest selected lane: ``15..8``."""
    return f"{8 * lanes.bit_length() - 1}..{8 * ((lanes & -lanes).bit_length() - 1)}"
