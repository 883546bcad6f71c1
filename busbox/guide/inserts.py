"""What pages take from the code: one function for each ``{{NAME}}``, which returns Markdown."""

from __future__ import annotations

import inspect
from collections.abc import Callable, Iterable, Mapping
from functools import partial
from importlib import import_module
from importlib.resources import files

from busbox.basics.limits import LIMITS
from busbox.basics.pages import first_paragraph, page_of
from busbox.bus.transfers import TERMINATORS
from busbox.cpu.bus import Bus
from busbox.device import Field, Pin, Register, RegisterModel, Setting
from busbox.findings.expectation_keys import KEYS as EXPECT_KEYS
from busbox.findings.pages import own_pages
from busbox.formats.waveform.kinds import BUS_KINDS, CLOCK, CYCLE, RESET
from busbox.guide.bench_keys import all_tables, keys_of
from busbox.guide.commands import verbs
from busbox.guide.markdown import (
    attributes,
    code,
    escaped,
    keywords,
    page_of_docstring,
    table,
)
from busbox.lines.profiles import PROFILES, WINDOWS
from busbox.map.registers import ACCESS_TYPES
from busbox.plugins import ATTACHMENTS, DEVICES, EXPORTS, KINDS, Kind, find
from busbox.recording import COLUMNS, Accesses, Recording
from busbox.variants.measures import BUILT_IN as MEASURES
from busbox.variants.measures import WITH_PARTS


def _things(kind: Kind) -> str:
    """Return what comes with Busbox of a kind, each with its first sentence."""
    rows = [
        (f"[{code(name)}](#{name})", escaped(first_paragraph(page_of(find(kind, name)))))
        for name in kind.built_in
    ]
    return table(("Name", "What it is"), rows)


def _bus_kinds() -> str:
    """Return the kinds of bus that can be imported, each with its signals."""
    parts = []
    for kind in BUS_KINDS.values():
        rows = [
            (code(role.name), escaped(role.text), "yes" if role.required else "")
            for role in kind.roles
        ]
        signals = table(("Key", "Signal", "Required"), rows)
        parts.append(f"### {kind.name}\n\n{escaped(kind.text)}\n\n{signals}")
    others = [(code(role.name), escaped(role.text)) for role in (CLOCK, CYCLE, RESET)]
    every = table(("Key", "Signal"), others)
    parts.append(f"### Clock and reset\n\nFor every kind with a clock.\n\n{every}")
    return "\n\n".join(parts)


def _exports() -> str:
    rows = [
        (code(name), escaped(first_paragraph(page_of(find(EXPORTS, name)))))
        for name in EXPORTS.built_in
    ]
    return table(("Export", "What it writes"), rows)


def _limits() -> str:
    rows = [(code(one.variable), f"{one.value:,} {one.unit}", escaped(one.text)) for one in LIMITS]
    return table(("Variable", "Limit", "Of what"), rows)


def _rules() -> str:
    rows = [
        (f"[{code(rule)}](#{rule})", escaped(first_paragraph(page)))
        for rule, page in own_pages().items()
    ]
    return table(("Rule", "What is wrong"), rows)


def _keywords(declared: type) -> str:
    rows = [(_codes(names), default, escaped(text)) for names, default, text in keywords(declared)]
    return table(("Keyword", "Default", "Meaning"), rows)


def _codes(names: Iterable[str]) -> str:
    return ", ".join(map(code, names))


def _rights() -> str:
    return table(("Access", "Meaning"), [(code(name), text) for name, text in ACCESS_TYPES.items()])


def _hooks() -> str:
    return page_of_docstring(
        page_of(RegisterModel).partition("\n\n")[2].partition("\nAttributes\n")[0]
    )


def _docstring(module: str) -> str:
    """Return the docstring of a module without its first paragraph, its first title and its index."""
    page = (
        page_of(import_module(module))
        .partition("\n\n")[2]
        .partition("\nWhat the modules hold\n")[0]
    )
    return (
        page_of_docstring(page)
        .removeprefix("## Contract\n")
        .removeprefix("## The cycle semantics\n")
    )


def _columns() -> str:
    rows = [
        (_codes(names), _codes(dict.fromkeys(COLUMNS[name] for name in names)), escaped(text))
        for names, text in attributes(Accesses)
    ]
    return table(("Column", "Type", "Meaning"), rows)


