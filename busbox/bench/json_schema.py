"""The JSON Schema of a bench file, for editors, from the declarations that check it.

Source: JSON Schema, draft 7, the one that editors of TOML know. It accepts every bench file that
the check accepts; what depends on more than one key (overlaps, names of slots) only the check knows.
Loaded late: it needs pydantic.
"""

from __future__ import annotations

import json
import tomllib
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from pydantic.json_schema import GenerateJsonSchema

from busbox.basics.keys import Key
from busbox.basics.units import CURRENT_PATTERN, TIME_PATTERN, UNIT_TIME_PATTERN, Span
from busbox.bench import core
from busbox.bench.attachments import AttachTable
from busbox.bench.host_driver import LONGEST
from busbox.bench.schema import TABLES, BenchTable
from busbox.bench.slots import SlotTable
from busbox.bench.traffic import KEYS as TRAFFIC_KEYS
from busbox.core.machine import MEMORIES
from busbox.device import REQUIRED, Setting
from busbox.findings.expectation_keys import COUNTS, TEXTS
from busbox.findings.expectation_keys import KEYS as EXPECT_KEYS
from busbox.formats.waveform.kinds import BUS_KINDS, DATA, WIDTHS
from busbox.formats.waveform.signal_map import ADDRESS_STEPS
from busbox.lines.profiles import KEYS as PROFILE_KEYS
from busbox.lines.profiles import WINDOWS
from busbox.plugins import ATTACHMENTS, DEVICES, FORMATS, SOURCES, Kind, find, names

#: The name of the file that benches refer to.
FILE = "bench.schema.json"
DRAFT = "http://json-schema.org/draft-07/schema#"

Schema = dict[str, Any]

_TEXT: Schema = {"type": "string"}
_IN_FILE: Schema = {"type": "string", "pattern": r"\.py:\w+$"}
_TIME: Schema = {"type": ["integer", "string"], "minimum": 0, "pattern": TIME_PATTERN}
_UNIT_TIME: Schema = {"type": "string", "pattern": UNIT_TIME_PATTERN}
_COUNT: Schema = {"type": "integer", "minimum": 0}
_KINDS: Mapping[str, Schema] = {
    "text": {"type": "string", "minLength": 1},
    "path": {"type": "string", "minLength": 1},
    "time": _TIME,
    "times": {"type": "array", "items": _TIME},
    "current": {"type": "string", "pattern": CURRENT_PATTERN},
}


class _Generator(GenerateJsonSchema):
    schema_dialect = DRAFT

    def encode_default(self, dft: Any) -> Any:
        """Return a default as a bench file has it."""
        if isinstance(dft, Span):
            return str(dft) if dft.cycles is None else dft.cycles
        return super().encode_default(dft)


def bench_schema(plug_ins: bool = True) -> Schema:
    """Return the JSON Schema of a bench file.

    Parameters
    ----------
    plug_ins : whether it includes what installed packages add
    """
    raw = BenchTable.model_json_schema(
        by_alias=True, ref_template="#/definitions/{model}", schema_generator=_Generator
    )
    schema: Schema = _tidy(raw)
    tables = schema["definitions"] = schema.pop("$defs")
    _describe(schema["properties"], BenchTable.declared())
    for table in TABLES.values():
        if table.__name__ in tables:
            _describe(tables[table.__name__]["properties"], table.declared())
    schema["properties"]["supply"] |= _KINDS["current"]
    slot = tables["SlotTable"]
    slot["properties"]["compare"] |= _TEXT
    _name_settings(slot, "model", SlotTable.keys(), DEVICES, plug_ins)
    _name_settings(tables["AttachTable"], "kind", AttachTable.keys(), ATTACHMENTS, plug_ins)
    tables["ExpectTable"] |= {"minProperties": 1, "maxProperties": 1}
    for kind, keys in _expectations().items():
        tables["ExpectTable"]["properties"][kind] |= keys
    schema["properties"]["rules"]["items"] = _TEXT
    schema["properties"]["variant"]["description"] = (
        "[variant.NAME]: keys of the bench and other values for them, for --variant NAME."
    )
    schema["properties"]["profile"]["additionalProperties"] = _profile()
    schema["properties"]["traffic"] |= _traffic(plug_ins)
    schema["properties"]["core"] |= _core()
    return {"$schema": DRAFT, "title": "A bench of Busbox"} | schema


def schema_text(schema: Schema) -> str:
    """Return a schema as the text of its file, in ASCII."""
    return f"{json.dumps(schema, indent=1)}\n"


