"""The keys of a bench file, and what is wrong with them. Loaded late: it needs pydantic."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Annotated, Any, Literal

from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    ValidationError,
)

from busbox.address_map import parse_bits
from busbox.errors import nearest, one_of
from busbox.units import Span, parse_clock, parse_span

Path = tuple[str | int, ...]


class _Keys(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True, arbitrary_types_allowed=True)


def _compare(value: object) -> frozenset[int]:
    if not isinstance(value, str):
        raise ValueError(f"compare must be ranges and bits such as '31..28, 5', not {value!r}")
    return parse_bits(value)


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


def check_keys(data: Mapping[str, Any]) -> tuple[BenchKeys | None, list[tuple[Path, str]]]:
    """Return the checked keys, or None and (path, what is wrong) for every mistake."""
    try:
        return BenchKeys.model_validate(dict(data)), []
    except ValidationError as error:
        return None, list(_mistakes(error, data))


def _mistakes(error: ValidationError, data: Mapping[str, Any]) -> Iterator[tuple[Path, str]]:
    for detail in error.errors(include_url=False):
        path = tuple(detail["loc"])
        yield path, _text(detail["type"], path, detail)


_MODELS: dict[str, type[_Keys]] = {
    "fabric": FabricKeys,
    "slot": SlotKeys,
    "input": InputKeys,
    "reset": ResetKeys,
}
_KINDS = {
    "int_type": "a whole number",
    "bool_type": "true or false",
    "string_type": "a text",
    "dict_type": "a table",
    "model_type": "a table",
    "model_attributes_type": "a table",
    "list_type": "a list",
}


def _text(kind: str, path: Path, detail: Any) -> str:
    found, context = detail["input"], detail.get("ctx", {})
    match kind:
        case "extra_forbidden":
            known = _known(path)
            name = str(path[-1])
            return f"unknown key {name!r}{nearest(name, known)} (known: {one_of(known)})"
        case "missing":
            return "must be given"
        case "greater_than_equal":
            return f"must be at least {context['ge']}, not {found!r}"
        case "less_than_equal":
            return f"must be at most {context['le']}, not {found!r}"
        case "literal_error":
            return f"must be {context['expected']}, not {found!r}"
        case "value_error":
            return str(context["error"])
    return f"must be {_KINDS.get(kind, detail['msg'])}, not {found!r}"


def _known(path: Path) -> list[str]:
    model = _MODELS.get(str(path[0]), BenchKeys) if len(path) > 1 else BenchKeys
    return list(model.model_fields)
