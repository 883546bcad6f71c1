"""The keys of a bench file, and what is wrong with them. Loaded late: it needs pydantic."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated, Any, Literal

from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    ValidationError,
)

from busbox.address_map import parse_bits
from busbox.errors import nearest, one_of, shown
from busbox.units import Span, parse_clock, parse_span

Path = tuple[str | int, ...]


class _Keys(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True, arbitrary_types_allowed=True)


def _compare(value: object) -> frozenset[int]:
    if not isinstance(value, str):
        raise ValueError(f"must be ranges and bits such as '31..28, 5', not {shown(value)}")
    try:
        return parse_bits(value)
    except ValueError as error:
        raise ValueError(str(error).removeprefix("compare ")) from None


SpanText = Annotated[Any, BeforeValidator(parse_span)]
Positive = Annotated[int, Field(ge=1, le=1 << 40)]
Address = Annotated[int, Field(ge=0, le=(1 << 32) - 1)]


class FabricKeys(_Keys):
    """``[fabric]``."""

    unanswered: Literal["error", "silence"] = "error"
    watchdog: Positive | None = None
    registered_decode: bool = False


class SlotKeys(_Keys):
    """``[slot.NAME]``; what is not named here is a setting of the model."""

    model_config = ConfigDict(extra="allow", strict=True, arbitrary_types_allowed=True)

    model: Any
    base: Address
    size: Annotated[int, Field(ge=4, le=1 << 32)]
    compare: Annotated[Any, BeforeValidator(_compare)] = None
    decode: Literal["full", "range"] | None = None
    wait: Annotated[int, Field(ge=0, le=65_535)] = 1
    yields_to: list[str] = Field(default_factory=list)


class InputKeys(_Keys):
    """``[[input]]``."""

    at: SpanText
    pin: str
    level: Annotated[int, Field(ge=0, le=1)]


class ResetKeys(_Keys):
    """``[[reset]]``."""

    at: SpanText
    length: Positive = 1


class BenchKeys(_Keys):
    """The whole file."""

    clock: Annotated[Any, BeforeValidator(parse_clock)]
    settle: SpanText = Span(seconds=parse_span("1 s").seconds)
    hang_after: SpanText = Span(cycles=1_000_000)
    after_reset: Literal["restart", "continue"] = "restart"
    fabric: FabricKeys = Field(default_factory=FabricKeys)
    slot: dict[str, SlotKeys] = Field(default_factory=dict)
    traffic: Any = None
    input: list[InputKeys] = Field(default_factory=list)
    reset: list[ResetKeys] = Field(default_factory=list)


#: Keys of a slot that no setting of a model may be called.
SLOT_KEYS = (*SlotKeys.model_fields, "as")


@dataclass(frozen=True)
class Checked:
    """What is good in a bench, and what is not.

    Attributes
    ----------
    keys : the checked keys; what is wrong has been left out, or has its default
    broken : paths of the keys, slots and items that were left out
    inputs, resets : for every one that is left, its number in the bench
    mistakes : (path, what is wrong) for every mistake
    """

    keys: BenchKeys
    broken: frozenset[Path]
    inputs: tuple[int, ...]
    resets: tuple[int, ...]
    mistakes: tuple[tuple[Path, str], ...]


def check_keys(data: Mapping[str, Any]) -> Checked:
    """Check the keys of a bench."""
    good = {key: _copy(value) for key, value in data.items()}
    mistakes: list[tuple[Path, str]] = []
    broken: set[Path] = set()
    try:
        keys = BenchKeys.model_validate(good)
    except ValidationError as error:
        for detail in error.errors(include_url=False):
            path = tuple(detail["loc"])
            mistakes.append((path, _text(detail["type"], path, detail)))
            broken.add(_left_out(path, detail["type"]))
        keys = BenchKeys.model_validate(_without(good, broken))

    def left(key: str) -> tuple[int, ...]:
        given = data.get(key)
        count = len(given) if isinstance(given, list) else 0
        return tuple(number for number in range(count) if (key, number) not in broken)

    return Checked(keys, frozenset(broken), left("input"), left("reset"), tuple(mistakes))


def _copy(value: Any) -> Any:
    if isinstance(value, Mapping):
        return dict(value)
    return list(value) if isinstance(value, list) else value


def _left_out(path: Path, kind: str) -> Path:
    """Return what must be left out because of a mistake at ``path``."""
    if kind == "extra_forbidden" or path[0] not in ("slot", "input", "reset"):
        return path
    return path[:2]


def _without(keys: dict[str, Any], broken: set[Path]) -> dict[str, Any]:
    """Return the keys without what is broken; a clock there must be."""
    for path in sorted(broken, key=str, reverse=True):
        holder: Any = keys
        for part in path[:-1]:
            holder[part] = holder = _copy(holder[part])
        if isinstance(holder, dict):
            holder.pop(path[-1], None)
    for key in ("input", "reset"):
        if isinstance(keys.get(key), list):
            keys[key] = [
                item for number, item in enumerate(keys[key]) if (key, number) not in broken
            ]
    keys.setdefault("clock", "1 MHz")
    return keys


_MODELS: dict[str, type[_Keys]] = {
    "fabric": FabricKeys,
    "slot": SlotKeys,
    "input": InputKeys,
    "reset": ResetKeys,
}
#: What a key must be, by its path with the names and numbers of slots and items as ``*``.
_EXPECTED: dict[Path, str] = {
    ("fabric",): "a table, [fabric]",
    ("fabric", "watchdog"): f"a whole number of cycles from 1 to {1 << 40}",
    ("fabric", "registered_decode"): "true or false",
    ("slot",): "tables, [slot.NAME]",
    ("slot", "*"): "a table, [slot.NAME]",
    ("slot", "*", "base"): "a whole number from 0 to 0xffffffff",
    ("slot", "*", "size"): "a whole number from 4 to 0x100000000",
    ("slot", "*", "wait"): "a whole number from 0 to 65535",
    ("slot", "*", "yields_to"): 'a list of slot names such as ["levers"]',
    ("slot", "*", "yields_to", "*"): "the name of a slot",
    ("input",): "a list of tables, [[input]]",
    ("input", "*"): "a table, [[input]]",
    ("input", "*", "pin"): "a text such as 'levers.in.4'",
    ("input", "*", "level"): "0 or 1",
    ("reset",): "a list of tables, [[reset]]",
    ("reset", "*"): "a table, [[reset]]",
    ("reset", "*", "length"): f"a whole number of cycles from 1 to {1 << 40}",
}
_EXAMPLES: dict[Path, str] = {
    ("clock",): "'16 MHz'",
    ("slot", "*", "model"): "'gpio'",
    ("slot", "*", "base"): "0x4000_0000",
    ("slot", "*", "size"): "0x1000",
    ("input", "*", "at"): "'40 us'",
    ("input", "*", "pin"): "'levers.in.4'",
    ("input", "*", "level"): "1",
    ("reset", "*", "at"): "'40 us'",
}


def _text(kind: str, path: Path, detail: Any) -> str:
    """Return what is wrong, in words of our own."""
    found, context = detail["input"], detail.get("ctx", {})
    pattern = tuple(
        "*" if isinstance(part, int) or (place == 1 and path[0] == "slot") else part
        for place, part in enumerate(path)
    )
    match kind:
        case "extra_forbidden":
            known = _known(path)
            name = str(path[-1])
            return f"unknown key {name!r}{nearest(name, known)} (known: {one_of(known)})"
        case "missing":
            return f"must be given, such as {_EXAMPLES[pattern]}"
        case "literal_error":
            choices = [choice.strip("'") for choice in context["expected"].split(" or ")]
            close = nearest(found, choices) if isinstance(found, str) else ""
            return f"must be {context['expected']}, not {shown(found)}{close}"
        case "value_error":
            return re.sub("^a (clock|time) ", "", str(context["error"]))
    value = shown(found)
    if pattern[-1] in ("base", "size") and type(found) is int:
        value = hex(found)
    return f"must be {_EXPECTED.get(pattern, detail['msg'])}, not {value}"


def _known(path: Path) -> list[str]:
    model = _MODELS.get(str(path[0]), BenchKeys) if len(path) > 1 else BenchKeys
    return list(model.model_fields)
