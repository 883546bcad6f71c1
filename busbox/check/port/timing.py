"""In which cycle a device acts, measured from e, the cycle of its answer.

Standard timing (semantics page, rule 2): a write is committed in e + 1, the first cycle that shows the
new value; a read shows the state of cycle e. Through the watch port both are seen cycle by cycle.
Without one, reading back shows when a write takes effect; which cycle a read shows remains unknown.
"""

from __future__ import annotations

import random
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from busbox.bus.wishbone.rules import Sample
from busbox.check.port.exercise import PATIENCE
from busbox.check.port.rig import IDLE, Drive, Rig, Traffic
from busbox.check.port.subject import Subject
from busbox.map.registers import WORD, Place

ALL = 0b1111
#: Cycles after e in which a written value is looked for.
_WINDOW = 8
#: Cycles before a write in which its register must not move by itself.
_STEADY = 4
#: Registers, and tries with each.
_REGISTERS, _WRITES, _READS = 12, 4, 30


@dataclass(frozen=True)
class Timing:
    """When writes are committed, and which cycle reads show.

    Attributes
    ----------
    commit : the first cycle that shows a written value, less e; None if it was not measured
    sample : the cycle whose state a read shows, less e; None if it was not measured
    write_text, read_text : the same as text, with the registers observed, or why it was not measured
    """

    commit: int | None
    sample: int | None
    write_text: str
    read_text: str

    @property
    def house(self) -> bool:
        """Whether both were measured and match the standard timing: e + 1 and e."""
        return (self.commit, self.sample) == (1, 0)

    @property
    def text(self) -> str:
        """Both as text."""
        return f"{self.write_text}; {self.read_text}"


def show_cycle(offset: int) -> str:
    """Return a cycle counted from e: ``e - 1``, ``e``, ``e + 1``."""
    return f"e {'+' if offset > 0 else '-'} {abs(offset)}" if offset else "e"


def timing_of(subject: Subject, seed: int = 0) -> Timing:
    """Measure a component on its own.

    Raises
    ------
    InputError : it cannot be built or simulated
    NetlistError : no engine can run it unchanged, such as one with a black box
    """
    if subject.table is None:
        commit, written = _read_back(_Measure(subject, f"read back {seed}"))
        return Timing(
            commit,
            None,
            _write_text(commit, written, subject.withdraws),
            "reads: not measured, as it has no watch port",
        )
    commit, written = _commits(_Measure(subject, f"commit {seed}"))
    sample, read = _samples(_Measure(subject, f"sample {seed}"))
    text = _write_text(commit, written, subject.withdraws)
    return Timing(commit, sample, text, _read_text(sample, read))


def _write_text(commit: int | None, detail: str, withdraws: bool) -> str:
    if commit is None:
        return f"writes: not measured, {detail}"
    kind = "standard timing" if commit == 1 else "legal, but not the standard timing"
    if commit < 1 and not withdraws:
        kind = "before the answer, as its kind of port allows"
    elif commit < 1:
        kind = "too early, the access may still be cut off"
    return f"commits a write in {show_cycle(commit)}: {kind} ({detail})"


def _read_text(sample: int | None, detail: str) -> str:
    if sample is None:
        return f"reads: not measured, {detail}"
    kind = "standard timing" if sample == 0 else "legal, but not the standard timing"
    return f"a read shows {show_cycle(sample)}: {kind} ({detail})"


