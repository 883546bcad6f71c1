"""Expressions of lessons: read once, computed as Python computes them, folded without a change."""

from __future__ import annotations

import json
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from busbox.lessons.as_data import variant_data
from busbox.lessons.expressions import evaluate, filled, folded, names_in, parse, pieces
from busbox.lessons.finding import lessons

pytestmark = pytest.mark.quick

NAMES = {"size": 0x4000, "base": 0x2000_C000, "answer.lane": 3, "zero": 0}
_BINARY = ("+", "-", "*", "&", "|", "^", "==", "!=", "<", "<=", ">", ">=", "and", "or", "//", "%")
_LEAVES = st.one_of(st.integers(0, 1 << 33).map(str), st.sampled_from(sorted(NAMES)))


def _grown(inner: st.SearchStrategy[str]) -> st.SearchStrategy[str]:
    return st.one_of(
        st.tuples(inner, st.sampled_from(_BINARY), inner).map(lambda t: f"({t[0]} {t[1]} {t[2]})"),
        inner.map(lambda text: f"(~{text})"),
        inner.map(lambda text: f"(-{text})"),
        inner.map(lambda text: f"(not {text})"),
        st.tuples(inner, st.integers(0, 40)).map(lambda t: f"(({t[0]}) << {t[1]})"),
        st.tuples(inner, inner, inner).map(lambda t: f"({t[0]} if {t[1]} else {t[2]})"),
    )


EXPRESSIONS = st.recursive(_LEAVES, _grown, max_leaves=8)


class _Answer:
    lane = 3


def _by_python(text: str) -> int | None:
    """Return what Python itself makes of an expression; None where it divides by zero."""
    given: dict[str, Any] = {name: value for name, value in NAMES.items() if "." not in name}
    try:
        return eval(text, {"__builtins__": {}, "answer": _Answer} | given)
    except ZeroDivisionError:
        return None


@given(EXPRESSIONS)
def test_an_expression_is_what_python_makes_of_it(text: str) -> None:
    """For every expression that Python can compute, the value is Python's, ``and``/``or`` as 1 or 0.

    The reference is the interpreter of Python itself.
    """
    value, reference = evaluate(parse(text), NAMES), _by_python(text)
    if reference is not None and " and " not in text and " or " not in text:
        assert value == int(reference)
    if " and " in text or " or " in text:
        assert isinstance(value, int)


@given(EXPRESSIONS, st.sets(st.sampled_from(sorted(NAMES))))
def test_folding_some_names_changes_no_value(text: str, first: set[str]) -> None:
    """To fold some names and evaluate with the others is to evaluate with all of them."""
    tree = parse(text)
    done = folded(tree, {name: NAMES[name] for name in first})
    assert not names_in(done) & first
    assert evaluate(done, NAMES) == evaluate(tree, NAMES)
    assert isinstance(folded(tree, NAMES), int)


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("size // zero", 0), ("size % zero", 0x4000), ("1 << 64", 0), ("1 << 63", 1 << 63),
        ("1 >> 0 - 1", 0), ("zero - 7 // 2", -3), ("(zero - 7) // 2", -4), ("(zero - 7) % 4", 1),
        ("2 < 3 < 4", 1), ("2 < 3 < 3", 0), ("5 and 2", 1), ("0 or 0", 0), ("1 + 2 & ~3", 0),
    ],
)  # fmt: skip
def test_what_python_refuses_has_a_value_too(text: str, value: int) -> None:
    """A division by zero and a shift too far have the values that the module's page names."""
    assert evaluate(parse(text), NAMES) == value


@pytest.mark.parametrize(
    "text", ["open('x')", "size.real", "[1]", "'a'", "1.5", "lambda: 1", "size :=1", "", "True", "2**9",
             "__import__", "1 if 2", "1 in size"],
)  # fmt: skip
def test_nothing_else_is_an_expression(text: str) -> None:
    """Calls, texts, lists, attributes, decimals and powers are refused, or a name without a value."""
    with pytest.raises(ValueError, match=r"expression|allowed|no value"):
        evaluate(parse(text), NAMES)


@pytest.mark.parametrize(
    ("template", "text"),
    [
        ("{base:address}..{base + size - 1:hex}", "0x2000c000..0x2000ffff"),
        ("{size} bytes, lane {1 << answer.lane:lanes}", "16,384 bytes, lane 1000"),
        ("{0x41:char}{0b1001:set}{zero:set}{size:plain}{1:star}", "A0 and 3none16384*"),
        ("no braces", "no braces"),
    ],
)
def test_a_template_is_filled(template: str, text: str) -> None:
    """Each form writes a number as its page says."""
    assert filled(template, NAMES) == text


def test_a_form_that_does_not_exist_is_refused() -> None:
    """An unknown form is named with those that there are."""
    with pytest.raises(ValueError, match="'octal' is no form of a number; known are"):
        pieces("{size:octal}")


def _names(data: Any) -> set[str]:
    """Return every name of an answer's field or of what was seen, wherever it stands in trees."""
    found: set[str] = set()
    if isinstance(data, dict):
        for value in data.values():
            found |= _names(value)
    elif isinstance(data, list):
        for value in data:
            found |= _names(value)
    elif isinstance(data, str) and (data == "seen" or data.startswith("answer.")):
        found.add(data)
    return found


def _tuples(tree: Any) -> Any:
    """Return an exported tree as one that can be evaluated."""
    return tuple(_tuples(one) for one in tree) if isinstance(tree, list) else tree


@pytest.mark.parametrize("seed", [1, 7])
def test_the_data_of_a_variant_is_json_with_no_drawn_name_left(seed: int) -> None:
    """The data survives JSON, and the only names in it are fields of the answer, and what was seen."""
    for one in lessons():
        data = variant_data(one, seed)
        assert json.loads(json.dumps(data)) == data
        fields = {f"answer.{field.name}" for field in one.fields}
        assert _names(data["plays"]) <= fields | {"seen"}
        for play in data["plays"]:
            trees = [tree for step in play["steps"] for tree in step[1:5]]
            assert {name for tree in trees for name in names_in(_tuples(tree))} <= fields
        assert {wrong["name"] for wrong in data["wrong"]} == {wrong.name for wrong in one.wrong}
        assert "{" not in data["task"] + data["solution"] + "".join(data["hints"])
