"""The same accesses, through the bridge and at the device's own port, read the same words.

A device may change on its own, and the two ways differ in time. So the accesses are played three times:
through the bridge as fast as it goes, at the own port with no access earlier than there, and through
the bridge once more with no access earlier than its end at the own port. A word that differs between
the first and the third in any access moves by itself, and is left out. Before another difference is
reported, more runs through the bridge confirm that its word does not move.
"""

from __future__ import annotations

import random
from dataclasses import dataclass, replace

from busbox.check.own.drivers import Answer, Transfer
from busbox.check.own.exercise import driver_of
from busbox.check.own.rig import OwnRig
from busbox.check.port.exercise import PATIENCE
from busbox.check.port.outcome import Excerpt, Outcome
from busbox.check.port.rig import IDLE, Drive, Rig, Traffic
from busbox.check.port.subject import Subject

WORDS = "same-words"
WORDS_TEXT = "the same accesses read the same words through the bridge and at its native port"
PART = "accesses at its native port"

#: Cycles of a run that count for one access.
_CYCLES_EACH = 12
#: Transfers that begin together at the most, and cycles by which they begin later than elsewhere.
_TOGETHER, _LATER = 4, 12
#: Runs that confirm a difference.
_CONFIRMED = 4


@dataclass(frozen=True)
class _Played:
    """An access that was played.

    Attributes
    ----------
    start : the first cycle in which it could begin
    answer : None if there was none
    end : the cycle by which it was over
    """

    start: int
    answer: Answer | None
    end: int


class SameWords:
    """Plays the accesses in both ways.

    Parameters
    ----------
    subject : with a port of its own
    seed : of the random numbers
    cycles : about as many are played each time
    """

    def __init__(self, subject: Subject, seed: int, cycles: int) -> None:
        self._subject = subject
        self._dice = random.Random(f"same words {seed}")
        self._transfers = self._drawn(max(8, cycles // _CYCLES_EACH))
        fast = self._bridged([0] * len(self._transfers))
        direct = self._direct([one.start for one in fast])
        runs = [fast, self._bridged([one.end for one in direct])]
        self.compared = self.left_out = 0
        self._evidence: Excerpt | None = None
        self._compare(fast, direct, self._moving(runs))
        if self._evidence is not None:
            for _ in range(_CONFIRMED):
                runs.append(
                    self._bridged([one.end + self._dice.randrange(_LATER) for one in runs[-1]])
                )
            self._compare(fast, direct, self._moving(runs))

    def outcome(self) -> Outcome:
        """Return the outcome of the rule."""
        unit = f"reads and errors compared, {self.left_out:,} left out"
        return Outcome.of(
            WORDS, WORDS_TEXT, self.compared, unit, "every word that was read changes on its own",
            self._evidence, int(self._evidence is not None),
        )  # fmt: skip

    def _drawn(self, count: int) -> list[Transfer]:
        """Return random transfers; many of them read what was written just before."""
        rig = OwnRig(self._subject)
        traffic = Traffic(self._dice, self._subject, rig.words)
        found: list[Transfer] = []
        while len(found) < count:
            one = traffic.access()
            lanes = one.sel if rig.own.lanes and self._dice.randrange(2) else 0b1111
            found.append(Transfer(one.we, one.adr, lanes, one.write_data))
            if one.we and self._dice.randrange(2):
                found.append(Transfer(0, one.adr))
        return found

    def _bridged(self, starts: list[int]) -> list[_Played]:
        """Play the transfers through the bridge, none before its start."""
        rig, played = Rig(self._subject), []
        for transfer, start in zip(self._transfers, starts, strict=True):
            lanes = transfer.lanes if transfer.write else 0b1111
            drive = Drive(0, 0, transfer.write, transfer.word, lanes, transfer.data)
            for number in range(max(start - rig.cycle, self._subject.least_wait, 1)):
                rig.drive(drive if number else IDLE)
                rig.tick()
            began, answer = rig.cycle, None
            for _ in range(PATIENCE):
                rig.drive(drive.raised(1, 1))
                sample = rig.seen()
                rig.tick()
                if sample.ack or sample.err:
                    answer = Answer(transfer, sample.err, sample.read_data)
                    break
            rig.drive(IDLE)
            played.append(_Played(began, answer, rig.cycle))
            if answer is None:
                break
        return self._filled(played)

    def _direct(self, starts: list[int]) -> list[_Played]:
        """Play the transfers at the own port, none before its start; some of them close together.

        Reads and writes are not mixed among those, since a port may take either first.
        """
        rig, played = OwnRig(self._subject), []
        driver = driver_of(rig.own, rig, self._dice)
        noise = random.Random("noise")
        first = 0
        while first < len(starts):
            last = first + self._dice.randint(1, _TOGETHER)
            group = self._transfers[first:last]
            alike = [one.write == group[0].write for one in group]
            group = group[: alike.index(False)] if False in alike else group
            start = starts[first + len(group) - 1] + self._dice.randrange(_LATER)
            start = max(start, rig.cycle + 1)
            driver.queue.extend(replace(one, start=start) for one in group)
            answers: list[Answer] = []
            while not driver.idle and (driver.owed < PATIENCE or driver.probe()):
                meant = driver.drive(rig.cycle)
                rig.drive(
                    {
                        name: meant.get(name, noise.getrandbits(rig.widths[name]))
                        for name in rig.own.driven
                    }
                )
                answers += driver.take(rig.seen())
                rig.tick()
            given = [*answers, *[None] * len(group)][: len(group)]
            played += [_Played(start, answer, rig.cycle) for answer in given]
            first += len(group)
            if not driver.idle:
                break
        return self._filled(played)

    def _filled(self, played: list[_Played]) -> list[_Played]:
        """Return what was played, and no answer for what comes after one that was not answered."""
        end = played[-1].end
        return played + [_Played(end, None, end)] * (len(self._transfers) - len(played))

    def _moving(self, runs: list[list[_Played]]) -> set[int]:
        """Return the words whose answers differ between runs through the bridge, or that have none."""
        found = set()
        for transfer, *answers in zip(self._transfers, *runs, strict=True):
            if len({_values(one.answer) for one in answers}) > 1 or answers[0].answer is None:
                found.add(transfer.word)
        return found

    def _compare(self, bridged: list[_Played], direct: list[_Played], moving: set[int]) -> None:
        """Compare errors and words, except where they move by themselves."""
        self.compared = self.left_out = 0
        self._evidence = None
        for number, (one, here) in enumerate(zip(bridged, direct, strict=True)):
            transfer = self._transfers[number]
            if transfer.word in moving or one.answer is None or here.answer is None:
                self.left_out += 1
                continue
            self.compared += 1
            seen = _difference(one.answer, here.answer)
            if seen and self._evidence is None:
                what = "write" if transfer.write else "read"
                text = f"access {number}, a {what} at {transfer.word << 2:#x}, {seen}"
                self._evidence = Excerpt(PART, here.end, text)


def _values(answer: Answer | None) -> tuple[int, int] | None:
    """Return what an answer says: whether there is an error, and the word that was read."""
    if answer is None:
        return None
    return answer.error, 0 if answer.error or answer.transfer.write else answer.data


def _difference(bridged: Answer, direct: Answer) -> str:
    """Return how two answers differ, or ""."""
    if bridged.error != direct.error:
        ends = ["with an error" if one.error else "without an error" for one in (direct, bridged)]
        return f"ends {ends[0]}, but {ends[1]} through the bridge"
    if _values(bridged) == _values(direct):
        return ""
    return f"reads {direct.data:#x}, but {bridged.data:#x} through the bridge"
