"""Bus conformance of a component in Amaranth, which is driven alone, through its port.

A device whose port is of another kind than the fabric's is driven through its bridge, and then at its
own port (:mod:`busbox.check.own`). At the fabric's port there are three parts, each with its own
copies in Amaranth's simulator:

``exercise``  random traffic under the rule checker (:mod:`busbox.bus.wishbone.rules`)
``cut_off``   two copies side by side: an access that is cut off must change no register
``timing``    the cycle in which a write is committed, and the cycle that a read shows

ACK and ERR together, an answer while nothing is selected, and an answer in or after a reset are
covered by the checker's rules 3.45, 3.35 and 3.50, and 3.00. A component must obey the rules for a
device; the rules for a master are obeyed by the check itself, and listed as not exercised.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from busbox.check.own.exercise import OwnExercise
from busbox.check.own.port import OwnPort
from busbox.check.own.words import SameWords
from busbox.check.port.cut_off import CUT_OFF, CUT_OFF_TEXT, CutOffs
from busbox.check.port.exercise import ANSWERED, ANSWERED_TEXT, Exercise
from busbox.check.port.outcome import Excerpt, Outcome
from busbox.check.port.subject import Subject, find
from busbox.check.port.timing import Timing, show_cycle, timing_of

__all__ = ["OWN", "Conformance", "Excerpt", "Outcome", "OwnConformance", "Subject", "Timing", "check",
           "check_own", "find", "show_cycle", "timing_of"]  # fmt: skip

#: The rules beyond those of the checker, by id.
OWN = {ANSWERED: ANSWERED_TEXT, CUT_OFF: CUT_OFF_TEXT}

#: Cycles of random traffic.
CYCLES = 2000


@dataclass(frozen=True)
class OwnConformance:
    """The result of a check at a device's own port.

    Attributes
    ----------
    port : what port it is
    cycles : cycles of random traffic that were played
    counts : ``accesses``, ``answered``, ``reset`` (interrupted by one), ``unanswered`` and ``resets``
    outcomes : of every rule of the kind, then those of the check
    """

    port: OwnPort
    cycles: int
    counts: Mapping[str, int]
    outcomes: tuple[Outcome, ...]


@dataclass(frozen=True)
class Conformance:
    """The result of a check.

    Attributes
    ----------
    subject : what was checked
    seed : of the random numbers
    cycles : cycles of random traffic that were played
    counts : ``accesses``, ``answered``, ``given_up``, ``reset`` (interrupted by one), ``unanswered``
        and ``resets``, all in random traffic
    outcomes : of every rule, in the order of the checker, then :data:`OWN`
    timing : what was measured
    own : the result at its own port, or None if that is the fabric's
    """

    subject: Subject
    seed: int
    cycles: int
    counts: Mapping[str, int]
    outcomes: tuple[Outcome, ...]
    timing: Timing
    own: OwnConformance | None = None

    @property
    def held(self) -> bool:
        """Whether no rule was broken."""
        own = self.own.outcomes if self.own is not None else ()
        return all(outcome.state != "broken" for outcome in (*self.outcomes, *own))


def check(subject: Subject, seed: int = 0, cycles: int = CYCLES) -> Conformance:
    """Check a component. The same arguments give the same result.

    Parameters
    ----------
    subject : what is checked
    seed : of the random numbers
    cycles : cycles of random traffic, and again of accesses that are cut off; at least 1

    Raises
    ------
    InputError : it cannot be built or simulated
    NetlistError : no engine can run it unchanged, such as one with a black box
    """
    exercise = Exercise(subject, seed, cycles)
    if not subject.withdraws:
        without = "its port has no way to withdraw an access that has begun"
        cut_off = Outcome.of(CUT_OFF, CUT_OFF_TEXT, 0, "", without)
    elif subject.table is None:
        cut_off = Outcome.of(CUT_OFF, CUT_OFF_TEXT, 0, "", "it has no watch port")
    else:
        cut_off = CutOffs(subject, seed, cycles).outcome()
    names = ("accesses", "answered", "given_up", "reset", "unanswered", "resets")
    return Conformance(
        subject,
        seed,
        exercise.cycles,
        {name: exercise.counts[name] for name in names},
        (*exercise.outcomes(), cut_off),
        timing_of(subject, seed),
        check_own(subject, seed, cycles) if subject.own is not None else None,
    )


def check_own(subject: Subject, seed: int = 0, cycles: int = CYCLES) -> OwnConformance:
    """Check a component at its own port, which is of another kind than the fabric's.

    Parameters, errors and repeatability are those of :func:`check`.
    """
    assert subject.own is not None
    exercise = OwnExercise(subject, seed, cycles)
    outcomes = (*exercise.outcomes(), SameWords(subject, seed, cycles).outcome())
    names = ("accesses", "answered", "reset", "unanswered", "resets")
    counts = {name: exercise.counts[name] for name in names}
    return OwnConformance(subject.own, exercise.cycles, counts, outcomes)