class _Measure:
    """Plays accesses one by one, and keeps what the watch port shows in every cycle.

    Attributes
    ----------
    subject, rig, dice : as named
    word : word address that is watched, or None
    shown : cycle to what the watch port showed in it
    noisy : whether the input pins have random levels
    ended : accesses that ACK alone has ended
    """

    def __init__(self, subject: Subject, seed: str) -> None:
        self.subject = subject
        self.rig = Rig(subject)
        self.dice = random.Random(seed)
        self.word: int | None = None
        self.shown: dict[int, int] = {}
        self.noisy = False
        self.ended = 0
        self.cycles(1)

    def cycle(self, drive: Drive) -> Sample:
        """Play a cycle."""
        if self.noisy:
            self.rig.scatter(self.dice)
        self.rig.drive(drive)
        seen = self.rig.seen()
        if self.word is not None:
            self.shown[self.rig.cycle] = self.rig.watch(self.word)
        self.rig.tick()
        return seen

    def cycles(self, count: int) -> None:
        """Play cycles without an access."""
        for _ in range(count):
            self.cycle(IDLE)

    def reset(self) -> None:
        """Play a reset and the cycle after it."""
        self.shown.clear()
        self.rig.reset(1)
        self.cycles(1)
        self.rig.reset(0)
        self.cycles(1)

    def access(self, word: int, data: int | None, lead: int = 0) -> tuple[int, int] | None:
        """Play an access; return e and the word read, or None if ACK does not end it."""
        write = data is not None
        drive = Drive(we=write, adr=word, sel=ALL, write_data=data or 0)
        for _ in range(self.subject.least_wait + lead):
            self.cycle(drive)
        for _ in range(PATIENCE):
            seen = self.cycle(drive.raised(1, 1))
            if seen.err:
                return None
            if seen.ack:
                self.ended += 1
                return self.rig.cycle - 1, seen.read_data
        return None

    def why(self, nothing: str) -> str:
        """Return why nothing was measured: ``nothing``, if there was an access to measure."""
        return nothing if self.ended else "no access ended with ACK alone"


def _places(subject: Subject, *types: str) -> list[tuple[int, Place]]:
    """Return (word, place) of the registers with these access types; of a row the first and last."""
    found = []
    for register in subject.table or ():
        if register.mask(*types):
            for index in sorted({0, max(0, register.count - 1)}):
                found.append(((register.offset >> 2) + index, Place(register, index)))
    return found[:_REGISTERS]


def _agreed(measured: Mapping[str, Iterable[int]], nothing: str) -> tuple[int | None, str]:
    """Return what all registers agree upon and their names; None and why, if they do not."""
    by_cycle: dict[int, list[str]] = {}
    for name, cycles in measured.items():
        for cycle in sorted(cycles):
            by_cycle.setdefault(cycle, []).append(name)
    if not by_cycle:
        return None, nothing
    if len(by_cycle) == 1:
        ((cycle, names),) = by_cycle.items()
        return cycle, f"seen in {_listed(names)}"
    parts = (f"{show_cycle(cycle)} in {_listed(by_cycle[cycle])}" for cycle in sorted(by_cycle))
    return None, f"registers differ: {', '.join(parts)}"


def _listed(names: list[str]) -> str:
    more = len(names) - 3
    return f"{', '.join(names[:3])} and {more} more" if more > 0 else ", ".join(names)


# Writes.


def _commits(measure: _Measure) -> tuple[int | None, str]:
    """Return when writes show on the watch port."""
    places = _places(measure.subject, "rw")
    if not places:
        return None, "no register has access rw"
    measured: dict[str, set[int]] = {}
    for word, place in places:
        mask = place.register.mask("rw")
        cycles = {_commit(measure, word, mask, number % 2 * 2) for number in range(_WRITES)}
        if cycles - {None}:
            measured[place.name] = {cycle for cycle in cycles if cycle is not None}
    nothing = f"no register shows the written value by e + {_WINDOW}"
    return _agreed(measured, measure.why(nothing))


def _commit(measure: _Measure, word: int, mask: int, lead: int) -> int | None:
    """Write a word; return its first cycle on the watch port less e, or None if unknown."""
    measure.word = word
    measure.reset()
    measure.cycles(_STEADY)
    start, before = measure.rig.cycle, measure.shown[measure.rig.cycle - 1]
    value = before ^ (measure.dice.getrandbits(32) | 1 << (mask.bit_length() - 1)) & WORD
    ended = measure.access(word, value, lead)
    if ended is None:
        return None
    measure.cycles(_WINDOW)
    end, shown = ended[0], measure.shown
    after = shown[end + _WINDOW]
    moving = {shown[cycle] for cycle in range(start - _STEADY, start)} != {before}
    moving |= {shown[cycle] for cycle in range(end + _WINDOW - 2, end + _WINDOW)} != {after}
    bits = mask & ~(after ^ value) & (value ^ before)
    if moving or not bits:
        return None
    return (
        next(
            cycle for cycle in sorted(shown) if cycle >= start and not (shown[cycle] ^ value) & bits
        )
        - end
    )


