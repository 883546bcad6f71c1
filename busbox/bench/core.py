"""``[core]``: what executes firmware, its memories and its clocks."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from typing import Any

from busbox.basics.errors import format_value, join_or, nearest
from busbox.basics.keys import Key
from busbox.basics.limits import CORE_MEMORY
from busbox.basics.toml_lines import KeyPath
from busbox.bench.context import Context
from busbox.bench.pins import Pins
from busbox.core.image import Memory
from busbox.core.instructions import CLASSES
from busbox.core.machine import MEMORIES
from busbox.core.program import Area, Program
from busbox.core.setup import CoreSetup
from busbox.map.slots import AddressMap

_PATH: KeyPath = ("core",)
ISAS = ("rv32i", "rv32im", "rv32ic", "rv32imc")
#: Clocks of every class where the bench gives none.
BASE = 3
#: The largest memory, in bytes; and the most clocks.
MOST_BYTES, MOST_CLOCKS = 64 << 20, 1 << 20
_ADDRESS, _SIZE = "an address from 0 to 0xffffffff", f"bytes, a multiple of 4 up to {MOST_BYTES:#x}"
_CLOCKS = f"a whole number of cycles from 0 to {MOST_CLOCKS}"
_PIN = "a string such as 'clock.ring', or a list of them"

#: Keys that are one of some words.
CHOICES: Mapping[str, tuple[str, ...]] = {
    "isa": ISAS,
    "misaligned": ("trap", "split"),
    "bus_error": ("fault", "ignore"),
    "ebreak": ("finding", "end", "trap"),
    "on_end": ("settle", "stop"),
}

KEYS: Mapping[str, Key] = {
    "isa": Key("Instructions that the core has; each includes Zicsr.", join_or(map(repr, ISAS)),
               "'rv32im'", default="'rv32imc'"),
    "memory": Key("Its own memories, [[core.memory]]: what is in them is not on the bus.",
                  "a list of tables, [[core.memory]]", "[{ at = 0, size = 0x1_0000 }]",
                  default="from the program's segments"),
    "start": Key("Address of the first instruction.", _ADDRESS, "0x8000_0000",
                 default="the entry that the program's file gives"),
    "clocks": Key("Cycles of every instruction, or a table of classes, [core.clocks].",
                  "a whole number of cycles from 1 on, or a table", "4", "cycles", str(BASE)),
    "access_at": Key("Cycles from the first one of a load or store to the one that raises its access.",
                     _CLOCKS, "1", "cycles", "0"),
    "interrupt": Key("The pin at the external interrupt line, or a table of lines.",
                     f"{_PIN}, or a table", "'clock.ring'", default="none"),
    "misaligned": Key("What a misaligned load or store does: it traps, or is split into accesses.",
                      "'trap' or 'split'", "'split'", default="'trap'"),
    "bus_error": Key("What an access that ends with ERR does: an access fault, or nothing.",
                     "'fault' or 'ignore'", "'ignore'", default="'fault'"),
    "ebreak": Key("What ebreak does: it stops with a finding, is the end of the program, or traps.",
                  "'finding', 'end' or 'trap'", "'end'", default="'finding'"),
    "on_end": Key("Where the program has ended, the run waits for busy devices, or stops at once.",
                  "'settle' or 'stop'", "'stop'", default="'settle'"),
}  # fmt: skip
MEMORY_KEYS: Mapping[str, Key] = {
    "at": Key("Address of its first byte, a multiple of 4.", _ADDRESS, "0x2000_0000", required=True),
    "size": Key("Its size.", _SIZE, "0x1_0000", "bytes", required=True),
    "clocks": Key("Cycles of an access to it, beside those of the load or store.", _CLOCKS, "2",
                  "cycles", "1"),
    "fill": Key("The word in it where the program loads nothing.", "a word of 32 bits", "0xdeadbeef",
                default="0"),
    "writable": Key("Whether stores change it; if not, a store is an access fault.", "true or false",
                    "false", default="true"),
}  # fmt: skip
_CLOCK_TEXTS = {
    "base": "Any instruction of a class that is not given.",
    "load": "A load: the core's own cycles, besides those of its access.",
    "store": "A store: the core's own cycles, besides those of its access.",
    "multiply": "mul, mulh, mulhsu, mulhu.",
    "divide": "div, divu, rem, remu.",
    "branch_taken": "A conditional branch that is taken.",
    "branch_not_taken": "A conditional branch that is not taken.",
    "jump": "jal, jalr.",
    "csr": "csrrw and the like.",
    "fence": "fence, fence.i.",
    "trap": "From the first cycle of what traps, or the end of its access, to the handler.",
    "return": "mret.",
}
CLOCK_KEYS: Mapping[str, Key] = {
    name: Key(_CLOCK_TEXTS[name], _CLOCKS, "4", "cycles", str(BASE) if name == "base" else "base")
    for name in CLASSES
}
#: The interrupt lines and their bits in mip and mie.
LINES = {"external": 11, "timer": 7, "software": 3} | {f"platform_{n}": 16 + n for n in range(16)}
LINE_KEYS: Mapping[str, Key] = {
    name: Key(
        f"Pins at the {name.replace('_', ' ')} interrupt line, bit {bit} of mip.", _PIN,
        "'clock.ring'", default="none",
    )
    for name, bit in LINES.items()
}  # fmt: skip


@dataclass(frozen=True)
class _Reader:
    """Reads tables, and notes what is wrong with them."""

    context: Context

    def table(
        self, path: KeyPath, given: object, keys: Mapping[str, Key], head: str
    ) -> dict[str, Any]:
        """Return a table without the keys that it may not have."""
        note = self.context.mistakes.note
        if not isinstance(given, Mapping):
            note(path, f"must be a table, {head}, not {format_value(given)}")
            return {}
        for key in given:
            if key not in keys:
                close = nearest(str(key), list(keys))
                note((*path, key), f"unknown key {key!r}{close} (known: {join_or(keys)})")
        for key, declared in keys.items():
            if declared.required and key not in given:
                note(path, f"must have a key {key}, such as {key} = {declared.example}")
        return {key: value for key, value in given.items() if key in keys}

    def number(self, path: KeyPath, given: object, key: Key, low: int, high: int) -> int:
        """Return a whole number in a range, the lowest one if it is wrong."""
        if type(given) is int and low <= given <= high:
            return given
        found = hex(given) if type(given) is int and high > 0xFFFF else format_value(given)
        self.context.mistakes.note(path, f"must be {key.kind}, not {found}")
        return low

    def chosen(self, path: KeyPath, given: object, choices: Sequence[str]) -> str:
        """Return one of some words, the first one if it is wrong."""
        if isinstance(given, str) and given in choices:
            return given
        close = nearest(given, choices) if isinstance(given, str) else ""
        text = f"must be {join_or(map(repr, choices))}, not {format_value(given)}{close}"
        self.context.mistakes.note(path, text)
        return choices[0]


def check_core(given: object, context: Context) -> dict[str, Any]:
    """Return what ``[core]`` says, checked, with every default that does not need the program."""
    read = _Reader(context)
    table = read.table(_PATH, {} if given is None else given, KEYS, "[core]")

    def word(name: str) -> str:
        choices = CHOICES[name]
        return read.chosen((*_PATH, name), table.get(name, choices[0]), choices)

    def number(name: str, low: int, high: int, default: int | None) -> int | None:
        if name not in table:
            return default
        return read.number((*_PATH, name), table[name], KEYS[name], low, high)

    return {
        "isa": read.chosen((*_PATH, "isa"), table.get("isa", "rv32imc"), ISAS),
        "memory": _memories(table.get("memory"), read),
        "start": number("start", 0, 0xFFFFFFFF, None),
        "clocks": _clocks(table.get("clocks", BASE), read),
        "access_at": number("access_at", 0, MOST_CLOCKS, 0),
        "interrupt": _lines(table.get("interrupt"), read),
        "misaligned": word("misaligned"),
        "bus_error": word("bus_error"),
        "ebreak": word("ebreak"),
        "on_end": word("on_end"),
    }


def _memories(given: object, read: _Reader) -> list[dict[str, Any]] | None:
    if given is None:
        return None
    path = (*_PATH, "memory")
    if not isinstance(given, list) or not given:
        read.context.mistakes.note(path, "must be a list of tables, [[core.memory]]")
        return None
    if len(given) > MEMORIES:
        text = f"at most {MEMORIES} memories are possible, not {len(given)}"
        read.context.mistakes.note(path, text)
    found = []
    for number, one in enumerate(given):
        at = (*path, number)
        table = read.table(at, one, MEMORY_KEYS, "[[core.memory]]")
        if "at" not in table or "size" not in table:
            continue

        whole = partial(_whole, read, table, at)
        memory: dict[str, Any] = {
            "at": whole("at", 0, 0xFFFFFFFC),
            "size": whole("size", 4, MOST_BYTES),
            "clocks": whole("clocks", 0, MOST_CLOCKS) if "clocks" in table else 1,
            "fill": whole("fill", 0, 0xFFFFFFFF) if "fill" in table else 0,
            "writable": table.get("writable", True),
        }
        if not isinstance(memory["writable"], bool):
            text = f"must be true or false, not {format_value(memory['writable'])}"
            read.context.mistakes.note((*at, "writable"), text)
        for name in ("at", "size"):
            if memory[name] & 3:
                text = f"must be a multiple of 4, not {memory[name]:#x}"
                read.context.mistakes.note((*at, name), text)
        if memory["at"] + memory["size"] > 1 << 32:
            read.context.mistakes.note(
                (*at, "size"), "must end at address 0xffffffff at the latest"
            )
        found.append(memory)
    return found


def _whole(
    read: _Reader, table: Mapping[str, Any], at: KeyPath, name: str, low: int, high: int
) -> int:
    return read.number((*at, name), table[name], MEMORY_KEYS[name], low, high)


def _clocks(given: object, read: _Reader) -> dict[str, int]:
    path = (*_PATH, "clocks")
    if not isinstance(given, Mapping):
        return dict.fromkeys(CLASSES, read.number(path, given, KEYS["clocks"], 1, MOST_CLOCKS))
    table = read.table(path, given, CLOCK_KEYS, "[core.clocks]")
    clocks = {}
    for name in CLASSES:
        if name in table:
            low = 0 if name in ("load", "store", "trap") else 1
            key = Key("", f"a whole number of cycles from {low} to {MOST_CLOCKS}", "")
            clocks[name] = read.number((*path, name), table[name], key, low, MOST_CLOCKS)
    return dict.fromkeys(CLASSES, clocks.get("base", BASE)) | clocks


def _lines(given: object, read: _Reader) -> dict[str, tuple[int, KeyPath]]:
    """Return, by pin, the bit of its line and where the bench says so."""
    path: KeyPath = (*_PATH, "interrupt")
    if given is None:
        return {}
    lines: list[tuple[str, object, KeyPath]] = [("external", given, path)]
    if isinstance(given, Mapping):
        table = read.table(path, given, LINE_KEYS, "[core.interrupt]")
        lines = [(name, pins, (*path, name)) for name, pins in table.items()]
    found: dict[str, tuple[int, KeyPath]] = {}
    for name, pins, at in lines:
        for pin in pins if isinstance(pins, list) else [pins]:
            if not isinstance(pin, str):
                read.context.mistakes.note(at, f"must be {_PIN}, not {format_value(pin)}")
            elif pin in found:
                read.context.mistakes.note(at, f"{pin} is at two interrupt lines")
            else:
                found[pin] = LINES[name], at
    return found


# With the program and the slots.


def build_core(
    table: dict[str, Any], program: Program, slots: AddressMap, pins: Pins, context: Context
) -> CoreSetup | None:
    """Return the core that executes a program, or None if something is wrong with the memories."""
    note = context.mistakes.note
    before = len(context.mistakes)
    access_at, clocks = table["access_at"], table["clocks"]
    if access_at > min(clocks["load"], clocks["store"]):
        text = (
            f"must be at most the clocks of load and store, {min(clocks['load'], clocks['store'])}"
        )
        note((*_PATH, "access_at"), f"{text}, not {access_at}")
    for pin, (_, path) in table["interrupt"].items():
        pins.find(path, pin, None)
    if _size(table, program) > CORE_MEMORY.most:
        note(_PATH, CORE_MEMORY.exceeded(f"the memories of {program.path}"))
        return None
    memories = _given_memories(table, program, context)
    if memories is None:
        memories = _from_segments(program)
    if len(memories) > MEMORIES:
        text = f"{program.path} uses {len(memories)} areas"
        note(_PATH, f"{text}; give at most {MEMORIES} memories, as [[core.memory]]")
    _check_overlaps(memories, slots, context)
    start = program.start if table["start"] is None else table["start"]
    step = 1 if "c" in table["isa"][5:] else 3
    inside = any(memory.base <= start < memory.end for memory in memories)
    if not inside or start & step:
        where = "in a memory of the core" if not inside else f"a multiple of {step + 1}"
        whose = "the entry" if table["start"] is None else "start"
        note((*_PATH, "start"), f"{whose} of {program.path} must be {where}, not {start:#010x}")
    if len(context.mistakes) > before:
        return None
    return CoreSetup(
        table["isa"], tuple(memories), start, clocks, access_at, table["misaligned"] == "split",
        table["bus_error"] == "fault", table["ebreak"],
        {pin: bit for pin, (bit, _) in table["interrupt"].items()}, on_end=table["on_end"],
        program=program.path,
    )  # fmt: skip


def _given_memories(
    table: dict[str, Any], program: Program, context: Context
) -> list[Memory] | None:
    """Return the memories of the bench with the program in them."""
    if table["memory"] is None:
        return None
    memories = [
        Memory(one["at"], one["size"], b"", one["fill"], one["clocks"], one["writable"])
        for one in table["memory"]
    ]
    for address, data in program.pieces:
        if not any(one.base <= address and address + len(data) <= one.end for one in memories):
            last = address + len(data) - 1
            text = f"{program.path} loads {address:#010x} to {last:#010x}"
            text += ", which is in no [[core.memory]]"
            context.mistakes.note((*_PATH, "memory"), text)
    return [_with_contents(one, program) for one in memories]


def _with_contents(memory: Memory, program: Program) -> Memory:
    whole = bytearray(memory.bytes())
    for address, data in program.pieces:
        if memory.base <= address and address + len(data) <= memory.end:
            whole[address - memory.base : address - memory.base + len(data)] = data
    return Memory(
        memory.base, memory.size, bytes(whole), memory.fill, memory.clocks, memory.writable
    )


def _size(table: Mapping[str, Any], program: Program) -> int:
    """Return the bytes of all memories, before any of them is made."""
    given = table["memory"]
    if given is not None:
        return sum(one["size"] for one in given)
    return sum(area.end - area.start for area in _stretches(program))


def _from_segments(program: Program) -> list[Memory]:
    """Return a memory for each stretch of addresses that the program uses."""
    return [
        _with_contents(Memory(one.start, one.end - one.start, writable=one.writable), program)
        for one in _stretches(program)
    ]


def _stretches(program: Program) -> list[Area]:
    joined: list[Area] = []
    for area in sorted(program.areas, key=lambda area: area.start):
        start, end = area.start & ~3, area.end + 3 & ~3
        if (
            joined
            and start <= joined[-1].end
            and (joined[-1].writable == area.writable or start < joined[-1].end)
        ):
            last = joined.pop()
            joined.append(Area(last.start, max(last.end, end), last.writable or area.writable))
        else:
            joined.append(Area(start, end, area.writable))
    return joined


def _check_overlaps(memories: Sequence[Memory], slots: AddressMap, context: Context) -> None:
    note: Callable[[KeyPath, str], None] = context.mistakes.note
    for number, one in enumerate(memories):
        for other in memories[:number]:
            if one.base < other.end and other.base < one.end:
                text = f"the memories at {other.base:#010x} and {one.base:#010x} overlap"
                note((*_PATH, "memory"), text)
        for slot in slots.slots:
            if one.base < slot.base + slot.size and slot.base < one.end:
                text = (
                    f"the core's memory {one.base:#010x} to {one.end - 1:#010x} overlaps slot "
                    f"{slot.name}, which begins at {slot.base:#010x}"
                )
                note(_PATH, text)