def _recording() -> str:
    rows = [(_codes(names), escaped(text)) for names, text in attributes(Recording)]
    return table(("Attribute", "What it holds"), rows)


def _terminators() -> str:
    numbers = ", ".join(f"{number} {name}" for number, name in enumerate(TERMINATORS))
    return f"A `terminator` is a number: {numbers}."


def _bus() -> str:
    """Return the methods of the bus as a driver sees it: call and first paragraph of each."""
    listed = []
    for name, member in vars(Bus).items():
        text = escaped(first_paragraph(page_of(member)))
        if isinstance(member, property):
            listed.append(f"- {code(f'bus.{name}')}: {text}")
        elif inspect.isfunction(member) and not name.startswith("_"):
            listed.append(f"- {code(f'bus.{name}({_parameters(member)})')}: {text}")
    return "\n".join(listed)


def _parameters(function: Callable[..., object]) -> str:
    """Return the parameters of a function except the first, without types."""
    shown = []
    for parameter in list(inspect.signature(function).parameters.values())[1:]:
        name, default = parameter.name, parameter.default
        if name != "place":
            given = "" if default is parameter.empty else f"={_default(name, default)}"
            shown.append(f"{name}{given}")
    return ", ".join(shown)


def _default(name: str, value: object) -> str:
    if name == "lanes":
        return f"{value:#b}"
    if name == "mask":
        return f"{value:#x}"
    return f"{value:_}" if isinstance(value, int) else str(value)


def _profiles() -> str:
    """Return the windows of every profile, then the source of each."""
    rows = [
        (f"**{name}**", *(str(getattr(profile, key)) for key in WINDOWS))
        for name, profile in PROFILES.items()
    ]
    heads = [text.capitalize() for text in WINDOWS.values()]
    sources = [f"- {name}: {escaped(profile.source)}" for name, profile in PROFILES.items()]
    return "\n\n".join([table(("Profile", *heads), rows), "Sources:", "\n".join(sources)])


def _kinds() -> str:
    rows = [
        (
            f"{kind.word} ({code(f'busbox list {name}')})",
            code(kind.group),
            code(f"file.py:{kind.in_file.capitalize()}") if kind.in_file else "no",
        )
        for name, kind in KINDS.items()
    ]
    return table(("What", "Entry points", "In a file"), rows)


def _template() -> str:
    text = files("busbox.cli").joinpath("templates", "bench", "gate.py").read_text(encoding="utf-8")
    return f"```python\n{text}```"


def _measures() -> str:
    """Return what a sweep measures, as a list."""
    lines = []
    for one in MEASURES:
        unit = f" ({one.unit})" if one.unit else ""
        lines.append(f"- {code(one.name)}: {escaped(one.text)}{unit}.")
    lines += ["", "With a part after the name:", ""]
    for name, (parts, text) in WITH_PARTS.items():
        forms = " or ".join(code(f"{name}.{part}") for part in parts.split(" or "))
        lines.append(f"- {forms}: {escaped(text)}.")
    lines.append("- `margins`: every window of every profile of every lamp string.")
    return "\n".join(lines)


INSERTS: Mapping[str, Callable[[], str]] = {
    "models": partial(_things, DEVICES),
    "attachments": partial(_things, ATTACHMENTS),
    "rules": _rules,
    "register": partial(_keywords, Register),
    "field": partial(_keywords, Field),
    "pin": partial(_keywords, Pin),
    "setting": partial(_keywords, Setting),
    "access-kinds": _rights,
    "hooks": _hooks,
    "model-contract": partial(_docstring, "busbox.device.contract"),
    "hardware-contract": partial(_docstring, "busbox.bus.hardware"),
    "attachment-contract": partial(_docstring, "busbox.board.attachment"),
    "semantics": partial(_docstring, "busbox.bus"),
    "first-model": _template,
    "bus": _bus,
    "columns": _columns,
    "terminators": _terminators,
    "recording": _recording,
    "exports": _exports,
    "limits": _limits,
    "bus-kinds": _bus_kinds,
    "profiles": _profiles,
    "kinds": _kinds,
    "verbs": verbs,
    "measures": _measures,
    "bench-keys": all_tables,
    "profile-keys": partial(keys_of, "profile"),
    **{f"expect-{kind}": partial(keys_of, "expect", kind) for kind in EXPECT_KEYS},
}
