"""A play of a lesson: its bench is built, run by the engine in plain Python, and judged.

What is said of a bench that is refused, or of an address that cannot be, is in :data:`SENTENCES`,
so that a page can say the same.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any

from busbox.bench.bench import Bench
from busbox.bus.transfers import ACK, ERR, NONE, WATCHDOG
from busbox.cpu.steps import AccessStep
from busbox.engines import EngineFactory, engine_class, for_many_runs
from busbox.findings.judging import judge
from busbox.lessons.board import CLOCK
from busbox.lessons.declaring import Must, Play
from busbox.lessons.expressions import evaluate, filled, parse
from busbox.lessons.steps import parse_steps, played, value
from busbox.map.bits import bits_in, show_bits
from busbox.map.registers import WORD
from busbox.map.slots import AddressMap, Slot
from busbox.recording import Recording
from busbox.run.loop import replay

#: What is said of what never came to a run. Names: the slot and, of an overlap, the other one.
SENTENCES: Mapping[str, str] = {
    "size": "The bench refuses the size {size:hex} of {name}: a decoder that compares bits needs a "
    "power of two of at least 4 bytes.",
    "base": "The bench refuses the base {base:address} of {name}: it is not a multiple of the size "
    "{size:hex}.",
    "room": "The bench refuses {name}: from {base:address}, {size:hex} bytes end beyond the last "
    "address 0xffffffff.",
    "compare": "The bench refuses the compared bits of {name}: they must be bits 31..{inside} at the "
    "most, as the lower ones are inside its {size:hex} bytes.",
    "overlap": "The bench refuses this map: {name} and {other} both answer at {first:address}.",
    "wait": "The bench refuses {wait} wait states of {name}: it can have 0 to 65,535.",
    "watchdog": "The bench refuses a watchdog of {watchdog} cycles: it must be 1 to 1,000,000 here.",
    "word": "{address:hex} is not a multiple of 4: no word begins there.",
    "beyond": "{address:hex} is no address: the last one is 0xffffffff.",
}
#: Names for who answers if no slot does.
NOBODY = "nobody"
#: The number of an access that was not made, as one before it hangs.
NEVER_MADE = -1
#: The largest watchdog of a lesson, in cycles.
MOST_WATCHDOG = 1_000_000
#: Cycles after which an access that nobody ends counts as one that hangs.
HANG_AFTER = 2_000


@dataclass(frozen=True)
class Seen:
    """What happened in a play.

    Attributes
    ----------
    recording : the run
    tags : of each access
    """

    recording: Recording
    tags: tuple[str, ...]

    def of(self, tag: str) -> list[int]:
        """Return the numbers of the accesses with a tag, as far as they were made."""
        made = len(self.recording.accesses)
        return [access for access, own in enumerate(self.tags[:made]) if own == tag]


def fault(play: Play, values: Mapping[str, int]) -> str:
    """Return the first thing that did not happen as it must, as a sentence; "" if all of it did."""
    if not evaluate(parse(play.when), values):
        return ""
    tables = [slot_table(table, values) for table in play.slots]
    fabric = {key: _number(given, values) for key, given in play.fabric.items()}
    refused = _refused(tables, fabric)
    if not play.starts:
        return "" if refused else filled(play.says, values)
    if refused:
        return refused
    steps = list(played(parse_steps(play.steps), values))
    stray = next(_strays(steps), "")
    if stray:
        return stray
    judged = any(must.what == "no finding" for must in play.must)
    seen = run(tables, fabric, steps, judged)
    return next((text for must in play.must for text in _judged(must, seen, values)), "")


def run(
    tables: Sequence[Mapping[str, Any]],
    fabric: Mapping[str, Any],
    steps: Sequence[tuple[str, AccessStep]],
    judged: bool = False,
) -> Seen:
    """Run a bench of a lesson.

    Parameters
    ----------
    judged : whether its findings are looked for as well

    Raises
    ------
    InputError : the bench is refused
    """
    keys = {
        "clock": CLOCK,
        "fabric": dict(fabric),
        "hang_after": HANG_AFTER,
        "slot": {table["name"]: _keys(table) for table in tables},
    }
    system = Bench(keys, name="lesson").system([step for _, step in steps])
    facts = replay(system, _factory())
    return Seen(judge(facts, system) if judged else facts, tuple(tag for tag, _ in steps))


@cache
def _factory() -> EngineFactory:
    """Return what makes engines; a design is built once, whatever is played on it."""
    return for_many_runs(engine_class("python"))


# The bench.


def _number(given: object, values: Mapping[str, int]) -> Any:
    """Return a value of a table, an expression computed."""
    is_expression = isinstance(given, str) and given.startswith("{")
    return evaluate(value(given), values) if is_expression else given


def slot_table(table: Mapping[str, Any], values: Mapping[str, int]) -> dict[str, Any]:
    """Return a slot's table with numbers; its compared bits are a mask."""
    done = {key: _number(given, values) for key, given in table.items() if key != "yields_to"}
    given = table.get("yields_to", {})
    done["yields_to"] = [name for name, when in given.items() if evaluate(parse(when), values)]
    return done


