"""Every operator, with random widths and signs, by three opinions.

What Busbox builds is compared with the front end's own evaluation of the netlist before anything is
reduced, and with Python's integers by the rules of IEEE 1364-2005 (tests/verilog/expressions.py).
"""

from __future__ import annotations

import random
from pathlib import Path

import pytest

from tests.verilog.expressions import (
    INPUTS,
    Expression,
    Maker,
    Undefined,
    Values,
    constant,
    drawn_values,
    mask,
    name,
    number,
    power,
)
from tests.verilog.netlists import computed, evaluated, module_of, needs_front_end

pytestmark = needs_front_end
VECTORS = 24


def written(expressions: list[Expression], widths: list[int]) -> str:
    """Return a module whose output joins the expressions, the first one lowest."""
    ports = ", ".join(
        f"input {'signed ' if signed else ''}[{width - 1}:0] {name}"
        for name, (width, signed) in INPUTS.items()
    )
    lines, low = [], 0
    for one, width in zip(expressions, widths, strict=True):
        lines.append(f"  assign y[{low} +: {width}] = {one.text};")
        low += width
    return f"module m({ports}, output [{low - 1}:0] y);\n" + "\n".join(lines) + "\nendmodule\n"


def check(folder: Path, expressions: list[Expression], widths: list[int], seed: int) -> None:
    """Assert that all three opinions are the same."""
    dice = random.Random(seed)
    vectors = [drawn_values(dice) for _ in range(VECTORS)]
    netlist = module_of(folder, written(expressions, widths))
    sizes = {name: width for name, (width, _) in INPUTS.items()}
    ours = [computed(netlist, level, vectors) for level in (0, 1)]
    theirs = evaluated(folder, "m", vectors, sizes)
    assert len(theirs) == VECTORS
    known = 0
    for place, values in enumerate(vectors):
        low = 0
        for one, width in zip(expressions, widths, strict=True):
            text = theirs[place][len(theirs[place]) - low - width : len(theirs[place]) - low]
            shown = [words[place] >> low & mask(width) for words in ours]
            low += width
            expected = worth(one, width, values)
            known += expected is not None
            what = f"{one.text} in {width} bits, {values}"
            for bits in shown:
                assert expected in (None, bits), f"{what}: {bits}, not {expected}"
                # Hardware has no x that === could see.
                if expected is not None or "==" not in one.text:
                    assert alike(text, bits), f"{what}: {bits:b}, not {text}"
    assert known > VECTORS * len(expressions) / 2


def worth(one: Expression, width: int, values: Values) -> int | None:
    """Return the bits of an expression that is assigned to ``width`` bits; None if it may be x."""
    try:
        return one.value(values, max(width, one.width), one.signed) & mask(width)
    except Undefined:
        return None


def alike(text: str, bits: int) -> bool:
    """Return whether bits are those of a text, where that is not x."""
    shown = f"{bits:0{len(text)}b}"
    return all(a in ("x", b) for a, b in zip(text, shown, strict=True))


@pytest.mark.parametrize(
    "seed",
    [
        pytest.param(0, marks=pytest.mark.quick),
        *(pytest.param(n, marks=pytest.mark.long) for n in range(1, 12)),
    ],
)
def test_expressions_are_worth_what_the_standard_says(seed: int, tmp_path: Path) -> None:
    """Nested expressions, in narrower and wider contexts than their own."""
    dice = random.Random(seed)
    expressions = [Maker(dice).make(1 + place % 4) for place in range(120)]
    widths = [max(1, min(64, one.width) + dice.randrange(-3, 9)) for one in expressions]
    check(tmp_path, expressions, widths, seed)


def test_powers_are_worth_what_the_standard_says(tmp_path: Path) -> None:
    """Every base and exponent of a few bits, with and without signs, those with x left out."""
    pairs = [(x, y) for x in "abcdg" for y in "abcg"]
    numbers = [
        constant(text, 32, True, value & mask(32)) for text, value in (("(-1)", -1), ("(-2)", -2))
    ]
    expressions = [power(name(x), name(y)) for x, y in pairs]
    expressions += [power(name("c"), one) for one in numbers] + [
        power(one, name("g")) for one in numbers
    ]
    netlist = module_of(tmp_path, written(expressions, [16] * len(expressions)))
    dice = random.Random(0)
    vectors = [drawn_values(dice) for _ in range(40)]
    ours, known = computed(netlist, 0, vectors), 0
    for word, values in zip(ours, vectors, strict=True):
        for place, one in enumerate(expressions):
            expected = worth(one, 16, values)
            known += expected is not None
            assert expected in (None, word >> 16 * place & mask(16)), (one.text, values)
    assert known > 15 * len(vectors)


#: Assignments to parts of a word: its first and last bit, the index, the way, how many bits.
PARTS = (
    (15, 0, "g", "+:", 4), (11, 4, "b", "+:", 3), (11, 4, "c", "-:", 2), (4, 11, "b", "+:", 2),
    (4, 11, "c", "-:", 3), (7, 0, "b", "", 1), (3, -4, "g", "+:", 3), (-4, 3, "g", "", 1),
)  # fmt: skip


def assigned(part: tuple[int, int, str, str, int], values: Values) -> int:
    """Return a word of zeros of which a part is assigned from ``f``; bits outside are lost."""
    first, last, index, way, count = part
    width, signed = INPUTS[index]
    base = number(values[index], width, signed)
    numbers = range(base - count + 1, base + 1) if way == "-:" else range(base, base + count)
    word = 0
    for place, one in enumerate(numbers if first > last else reversed(numbers)):
        if min(first, last) <= one <= max(first, last):
            word |= (values["f"] >> place & 1) << abs(one - last)
    return word


def test_a_part_of_a_word_is_assigned_by_its_numbers(tmp_path: Path) -> None:
    """Indices with and without signs, words that count up and down (IEEE 1364-2005, 5.2.1)."""
    lines, names = [], []
    for place, (first, last, index, way, count) in enumerate(PARTS):
        names.append(f"w{place}")
        chosen = f"w{place}[{index} {way} {count}]" if way else f"w{place}[{index}]"
        lines.append(f"reg [{first}:{last}] w{place};")
        lines.append(f"always @* begin w{place} = 0; {chosen} = f; end")
    widths = [abs(first - last) + 1 for first, last, *_ in PARTS]
    ports = ", ".join(
        f"input {'signed ' if signed else ''}[{width - 1}:0] {name}"
        for name, (width, signed) in INPUTS.items()
    )
    text = f"module m({ports}, output [{sum(widths) - 1}:0] y);\n" + "\n".join(lines)
    joined = ", ".join(reversed(names))
    netlist = module_of(tmp_path, f"{text}\nassign y = {{{joined}}};\nendmodule\n")
    assert "$shift" in {cell.kind for cell in netlist.cells.values()}
    dice = random.Random(4)
    vectors = [drawn_values(dice) for _ in range(200)]
    ours = computed(netlist, 0, vectors)
    assert ours == computed(netlist, 1, vectors)
    for word, values in zip(ours, vectors, strict=True):
        low = 0
        for part, width in zip(PARTS, widths, strict=True):
            assert word >> low & mask(width) == assigned(part, values), (part, values)
            low += width
