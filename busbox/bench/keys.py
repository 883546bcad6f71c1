"""Every key of a bench file in order, with type, unit, default, example and meaning.

The declarations are those that check a bench: the :class:`~busbox.basics.keys.Key` of a table's fields
and the :class:`~busbox.device.Setting` of models and attachments.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from pydantic.fields import FieldInfo

from busbox.basics.errors import InputError, join_or
from busbox.basics.keys import Key
from busbox.basics.units import Span
from busbox.bench import core
from busbox.bench.schema import TABLES, BenchTable
from busbox.bench.table import Table
from busbox.bench.traffic import KEYS as TRAFFIC_KEYS
from busbox.device import REQUIRED, Setting
from busbox.findings.expectation_keys import KEYS as EXPECT_KEYS
from busbox.lines.profiles import KEYS as PROFILE_KEYS
from busbox.plugins import ATTACHMENTS, DEVICES, Kind, entries


@dataclass(frozen=True)
class BenchKey:
    """One key as a reader sees it.

    Attributes
    ----------
    table : e.g. ``[slot.NAME]``; "" for the keys at the top of the file
    owner : the model or kind of attachment whose setting it is, the kind of expectation, or ""
    name : the key
    kind : its type, described
    unit : what a plain number counts, or ""
    default : the default, as a bench writes it or described; "" if the key is required or has none
    example : a valid value, as a bench writes it
    text : what it means, one sentence
    required : whether it must be given
    """

    table: str
    owner: str
    name: str
    kind: str
    unit: str
    default: str
    example: str
    text: str
    required: bool


#: The tables of a core.
CORE_KEYS: Mapping[str, Mapping[str, Key]] = {
    "core": core.KEYS,
    "core.memory": core.MEMORY_KEYS,
    "core.clocks": core.CLOCK_KEYS,
    "core.interrupt": core.LINE_KEYS,
}
#: How the head of each table is written.
HEADS: Mapping[str, str] = {
    "fabric": "[fabric]",
    "slot": "[slot.NAME]",
    "attach": "[attach.NAME]",
    "profile": "[profile.NAME]",
    "traffic": "[traffic]",
    "core": "[core]",
    "core.memory": "[[core.memory]]",
    "core.clocks": "[core.clocks]",
    "core.interrupt": "[core.interrupt]",
    "input": "[[input]]",
    "reset": "[[reset]]",
    "wire": "[[wire]]",
    "reply": "[[reply]]",
    "expect": "[[expect]]",
}


def bench_keys() -> Iterator[BenchKey]:
    """Yield every key, table by table in the order of :data:`HEADS`, the top of the file first.

    The settings of every model and kind of attachment that loads, plug-ins' too, follow their table.
    """
    yield from _of_table("", BenchTable)
    for name, head in HEADS.items():
        if name == "traffic":
            yield from _of_keys(head, "", TRAFFIC_KEYS)
        elif name == "profile":
            yield from _of_keys(head, "", PROFILE_KEYS)
        elif name in CORE_KEYS:
            yield from _of_keys(head, "", CORE_KEYS[name])
        else:
            yield from _of_table(head, TABLES[name])
        if name == "slot":
            yield from _of_settings(head, DEVICES)
        if name == "attach":
            yield from _of_settings(head, ATTACHMENTS)
        if name == "expect":
            for kind, keys in EXPECT_KEYS.items():
                yield from _of_keys(head, kind, keys)


def declared_settings(kind: Kind) -> Iterator[tuple[str, tuple[Setting, ...]]]:
    """Yield the name and the settings of every model, or kind of attachment, that loads."""
    for entry in entries(kind):
        try:
            yield entry.name, tuple(entry.load().settings)
        except InputError:  # `busbox list` names it, with the reason
            continue


def toml(value: object) -> str:
    """Return a value of a bench as TOML writes it.

    Raises
    ------
    TypeError : no value of a bench is of that type
    """
    match value:
        case bool():
            return str(value).lower()
        case int():
            return str(value)
        case float():
            return str(value)
        case str():
            return f"'{value}'"
        case list() | tuple():
            return f"[{', '.join(map(toml, value))}]"
    raise TypeError(f"no value of a bench: {value!r}")


def _word(value: Any) -> str:
    """Return a word of a register: a large one in hexadecimal."""
    return f"{value:#x}" if value > 0xFFFF else str(value)


def _of_table(head: str, table: type[Table]) -> Iterator[BenchKey]:
    fields = {field.alias or name: field for name, field in table.model_fields.items()}
    for name, key in table.declared().items():
        required = fields[name].is_required()
        default = key.default or ("" if required else _default(fields[name]))
        yield _described(head, "", name, key, default, required)


def _default(field: FieldInfo) -> str:
    value = field.get_default(call_default_factory=False)
    if isinstance(value, Span):
        return str(value.cycles) if value.cycles is not None else toml(str(value))
    return "" if value is None else toml(value)


def _of_keys(head: str, owner: str, keys: Mapping[str, Key]) -> Iterator[BenchKey]:
    for name, key in keys.items():
        yield _described(head, owner, name, key, key.default, key.required)


def _described(
    head: str, owner: str, name: str, key: Key, default: str, required: bool
) -> BenchKey:
    return BenchKey(head, owner, name, key.kind, key.unit, default, key.example, key.text, required)


def _of_settings(head: str, kind: Kind) -> Iterator[BenchKey]:
    for owner, settings in declared_settings(kind):
        for setting in settings:
            required = setting.default is REQUIRED
            empty = required or setting.default is None
            write = _word if setting.kind == "int" and not setting.unit else toml
            yield BenchKey(
                head, owner, setting.name, _setting_kind(setting), setting.unit,
                "" if empty else write(setting.default), write(_example(setting)), setting.text,
                required,
            )  # fmt: skip


#: Descriptions of the kinds of settings; those of numbers and choices give their range.
_KINDS: Mapping[str, str] = {
    "text": "a string",
    "path": "the name of a file",
    "time": "a time with s, ms, us, ns or ps, or whole cycles",
    "times": "a list of times such as '2 ms'",
    "current": "a number with A, mA or uA",
}
_EXAMPLES: Mapping[str, Any] = {
    "text": "NAME", "path": "NAME.bin", "time": "2 ms", "times": ["2 ms", "5 ms"],
    "current": "20 mA",
}  # fmt: skip


def _setting_kind(setting: Setting) -> str:
    if setting.choices:
        return join_or(map(repr, setting.choices))
    if setting.kind == "number":
        return f"a number from {setting.low:g} to {setting.high:g}"
    return _KINDS.get(setting.kind) or setting.numbers


def _example(setting: Setting) -> Any:
    for value in (setting.example, *setting.choices[-1:]):
        if value is not None:
            return value
    if setting.kind in _EXAMPLES:
        usual = setting.default in (None, REQUIRED, ()) or setting.kind != "text"
        return _EXAMPLES[setting.kind] if usual else setting.default
    given = setting.default in (None, REQUIRED)
    return max(1, setting.low) if given else setting.default