def slot_of(table: Mapping[str, Any]) -> Slot:
    """Return the slot of a table with numbers, as its decoder sees it."""
    mask = table.get("compare")
    decode = "full" if mask is None else "compare"
    compared = frozenset(bits_in((mask or 0) & WORD))
    wait, yields_to = table.get("wait", 1), tuple(table["yields_to"])
    return Slot(table["name"], table["base"], table["size"], decode, compared, wait, yields_to)


def _keys(table: Mapping[str, Any]) -> dict[str, Any]:
    keys = {key: given for key, given in table.items() if key != "name"}
    if "compare" in keys:
        keys["compare"] = show_bits(frozenset(bits_in(keys["compare"] & WORD)))
    return keys


def _refused(tables: Sequence[Mapping[str, Any]], fabric: Mapping[str, Any]) -> str:
    """Return why a bench of these slots is refused; "" if it is not."""
    slots = [slot_of(table) for table in tables]
    for slot in slots:
        kind = _mistake(slot)
        if kind:
            numbers = {
                "base": slot.base, "size": slot.size, "inside": slot.inner_bits, "wait": slot.wait,
            }  # fmt: skip
            return filled(SENTENCES[kind], numbers, {"name": slot.name})
    watchdog = fabric.get("watchdog", 1)
    if not 1 <= watchdog <= MOST_WATCHDOG:
        return filled(SENTENCES["watchdog"], {"watchdog": watchdog})
    for slot, other, first, _ in AddressMap(slots).overlaps():
        return filled(
            SENTENCES["overlap"], {"first": first}, {"name": slot.name, "other": other.name}
        )
    return ""


def _mistake(slot: Slot) -> str:
    """Return what is wrong with a slot's own numbers, as a key of :data:`SENTENCES`; "" if nothing."""
    if slot.size < 4 or slot.size & slot.size - 1:
        return "size"
    if slot.base + slot.size > 1 << 32 or slot.base < 0:
        return "room"
    if slot.decode == "full" and slot.base % slot.size:
        return "base"
    if any(bit < slot.inner_bits for bit in slot.compare):
        return "compare"
    return "wait" if not 0 <= slot.wait <= 65_535 else next(slot.mistakes(), ("", ""))[0]


def _strays(steps: Sequence[tuple[str, AccessStep]]) -> Iterator[str]:
    for _, step in steps:
        address = step.target
        assert isinstance(address, int)
        if not 0 <= address <= WORD:
            yield filled(SENTENCES["beyond"], {"address": address})
        elif address % 4:
            yield filled(SENTENCES["word"], {"address": address})


# What happened.


def _judged(must: Must, seen: Seen, values: Mapping[str, int]) -> Iterator[str]:
    """Yield what happened instead of what must."""
    if evaluate(parse(must.when), values):
        for number, word in _OTHERWISE[must.what](must, seen, values):
            words = {} if word is None else {"seen": word}
            yield filled(must.says, {**values, "seen": number}, words)


