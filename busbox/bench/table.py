"""The base of the tables of a bench file. Loaded late, as are all tables: it needs pydantic."""

from __future__ import annotations

from typing import Annotated, Any

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, WithJsonSchema

from busbox.basics.errors import format_value
from busbox.basics.keys import Key
from busbox.basics.units import CLOCK_PATTERN, TIME_PATTERN, parse_clock, parse_span


class Table(BaseModel):
    """One table of a bench file: its keys, each with its :class:`Key`, and what it is built into."""

    model_config = ConfigDict(
        extra="forbid", strict=True, arbitrary_types_allowed=True, defer_build=True
    )

    @classmethod
    def keys(cls) -> tuple[str, ...]:
        """Return the keys as written in the file."""
        return tuple(field.alias or name for name, field in cls.model_fields.items())

    @classmethod
    def declared(cls) -> dict[str, Key]:
        """Return what each key declares; a key that holds tables declares nothing."""
        return {
            field.alias or name: key
            for name, field in cls.model_fields.items()
            for key in field.metadata
            if isinstance(key, Key)
        }


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
    raise ValueError(
        f"must be a string of Latin-1 characters or a list of bytes, not {format_value(value)}"
    )


#: The largest count that a key takes.
MOST = 1 << 40

ClockText = Annotated[
    Any, BeforeValidator(parse_clock), WithJsonSchema({"type": "string", "pattern": CLOCK_PATTERN})
]
SpanText = Annotated[
    Any,
    BeforeValidator(parse_span),
    WithJsonSchema({"type": ["integer", "string"], "minimum": 0, "pattern": TIME_PATTERN}),
]
Positive = Annotated[int, Field(ge=1, le=MOST)]
Bytes = Annotated[
    Any,
    BeforeValidator(_bytes),
    WithJsonSchema(
        {
            "type": ["string", "array"],
            "minLength": 1,
            "minItems": 1,
            "items": {"type": "integer", "minimum": 0, "maximum": 255},
        }
    ),
]
Rate = Annotated[int, Field(ge=1, le=MOST)]
#: Descriptions of types that several tables share.
RATE_TEXT = "bits per second, a whole number from 1 on"
SPAN_TEXT = "a time with s, ms, us, ns or ps, or whole cycles"
CLOCK_TEXT = "a number with Hz, kHz, MHz or GHz"
BYTES_TEXT = "a string of Latin-1 characters or a list of bytes"
