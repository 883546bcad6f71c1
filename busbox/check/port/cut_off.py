"""Accesses that are cut off change nothing: two copies side by side, one of which never saw them.

A reset and the same accesses bring both into the same state. Then only one gets an access that a
reset or a watchdog cuts off before its answer. Registers that differ in any later cycle were changed
by that access: whatever changes on its own changes in both.
"""

from __future__ import annotations

import random

from busbox.check.port.exercise import PATIENCE
from busbox.check.port.outcome import Excerpt, Outcome
from busbox.check.port.rig import IDLE, Drive, Rig, Traffic
from busbox.check.port.subject import Subject
from busbox.map.registers import WORD, RegisterTable

CUT_OFF = "cut-off"
CUT_OFF_TEXT = (
    "an access that is cut off by a reset or a watchdog changes no register "
    "(cycle semantics, rules 7 and 15)"
)
PART = "accesses cut off"

#: If there are more registers than this, some are observed: the target, and others at random.
_LOOKED_AT = 48
#: Cycles of STB after which an aimed access is cut off, if it is not answered before.
_LONGEST = 8
#: Rounds without a cut-off access: they show that two copies behave alike.
_CONTROLS = 4


class CutOffs:
    """Plays rounds: a reset, some accesses, one that is cut off, some cycles to observe.

    First a write and a read of every register are cut off as late as possible, then random ones.

    Parameters
    ----------
    subject : with a watch port
    seed : of the random numbers
    cycles : number of cycles to play at least, with every register once, unless a breach is found

    Attributes
    ----------
    times : accesses that were cut off
    begun : those of them in which STB had been up
    evidence : the first breach
    """

    def __init__(self, subject: Subject, seed: int, cycles: int) -> None:
        assert subject.table is not None
        self.times = self.begun = 0
        self.evidence: Excerpt | None = None
        self._alike = True
        self._names = {offset >> 2: place.name for offset, place in subject.table.places()}
        self._rig = Rig(subject, copies=2)
        self._dice = random.Random(f"cut off {seed}")
        self._traffic = Traffic(self._dice, subject, self._rig.words)
        self._before = self._rig.seen()
        self._words: list[int] = []  # looked at in every cycle
        self._controlled = False
        for _ in range(_CONTROLS):
            self._round()
        self._controlled = True
        aimed = [(word, we) for word in _ends(subject.table) for we in (1, 0)]
        while self.evidence is None and self._alike and (aimed or self._rig.cycle < cycles):
            self._round(*(aimed.pop(0) if aimed else ()))

    def outcome(self) -> Outcome:
        """Return the outcome of the rule."""
        unit = f"accesses, {self.begun:,} of them with STB high"
        without = "no access was cut off"
        if not self._alike:
            without = "two copies of the component behave differently"
        elif not self._names:
            without = "it has no registers"
        times = self.times if self._names and self._alike else 0
        breaches = int(self.evidence is not None)
        return Outcome.of(CUT_OFF, CUT_OFF_TEXT, times, unit, without, self.evidence, breaches)

    def _round(self, word: int | None = None, we: int = 0) -> None:
        """Play a round; with ``word``, on a fresh device, with an access that changes all it can."""
        self._words = []
        self._reset(IDLE)
        access = self._traffic.access()
        if word is not None:
            access = Drive(0, 0, we, word, 0b1111, self._rig.watch(word) ^ WORD)
        else:
            for _ in range(self._dice.randrange(4)):
                self._access()
        self._words = [access.adr, *self._sample()]
        if self._controlled:
            self._cut(access, aimed=word is not None)
        for _ in range(self._dice.randint(1, 6)):
            self._both(self._traffic.noise())

    def _sample(self) -> list[int]:
        words = list(self._names)
        return words if len(words) <= _LOOKED_AT else self._dice.sample(words, _LOOKED_AT)

    def _cut(self, access: Drive, aimed: bool) -> None:
        """Play an access on the first copy, ending before its answer; ``aimed``: just before it.

        A cycle in which it would be answered is seen before the clock edge, and not played.
        """
        dice, lead, held = self._dice, self._traffic.lead(), self._dice.randrange(2)
        begun = played = 0
        for number in range(lead + _LONGEST if aimed else dice.randint(1, lead + 4)):
            stb = number >= lead
            self._rig.drive(access.raised(stb or held, stb))
            self._rig.drive(access, 1)
            sample = self._rig.seen()
            if sample.ack or sample.err:
                break
            self._tick()
            begun, played = begun + stb, played + 1
        self.times += bool(played)
        self.begun += bool(begun)
        if not aimed and dice.random() < 0.4:
            self._reset(access)
        else:
            self._both(access if aimed or dice.randrange(2) else self._traffic.noise())

    def _access(self) -> None:
        """Play an access on both copies, until its answer or the limit."""
        access, held = self._traffic.access(), self._dice.randrange(2)
        for _ in range(self._traffic.lead()):
            self._both(access.raised(held, 0))
        for _ in range(PATIENCE):
            if self._both(access.raised(1, 1)):
                break
        self._both(self._traffic.noise())

    def _reset(self, drive: Drive) -> None:
        self._rig.reset(1)
        for _ in range(self._dice.randint(1, 3)):
            self._both(drive)
        self._rig.reset(0)
        self._both(drive)

    def _both(self, drive: Drive) -> bool:
        """Play a cycle with equal signals on both ports; return whether there was an answer."""
        self._rig.drive(drive)
        self._rig.drive(drive, 1)
        sample, other = self._rig.seen(), self._rig.seen(1)
        answers = [(one.ack, one.err) for one in (sample, other)]
        if answers[0] != answers[1] and drive.stb:
            self._differ(
                f"{_answer(*answers[0])}, but {_answer(*answers[1])} without the accesses cut off"
            )
        self._look()
        self._tick()
        return bool(sample.ack or sample.err or other.ack or other.err)

    def _tick(self) -> None:
        self._before = self._rig.seen()
        self._rig.tick()
        if not self._dice.randrange(4):
            self._rig.scatter(self._dice)

    def _look(self) -> None:
        """Compare registers in the present cycle."""
        for word in self._words:
            here, there = self._rig.watch(word), self._rig.watch(word, 1)
            if here != there:
                name = self._names.get(word, f"the word at {word << 2:#x}")
                self._differ(f"{name} shows {here:#x}, but {there:#x} without the access cut off")
                return

    def _differ(self, seen: str) -> None:
        if not self._controlled:
            self._alike = False
        elif self.evidence is None:
            self.evidence = Excerpt(PART, self._rig.cycle, seen, self._before, self._rig.seen())


def _ends(table: RegisterTable) -> list[int]:
    """Return the word addresses of all registers, the first and the last of a row."""
    return [
        (register.offset >> 2) + index
        for register in table
        for index in sorted({0, max(0, register.count - 1)})
    ]


def _answer(ack: int, err: int) -> str:
    return "ACK and ERR" if ack and err else "ACK" if ack else "ERR" if err else "no answer"
