"""Folded steps replayed on the recorded words: each must take the very reads that it stands for."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

from busbox.cpu.steps import AccessStep, Poll, Step, Until
from busbox.formats.folding.trace import plain_read
from busbox.map.registers import WORD


def unfolded(folded: Iterable[Step], steps: Sequence[Step]) -> list[Step]:
    """Return the steps that folded ones take when every read returns its recorded word.

    Where they take more than there are, the rest is missing.
    """
    taken: list[Step] = []
    kept: dict[str, int] = {}
    for step in folded:
        before = steps[len(taken)] if len(taken) < len(steps) else None
        if before is None:
            break
        if isinstance(step, Poll) and not isinstance(before, Poll):
            taken += _reads(step, steps, len(taken), kept)
        elif isinstance(step, AccessStep) and isinstance(before, AccessStep) and step.keep:
            taken.append(replace(step, keep=before.keep, data=before.data))
        else:
            taken.append(step)
        if isinstance(step, AccessStep | Poll) and step.keep:
            read = plain_read(steps[len(taken) - 1])
            kept[step.keep] = 0 if read is None or read.data is None else read.data
    return taken


def _reads(step: Poll, steps: Sequence[Step], first: int, kept: dict[str, int]) -> list[Step]:
    """Return the reads of a poll or an until, from the place of its first one on.

    If it would go on where there are no more reads, the last one is missing.
    """
    since = step.since if isinstance(step, Until) else 0
    less = kept.get(since, 0) if isinstance(since, str) else since
    found: list[Step] = []
    for place in range(first, min(len(steps), first + step.limit)):
        read = plain_read(steps[place])
        if read is None or read.data is None:
            break
        wait = step.every if found else step.wait
        found.append(AccessStep(False, step.target, read.data, step.lanes, wait, step.pc))
        if met(step, read.data - less):
            return found
    return found if len(found) == step.limit else found[:-1]


def met(step: Poll, distance: int) -> bool:
    """Return whether a word, less what is subtracted from it, ends a poll or an until."""
    masked = distance & WORD & step.mask
    return masked >= step.value if isinstance(step, Until) else masked == step.value


def takes(step: Poll, reads: Sequence[Step], since: int) -> bool:
    """Return whether a folded step takes all of some reads, and ends with the last one."""
    kept = {step.since: since} if isinstance(step, Until) and isinstance(step.since, str) else {}
    found = _reads(step, reads, 0, kept)
    last = plain_read(reads[-1])
    ended = last is not None and last.data is not None and met(step, last.data - since)
    return found == list(reads) and ended
