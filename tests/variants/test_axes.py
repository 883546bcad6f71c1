"""The values of a key: lists, ranges in steps and by factors, in units."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from busbox.basics.errors import InputError
from busbox.basics.units import parse_clock
from busbox.variants.axes import Axis, axes_of, axis_of, combinations, parse_range


@pytest.mark.parametrize(
    ("given_text", "values"),
    [
        ("slot.lamps.wait=0,1,2", (0, 1, 2)),
        ("clock=8MHz..48MHz/8MHz", ("8 MHz", "16 MHz", "24 MHz", "32 MHz", "40 MHz", "48 MHz")),
        ("clock=8MHz..48MHz/8", ("8 MHz", "16 MHz", "24 MHz", "32 MHz", "40 MHz", "48 MHz")),
        ("clock=8..20MHz/8", ("8 MHz", "16 MHz")),
        ("clock=500kHz..2MHz/500kHz", ("0.5 MHz", "1 MHz", "1.5 MHz", "2 MHz")),
        ("settle=100us..1ms/x10", ("0.1 ms", "1 ms")),
        ("n=1..8/x2", (1, 2, 4, 8)),
        ("n=0..1/0.25", (0, 0.25, 0.5, 0.75, 1)),
        ("slot.lamps.base=0x4000..0x4200/0x100", (0x4000, 0x4100, 0x4200)),
        ("slot.lamps.compare=26..24", ("26..24",)),
        ("slot.lamps.compare=26..24,31..24", ("26..24", "31..24")),
        ("slot.lamps.yields_to=[levers, clock],[levers]", (["levers", "clock"], ["levers"])),
        ("x='a,b',c", ("a,b", "c")),
        ("n=1,4..6/1,9", (1, 4, 5, 6, 9)),
        ("variant=slow,fast", ("slow", "fast")),
        ("strict=true,false", (True, False)),
        ("n=1,true", (1, True)),
        ("file='1..3/1'", ("1..3/1",)),
        ('file="a..b/c",[a..b/c]', ("a..b/c", ["a..b/c"])),
        ("n=1..10/x1.5", (1, 1.5, 2.25, 3.375, 5.0625, 7.59375)),
        ("n=0x10..0x40/x0x2", (16, 32, 64)),
        ("settle=1ms..3000us/1ms", ("1000 us", "2000 us", "3000 us")),
    ],
)
def test_values_are_what_the_text_says(given_text: str, values: tuple[Any, ...]) -> None:
    """Values are TOML or text; a range has a step or a factor, in the unit of its end."""
    assert axis_of(given_text) == Axis(given_text.partition("=")[0], values)


@settings(deadline=None)
@given(st.integers(1, 400), st.integers(0, 400), st.integers(1, 50), st.integers(0, 2))
def test_a_range_is_a_naive_list(first: int, more: int, step: int, places: int) -> None:
    """A range in steps is what adding the step gives, as exact fractions."""
    scale = 10**places
    texts = [f"{number / scale:.{places}f}" for number in (first, first + more, step)]
    sizes = [Fraction(text) for text in texts]
    naive = []
    size = sizes[0]
    while size <= sizes[1]:
        naive.append(int(size * 1_000_000))
        size += sizes[2]
    axis = axis_of(f"clock={texts[0]}MHz..{texts[1]}MHz/{texts[2]}MHz")
    assert [parse_clock(value) for value in axis.values] == naive


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("clock", "must be KEY=VALUES"),
        ("clock=", "must be KEY=VALUES"),
        ("=3", "must be KEY=VALUES"),
        ("slot..wait=3", "must be KEY=VALUES"),
        ("clock=8MHz..4MHz/1MHz", "must begin with its smallest value, not 8MHz..4MHz"),
        ("clock=8MHz..4/1", "of one unit"),
        ("clock=8MHz..9ms/1ms", "of one unit, not of 8MHz and 9ms"),
        ("clock=8MHz..9MHz/0", "must be a number above 0"),
        ("clock=8MHz..9MHz/x1", "such as x2, not 'x1'"),
        ("clock=8MHz..9MHz/1ms", "in the unit of the range"),
        ("clock=a..9MHz/1", "must be of numbers such as 8MHz..48MHz/8MHz, not 'a'"),
        ("n=0..9/x2", "such as x2"),
        ("n=1,1", "each value once; 1 is there twice"),
        ("n=0..10000000/1", "at most 1,000,000 values"),
        ("n=0..1000000/1", "at most 1,000,000 values"),
        ("n=1..10/x1.000001", "at most 1,000,000 values; with the step 'x1.000001' it has more"),
        ("n=1..10/x1.001", "at most 300 digits after the point; 'x1.001' gives more"),
        ("n=1,2,", "must have a value at each side of a comma, not 'n=1,2,'"),
        ("n=,", "must have a value at each side of a comma"),
        ("n=0x_..3/1", "must be of numbers"),
        ("n=1,1..2000/1", "each value once; 1 is there twice"),
    ],
)
def test_a_mistake_is_told_in_one_sentence(text: str, message: str) -> None:
    """Forms, units, steps and doubles that make no sense are refused by name."""
    with pytest.raises(InputError) as caught:
        axis_of(text)
    assert message in str(caught.value)
    assert str(caught.value).startswith("--vary: ")


@pytest.mark.parametrize(
    ("text", "values"),
    [
        ("4MHz..7MHz", ("4 MHz", "5 MHz", "6 MHz", "7 MHz")),
        ("4.0MHz..4.3MHz", ("4 MHz", "4.1 MHz", "4.2 MHz", "4.3 MHz")),
        ("1..3", (1, 2, 3)),
        ("1..9/4", (1, 5, 9)),
    ],
)
def test_a_range_without_a_step_goes_by_the_last_digit(text: str, values: tuple[Any, ...]) -> None:
    """The step is one of the last digit that is written."""
    found = parse_range(text, "--range", stepped=False)
    assert found is not None
    assert found.values() == values


@pytest.mark.quick
def test_a_table_holds_lists_texts_and_single_values() -> None:
    """Axes from a table of the bench or from Python are those of the command line."""
    table = {"clock": "8MHz..24MHz/8MHz", "slot": {"lamps": {"wait": [0, 1]}}, "strict": True}
    assert axes_of(table) == (
        axis_of("clock=8MHz..24MHz/8MHz"),
        axis_of("slot.lamps.wait=0,1"),
        Axis("strict", (True,)),
    )


def test_combinations_have_the_last_axis_fastest() -> None:
    """All pairs, in the order of two nested loops; a key twice or too many are refused."""
    axes = [Axis("a", (1, 2)), Axis("b", ("x", "y", "z"))]
    assert combinations(axes) == [(a, b) for a in (1, 2) for b in ("x", "y", "z")]
    with pytest.raises(InputError, match="a must be there once"):
        combinations([axes[0], axes[0]])
    many = Axis("c", tuple(range(1_001)))
    with pytest.raises(InputError, match="at most 1,000,000 variants; these are 1,002,001"):
        combinations([many, Axis("d", many.values)])


@settings(deadline=None)
@given(st.integers(1, 60), st.integers(1, 5_000), st.sampled_from(["2", "1.5", "3", "1.25", "10"]))
def test_a_range_by_a_factor_is_a_naive_list(first: int, last: int, factor: str) -> None:
    """A range by a factor is what multiplying exact fractions gives; no rounding adds up."""
    last += first
    naive, size = [], Fraction(first)
    while size <= last:
        naive.append(size)
        size *= Fraction(factor)
    axis = axis_of(f"n={first}..{last}/x{factor}")
    assert [float(value) for value in axis.values] == [float(size) for size in naive]


@settings(deadline=None)
@given(
    st.integers(1, 999), st.sampled_from(["Hz", "kHz", "MHz"]), st.integers(0, 99),
    st.sampled_from(["Hz", "kHz", "MHz"]), st.integers(50, 500), st.sampled_from(["kHz", "MHz"]),
)  # fmt: skip
def test_units_are_mixed_exactly(
    first: int, unit: str, more: int, last_unit: str, step: int, step_unit: str
) -> None:
    """First, last and step may have units of their own; sizes are exact."""
    hertz = {"Hz": 1, "kHz": 1_000, "MHz": 1_000_000}
    begin, end = first * hertz[unit], first * hertz[unit] + more * hertz[last_unit]
    size = step * hertz[step_unit]
    axis = axis_of(f"clock={first}{unit}..{end}Hz/{step}{step_unit}")
    assert [parse_clock(value) for value in axis.values] == list(range(begin, end + 1, size))
    shown = f"{end / hertz[last_unit]:.6f}{last_unit}"
    axis = axis_of(f"clock={first}{unit}..{shown}/{step}{step_unit}")
    assert [parse_clock(value) for value in axis.values] == list(range(begin, end + 1, size))
