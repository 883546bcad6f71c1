"""The keys of a bench file, and what is wrong with them. Loaded late: it needs pydantic."""

from __future__ import annotations

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

from busbox.basics.errors import nearest, one_of, shown
from busbox.basics.units import Span, parse_clock, parse_current, parse_span, without_subject
from busbox.map.slots import parse_bits

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


ClockText = Annotated[Any, BeforeValidator(parse_clock)]
Amperes = Annotated[Any, BeforeValidator(parse_current)]


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
    built_as: Literal["model", "hardware"] | None = Field(default=None, alias="as")


class AttachKeys(_Keys):
    """``[attach.NAME]``; what is not named here is a setting of the kind."""

    model_config = ConfigDict(extra="allow", strict=True, arbitrary_types_allowed=True)

    kind: Any
    pin: str


def _bytes(value: object) -> bytes:
    if isinstance(value, str):
        if value and all(ord(character) < 256 for character in value):
            return value.encode("latin-1")
    elif (
        isinstance(value, list)
        and value
        and all(type(byte) is int and 0 <= byte < 256 for byte in value)
    ):
        return bytes(value)
    raise ValueError(f"must be a text of Latin-1 or a list of bytes, not {shown(value)}")


Bytes = Annotated[Any, BeforeValidator(_bytes)]
Rate = Annotated[int, Field(ge=1, le=1 << 40)]


class InputKeys(_Keys):
    """``[[input]]``: a level, bytes on a serial line, or the line of a capture."""

    at: SpanText
    pin: str
    level: Annotated[int, Field(ge=0, le=1)] | None = None
    bytes: Bytes | None = None
    capture: str | None = None
    line: str | None = None
    sample_clock: ClockText | None = None
    rate: Rate = 115_200
    spacing: SpanText = Span(cycles=0)


class WireKeys(_Keys):
    """``[[wire]]``."""

    model_config = ConfigDict(extra="forbid", strict=True, populate_by_name=True)

    source: str = Field(alias="from")
    to: str


class ReplyKeys(_Keys):
    """``[[reply]]``."""

    of: str
    after_text: Annotated[str, Field(min_length=1)]
    send: Bytes
    delay: SpanText = Span(cycles=0)
    rate: Rate = 115_200


class MustKeys(_Keys):
    """``[[expect]]``: one of these."""

    text: dict[str, Any] | None = None
    level: dict[str, Any] | None = None
    frames: dict[str, Any] | None = None
    colours: dict[str, Any] | None = None
    findings: dict[str, Any] | None = None
    register_: dict[str, Any] | None = Field(default=None, alias="register")


class ResetKeys(_Keys):
    """``[[reset]]``."""

    at: SpanText
    length: Positive = 1


class BenchKeys(_Keys):
    """The whole file."""

    clock: ClockText
    settle: SpanText = Span(seconds=parse_span("1 s").seconds)
    hang_after: SpanText = Span(cycles=1_000_000)
    after_reset: Literal["restart", "continue"] = "restart"
    poll_storm: Positive | None = None
    stuck_after: SpanText | None = None
    supply: Amperes | None = None
    firmware: str | None = None
    rules: list[Any] = Field(default_factory=list)
    fabric: FabricKeys = Field(default_factory=FabricKeys)
    slot: dict[str, SlotKeys] = Field(default_factory=dict)
    attach: dict[str, AttachKeys] = Field(default_factory=dict)
    profile: dict[str, dict[str, Any]] = Field(default_factory=dict)
    traffic: Any = None
    input: list[InputKeys] = Field(default_factory=list)
    reset: list[ResetKeys] = Field(default_factory=list)
    wire: list[WireKeys] = Field(default_factory=list)
    reply: list[ReplyKeys] = Field(default_factory=list)
    must: list[MustKeys] = Field(default_factory=list)


#: Keys of a slot that no setting of a model may be called, and those of what is attached.
SLOT_KEYS = tuple(field.alias or name for name, field in SlotKeys.model_fields.items())
ATTACH_KEYS = tuple(AttachKeys.model_fields)


@dataclass(frozen=True)
class Checked:
    """What is good in a bench, and what is not.

    Attributes
    ----------
    keys : the checked keys; what is wrong has been left out, or has its default
    broken : paths of the keys, slots and items that were left out
    left : for each list of tables, the numbers in the bench of those that are left
    mistakes : (path, what is wrong) for every mistake
    """

    keys: BenchKeys
    broken: frozenset[Path]
    left: Mapping[str, tuple[int, ...]]
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

    return Checked(keys, frozenset(broken), {key: left(key) for key in LISTS}, tuple(mistakes))


