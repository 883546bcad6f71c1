"""The map as one JSON object: slots, registers, fields, as numbers."""

from __future__ import annotations

import json
from typing import Any

from busbox.map.registers import Register
from busbox.registers.layout import Layout, NamedSlot


def json_map(layout: Layout) -> str:
    """Return the map as JSON, in ASCII."""
    return json.dumps(map_object(layout), indent=2) + "\n"


def map_object(layout: Layout) -> dict[str, Any]:
    """Return the map as an object of JSON; what a register does not have is null."""
    return {"bench": layout.name, "slots": [_slot(slot) for slot in layout.slots]}


def _slot(named: NamedSlot) -> dict[str, Any]:
    slot = named.slot
    return {
        "name": slot.name,
        "model": named.kind,
        "base": slot.base,
        "size": slot.size,
        "decode": slot.decode,
        "compared": None
        if slot.decode == "range"
        else [bit for bit in range(31, -1, -1) if slot.terms[0].mask >> bit & 1],
        "images": slot.images,
        "wait": slot.wait,
        "registers": [_register(one.register, slot.base) for one in named.registers],
        "unreachable": [register.name for register, _ in named.hidden],
    }


def _register(register: Register, base: int) -> dict[str, Any]:
    return {
        "name": register.name,
        "offset": register.offset,
        "address": base + register.offset,
        "access": register.access,
        "text": register.text,
        "reset": None if register.kept else register.reset_value,
        "count": register.count or None,
        "lanes": register.whole or None,
        "fields": [
            {
                "name": field.name,
                "high": field.high,
                "low": field.low,
                "mask": field.mask,
                "access": field.access or register.access,
                "reset": None if register.kept else field.reset,
                "text": field.text,
            }
            for field in register.fields
        ],
    }
