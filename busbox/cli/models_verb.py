"""``busbox models``."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import click

from busbox.basics.errors import InputError, format_error
from busbox.basics.listing import runs
from busbox.basics.pages import first_paragraph, page_of, section
from busbox.basics.paper import Paper
from busbox.cli import completing
from busbox.cli.common import json_option, paper, plain, print_json
from busbox.device import REQUIRED, Pin, Setting
from busbox.map.registers import ACCESS_TYPES, Register, RegisterTable
from busbox.plugins import DEVICES, described, entries, find

#: Size of the slot in which a model is shown.
SHOWN_SIZE = 0x1000


@click.command("models")
@click.argument("name", required=False, shell_complete=completing.named(DEVICES))
@json_option
def command(name: str | None, as_json: bool) -> int:
    """List the models, or show one: registers, pins, settings, timing.

    NAME is the name of a model that comes with Busbox or with a plug-in, or FILE.py:CLASS. A model
    that depends on its settings is shown with their defaults.
    """
    if name is None:
        models = list(_models())
        if as_json:
            print_json({"models": models})
        else:
            _list(models)
        return 0
    shown = _Shown.of(name, find(DEVICES, name))
    if as_json:
        print_json(shown.as_object())
    else:
        page = paper()
        shown.write(page)
        page.print()
    return 0


# The list.


def _models() -> Iterator[dict[str, str]]:
    for name, origin, text in described(
        entries(DEVICES), lambda model: first_paragraph(page_of(model))
    ):
        yield {"name": name, "source": origin, "text": text}


def _list(models: list[dict[str, str]]) -> None:
    page = paper()
    page.table((one["name"], one["source"], one["text"]) for one in models)
    page.line()
    page.line("busbox models NAME shows one: registers, pins, settings, timing.")
    page.print()


# One model.


def _value(setting: Setting) -> Any:
    """Return what a model is shown with: the default, else the smallest value that there may be."""
    if setting.default is not REQUIRED:
        return setting.default
    if setting.kind == "int":
        return setting.low
    return setting.choices[0] if setting.choices else "x"


def _which(setting: Setting) -> str:
    if setting.kind == "int":
        return "the smallest"
    return "the first" if setting.choices else "for example"


@dataclass(frozen=True)
class _Shown:
    """One model, with the settings that it is shown with.

    Attributes
    ----------
    name : as asked for
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
    def of(cls, name: str, model: Any) -> _Shown:
        values = {setting.name: _value(setting) for setting in model.settings}
        try:
            problem = model.check(values)
            if problem:
                raise InputError.of(f"cannot be shown with its defaults: {problem}", name)
            table = model.table_for(values, SHOWN_SIZE)
            sized = model.table_for(values, 2 * SHOWN_SIZE).end != table.end
            return cls(name, model, values, table, tuple(model.pins_for(values)), sized)
        except InputError:
            raise
        except Exception as error:
            raise InputError.of(
                f"cannot be shown with its defaults: it raised {format_error(error)}", name
            ) from error

    @property
    def assumed(self) -> dict[str, Any]:
        """The settings that a bench must give."""
        return {
            setting.name: self.values[setting.name]
            for setting in self.model.settings
            if setting.default is REQUIRED
        }

    def as_object(self) -> dict[str, Any]:
        """Return the object that ``--json`` prints."""
        return {
            "model": self.name,
            "text": first_paragraph(page_of(self.model)),
            "assumed": self.assumed,
            "size": SHOWN_SIZE if self.sized else None,
            "registers": [_register_object(register) for register in self.table],
            "pins": [
                {"name": pin.name, "direction": pin.direction, "level": pin.level, "text": pin.text}
                for pin in self.pins
            ],
            "settings": [_setting_object(setting) for setting in self.model.settings],
            "timing": plain(section(page_of(self.model), "Timing")) or None,
        }

    def write(self, page: Paper) -> None:
        """Write the page of the model."""
        page.line((self.name, "bold"))
        page.line(f"  {first_paragraph(page_of(self.model))}")
        for setting in self.model.settings:
            if setting.default is REQUIRED:
                value = f"{setting.name} = {self.values[setting.name]}"
                page.line(f"  Shown with {value}, {_which(setting)}; a bench must give it.")
        if self.sized:
            page.line(f"  Shown in a slot of {SHOWN_SIZE:#x} bytes.")
        self._registers(page)
        self._pins(page)
        self._settings(page)
        for title in ("Timing", "Caution"):
            text = section(page_of(self.model), title)
            if text:
                page.title(title)
                page.line(f"  {plain(' '.join(text.split()))}")

    def _registers(self, page: Paper) -> None:
        page.title("Registers" if self.table.registers else "Registers: none")
        if not self.table.registers:
            return
        head = ("offset", "name", "bits", "access", "reset", "text")
        rows = [row for register in self.table for row in _register_rows(register)]
        page.table(rows, head=head)
        used = {field.access or one.access for one in self.table for field in one.fields}
        page.line()
        page.table((name, text) for name, text in ACCESS_TYPES.items() if name in used)

    def _pins(self, page: Paper) -> None:
        page.title("Pins" if self.pins else "Pins: none")
        pins = runs((pin.name, (pin.direction, pin.level, pin.text)) for pin in self.pins)
        page.table((name, way, f"{_WHEN[way]} {level}", text) for name, (way, level, text) in pins)

    def _settings(self, page: Paper) -> None:
        settings = self.model.settings
        page.title("Settings" if settings else "Settings: none")
        page.table((one.name, _range(one), _default(one), one.text) for one in settings)