def _copy(value: Any) -> Any:
    if isinstance(value, Mapping):
        return dict(value)
    return list(value) if isinstance(value, list) else value


def _left_out(path: Path, kind: str) -> Path:
    """Return what must be left out because of a mistake at ``path``."""
    if kind == "extra_forbidden" or path[0] not in (*NAMED, *LISTS):
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
    for key in LISTS:
        if isinstance(keys.get(key), list):
            keys[key] = [
                item for number, item in enumerate(keys[key]) if (key, number) not in broken
            ]
    keys.setdefault("clock", "1 MHz")
    return keys


_MODELS: dict[str, type[_Keys]] = {
    "fabric": FabricKeys,
    "slot": SlotKeys,
    "attach": AttachKeys,
    "input": InputKeys,
    "reset": ResetKeys,
    "wire": WireKeys,
    "reply": ReplyKeys,
    "must": MustKeys,
}
#: The tables of named tables among the keys of a bench.
NAMED = ("slot", "attach", "profile")
#: The lists of tables among the keys of a bench.
LISTS = ("input", "reset", "wire", "reply", "must")
#: What a key must be, by its path with the names and numbers of slots and items as ``*``.
_EXPECTED: dict[Path, str] = {
    ("fabric",): "a table, [fabric]",
    ("fabric", "watchdog"): f"a whole number of cycles from 1 to {1 << 40}",
    ("fabric", "registered_decode"): "true or false",
    ("attach",): "tables, [attach.NAME]",
    ("attach", "*"): "a table, [attach.NAME]",
    ("attach", "*", "pin"): "a text such as 'lamps.line'",
    ("profile",): "tables, [profile.NAME]",
    ("profile", "*"): "a table, [profile.NAME]",
    ("firmware",): "a text such as 'cabin.elf'",
    ("rules",): "a list of texts such as ['bell.py:bell_silent']",
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
    ("input", "*", "capture"): "a text such as 'line.csv'",
    ("input", "*", "line"): "a text such as 'tx'",
    ("input", "*", "rate"): "bits per second, a whole number from 1 on",
    ("wire",): "a list of tables, [[wire]]",
    ("wire", "*"): "a table, [[wire]]",
    ("wire", "*", "from"): "a text such as 'telegraph.tx'",
    ("wire", "*", "to"): "a text such as 'levers.in.3'",
    ("reply",): "a list of tables, [[reply]]",
    ("reply", "*"): "a table, [[reply]]",
    ("reply", "*", "of"): "the name of a slot",
    ("reply", "*", "after_text"): "a text of one character or more",
    ("reply", "*", "rate"): "bits per second, a whole number from 1 on",
    ("must",): "a list of tables, [[expect]]",
    ("must", "*"): "a table, [[expect]]",
    **{
        ("must", "*", kind): 'a table such as { of = "lamps", at_least = 1 }'
        for kind in ("text", "level", "frames", "colours", "findings", "register")
    },
    ("poll_storm",): "a whole number of reads from 1 on",
    ("reset",): "a list of tables, [[reset]]",
    ("reset", "*"): "a table, [[reset]]",
    ("reset", "*", "length"): f"a whole number of cycles from 1 to {1 << 40}",
}
_EXAMPLES: dict[Path, str] = {
    ("clock",): "'16 MHz'",
    ("slot", "*", "model"): "'gpio'",
    ("slot", "*", "base"): "0x4000_0000",
    ("slot", "*", "size"): "0x1000",
    ("attach", "*", "kind"): "'lamp_string'",
    ("attach", "*", "pin"): "'lamps.line'",
    ("input", "*", "at"): "'40 us'",
    ("input", "*", "pin"): "'levers.in.4'",
    ("wire", "*", "from"): "'telegraph.tx'",
    ("wire", "*", "to"): "'levers.in.3'",
    ("reply", "*", "of"): "'telegraph'",
    ("reply", "*", "after_text"): "'ready?'",
    ("reply", "*", "send"): "'yes'",
    ("reset", "*", "at"): "'40 us'",
}


def _text(kind: str, path: Path, detail: Any) -> str:
    """Return what is wrong, in words of our own."""
    found, context = detail["input"], detail.get("ctx", {})
    pattern = tuple(
        "*" if isinstance(part, int) or (place == 1 and path[0] in NAMED) else part
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
            return without_subject(context["error"])
    value = shown(found)
    if pattern[-1] in ("base", "size") and type(found) is int:
        value = hex(found)
    return f"must be {_EXPECTED.get(pattern, detail['msg'])}, not {value}"


def _known(path: Path) -> list[str]:
    model = _MODELS.get(str(path[0]), BenchKeys) if len(path) > 1 else BenchKeys
    return [field.alias or name for name, field in model.model_fields.items()]