def _describe(properties: dict[str, Schema], keys: Mapping[str, Key]) -> None:
    """Put text and example of each key into its schema."""
    for name, key in keys.items():
        unit = f" Unit of a plain number: {key.unit}." if key.unit else ""
        properties[name]["description"] = f"{key.text}{unit}"
        if key.example:
            properties[name]["examples"] = [tomllib.loads(f"value = {key.example}")["value"]]


def _tidy(part: Any) -> Any:
    """Return a schema without titles, and with a reference beside other words as draft 7 has it."""
    if isinstance(part, list):
        return [_tidy(item) for item in part]
    if not isinstance(part, dict):
        return part
    tidy: Schema = {}
    for name, value in part.items():
        if name == "properties":
            tidy[name] = {key: _without_null(_tidy(inner)) for key, inner in value.items()}
        elif name not in ("title", "description"):
            tidy[name] = _tidy(value)
    if len(tidy) > 1 and "$ref" in tidy:  # draft 7 ignores what is beside a reference
        tidy["allOf"] = [{"$ref": tidy.pop("$ref")}]
    return tidy


def _without_null(declared: Schema) -> Schema:
    """Return the schema of a key without ``null``, which TOML does not have."""
    ways = [way for way in declared.get("anyOf", ()) if way != {"type": "null"}]
    if declared.get("default", 0) is None:
        del declared["default"]
    if len(ways) != 1:
        return declared
    del declared["anyOf"]
    return {**ways[0], **declared}


def _names(kind: Kind, plug_ins: bool) -> list[str]:
    return list(names(kind) if plug_ins else kind.built_in)


def _name_settings(
    table: Schema, key: str, keys: Sequence[str], kind: Kind, plug_ins: bool
) -> None:
    """Let the key that names a class choose which settings the table may have."""
    known = _names(kind, plug_ins)
    table["properties"][key] |= {"anyOf": [{"enum": known}, _IN_FILE]}
    table["allOf"] = [
        {
            "if": {"properties": {key: {"const": name}}, "required": [key]},
            "then": _settings(find(kind, name).settings, keys),
        }
        for name in known
    ]


def _settings(settings: Sequence[Setting], keys: Sequence[str]) -> Schema:
    return {
        "properties": {setting.name: _setting(setting) for setting in settings},
        "propertyNames": {"enum": [*keys, *(setting.name for setting in settings)]},
        "required": [setting.name for setting in settings if setting.default is REQUIRED],
    }


def _setting(setting: Setting) -> Schema:
    found: Schema = dict(_KINDS.get(setting.kind, {}))
    if setting.kind in ("int", "number"):
        kind = "integer" if setting.kind == "int" else "number"
        found |= {"type": kind, "minimum": setting.low, "maximum": setting.high}
    elif setting.choices:
        found = {"enum": list(setting.choices)}
    if setting.default is not REQUIRED and setting.default is not None:
        found["default"] = setting.default
    if setting.example is not None:
        found["examples"] = [setting.example]
    unit = f", in {setting.unit}" if setting.unit else ""
    return found | ({"description": f"{setting.text}{unit}"} if setting.text else {})


def _table(
    keys: Mapping[str, Key],
    required: Mapping[str, Schema],
    other: Mapping[str, Schema],
    one_of: Iterable[str] = (),
) -> Schema:
    """Return the schema of a table with these keys and no others; ``one_of``: exactly one."""
    properties = {name: dict(schema) for name, schema in {**required, **other}.items()}
    _describe(properties, keys)
    found: Schema = {
        "type": "object",
        "properties": properties,
        "required": list(required),
        "additionalProperties": False,
    }
    ways = list(one_of)
    return found | ({"oneOf": [{"required": [way]} for way in ways]} if ways else {})


def _expectations() -> dict[str, Schema]:
    """Return the schema of each kind of ``[[expect]]``."""
    of, counts = {"of": _TEXT}, dict.fromkeys(COUNTS, _COUNT)
    level: dict[str, Schema] = {"pin": _TEXT, "is": {"enum": [0, 1]}}
    colour = {"type": "string", "pattern": "^([0-9a-fA-F]{6}|[0-9a-fA-F]{8})$"}
    colours: dict[str, Schema] = {**of, "are": {"type": "array", "items": colour}}
    ways: Mapping[str, tuple[Mapping[str, Schema], Mapping[str, Schema], Iterable[str]]] = {
        "text": (of, dict.fromkeys(TEXTS, _TEXT), TEXTS),
        "level": (level, {"at": _TIME}, ()),
        "frames": (of, counts, COUNTS),
        "colours": (colours, {"frame": {"type": "integer"}}, ()),
        "findings": ({"rule": _TEXT}, counts, COUNTS),
        "cycles": ({}, {**of, **counts}, COUNTS),
        "errors": ({}, {**of, **counts}, COUNTS),
        "answered": ({"address": {**_word(), "multipleOf": 4}, "by": _TEXT}, {}, ()),
        "register": ({**of, "is": _COUNT}, {}, ()),
    }
    return {kind: _table(EXPECT_KEYS[kind], *way) for kind, way in ways.items()}


