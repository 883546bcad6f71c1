"""Every key of a bench file, from the tables that check them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any, Literal, get_args, get_origin

from pydantic import BeforeValidator
from pydantic.fields import FieldInfo

from busbox.basics.units import without_subject
from busbox.bench.attachments import AttachTable
from busbox.bench.fabric import FabricTable
from busbox.bench.inputs import InputTable
from busbox.bench.replies import ReplyTable
from busbox.bench.resets import ResetTable
from busbox.bench.schema import BenchTable
from busbox.bench.slots import SlotTable
from busbox.bench.table import Table
from busbox.bench.wires import WireTable
from busbox.guide.markdown import code, escaped

#: The tables whose keys are listed here, by their heading; others have a topic of their own.
TABLES: Mapping[str, type[Table]] = {
    "Keys at the top of the file": BenchTable,
    "[fabric]": FabricTable,
    "[slot.NAME]": SlotTable,
    "[attach.NAME]": AttachTable,
    "[[input]]": InputTable,
    "[[wire]]": WireTable,
    "[[reply]]": ReplyTable,
    "[[reset]]": ResetTable,
}

_PLAIN: Mapping[object, str] = {str: "a text", bool: "true or false", dict: "a table"}


def bench_keys() -> str:
    """Return the keys of every table as Markdown."""
    blocks = []
    for heading, table in TABLES.items():
        tables = {key for key, part in table.model_fields.items() if _is_table(part)}
        keys = (
            _key(table, part.alias or name, part)
            for name, part in table.model_fields.items()
            if name not in tables and name != "traffic"
        )
        blocks += [f"## {heading}", "\n".join(keys)]
    return "\n\n".join(blocks)


def _is_table(part: FieldInfo) -> bool:
    """Return whether a key holds tables with keys of their own."""
    inner = [part.annotation, *get_args(part.annotation)]
    return any(isinstance(kind, type) and issubclass(kind, Table) for kind in inner) or (
        get_origin(part.annotation) is dict
    )


def _key(table: type[Table], name: str, part: FieldInfo) -> str:
    kind = table.expected.get(name) or " or ".join(dict.fromkeys(_kinds(part)))
    facts = [kind] if kind else []
    if part.is_required():
        facts.append("required")
    elif part.default is not None and part.default_factory is None:
        facts.append(f"default {code(_toml(part.default))}")
    example = table.examples.get(name)
    shown = f" Example: {code(f'{name} = {example}')}." if example else ""
    return f"- {code(name)}: {escaped('; '.join(facts))}.{shown}"


def _toml(value: object) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    return f'"{value}"' if isinstance(value, str) or " " in str(value) else str(value)


def _kinds(part: Any) -> Iterator[str]:
    """Yield what a key may be, in words: those of its check, or of its type."""
    marks: Any = getattr(part, "metadata", None) or getattr(part, "__metadata__", ())
    for mark in marks:
        if isinstance(mark, BeforeValidator):
            yield _wanted(mark.func)
    kind = part.annotation if isinstance(part, FieldInfo) else part
    if get_origin(kind) is Literal:
        yield " or ".join(f'"{choice}"' for choice in get_args(kind))
    elif kind in _PLAIN:
        yield _PLAIN[kind]
    else:
        for inner in get_args(kind):
            yield from _kinds(inner)


def _wanted(check: Any) -> str:
    """Return what a check asks for: the words with which it refuses None."""
    try:
        check(None)
    except ValueError as error:
        return without_subject(error).removeprefix("must be ").removesuffix(", not None")
    raise TypeError(f"{check!r} must refuse None")
