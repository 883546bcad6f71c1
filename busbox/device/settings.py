"""The settings of a device, and of what is attached to a pin: what a bench may say of it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Final

from busbox.basics.declaring import check_choice, check_name, with_known_keywords
from busbox.basics.errors import format_value, nearest
from busbox.basics.units import parse_current, parse_span, without_subject

#: The default of a setting that a bench must give.
REQUIRED: Final = object()


def _times(value: object) -> None:
    if not isinstance(value, list | tuple):
        raise ValueError(f"must be a list of times such as '2 ms', not {format_value(value)}")
    for one in value:
        parse_span(one)


#: What parses the settings that are a measure, by their kind.
_MEASURES: Final[Mapping[str, Callable[[object], object]]] = {
    "time": parse_span,
    "times": _times,
    "current": parse_current,
}


#: The kinds of settings.
_KINDS = ("int", "number", "text", "path", *_MEASURES)


@with_known_keywords
@dataclass(frozen=True)
class Setting:
    """A key that a bench may give for a model, or for what is attached to a pin.

    Attributes
    ----------
    name : the key
    default : value without the key (:data:`REQUIRED`: there must be one)
    kind : ``int``, ``number`` (a whole or decimal one), ``text``, ``path`` (of a file, relative to the
        bench), ``time`` (such as ``"2 ms"``, or cycles), ``times`` (a list of such) or ``current``
        (such as ``"20 mA"``)
    low, high : allowed numbers, both included
    choices : allowed texts, if there are only some
    text : one sentence, with the unit
    unit : what a plain number counts; "" if none
    example : a valid value; None: the default, the first choice or the lowest number
    """

    name: str
    default: Any = None
    kind: str = "int"
    low: int = 0
    high: int = 0xFFFF_FFFF
    choices: tuple[str, ...] = ()
    text: str = ""
    unit: str = ""
    example: Any = None

    def __post_init__(self) -> None:
        check_name("the name of a setting", self.name, "period")
        check_choice(f"kind of setting {self.name}", self.kind, _KINDS)
        if self.default is not REQUIRED and self.default is not None:
            problem = self.problem(self.default)
            if problem:
                raise ValueError(f"default of setting {self.name} {problem}")

    def problem(self, value: Any) -> str | None:
        """Return what is wrong with ``value``, or None."""
        if self.kind in _MEASURES:
            try:
                _MEASURES[self.kind](value)
            except ValueError as error:
                return without_subject(error)
        elif self.kind == "number":
            if type(value) not in (int, float) or not self.low <= value <= self.high:
                return f"must be a number from {self.low:g} to {self.high:g}, not {format_value(value)}"
        elif self.kind == "int":
            if type(value) is not int or not self.low <= value <= self.high:
                large = type(value) is int and value > 0xFFFF < self.high
                return f"must be {self.numbers}, not {hex(value) if large else format_value(value)}"
        elif self.choices:
            if value not in self.choices:
                close = nearest(value, self.choices) if isinstance(value, str) else ""
                return f"must be one of {', '.join(self.choices)}, not {format_value(value)}{close}"
        elif not isinstance(value, str) or not value:
            what = "the name of a file" if self.kind == "path" else "a string"
            return f"must be {what}, not {format_value(value)}"
        return None

    @property
    def numbers(self) -> str:
        """The allowed whole numbers, as text."""
        if self.low == self.high:
            return str(self.low)
        high = self.high if self.high <= 0xFFFF else f"{self.high:#x}"
        return f"a whole number from {self.low} to {high}"
