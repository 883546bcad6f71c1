"""``busbox models``."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import click

from busbox.basics.pages import first_paragraph, page_of, section
from busbox.basics.paper import Paper
from busbox.cli import completing
from busbox.cli.common import json_option, paper, plain, print_json
from busbox.cli.ports import port_object, port_text
from busbox.device import REQUIRED, Setting
from busbox.guide.models import (
    SHOWN_SIZE,
    ShownModel,
    choice,
    pin_rows,
    register_rows,
    value_default,
    value_range,
)
from busbox.map.registers import ACCESS_TYPES, Register
from busbox.plugins import DEVICES, described, entries, find


@click.command("models")
@click.argument("name", required=False, shell_complete=completing.named(DEVICES))
@json_option
def command(name: str | None, as_json: bool) -> int:
    """List the models, or show one: bus port, registers, pins, settings, timing.

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


class _Shown(ShownModel):
    """A model, as this verb shows it."""

    def as_object(self) -> dict[str, Any]:
        """Return the object that ``--json`` prints."""
        return {
            "model": self.name,
            "text": first_paragraph(page_of(self.model)),
            "assumed": self.assumed,
            "size": SHOWN_SIZE if self.sized else None,
            "port": port_object(self.model),
            "registers": [_register_object(register) for register in self.table],
            "pins": [
                {
                    "name": pin.name,
                    "direction": pin.direction,
                    "level": pin.level,
                    "carries": pin.carries or None,
                    "text": pin.text,
                }
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
                page.line(f"  Shown with {value}, {choice(setting)}; a bench must give it.")
        if self.sized:
            page.line(f"  Shown in a slot of {SHOWN_SIZE:#x} bytes.")
        port = port_text(self.model)
        if port:
            least = self.model.least_wait
            page.title("Bus port")
            waits = f"the slot needs wait = {least} or more" if least else "wait = 0 is allowed"
            page.line(f"  {port[0].upper()}{port[1:]}; {waits}.")
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
        rows = [row for register in self.table for row in register_rows(register)]
        page.table(rows, head=head)
        used = {field.access or one.access for one in self.table for field in one.fields}
        page.line()
        page.table((name, text) for name, text in ACCESS_TYPES.items() if name in used)

    def _pins(self, page: Paper) -> None:
        page.title("Pins" if self.pins else "Pins: none")
        page.table(pin_rows(self.pins))

    def _settings(self, page: Paper) -> None:
        settings = self.model.settings
        page.title("Settings" if settings else "Settings: none")
        page.table((one.name, value_range(one), value_default(one), one.text) for one in settings)


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
