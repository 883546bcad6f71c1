"""What the page's script knows of models and of lessons.

A lesson's data is that of :mod:`busbox.lessons.as_data`, but what all variants share stands once, and
each slot of a play names the registers of its device: a row of ``made``.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from typing import Any

from busbox.basics.errors import InputError, join_and
from busbox.bench.bench import Bench
from busbox.lessons.as_data import data_of
from busbox.lessons.board import CLOCK, SLOTS
from busbox.lessons.declaring import Lesson
from busbox.lessons.drawing import Variant
from busbox.map.registers import Register, RegisterTable
from busbox.map.slots import Slot

#: The address that is shown first: a byte of a register, so that all parts of it can be seen.
FIRST = 0x4000_1005
#: Models whose devices the script knows (devices.js).
MODELS = ("memory", "gpio", "uart", "timer", "pulse_led")
#: Rules whose findings the script knows (play.js).
RULES = (
    "bus-hang", "data-off-lanes", "image-access", "lanes-lost", "no-answer", "read-only-write",
    "register-hole", "reserved-bits", "rom-write", "unmapped-access", "uninitialised-read",
)  # fmt: skip
#: Keys of a slot that its device does not see.
_OF_SLOT = ("name", "model", "base", "size", "wait", "compare", "yields_to")


def page_data(lessons: Sequence[Sequence[Variant]]) -> dict[str, Any]:
    """Return all that the script is given.

    Parameters
    ----------
    lessons : of each the same seeds

    Raises
    ------
    InputError : a lesson needs what the page cannot judge
    """
    devices = Bench({"clock": CLOCK, "slot": SLOTS}).devices()
    return {
        "address": FIRST,
        "slots": [slot_data(device.slot, device.kind) for device in devices],
        "models": {device.kind: table_data(device.slot.table) for device in devices},
        **lessons_data(lessons),
    }


def slot_data(slot: Slot, model: str) -> dict[str, Any]:
    """Return a slot as the script knows it."""
    return {
        "name": slot.name, "model": model, "base": slot.base, "size": slot.size, "decode": slot.decode,
        "compare": sorted(slot.compare), "wait": slot.wait, "yields": list(slot.yields_to),
    }  # fmt: skip


def table_data(table: RegisterTable) -> list[dict[str, Any]]:
    """Return registers as the script knows them."""
    return [_register(one) for one in table]


def _register(one: Register) -> dict[str, Any]:
    return {
        "name": one.name,
        "offset": one.offset,
        "count": one.count,
        "access": one.access,
        "text": one.text,
        "stores": one.mask("rw", "wo"),
        "clears": one.mask("ones_clear"),
        "writable": one.mask("rw", "wo", "ones_clear", "ones_act"),
        "readable": one.mask("rw", "ro", "ones_clear"),
        "whole": one.whole,
        "reset": one.reset_value,
        "mask": one.mask(),
        "onlyRead": one.mask() == one.mask("ro"),
    }


def lessons_data(lessons: Sequence[Sequence[Variant]]) -> dict[str, Any]:
    """Return the variants of lessons, and what they share.

    Raises
    ------
    InputError : a lesson needs what the page cannot judge
    """
    made = _Made()
    shared: dict[str, Any] = {"sentences": {}, "limits": {}}
    found = []
    for variants in lessons:
        rows = []
        for variant in variants:
            data = data_of(variant)
            shared = {key: data.pop(key) for key in shared}
            _check(variant.lesson, data)
            for slots in (data["picture"]["slots"], *(play["slots"] for play in data["plays"])):
                for slot in slots:
                    slot["table"] = made.number(slot)
            rows.append(data)
        found.append(rows)
    seeds = [variant.seed for variant in lessons[0]] if lessons else []
    return {"seeds": seeds, "lessons": found, "shared": {**shared, "made": made.rows}}


def _check(lesson: Lesson, data: Mapping[str, Any]) -> None:
    """Refuse what the script does not know."""
    used = {slot["model"] for play in data["plays"] for slot in play["slots"]} - {*MODELS}
    rules = {
        rule
        for play in data["plays"]
        for must in play["must"]
        if must["what"] == "no finding"
        for rule in must["value"]
    } - {*RULES}
    for what, unknown in (("the model", used), ("findings of", rules)):
        if unknown:
            text = f"the page cannot judge {what} {join_and(sorted(unknown))}; the tool can"
            raise InputError.of(text, f"lesson {lesson.number}")


class _Made:
    """How devices are built, each once: the registers of a model with its settings."""

    def __init__(self) -> None:
        self.rows: list[dict[str, Any]] = []
        self._numbers: dict[str, int] = {}

    def number(self, slot: Mapping[str, Any]) -> int:
        """Return the row of a slot's device."""
        settings = {key: given for key, given in slot.items() if key not in _OF_SLOT}
        settings["model"] = slot["model"]
        key = json.dumps(settings, sort_keys=True)
        if key not in self._numbers:
            self._numbers[key] = len(self.rows)
            self.rows.append(_device_data(settings))
        return self._numbers[key]


def _device_data(settings: Mapping[str, Any]) -> dict[str, Any]:
    keys = {"clock": CLOCK, "slot": {"device": {**settings, "base": 0, "size": 0x1000}}}
    (device,) = Bench(keys).devices()
    is_memory = settings["model"] == "memory"
    registers = [] if is_memory else table_data(device.slot.table)
    return {"registers": registers, "kind": settings.get("kind", "ram") if is_memory else ""}
