"""A recording as steps: run on the same bench, they give its accesses again."""

from __future__ import annotations

import heapq
from collections.abc import Iterator
from typing import Any

from busbox.basics.errors import InputError
from busbox.basics.units import Span
from busbox.bus.transfers import ACK, NONE, RESET
from busbox.cpu.steps import AccessStep, Mark, Pause, ResetStep, Step
from busbox.map.registers import WORD
from busbox.recording.accesses import Accesses, where, windows
from busbox.recording.recording import Recording
from busbox.system.system import System

_MARK, _RESET, _ACCESS = range(3)


def steps_of(
    recording: Recording,
    system: System | None,
    *,
    marks: bool = True,
    open_access: bool = True,
    source: str = "",
) -> Iterator[Step]:
    """Yield steps that give the accesses of a recording again, each in its cycles.

    A wait is the distance from F (semantics page, rules 10 to 17) to the start. Resets of the bench
    come again by themselves: a pause that runs in their row is cut off by them.

    Raises
    ------
    InputError : there were resets that cannot be attributed, or that restart the traffic
    """
    own = _own_resets(recording, system, source)
    accesses, lengths, free = recording.accesses, dict(recording.resets), 1
    for row, kind, what in heapq.merge(*_happenings(recording, marks)):
        if kind == _ACCESS:
            number = int(what)
            if accesses.terminator[number] == NONE and not open_access:
                return
            if row - free > WORD:
                yield Pause(Span(cycles=row - free))
                free = row
            yield _access(recording, number, row - free)
            end = int(accesses.end[number])
            free = end + 1 + (lengths[end] if accesses.terminator[number] == RESET else 0)
        elif kind == _MARK:
            if row > free:
                yield Pause(Span(cycles=row - free))
                free = row
            yield Mark(str(what))
        elif row in own:
            yield Pause(Span(cycles=row - free + 1))
            free = row + lengths[row] + 1
        else:
            yield ResetStep(row - free)
            free = row + 2


def _own_resets(recording: Recording, system: System | None, source: str) -> set[int]:
    """Return the rows in which the bench, not the traffic, put RST high."""
    if not recording.resets:
        return set()
    first = recording.resets[0][0]
    if system is None:
        raise InputError.of(
            f"must be given: the recording has a reset in cycle {first:,}, and the bench says whether "
            "it causes that reset",
            "--bench",
        )
    own = {row for row, _ in recording.resets} & {reset.at for reset in system.resets}
    if own and system.after_reset == "restart":
        raise InputError.of(
            f"the bench's reset in cycle {min(own):,} restarted the traffic (after_reset = "
            '"restart"): the accesses before and after it are not one sequence of steps',
            source,
        )
    return own


_Happening = tuple[int, int, int | str]


def _happenings(recording: Recording, marks: bool) -> Iterator[Iterator[_Happening]]:
    """Yield (row, kind, what) of all that becomes a step, each kind in order of row.

    A reset that cut off an access is no step.
    """
    accesses = recording.accesses
    cut = {int(accesses.end[number]) for number in where(accesses, _cut_off)}
    yield ((row, _MARK, text) for row, text in (recording.marks if marks else ()))
    yield ((row, _RESET, 0) for row, _ in recording.resets if row not in cut)
    yield (
        (start, _ACCESS, first + place)
        for first, part in windows(accesses)
        for place, start in enumerate(part.start.tolist())
    )


def _cut_off(part: Accesses) -> Any:
    return part.terminator == RESET


def _access(recording: Recording, number: int, wait: int) -> AccessStep:
    accesses = recording.accesses
    write, data, pc = bool(accesses.write[number]), int(accesses.data[number]), accesses.pc[number]
    known = write or accesses.terminator[number] == ACK
    return AccessStep(
        write,
        int(accesses.address[number]),
        data if known else None,
        int(accesses.lanes[number]),
        wait,
        None if pc < 0 else int(pc),
    )