#: What was seen where it is not as it must be: a number, or a word in its place.
Otherwise = Iterator[tuple[int, str | None]]


def _text(must: Must, seen: Seen, values: Mapping[str, int]) -> Otherwise:
    found = seen.recording.texts.get(must.of, "")
    if found != filled(must.value, values):
        yield 0, f'"{found}"' if found else "no text"


def _outputs(must: Must, seen: Seen, values: Mapping[str, int]) -> Otherwise:
    levels = outputs(seen.recording, must.of)
    if levels != evaluate(parse(must.value), values):
        yield levels, None


def _no_finding(must: Must, seen: Seen, values: Mapping[str, int]) -> Otherwise:
    for rule in must.value.split():
        if seen.recording.by_rule.get(rule):
            yield seen.recording.by_rule[rule], None


def _at_most(must: Must, seen: Seen, values: Mapping[str, int]) -> Otherwise:
    used = _cycles(seen, seen.of(must.of))
    if used > evaluate(parse(must.value), values):
        yield used, None


def _at_least(must: Must, seen: Seen, values: Mapping[str, int]) -> Otherwise:
    used = _cycles(seen, seen.of(must.of))
    if used < evaluate(parse(must.value), values):
        yield used, None


def _reads(must: Must, seen: Seen, values: Mapping[str, int]) -> Otherwise:
    expected = evaluate(parse(must.value), values)
    for access in seen.of(must.of) or [NEVER_MADE]:
        data = int(seen.recording.accesses.data[access]) if access >= 0 else 0
        if access < 0 or data != expected or who(seen.recording, access) == NOBODY:
            yield data, None


def _ends(must: Must, seen: Seen, values: Mapping[str, int]) -> Otherwise:
    for access in seen.of(must.of) or [NEVER_MADE]:
        if ending(seen.recording, access) != must.value:
            yield 0, who(seen.recording, access)


def _answers(must: Must, seen: Seen, values: Mapping[str, int]) -> Otherwise:
    for access in seen.of(must.of) or [NEVER_MADE]:
        if who(seen.recording, access) != must.value:
            yield 0, who(seen.recording, access)


_OTHERWISE: Mapping[str, Callable[[Must, Seen, Mapping[str, int]], Otherwise]] = {
    "ends": _ends,
    "reads": _reads,
    "answers": _answers,
    "cycles at most": _at_most,
    "cycles at least": _at_least,
    "text": _text,
    "outputs": _outputs,
    "no finding": _no_finding,
}


def ending(recording: Recording, access: int) -> str:
    """Return how an access ended: ACK, ERR or nobody; one that was never made is ended by nobody."""
    if access < 0:
        return NOBODY
    kind = int(recording.accesses.terminator[access])
    return {ACK: "ACK", ERR: "ERR", WATCHDOG: "ERR", NONE: NOBODY}.get(kind, NOBODY)


def who(recording: Recording, access: int) -> str:
    """Return the slot that answered an access, or nobody."""
    if access < 0 or int(recording.accesses.terminator[access]) != ACK:
        return NOBODY
    number = int(recording.accesses.slot[access])
    return recording.slots[number].name if number >= 0 else NOBODY


def outputs(recording: Recording, slot: str) -> int:
    """Return the levels of a slot's pins ``out`` at the end of a run, pin 0 in bit 0."""
    word, stem = 0, f"{slot}.out."
    for pin, line in recording.lines.items():
        if pin.startswith(stem) and int(line.levels[-1]) == 1:
            word |= 1 << int(pin.removeprefix(stem))
    return word


def _cycles(seen: Seen, accesses: Sequence[int]) -> int:
    """Return the cycles from the start of the first access to the end of the last one."""
    if not accesses:
        return 0
    columns = seen.recording.accesses
    return int(columns.end[accesses[-1]]) - int(columns.start[accesses[0]]) + 1