#: What the level of a pin is.
_WHEN = {"output": "after reset", "input": "undriven"}


def _own_fields(register: Register) -> bool:
    """Return whether a register declares fields, and is not one value all over."""
    return [field.name for field in register.fields] != ["VALUE"]


def _register_rows(register: Register) -> Iterator[tuple[object, ...]]:
    last = register.offset + 4 * (register.count - 1)
    many = register.count > 1
    name = f"{register.name}.0..{register.count - 1}" if many else register.name_of(0)
    offset = f"{register.offset:#x}..{last:#x}" if many else f"{register.offset:#x}"
    own, kept = _own_fields(register), "kept" if register.kept else f"{register.reset_value:#x}"
    bits = "" if own else register.fields[0].bits
    yield offset, name, bits, register.access, kept, register.text
    for field in register.fields if own else ():
        access = field.access or register.access
        reset = "" if register.kept else f"{field.reset:#x}"
        yield "", f"  {field.name}", field.bits, access, reset, field.text


def _register_object(register: Register) -> dict[str, Any]:
    return {
        "name": register.name,
        "offset": register.offset,
        "count": register.count or None,
        "access": register.access,
        "reset": None if register.kept else register.reset_value,
        "text": register.text,
        "fields": [
            {
                "name": field.name,
                "high": field.high,
                "low": field.low,
                "access": field.access or register.access,
                "reset": None if register.kept else field.reset,
                "text": field.text,
            }
            for field in register.fields
        ],
    }


def _setting_object(setting: Setting) -> dict[str, Any]:
    whole, required = setting.kind == "int", setting.default is REQUIRED
    return {
        "name": setting.name,
        "kind": setting.kind,
        "required": required,
        "default": None if required else setting.default,
        "low": setting.low if whole else None,
        "high": setting.high if whole else None,
        "choices": list(setting.choices) or None,
        "text": setting.text,
    }


def _range(setting: Setting) -> str:
    if setting.kind == "int":
        high = setting.high if setting.high <= 0xFFFF else f"{setting.high:#x}"
        return f"{setting.low} to {high}"
    if setting.choices:
        return " or ".join(setting.choices)
    return "a file" if setting.kind == "path" else "a text"


def _default(setting: Setting) -> str:
    if setting.default is REQUIRED:
        return "must be given"
    return "no default" if setting.default is None else f"default {setting.default}"
