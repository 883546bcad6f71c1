"""An address that is typed without 0x is asked about, never read as decimal in silence."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given, strategies

from busbox.basics.errors import InputError
from busbox.bench.set_values import Change
from busbox.formats.text import read_text
from busbox.map.addresses import number, step_address, typed_number
from tests.cli.saying import say

BOTH = (
    "must say how it is read, not '44000000': write 0x44000000 for hexadecimal, or 0d44000000 for "
    "decimal (which is 0x029f6300)"
)

pytestmark = pytest.mark.quick


@pytest.mark.parametrize(
    "words",
    [
        ("where", "first_light", "44000000"),
        ("where", "first_light", "0x40000000", "44000000", "--json"),
        ("draw", "first_light", "decode", "44000000"),
        ("run", "first_light", "--stop-on", "44000000"),
    ],
)
def test_a_verb_asks(capsys: pytest.CaptureFixture[str], words: tuple[str, ...]) -> None:
    """Each verb that takes an address refuses bare digits with both readings, exit code 2."""
    assert BOTH in say(capsys, *words, code=2)


@pytest.mark.parametrize(
    "text", ["0d44000000", "0D44_000_000", "0x029f6300", "0b10100111110110001100000000"]
)
def test_an_address_that_says_how_it_is_read_is_taken(text: str) -> None:
    """0d is a decimal on purpose; 0x and 0b are what they are everywhere."""
    assert typed_number(text) == step_address(text) == 44_000_000


def test_one_digit_needs_no_prefix() -> None:
    """0 to 9 are the same number either way; from 10 on they are not."""
    assert [typed_number(str(digit)) for digit in range(10)] == list(range(10))
    with pytest.raises(ValueError, match="write 0x10 for hexadecimal, or 0d10 for decimal"):
        typed_number("10")


def test_too_many_digits_for_an_address_are_asked_about_with_one_reading() -> None:
    """Ten digits fit no 32 bits in hexadecimal, so only the decimal reading is offered."""
    with pytest.raises(
        ValueError, match=r"'1140850688': write 0d1140850688 for decimal .which is 0x44000000"
    ):
        typed_number("1140850688")


@given(strategies.integers(0, 2**32 - 1))
def test_only_eight_digits_are_asked_about_in_steps(value: int) -> None:
    """In a traffic file, decimals of another length stay what they have always been."""
    text = str(value // 4 * 4)
    if len(text) == 8:
        with pytest.raises(ValueError, match=f"write 0x{text} for hexadecimal"):
            step_address(text)
    else:
        assert step_address(text) == int(text)
    assert step_address(f"0d{text}") == number(f"0d{text}", "x") == int(text)


@pytest.mark.parametrize(
    "line", ["write {} 1", "read {}", "poll {} == 1", "until {} >= 1", "read {} = 0"]
)
def test_every_step_asks(line: str) -> None:
    """Whatever the step, the message has the file and the line; data may be any decimal."""
    with pytest.raises(InputError) as raised:
        list(read_text([line.format("4400_0000")], "day.steps"))
    assert str(raised.value).startswith("day.steps:1: an address must say how it is read")
    (step,) = read_text(["write 0x44000000 44000000"], "day.steps")
    assert step.data == 44_000_000  # type: ignore[union-attr]


def test_a_base_is_asked_about() -> None:
    """A base is an address too; TOML has no 0d, so its decimal reading is shown in hexadecimal."""
    with pytest.raises(InputError) as raised:
        Change.of("slot.lamps.base=44000000", "--set")
    assert str(raised.value) == (
        "--set: slot.lamps.base: must say how it is read, not 44000000: write 0x44000000, or "
        "0x029f6300 if it is decimal"
    )
    assert Change.of("slot.lamps.base=0x44000000", "--set").value == 0x44000000
    assert Change.of("slot.lamps.size=44000000", "--set").value == 44_000_000


def test_csv_stays_decimal(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """A table that a program wrote has decimal addresses: they are documented, and stay."""
    file = tmp_path / "day.csv"
    file.write_text("wait,op,address,data,lanes\n0,read,44000000,,1111\n", encoding="utf-8")
    say(capsys, "convert", str(file), str(tmp_path / "day.steps"))
    assert (tmp_path / "day.steps").read_text(encoding="utf-8") == "read   0x029f6300\n"