def _read_back(measure: _Measure) -> tuple[int | None, str]:
    """Return when writes show in a read that ends as soon as it can, and later and later."""
    for word in range(min(measure.rig.words, 16)):
        bits = _stored(measure, word)
        if bits:
            return _first_read(measure, word, bits)
    return None, measure.why("none of the first 16 words reads back what was written")


def _stored(measure: _Measure, word: int) -> int:
    """Return the bits of a word that read back as written, for both 0 and 1."""
    bits, value = WORD, measure.dice.getrandbits(32)
    for written in (value, value ^ WORD):
        measure.reset()
        if measure.access(word, written) is None:
            return 0
        measure.cycles(_WINDOW)
        read = measure.access(word, None)
        if read is None:
            return 0
        bits &= ~(read[1] ^ written)
    return bits


def _first_read(measure: _Measure, word: int, bits: int) -> tuple[int | None, str]:
    """Return the cycle of the first read that shows a write, less e, if an earlier one does not."""
    shows: dict[int, bool] = {}
    for gap in range(_WINDOW):
        measure.reset()
        before = measure.access(word, None)
        value = (before[1] if before else 0) ^ bits
        written = measure.access(word, value)
        measure.cycles(gap)
        read = measure.access(word, None)
        if written is not None and read is not None:
            shows[read[0] - written[0]] = not (read[1] ^ value) & bits
    first = min((cycle for cycle, new in shows.items() if new), default=None)
    if first is None:
        return None, "reading back gives inconsistent values"
    if first > 1 and shows.get(first - 1) is not False:
        return None, f"the first read back ends in {show_cycle(first)} and already shows the value"
    return first, f"by reading back the word at {word << 2:#x}"


# Reads.


def _samples(measure: _Measure) -> tuple[int | None, str]:
    """Return which cycle of the watch port reads show."""
    places = _places(measure.subject, "rw", "ro", "ones_clear")
    if not places:
        return None, "it has no readable register"
    measure.noisy = True
    traffic = Traffic(measure.dice, measure.subject, measure.rig.words)
    measured: dict[str, set[int]] = {}
    odd: list[str] = []
    for word, place in places:
        cycles, distinct = {-1, 0, 1}, False
        for data, shown in _reads(measure, traffic, word):
            cycles &= {cycle for cycle in (-1, 0, 1) if shown[cycle + 1] == data}
            distinct |= shown[0] != shown[1]
        if 0 not in cycles and len(cycles) != 1:
            odd.append(place.name)
        elif distinct:
            # Where nothing happens after a read, e + 1 looks like e: then it is e.
            measured[place.name] = cycles & {0} or cycles
    if odd:
        return None, f"reads of {_listed(odd)} do not always show one of e - 1, e and e + 1"
    return _agreed(measured, measure.why("no register changes in the cycle before a read ends"))


def _reads(
    measure: _Measure, traffic: Traffic, word: int
) -> Iterator[tuple[int, tuple[int, int, int]]]:
    """Read a register while things happen; yield what was read, and what cycles e - 1 to e + 1 show."""
    measure.word = word
    measure.reset()
    for number in range(_READS):
        measure.cycles(1 + measure.dice.randrange(3))
        at_once = bool(number % 3)  # behind a write: of the same register, or of any
        if number % 3 == 1:
            measure.access(word, measure.dice.getrandbits(32))
        elif at_once:
            other = traffic.access()
            measure.access(other.adr, other.write_data)
        read = measure.access(word, None, 0 if at_once else measure.dice.randrange(3))
        if read is None:
            return
        end, data = read
        measure.cycles(1)
        shown = measure.shown
        yield data, (shown[end - 1], shown[end], shown[end + 1])
