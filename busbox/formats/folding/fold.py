"""The fold: steps in, steps and what is to be told of them out."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

from busbox.cpu.steps import AccessStep, Poll, Step, Until
from busbox.formats.folding.bits import masks
from busbox.formats.folding.proof import takes, unfolded
from busbox.formats.folding.trace import Loop, Run, loops_of
from busbox.formats.folding.waits import Waits

#: Why a loop is left whose steps do not take the recorded reads.
DIFFERS = "replayed on its recorded words, it differs"


@dataclass(frozen=True)
class LoopNote:
    """What became of a loop.

    Attributes
    ----------
    loop : its key, runs and period
    condition : what its steps wait for, such as ``& 0x1 == 0x1``; several for limits that differ;
        "" if it was left
    remark : what else might be meant, or why it was left
    """

    loop: Loop
    condition: str
    remark: str

    @property
    def at_once(self) -> int:
        """How many runs ended with their first read."""
        return sum(len(run.words) == 1 for run in self.loop.runs)


@dataclass(frozen=True)
class Folded:
    """Folded traffic.

    Attributes
    ----------
    steps : the steps
    notes : of each loop
    kept : how many reads are kept for an until, and no longer compared
    """

    steps: tuple[Step, ...]
    notes: tuple[LoopNote, ...]
    kept: int


def fold(traffic: Iterable[Step]) -> Folded:
    """Return traffic whose repeated reads are polls and untils.

    The steps inside a handler stay as they are.
    """
    steps = list(traffic)
    folding = _Folding(steps)
    notes = tuple(folding.loops())
    result = Folded(tuple(folding.steps()), notes, folding.kept)
    if unfolded(result.steps, steps) != steps:
        raise AssertionError("folded traffic does not give the recorded accesses")
    return result


class _Folding:
    """What stands in the place of which steps, as far as it is known."""

    def __init__(self, steps: list[Step]) -> None:
        self._steps = steps
        self._waits = Waits(steps)
        self._runs: dict[int, tuple[int, Poll]] = {}
        self._keep: dict[int, str] = {}

    def loops(self) -> Iterator[LoopNote]:
        """Fold loop by loop."""
        for loop in loops_of(self._steps):
            if loop.period is not None:
                yield self._loop(loop)

    def _loop(self, loop: Loop) -> LoopNote:
        if self._waits.is_counter(loop.key[0]):
            return self._until(loop)
        return self._poll(loop)

    def _poll(self, loop: Loop) -> LoopNote:
        """Fold a loop that waits for bits."""
        for runs in _whole_and_cut(loop, len(self._steps)):
            found = masks((run.words[-1] for run in runs), _others(loop, runs))
            if found:
                break
        else:
            return LoopNote(loop, "", _why_no_bits(loop))
        if _never_repeats(loop):
            return LoopNote(loop, "", "its words differ from read to read, as those of a queue do")
        mask, value = found[0], runs[0].words[-1] & found[0]
        polls: dict[int, tuple[int, Poll]] = {}
        for run in runs:
            first = self._first(run)
            poll = Poll(
                first.target, value, mask, loop.period or 0,
                lanes=first.lanes, wait=first.wait, pc=first.pc,
            )  # fmt: skip
            if not takes(poll, self._steps[run.first : run.end], 0):
                return LoopNote(loop, "", DIFFERS)
            polls[run.first] = run.end, poll
        self._runs |= polls
        return LoopNote(loop, f"& {mask:#x} == {value:#x}", _remark(found, loop, runs))

    def _until(self, loop: Loop) -> LoopNote:
        """Fold a loop that waits for a counter."""
        found = self._waits.of(loop)
        if isinstance(found, str):
            return LoopNote(loop, "", found)
        conditions: dict[str, None] = {}
        untils: dict[int, tuple[int, Poll]] = {}
        keep: dict[int, str] = {}
        for wait in found.runs:
            first = self._first(wait.run)
            until = Until(
                first.target, wait.limit.value or 0, found.mask, loop.period or 0,
                lanes=first.lanes, wait=first.wait, pc=first.pc,
                since=0 if wait.since is None else wait.name,
            )  # fmt: skip
            word = 0 if wait.since is None else self._waits.word(wait.since)
            if not takes(until, self._steps[wait.run.first : wait.run.end], word):
                return LoopNote(loop, "", DIFFERS)
            untils[wait.run.first] = wait.run.end, until
            if wait.since is not None:
                keep[wait.since] = wait.name
            since = "" if wait.since is None else f"- {wait.name} "
            conditions[f"{since}>= {wait.limit.value:,}"] = None
        self._runs |= untils
        self._keep |= keep
        return LoopNote(loop, ", ".join(conditions), found.remark)

    def _first(self, run: Run) -> AccessStep:
        first = self._steps[run.first]
        assert isinstance(first, AccessStep)
        return first

    @property
    def kept(self) -> int:
        """How many plain reads are kept for an until."""
        inside = {end - 1 for end, _ in self._runs.values()}
        return len(self._keep.keys() - inside)

    def steps(self) -> Iterator[Step]:
        """Yield the folded steps."""
        place = 0
        while place < len(self._steps):
            step, end = self._steps[place], place + 1
            if place in self._runs:
                end, step = self._runs[place]
            if end - 1 in self._keep:
                assert isinstance(step, AccessStep | Poll)
                step = replace(step, keep=self._keep[end - 1])
                if isinstance(step, AccessStep):
                    step = replace(step, data=None)
            yield step
            place = end


def _whole_and_cut(loop: Loop, end: int) -> Iterator[tuple[Run, ...]]:
    """Yield the runs that may have ended: all, or all but one that the recording may cut off."""
    yield loop.runs
    if loop.runs[-1].end == end and len(loop.runs) > 1:
        yield loop.runs[:-1]


def _others(loop: Loop, runs: Sequence[Run]) -> Iterator[int]:
    """Yield the words that did not end a run."""
    for run in loop.runs[: len(runs)]:
        yield from run.words[:-1]
    for run in loop.runs[len(runs) :]:
        yield from run.words


def _why_no_bits(loop: Loop) -> str:
    if loop.strays:
        return (
            f"the idle cycles between its reads vary ({loop.strays:,} are not {loop.period}), and "
            "the words that ended a run share no bit that the others lack"
        )
    return "the words that ended a run share no bit that the others lack"


def _never_repeats(loop: Loop) -> bool:
    """Return whether most words of long runs differ from the word before, the last words aside."""
    pairs = [
        left != right
        for run in loop.runs
        for left, right in zip(run.words[:-2], run.words[1:-1], strict=True)
    ]
    return len(pairs) > 1 and 2 * sum(pairs) > len(pairs)


def _remark(found: Sequence[int], loop: Loop, runs: Sequence[Run]) -> str:
    remarks = []
    if len(found) > 1:
        bits = ", ".join(f"{mask:#x}" for mask in found[1:])
        remarks.append(f"the recorded words allow {bits} too")
    if len(runs) < len(loop.runs):
        remarks.append("the last run is left: the recording ends in it")
    return "; ".join(remarks)