def _profile() -> Schema:
    window = {"type": "array", "items": _UNIT_TIME, "minItems": 1, "maxItems": 2}
    windows = dict.fromkeys(WINDOWS, window) | {"gap": _UNIT_TIME}
    order = {"type": "string", "pattern": "^[RGBW]{3,4}$"}
    others = {"order": order, "source": _TEXT, "channel_current": _KINDS["current"]}
    return _table(PROFILE_KEYS, windows, others)


def _word(low: int = 0, high: int = 0xFFFFFFFF) -> Schema:
    return {"type": "integer", "minimum": low, "maximum": high}


def _core() -> Schema:
    """Return what ``[core]`` holds."""
    pins: Schema = {"anyOf": [_TEXT, {"type": "array", "items": _TEXT}]}
    clocks: Schema = _word(0, core.MOST_CLOCKS)
    memory = _table(
        core.MEMORY_KEYS,
        {"at": _word(), "size": _word(4, core.MOST_BYTES)},
        {"clocks": clocks, "fill": _word(), "writable": {"type": "boolean"}},
    )
    table = _table(core.CLOCK_KEYS, {}, dict.fromkeys(core.CLOCK_KEYS, clocks))
    lines = _table(core.LINE_KEYS, {}, dict.fromkeys(core.LINE_KEYS, pins))
    words: dict[str, Schema] = {
        name: {"enum": list(choices)} for name, choices in core.CHOICES.items()
    }
    return _table(
        core.KEYS,
        {},
        words
        | {
            "memory": {"type": "array", "items": memory, "minItems": 1, "maxItems": MEMORIES},
            "start": _word(),
            "clocks": {"anyOf": [_word(1, core.MOST_CLOCKS), table]},
            "access_at": clocks,
            "interrupt": {"anyOf": [*pins["anyOf"], lines]},
        },
    )


def _signals() -> Schema:
    """Return what ``[traffic.signals]`` holds: the keys of one kind of bus."""
    names: Schema = {"anyOf": [_TEXT, {"type": "array", "items": _TEXT, "minItems": 1}]}
    others: Schema = {
        "address_step": {"enum": list(ADDRESS_STEPS)},
        "data_width": {"enum": list(WIDTHS[DATA])},
    }
    return {
        "type": "object",
        "properties": {"kind": {"enum": list(BUS_KINDS)}},
        "required": ["kind"],
        "allOf": [
            {
                "if": {"properties": {"kind": {"const": kind.name}}},
                "then": {
                    "properties": {
                        key: others.get(key, True if key == "kind" else names)
                        for key in kind.keys()  # noqa: SIM118
                    },
                    "additionalProperties": False,
                },
            }
            for kind in BUS_KINDS.values()
        ],
    }


def _traffic(plug_ins: bool) -> Schema:
    """Return what ``[traffic]`` holds: a file, or a source with its settings."""
    known = _names(SOURCES, plug_ins)
    a_format = {"anyOf": [{"enum": _names(FORMATS, plug_ins)}, _IN_FILE]}
    file_keys = {name: key for name, key in TRAFFIC_KEYS.items() if name != "source"}
    pace: Schema = {"type": "number", "exclusiveMinimum": 0, "maximum": LONGEST}
    texts = {"type": "array", "items": _TEXT}
    others = {"format": a_format, "at": _word(), "idle": _word(), "patience": pace,
              "harmless": texts, "covers": texts, "move": {"type": "boolean"}}  # fmt: skip
    file = _table(file_keys, {"file": _TEXT}, {**others, "signals": _signals()})
    source: Schema = {
        "type": "object",
        "properties": {"source": {"anyOf": [{"enum": known}, _IN_FILE] if known else [_IN_FILE]}},
        "required": ["source"],
    }
    _describe(source["properties"], {"source": TRAFFIC_KEYS["source"]})
    if known:
        source["allOf"] = [
            {
                "if": {"properties": {"source": {"const": name}}},
                "then": _settings(find(SOURCES, name).settings, ("source",)),
            }
            for name in known
        ]
    return {"anyOf": [file, source]}
