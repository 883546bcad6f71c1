"""Bytes and halfwords in steps: ``write8``, ``write16``, ``read8``, ``read16``.

The bus has words only, so each is an access to a word with lanes: byte k of a word is in lane k
(semantics page). Source: common practice on a bus with byte lanes; a store through a pointer in C on a
little-endian machine is what the tests compare with.
"""

from __future__ import annotations

from busbox.cpu.steps import AccessStep, Step, Target
from busbox.formats.step_words import take_options, take_recorded, take_target
from busbox.map.addresses import number, step_number

#: Bytes of the accesses that are smaller than a word, to what C calls them.
_SIZES = {1: "a byte", 2: "a halfword"}


def _smalltake_target(words: list[str], verb: str, size: int) -> tuple[Target, int]:
    """Take the target of a byte or halfword access; return that of its word, and its first lane.

    A register by name stands for its lowest bytes, as a pointer to it does in C.
    """
    if not words or not words[0][0].isdigit():
        return take_target(words, verb), 0
    value = step_number(words[0])
    if value % size:
        text = "two accesses on this bus" if value % 4 == 3 else f"use {verb[:-2]} with lanes"
        raise ValueError(
            f"the address of {_SIZES[size]} must be a multiple of {size}, not {words[0]} ({text})"
        )
    del words[0]
    return value & ~3, value & 3


def _small_data(text: str, size: int, lane: int) -> int:
    """Return data of a byte or halfword in the bits of its lanes."""
    return number(text, f"data of {_SIZES[size]}", (1 << 8 * size) - 1) << 8 * lane


def write_small(size: int, words: list[str], count: int) -> Step:
    """Read ``write8`` or ``write16``: the bus has words only, so it is a write with lanes."""
    verb = f"write{8 * size}"
    target, lane = _smalltake_target(words, verb, size)
    if not words:
        raise ValueError(f"{verb} needs data after its target: {verb} TARGET DATA")
    data = _small_data(words.pop(0), size, lane)
    selected = ((1 << size) - 1) << lane
    options = take_options(words, ("pc", "wait"))
    return AccessStep(True, target, data, lanes=selected, line=count, **options)


def read_small(size: int, words: list[str], count: int) -> Step:
    """Read ``read8`` or ``read16``: a read with lanes, of which only these are compared."""
    target, lane = _smalltake_target(words, f"read{8 * size}", size)
    given = take_recorded(words)
    data = None if given is None else _small_data(given, size, lane)
    selected = ((1 << size) - 1) << lane
    options = take_options(words, ("pc", "wait"))
    return AccessStep(False, target, data, lanes=selected, line=count, **options)
