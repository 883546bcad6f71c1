"""How two runs differ: the verdict first, then bus, pins, texts, frames, findings, expectations.

Runs under different timing are not compared cycle by cycle: accesses are aligned by what they are. A
loop that reads again and again counts as one stretch, however often it reads; a stretch is one
instruction, register and direction (by the instruction's address where both know it, else by the step).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

import numpy as np

from busbox.basics.listing import counted
from busbox.basics.units import show_seconds, show_time
from busbox.bus.transfers import ACK, TERMINATORS
from busbox.recording import IntColumn, Recording
from busbox.variants.measures import masked

#: What can differ, in the order in which it is told.
PARTS = ("end", "accesses", "pins", "texts", "frames", "findings", "expectations", "certain")


@dataclass(frozen=True)
class Difference:
    """One thing in which two runs differ.

    Attributes
    ----------
    part : one of :data:`PARTS`
    of : the pin, slot, attachment, rule or expectation, "" for the whole run
    text : how they differ, a sentence without its full stop; the first run is ``A``, the second ``B``
    """

    part: str
    of: str
    text: str


@dataclass(frozen=True)
class Comparison:
    """Two runs, compared.

    Attributes
    ----------
    names : how the runs are called
    differences : in the order of :data:`PARTS`
    same : the parts in which the runs are equal
    verdict : the answer in one line
    """

    names: tuple[str, str]
    differences: tuple[Difference, ...]
    same: tuple[str, ...]
    verdict: str


def compare(
    one: Recording, other: Recording, names: tuple[str, str] = ("A", "B"), harmless: bool = False
) -> Comparison:
    """Compare two judged recordings.

    Parameters
    ----------
    harmless : whether texts that differ in their digits only count as equal: they may be made from
        reads that the bench calls harmless
    """
    found = tuple(
        difference
        for part in (_end, _accesses, _pins, lambda a, b: _texts(a, b, harmless), _frames,
                     _findings, _expectations, _certain)
        for difference in part(one, other)
    )  # fmt: skip
    parts = {difference.part for difference in found}
    same = tuple(part for part in PARTS if part not in parts)
    return Comparison(names, found, same, _verdict(one, other, found))


def _when(cycle: float, recording: Recording) -> str:
    return show_time(round(cycle), recording.clock_hz)


def _seconds(cycle: int, recording: Recording) -> float:
    return cycle / recording.clock_hz


def _later(before: float, after: float) -> str:
    """Return how much later something is: ``3.1 ms later``."""
    shift = after - before
    return f"{show_seconds(Fraction(abs(shift)))} {'later' if shift > 0 else 'earlier'}"


# The whole run.


def _end(one: Recording, other: Recording) -> Iterator[Difference]:
    if one.ended != other.ended:
        yield Difference("end", "", f"A ended with {one.ended}, B with {other.ended}")
    ends = _seconds(one.cycles, one), _seconds(other.cycles, other)
    if ends[0] != ends[1]:
        shown = f"A after {_when(one.cycles, one)}, B after {_when(other.cycles, other)}"
        yield Difference("end", "", f"{shown}: {_later(*ends)}")
    if one.core_end != other.core_end:
        yield Difference("end", "core", f"in A {one.core_end}; in B {other.core_end}")


# The bus.


def _places(recording: Recording, names: Sequence[str]) -> tuple[IntColumn, IntColumn]:
    """Return slot and offset of each access, so that a slot at another base is the same place.

    Parameters
    ----------
    names : of the slots of both runs; an access that reaches none has -1 and its address
    """
    slots = recording.slots
    numbers = np.array([*(names.index(slot.name) for slot in slots), -1])
    bases = np.array([*(slot.base for slot in slots), 0])
    sizes = np.array([*(slot.size for slot in slots), 1 << 32])
    slot = recording.accesses.slot  # -1, of no slot, is the last one
    return numbers[slot], (recording.accesses.address - bases[slot]) % sizes[slot]


def _stretches(recording: Recording, names: Sequence[str], by_pc: bool) -> tuple[Any, Any]:
    """Return the key of each stretch, and the access with which it ends."""
    accesses = recording.accesses
    where = accesses.pc if by_pc else accesses.step
    columns = (*_places(recording, names), accesses.write, where, accesses.lanes)
    keys = np.stack([np.asarray(column, dtype="i8") for column in columns], 1)
    if not len(keys):
        return keys, np.zeros(0, dtype="i8")
    again = (keys[1:] == keys[:-1]).all(axis=1) & ~accesses.write[1:]
    last = np.append(np.flatnonzero(~again), len(keys) - 1)
    return keys[last], last


def _accesses(one: Recording, other: Recording) -> Iterator[Difference]:
    sides = one.accesses, other.accesses
    counts = len(sides[0]), len(sides[1])
    if counts[0] != counts[1]:
        more = counted(abs(counts[1] - counts[0]), "access", "accesses")
        text = f"B has {more} {'more' if counts[1] > counts[0] else 'fewer'} "
        yield Difference("accesses", "", f"{text}({counts[0]:,} and {counts[1]:,})")
    by_pc = all(len(side) and bool((side.pc >= 0).all()) for side in sides)
    names = list(dict.fromkeys(slot.name for run in (one, other) for slot in run.slots))
    (keys, ends), (there, there_ends) = (_stretches(run, names, by_pc) for run in (one, other))
    count = min(len(keys), len(there))
    same = (keys[:count] == there[:count]).all(axis=1)
    data = sides[0].data[ends[:count]] == sides[1].data[there_ends[:count]]
    terminators = sides[0].terminator[ends[:count]] == sides[1].terminator[there_ends[:count]]
    wrong = np.flatnonzero(~(same & data & terminators))
    if len(wrong):
        place = int(wrong[0])
        numbers = int(ends[place]), int(there_ends[place])
        shown = [_access(*side) for side in zip((one, other), numbers, strict=True)]
        yield Difference("accesses", "", f"first difference on the bus{_mark(one, numbers[0])}: in A "
                         f"{shown[0]}; in B {shown[1]}")  # fmt: skip
    elif len(keys) != len(there):
        longer, number = (
            (one, int(ends[count])) if len(keys) > count else (other, int(there_ends[count]))
        )
        name = "A" if longer is one else "B"
        yield Difference("accesses", "", f"{name} goes on with {_access(longer, number)}")


def _access(recording: Recording, number: int) -> str:
    accesses = recording.accesses
    kind = "write of" if accesses.write[number] else "read"
    slot = int(accesses.slot[number])
    address = int(accesses.address[number])
    name = f"{address:#010x}"
    if slot >= 0:
        info = recording.slots[slot]
        name = f"{info.name} + {(address - info.base) % info.size:#x}"
    terminator = int(accesses.terminator[number])
    value = f"{int(accesses.data[number]):#x}"
    what = (
        f"{kind} {value} to {name}" if accesses.write[number] else f"{kind} of {name} gave {value}"
    )
    error = "" if terminator == ACK else f" (ended with {TERMINATORS[terminator]})"
    when = _when(int(accesses.start[number]), recording)
    return f"access {number:,} at {when}, {what}{error}"


def _mark(recording: Recording, number: int) -> str:
    """Return the mark after which an access comes, as ``, after the mark '...'``."""
    start = int(recording.accesses.start[number])
    before = [text for cycle, text in recording.marks if cycle <= start]
    return f", after the mark {before[-1]!r}" if before else ""


# What devices did.


def _pins(one: Recording, other: Recording) -> Iterator[Difference]:
    for name in sorted({*one.lines, *other.lines}):
        sides = one.lines.get(name), other.lines.get(name)
        if sides[0] is None or sides[1] is None:
            yield Difference(
                "pins", name, f"only {'A' if sides[1] is None else 'B'} has the pin {name}"
            )
            continue
        levels = sides[0].levels, sides[1].levels
        count = min(len(levels[0]), len(levels[1]))
        wrong = np.flatnonzero(levels[0][:count] != levels[1][:count])
        if len(levels[0]) != len(levels[1]) or len(wrong):
            edges = f"{counted(len(levels[0]) - 1, 'edge')} in A, {len(levels[1]) - 1:,} in B"
            yield Difference("pins", name, f"{name}: {edges}")
            continue
        times = sides[0].cycles / one.clock_hz, sides[1].cycles / other.clock_hz
        moved = np.flatnonzero(times[0] != times[1])
        if len(moved):
            first = int(moved[0])
            shift = _later(float(times[0][first]), float(times[1][first]))
            yield Difference("pins", name, f"{name}: the same levels; edge {first:,} {shift} in B")


def _texts(one: Recording, other: Recording, harmless: bool) -> Iterator[Difference]:
    for name in sorted({*one.texts, *other.texts}):
        sides = one.texts.get(name, ""), other.texts.get(name, "")
        if sides[0] == sides[1]:
            continue
        digits = masked(sides[0]) == masked(sides[1])
        if digits and harmless:
            continue
        place = next((at for at, pair in enumerate(zip(*sides, strict=False)) if pair[0] != pair[1]),
                     min(map(len, sides)))  # fmt: skip
        shown = [_around(side, place) for side in sides]
        what = "differs in its digits only" if digits else "differs"
        yield Difference("texts", name, f"the text of {name} {what}, first at byte {place:,}: "
                         f"{shown[0]} in A, {shown[1]} in B")  # fmt: skip


def _around(text: str, place: int) -> str:
    if place >= len(text):
        return "nothing more"
    begin = text.rfind("\n", 0, place) + 1
    end = text.find("\n", place)
    return repr(text[begin : len(text) if end < 0 else end][:60])


def _frames(one: Recording, other: Recording) -> Iterator[Difference]:
    for name in sorted({*one.seen, *other.seen}):
        sides = [run.seen[name].frames if name in run.seen else None for run in (one, other)]
        if sides[0] is None and sides[1] is None:
            continue
        if sides[0] is None or sides[1] is None:
            side = "A" if sides[1] is None else "B"
            yield Difference("frames", name, f"only {side} shows frames of {name}")
            continue
        if len(sides[0]) != len(sides[1]):
            text = f"{name} shows {counted(len(sides[0]), 'frame')} in A, {len(sides[1]):,} in B"
            yield Difference("frames", name, text)
        for number, pair in enumerate(zip(*sides, strict=False)):
            if pair[0].colours != pair[1].colours:
                shown = [
                    " ".join(f"{colour:06x}" for colour in frame.colours[:4]) for frame in pair
                ]
                text = f"frame {number:,} of {name} shows {shown[0]} ... in A, {shown[1]} ... in B"
                yield Difference("frames", name, text)
                break
        yield from _profiles(name, one, other)


def _profiles(name: str, one: Recording, other: Recording) -> Iterator[Difference]:
    facts = [run.seen[name].facts.get("profiles", {}) for run in (one, other)]
    for profile in {**facts[0], **facts[1]}:
        judged = [profile in side for side in facts]
        if not all(judged):
            text = f"profile {profile} of {name} is judged in {'A' if judged[0] else 'B'} only"
            yield Difference("frames", f"{name}.{profile}", text)
            continue
        kept = [side[profile]["passes"] for side in facts]
        if kept[0] != kept[1]:
            text = f"profile {profile} of {name} is {'no longer kept' if kept[0] else 'now kept'}"
            yield Difference("frames", f"{name}.{profile}", text)


# What was judged.


def _findings(one: Recording, other: Recording) -> Iterator[Difference]:
    for rule in sorted({*one.counts, *other.counts}):
        counts = [run.by_rule.get(rule, 0) for run in (one, other)]
        if counts[0] != counts[1]:
            text = f"{rule}: {counted(counts[0], 'time')} in A, {counted(counts[1], 'time')} in B"
            run = one if counts[0] > counts[1] else other
            first = next((finding for finding in run.findings if finding.rule == rule), None)
            if first is not None and not min(counts):
                text += f"; first at {_when(first.cycle, run)}: {first.message}"
            yield Difference("findings", rule, text)
        elif one.counts.get(rule, {}) != other.counts.get(rule, {}):
            places = [_registers_of(run.counts.get(rule, {})) for run in (one, other)]
            text = f"{rule}: at {places[0]} in A, at {places[1]} in B"
            yield Difference("findings", rule, text)


def _registers_of(counts: Mapping[str, int]) -> str:
    return ", ".join(f"{of} ({counted(count, 'time')})" for of, count in sorted(counts.items()))


def _expectations(one: Recording, other: Recording) -> Iterator[Difference]:
    met = [{verdict.what: verdict for verdict in run.verdicts} for run in (one, other)]
    for what in {**met[0], **met[1]}:
        if what not in met[0] or what not in met[1]:
            yield Difference("expectations", what, f"{what}: only {'A' if what in met[0] else 'B'} "
                             "expects it")  # fmt: skip
        elif met[0][what].met != met[1][what].met:
            verdicts = [
                f"{'met' if side[what].met else 'not met'} ({side[what].seen})" for side in met
            ]
            text = f"{what}: {verdicts[0]} in A, {verdicts[1]} in B"
            yield Difference("expectations", what, text)


def _certain(one: Recording, other: Recording) -> Iterator[Difference]:
    texts = [
        run.certain.text(run.clock_hz) if run.certain else "certain throughout"
        for run in (one, other)
    ]
    doubts = [bool(run.certain and run.certain.doubt) for run in (one, other)]
    if any(doubts) and texts[0] != texts[1]:
        yield Difference("certain", "", f"A is {texts[0]}; B is {texts[1]}")


# The verdict.


def _verdict(one: Recording, other: Recording, found: Sequence[Difference]) -> str:
    parts = {difference.part for difference in found}
    first = [
        _same_bytes(one, other),
        _same_colours(one, other, [entry for entry in found if entry.part == "frames"]),
    ]
    words: list[str] = []
    counts = len(one.accesses), len(other.accesses)
    if counts[0] != counts[1]:
        more = "more" if counts[1] > counts[0] else "fewer"
        words.append(f"{counted(abs(counts[1] - counts[0]), 'access', 'accesses')} {more}")
    elif "accesses" in parts:
        words.append("other accesses")
    words += _shifts(one, other)
    words += [entry.text for entry in found if entry.part == "frames" and "." in entry.of]
    rules = [entry.of for entry in found if entry.part == "findings"]
    if rules:
        words.append(f"other findings: {', '.join(rules)}")
    if "expectations" in parts:
        words.append("expectations differ")
    if "certain" in parts:
        words.append("not certain to the end")
    if not found:
        return "equal in all that is compared"
    if not words and not any(word.startswith("other") for word in first):
        words.append(found[0].text)
    return "; ".join(word for word in (", ".join(word for word in first if word), *words) if word)


def _same_bytes(one: Recording, other: Recording) -> str:
    texts = [run.texts for run in (one, other)]
    if not any({**texts[0], **texts[1]}.values()):
        return ""
    if texts[0] == texts[1]:
        return "same bytes"
    without_digits = [{name: masked(text) for name, text in side.items()} for side in texts]
    return "same bytes but for digits" if without_digits[0] == without_digits[1] else "other bytes"


def _same_colours(one: Recording, other: Recording, found: Sequence[Difference]) -> str:
    if not any(seen.frames for run in (one, other) for seen in run.seen.values()):
        return ""
    other_colours = any("." not in entry.of for entry in found)
    return "other colours" if other_colours else "same colours"


def _shifts(one: Recording, other: Recording) -> Iterator[str]:
    """Yield by how much the last frame of each lamp string is later."""
    for name, seen in one.seen.items():
        there = other.seen.get(name)
        if not seen.frames or there is None or not there.frames:
            continue
        times = _seconds(seen.frames[-1].cycle, one), _seconds(there.frames[-1].cycle, other)
        if times[0] != times[1]:
            yield f"{name} {_later(*times)}"
