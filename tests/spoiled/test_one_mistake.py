"""One mistake is one message; an expectation that can never hold is a mistake."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.spoiled.cabin import Spoiled, assert_told

REGISTER = (
    "expect.0.registre: unknown key 'registre'; did you mean 'register'? "
    "(known: text, level, frames, colours, findings, register, cycles, errors or answered)"
)
INPUT = (
    "input.0.att: unknown key 'att'; did you mean 'at'? "
    "(known: at, pin, level, bytes, capture, line, sample_clock, rate or spacing)"
)
LAMPS = (
    "slot.lamps.lamp: unknown key 'lamp'; did you mean 'lamps'? (known: model, base, size, compare, "
    "decode, wait, yields_to, as, lamps, channels, order, count, high or period)"
)


def spoiled(says: str, told: str, *edits: tuple[str, str], line: int) -> Spoiled:
    """Return a mistake in a line of the bench."""
    return Spoiled(says, f"busbox: bench.toml:{line}: {told}\n", edits=edits)


def expecting(says: str, told: str, expectation: str) -> Spoiled:
    """Return a mistake in an expectation at the end of the bench."""
    text = f"length = 4\n\n[[expect]]\n{expectation}"
    return spoiled(says, told, ("length = 4", text), line=57)


def setting(says: str, told: str, *values: str) -> Spoiled:
    """Return a mistake in values of the command line."""
    words = [word for value in values for word in ("--set", value)]
    return Spoiled(says, f"busbox: --set: {told}\n", args=("run", "bench.toml", *words))


CASES = (
    expecting(
        "An unknown key is not also told as a kind that is missing.",
        REGISTER,
        'registre = { of = "levers.OUT", is = 1 }',
    ),
    expecting(
        "Inside of an expectation an unknown key is told once.",
        "expect.0.level.pim: unknown key 'pim'; did you mean 'pin'? (known: pin, is or at)",
        'level = { pim = "levers.out.0", is = 0 }',
    ),
    spoiled(
        "A key that is misspelt is not also told as missing.",
        INPUT,
        ('at = "2 us"', 'att = "2 us"'),
        line=48,
    ),
    spoiled(
        "A setting that is misspelt is not also told as missing.",
        LAMPS,
        ("lamps = 8", "lamp = 8"),
        line=30,
    ),
    expecting(
        "No word has more than 32 bits.",
        (
            "expect.0.register.is: must be a word that telegraph.DIVISOR can show "
            "(telegraph.DIVISOR has bits 15..0), not 0x100000000"
        ),
        'register = { of = "telegraph.DIVISOR", is = 0x1_0000_0000 }',
    ),
    expecting(
        "A register that cannot be read shows 0.",
        (
            "expect.0.register.is: must be a word that levers.SET can show (levers.SET "
            "reads 0), not 0x1"
        ),
        'register = { of = "levers.SET", is = 1 }',
    ),
    expecting(
        "A memory has no more words than it has.",
        "expect.0.register.of: must be a register such as levers.OUT, not 'book.WORD.64'; did you "
        "mean 'book.WORD.63'?",
        'register = { of = "book.WORD.64", is = 1 }',
    ),
    expecting(
        "What is sent are bytes: no other character can come.",
        "expect.0.text.is: must be a string of Latin-1 characters, not '€'",
        'text = { of = "telegraph", is = "€" }',
    ),
    setting(
        "A slot that only --set names is taken for another one.",
        "slot.lever: there is no slot 'lever'; did you mean 'levers'? (known: levers, telegraph, "
        "lamps or book); a new one must be given its model",
        "slot.lever.base=0x1000",
        "slot.lever.size=0x1000",
    ),
    setting(
        "An attachment that only --set names is taken for another one.",
        "attach.lamp: there is no attachment 'lamp'; a new one must be given its kind",
        "attach.lamp.pin=levers.out.0",
    ),
    setting(
        "A new slot must be given all of its keys.",
        "slot.lever.base: must be given, such as 0x4000_0000",
        "slot.lever.model=gpio",
        "slot.lever.size=0x1000",
    ),
)


@pytest.mark.parametrize("spoiled", CASES, ids=[case.says for case in CASES])
def test_it_is_told_once(
    spoiled: Spoiled,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Each case: its sentence holds, its whole text is told, and the folder stays as it was."""
    assert_told(spoiled, tmp_path, monkeypatch, capsys)
