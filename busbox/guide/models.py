"""The pages of models and attachments: registers, pins, settings, timing."""

from __future__ import annotations

import re
import sys
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any, Self

from busbox.basics.errors import InputError
from busbox.basics.hooks import calling
from busbox.basics.listing import runs
from busbox.basics.pages import first_paragraph, page_of, section
from busbox.board.attachment import Driver
from busbox.device import REQUIRED, Pin, Setting
from busbox.guide.markdown import code, escaped, of_docstring, table
from busbox.map.registers import Register, RegisterTable
from busbox.plugins import ATTACHMENTS, DEVICES, find

#: Size of the slot in which a model is shown.
SHOWN_SIZE = 0x1000
#: When a pin has its declared level.
LEVEL_WHEN = {"output": "after reset", "input": "undriven"}
#: Precedes the name of a field in the table of registers.
FIELD = "- "


def value_of(setting: Setting) -> Any:
    """Return what a model is shown with: the default, else the smallest value allowed."""
    if setting.default is not REQUIRED:
        return setting.default
    if setting.kind == "int":
        return setting.low
    return setting.choices[0] if setting.choices else "x"


def choice(setting: Setting) -> str:
    """Return which value :func:`value_of` takes, as text."""
    if setting.kind == "int":
        return "the smallest"
    return "the first" if setting.choices else "for example"


def value_range(setting: Setting) -> str:
    """Return the values of a setting, as text."""
    if setting.kind in ("int", "number"):
        high = setting.high if setting.high <= 0xFFFF else f"{setting.high:#x}"
        return f"{setting.low} to {high}"
    if setting.choices:
        return " or ".join(setting.choices)
    return _RANGES[setting.kind]


_RANGES = {
    "text": "a string",
    "path": "a file",
    "time": "a time",
    "times": "a list of times",
    "current": "a current",
}


def value_default(setting: Setting) -> str:
    """Return the default of a setting, as text."""
    if setting.default is REQUIRED:
        return "must be given"
    return "no default" if setting.default in (None, ()) else f"default {setting.default}"


@dataclass(frozen=True)
class ShownModel:
    """One model, with the settings that it is shown with.

    Attributes
    ----------
    name : as the user gave it
    model : its class
    values : the settings
    table, pins : what the settings give
    sized : whether the registers depend on the size of the slot
    """

    name: str
    model: Any
    values: Mapping[str, Any]
    table: RegisterTable
    pins: tuple[Pin, ...]
    sized: bool

    @classmethod
    def of(cls, name: str, model: Any) -> Self:
        values = {setting.name: value_of(setting) for setting in model.settings}
        with calling(f"{name}: cannot be shown with its defaults: it", hook=model):
            problem = model.check(values)
            if problem:
                raise InputError.of(f"cannot be shown with its defaults: {problem}", name)
            table = model.table_for(values, SHOWN_SIZE)
            sized = model.table_for(values, 2 * SHOWN_SIZE).end != table.end
            return cls(name, model, values, table, tuple(model.pins_for(values)), sized)

    @property
    def assumed(self) -> dict[str, Any]:
        """The settings that a bench must give."""
        return {
            setting.name: self.values[setting.name]
            for setting in self.model.settings
            if setting.default is REQUIRED
        }


def has_fields(register: Register) -> bool:
    """Return whether a register declares fields, and not just one value."""
    return [field.name for field in register.fields] != ["VALUE"]


def register_rows(register: Register) -> Iterator[tuple[object, ...]]:
    """Yield (offset, name, bits, right, reset, text) of a register, then of its fields."""
    last = register.offset + 4 * (register.count - 1)
    many = register.count > 1
    name = f"{register.name}.0..{register.count - 1}" if many else register.name_of(0)
    offset = f"{register.offset:#x}..{last:#x}" if many else f"{register.offset:#x}"
    own, kept = has_fields(register), "kept" if register.kept else f"{register.reset_value:#x}"
    bits = "" if own else register.fields[0].bits
    yield offset, name, bits, register.access, kept, register.text
    for field in register.fields if own else ():
        right = field.access or register.access
        reset = "" if register.kept else f"{field.reset:#x}"
        yield "", f"  {field.name}", field.bits, right, reset, field.text


