"""The values that a key takes in a sweep: ``clock=8MHz..48MHz/8MHz``, ``slot.lamps.wait=0,1,2``."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from fractions import Fraction
from itertools import product
from math import log
from typing import TYPE_CHECKING, Any

from busbox.basics.errors import InputError, format_value
from busbox.bench.set_values import toml_value

if TYPE_CHECKING:
    from busbox.bench.bench import Bench

#: The most variants of one sweep.
MOST = 1_000_000
#: The most digits of a value in a range by a factor.
DIGITS = 300
#: Characters of a number.
LONGEST = 100
#: Bits of a whole number that a variant has.
MOST_BITS = 128
_RANGE = re.compile(r"(?P<first>[^/\"'\[{]+?)\.\.(?P<last>[^/]+?)(?:/(?P<step>.+))?")
_NUMBER = re.compile(
    r"(?P<number>0x[0-9a-fA-F][0-9a-fA-F_]*|[0-9][0-9_]*(?:\.[0-9]+)?)\s*(?P<unit>[A-Za-z]*)"
)
_UNITS = {
    "": (Fraction(1), ""),
    **{unit: (Fraction(10) ** power, "Hz") for unit, power in
       (("Hz", 0), ("kHz", 3), ("MHz", 6), ("GHz", 9))},
    **{unit: (Fraction(10) ** power, "s") for unit, power in
       (("s", 0), ("ms", -3), ("us", -6), ("ns", -9), ("ps", -12))},
    **{unit: (Fraction(10) ** power, "A") for unit, power in (("A", 0), ("mA", -3), ("uA", -6))},
}  # fmt: skip


@dataclass(frozen=True)
class Axis:
    """A key and the values that it takes, as ``Bench.with_values`` takes them."""

    key: str
    values: tuple[Any, ...]


@dataclass(frozen=True)
class Quantity:
    """A number with its unit, as it was written.

    Attributes
    ----------
    value : in the unit
    unit : such as ``MHz``, "" for a plain number
    places : digits after the point, as written
    hexadecimal : whether it was written so
    """

    value: Fraction
    unit: str
    places: int = 0
    hexadecimal: bool = False

    @property
    def size(self) -> Fraction:
        """The number in hertz, seconds or amperes; itself without a unit."""
        return self.value * _UNITS[self.unit][0]

    @property
    def kind(self) -> str:
        """What it is a number of: ``Hz``, ``s``, ``A`` or ""."""
        return _UNITS[self.unit][1]

    def at(self, size: Fraction) -> Any:
        """Return another size in this unit, as a bench takes it."""
        value = size / _UNITS[self.unit][0]
        if not self.unit:
            return int(value) if value.denominator == 1 else float(value)
        if value.denominator == 1:
            return f"{value.numerator} {self.unit}"
        return f"{_decimal(value)} {self.unit}"


def quantity(text: str) -> Quantity | None:
    """Return the number in a text such as ``8 MHz`` or ``0x40``, or None if it is none."""
    found = _NUMBER.fullmatch(text.strip())
    if found is None or found["unit"] not in _UNITS:
        return None
    digits = found["number"].replace("_", "")
    if len(digits) > LONGEST:
        return None
    if digits.startswith("0x"):
        return Quantity(Fraction(int(digits, 16)), found["unit"], hexadecimal=True)
    return Quantity(Fraction(digits), found["unit"], len(digits.partition(".")[2]))


def _decimal(value: Fraction) -> str:
    whole, rest = divmod(value, 1)
    digits = ""
    while rest:
        digit, rest = divmod(rest * 10, 1)
        digits += str(digit)
    return f"{whole}.{digits}"


@dataclass(frozen=True)
class Range:
    """A first and a last value, and the way from one to the next.

    Attributes
    ----------
    first, last : of one kind
    step : what is added; None to multiply
    factor : by which it is multiplied
    """

    first: Quantity
    last: Quantity
    step: Fraction | None
    factor: Fraction = Fraction(1)

    def sizes(self) -> Iterator[Fraction]:
        """Yield each size from the first on; the last only if a step reaches it."""
        size = self.first.size
        while size <= self.last.size:
            yield size
            size = size * self.factor if self.step is None else size + self.step

    def values(self) -> tuple[Any, ...]:
        """Return the values, as a bench takes them, in the unit of the last."""
        return tuple(self.last.at(size) for size in self.sizes())


def parse_range(text: str, option: str, stepped: bool) -> Range | None:
    """Return the range that a text says, or None if it is no range.

    Parameters
    ----------
    stepped : whether there must be a step; without one the step is one unit of the last digit that
        the last value is written with

    Raises
    ------
    InputError : it is one, with a mistake
    """
    found = _RANGE.fullmatch(text.strip())
    if found is None or (stepped and found["step"] is None):
        return None
    first, last = quantity(found["first"]), quantity(found["last"])
    if first is None or last is None:
        wrong = found["first"] if first is None else found["last"]
        text = "a range must be of numbers such as 8MHz..48MHz/8MHz, not "
        raise InputError.of(text + format_value(wrong.strip()), option)
    if not first.unit:
        first = Quantity(first.value, last.unit, first.places)
    if first.kind != last.kind:
        text = f"a range must be of one unit, not of {found['first']} and {found['last']}"
        raise InputError.of(text, option)
    if first.size > last.size:
        text = f"a range must begin with its smallest value, not {found['first']}"
        raise InputError.of(f"{text}..{found['last']}", option)
    unit = _UNITS[last.unit][0]
    if found["step"] is None:
        return Range(first, last, unit / 10 ** max(first.places, last.places))
    return _with_step(first, last, found["step"].strip(), option)


def _with_step(first: Quantity, last: Quantity, text: str, option: str) -> Range:
    given = quantity(text.removeprefix("x"))
    wrong = "the step of a range must be a number above 0, such as 8MHz, or a factor such as x2"
    if given is None or given.value <= 0:
        raise InputError.of(f"{wrong}, not {format_value(text)}", option)
    if text.startswith("x"):
        if given.unit or given.value <= 1 or first.value <= 0:
            raise InputError.of(f"{wrong}, not {format_value(text)}", option)
        one = Range(first, last, None, given.value)
        _check_growth(one, given.places, text, option)
    else:
        if not given.unit:
            given = Quantity(given.value, last.unit)
        if given.kind != last.kind:
            raise InputError.of(
                f"{wrong}, in the unit of the range; not {format_value(text)}", option
            )
        one = Range(first, last, given.size)
        if (last.size - first.size) / given.size >= MOST:
            raise _too_many(text, option)
    return one


def _too_many(step: str, option: str) -> InputError:
    text = (
        f"a range must have at most {MOST:,} values; with the step {format_value(step)} it has more"
    )
    return InputError.of(text, option)


def _check_growth(one: Range, places: int, text: str, option: str) -> None:
    """Refuse a range by a factor that has too many values, or values of too many digits."""
    count = int(_log(one.last.size / one.first.size) / _log(one.factor)) + 1
    if count > MOST:
        raise _too_many(text, option)
    if count * places > DIGITS:
        problem = f"the values of a range must have at most {DIGITS} digits after the point"
        raise InputError.of(f"{problem}; {format_value(text)} gives more", option)


def _log(number: Fraction) -> float:
    return log(number.numerator) - log(number.denominator)


def axis_of(given: str, option: str = "--vary") -> Axis:
    """Return the axis that ``KEY=VALUES`` says.

    VALUES are separated by commas; each is a value as for ``--set``, or a range ``FIRST..LAST/STEP``
    (``/xFACTOR`` multiplies).

    Raises
    ------
    InputError : it has another form
    """
    key, sign, text = given.partition("=")
    key = key.strip()
    if not sign or not all(key.split(".")) or not text.strip():
        raise InputError.of(
            f"must be KEY=VALUES such as slot.lamps.wait=0,1,2 or clock=8MHz..48MHz/8MHz, not "
            f"{format_value(given)}", option
        )  # fmt: skip
    values: list[Any] = []
    for part in _parts(text):
        if not part.strip():
            raise InputError.of(
                f"must have a value at each side of a comma, not {format_value(given)}", option
            )
        found = parse_range(part, option, stepped=True)
        values += [toml_value(part.strip())] if found is None else found.values()
    return _checked(Axis(key, tuple(values)), option)


def axes_of(table: Mapping[str, Any], option: str = "vary") -> tuple[Axis, ...]:
    """Return the axes of a table: key to a list of values, a text as on the command line, or a value.

    Raises
    ------
    InputError : a key has no value
    """
    axes = []
    for key, value in table.items():
        if isinstance(value, str):
            axes.append(axis_of(f"{key}={value}", option))
        elif isinstance(value, Iterable) and not isinstance(value, Mapping):
            axes.append(_checked(Axis(key, tuple(value)), option))
        elif isinstance(value, Mapping):
            inner = {f"{key}.{name}": one for name, one in value.items()}
            axes += axes_of(inner, option)
        else:
            axes.append(Axis(key, (value,)))
    return tuple(axes)


def _checked(axis: Axis, option: str) -> Axis:
    if not axis.values:
        raise InputError.of(f"{axis.key} must have at least one value", option)
    seen: set[tuple[type, str]] = set()
    for value in axis.values:
        if isinstance(value, int) and value.bit_length() > MOST_BITS:
            text = f"{axis.key} must have numbers of at most {MOST_BITS} bits, not "
            raise InputError.of(f"{text}{format_value(value)}", option)
        if (type(value), repr(value)) in seen:
            text = f"{axis.key} must have each value once; {format_value(value)} is there twice"
            raise InputError.of(text, option)
        seen.add((type(value), repr(value)))
    return axis


def _parts(text: str) -> Iterator[str]:
    """Yield what commas separate, outside brackets and quotes."""
    part, depth, quote = "", 0, ""
    for letter in text:
        if quote:
            quote = "" if letter == quote else quote
        elif letter in "\"'":
            quote = letter
        elif letter in "[{(":
            depth += 1
        elif letter in "]})":
            depth -= 1
        elif letter == "," and not depth:
            yield part
            part = ""
            continue
        part += letter
    yield part


def combinations(axes: Iterable[Axis], option: str = "--vary") -> list[tuple[Any, ...]]:
    """Return the values of every variant, the last axis fastest.

    Raises
    ------
    InputError : a key is there twice, or there are too many
    """
    axes = list(axes)
    keys = [axis.key for axis in axes]
    twice = next((key for key in keys if keys.count(key) > 1), None)
    if twice is not None:
        raise InputError.of(f"{twice} must be there once", option)
    count = 1
    for axis in axes:
        count *= len(axis.values)
    if count > MOST:
        text = f"a sweep must have at most {MOST:,} variants; these are {count:,}"
        raise InputError.of(text, option)
    return list(product(*(axis.values for axis in axes)))


def check_key(bench: Bench, key: str, values: Iterable[Any], option: str = "--vary") -> None:
    """Refuse a key that no bench has, before anything runs; a value is checked when it is run.

    Raises
    ------
    InputError : all these values are refused
    """
    problem: InputError | None = None
    for value in values:
        try:
            bench.with_values({key: value}, option).system()
            return
        except InputError as error:
            problem = problem or error
    if problem is not None:
        raise InputError(problem.mistakes)