def pin_rows(pins: Iterable[Pin]) -> Iterator[tuple[str, str, str, str]]:
    """Yield (name, direction, level, meaning) of pins; like ones next to each other in one row."""
    for name, (way, level, carries, text) in runs(
        (pin.name, (pin.direction, pin.level, pin.carries, pin.text)) for pin in pins
    ):
        carried = f"Carries {carries}." if carries else ""
        yield name, way, f"{LEVEL_WHEN[way]} {level}", " ".join(filter(None, (text, carried)))


def model_page(name: str) -> str:
    """Return the page of a model that comes with Busbox."""
    from busbox.guide.bench_keys import keys_of  # needs pydantic

    shown = ShownModel.of(name, find(DEVICES, name))
    page = page_of(shown.model)
    blocks = [f"# {name}: a model", escaped(first_paragraph(page))]
    if shown.assumed:
        given = ", ".join(f"{key} = {value}" for key, value in shown.assumed.items())
        blocks.append(f"Shown with {code(given)}; every bench must give this setting.")
    if shown.sized:
        blocks.append(
            f"Shown in a slot of {SHOWN_SIZE:#x} bytes; a larger slot has more registers."
        )
    rows = [row for register in shown.table for row in register_rows(register)]
    head = ("Name", "Offset", "Bits", "Access", "Reset", "Meaning")
    blocks += ["## Registers", table(head, map(_register_cells, rows))]
    blocks.append("`busbox guide device` explains the access types.")
    blocks += ["## Pins", *_pins(shown.pins)]
    blocks += ["## Settings", keys_of("slot", name)]
    for title in ("Files", "Timing", "Caution", "Source"):
        text = section(page, title)
        if text:
            blocks += [f"## {title}", of_docstring(text)]
    return "\n\n".join([*blocks, *_working_parts(shown.model)])


def _working_parts(model: Any) -> Iterator[str]:
    """Yield the timing of each part that a model's page refers to."""
    module = sys.modules[model.__module__]
    for name in dict.fromkeys(re.findall(r":class:`(\w+)`", page_of(model))):
        page = page_of(getattr(module, name))
        yield f"## {name}"
        yield of_docstring(first_paragraph(page))
        yield of_docstring(section(page, "Timing"))


def attachment_page(name: str) -> str:
    """Return the page of a kind of attachment that comes with Busbox."""
    from busbox.guide.bench_keys import keys_of  # needs pydantic

    kind = find(ATTACHMENTS, name)
    page = page_of(kind)
    way = "A driver: it drives" if issubclass(kind, Driver) else "A decoder: it reads the edges of"
    blocks = [f"# {name}: an attachment", escaped(first_paragraph(page)), f"{way} a pin."]
    blocks += ["## Settings", keys_of("attach", name)]
    for title in ("Timing", "Caution"):
        text = section(page, title)
        if text:
            blocks += [f"## {title}", of_docstring(text)]
    blocks.append("`busbox guide attachments` shows how a bench attaches one.")
    return "\n\n".join(blocks)


def _register_cells(row: tuple[object, ...]) -> tuple[object, ...]:
    offset, name, bits, access, reset, text = map(str, row)
    shown = f"{FIELD}{name.strip()}" if name.startswith(" ") else f"**{name}**"
    return shown, offset, bits, access, reset, escaped(text)


def _pins(pins: tuple[Pin, ...]) -> list[str]:
    rows = [
        (code(name), way, level, escaped(meaning)) for name, way, level, meaning in pin_rows(pins)
    ]
    return [table(("Pin", "Direction", "Level", "Meaning"), rows)] if rows else ["None."]
