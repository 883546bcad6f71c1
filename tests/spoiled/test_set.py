"""Values of the command line that cannot be set, and values that are wrong."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.spoiled.cabin import Spoiled, assert_told

CASES = (
    Spoiled(
        "A value must be given.",
        (
            "busbox: --set: must be KEY=VALUE such as slot.lamps.base=0x1000, not "
            "'slot.lamps.base'\n"
        ),
        args=(
            "run",
            "bench.toml",
            "--set",
            "slot.lamps.base",
        ),
    ),
    Spoiled(
        "A key must be given.",
        "busbox: --set: must be KEY=VALUE such as slot.lamps.base=0x1000, not '=1'\n",
        args=(
            "run",
            "bench.toml",
            "--set",
            "=1",
        ),
    ),
    Spoiled(
        "A key must have no empty part.",
        ("busbox: --set: must be KEY=VALUE such as slot.lamps.base=0x1000, not 'slot..base=1'\n"),
        args=(
            "run",
            "bench.toml",
            "--set",
            "slot..base=1",
        ),
    ),
    Spoiled(
        "A list has numbers.",
        ("busbox: --set: input.first.level: there is no item 'first': input has item 0 only\n"),
        args=(
            "run",
            "bench.toml",
            "--set",
            "input.first.level=1",
        ),
    ),
    Spoiled(
        "A list's number must exist.",
        "busbox: --set: input.1.level: there is no item '1': input has item 0 only\n",
        args=(
            "run",
            "bench.toml",
            "--set",
            "input.1.level=1",
        ),
    ),
    Spoiled(
        "A list's number is written as it is counted.",
        "busbox: --set: input.00.level: there is no item '00': input has item 0 only\n",
        args=(
            "run",
            "bench.toml",
            "--set",
            "input.00.level=1",
        ),
    ),
    Spoiled(
        "A list must not be empty.",
        (
            "busbox: --set: slot.telegraph.yields_to.0: there is no item '0': "
            "slot.telegraph.yields_to is empty\n"
        ),
        args=(
            "run",
            "bench.toml",
            "--set",
            "slot.telegraph.yields_to.0=lamps",
        ),
    ),
    Spoiled(
        "A path must not lead through a value.",
        (
            "busbox: --set: slot.lamps.base.high: slot.lamps.base is a value, not a table "
            "that could hold 'high'\n"
        ),
        args=(
            "run",
            "bench.toml",
            "--set",
            "slot.lamps.base.high=1",
        ),
    ),
    Spoiled(
        "An unknown key is told as one of the command line.",
        ("busbox: --set: setle: unknown key 'setle'; did you mean 'settle'? (known: KEYS)\n"),
        args=(
            "run",
            "bench.toml",
            "--set",
            "setle=1 ms",
        ),
    ),
    Spoiled(
        "An unknown setting is told as one of the command line.",
        (
            "busbox: --set: slot.lamps.lamsp: unknown key 'lamsp'; did you mean 'lamps'? "
            "(known: model, base, size, compare, decode, wait, yields_to, as, lamps, channels, "
            "order, count, high or period)\n"
        ),
        args=(
            "run",
            "bench.toml",
            "--set",
            "slot.lamps.lamsp=9",
        ),
    ),
    Spoiled(
        "A new slot lacks what any slot lacks, and the command line made it.",
        (
            "busbox: --set: slot.bell.base: must be given, such as 0x4000_0000\n"
            "busbox: --set: slot.bell.size: must be given, such as 0x1000\n"
        ),
        args=(
            "run",
            "bench.toml",
            "--set",
            "slot.bell.model=gpio",
        ),
    ),
    Spoiled(
        "A wrong value is told as one of the command line.",
        "busbox: --set: slot.levers.width: must be a whole number from 1 to 32, not true\n",
        args=(
            "run",
            "bench.toml",
            "--set",
            "slot.levers.width=true",
        ),
    ),
    Spoiled(
        "What is no TOML is a text.",
        ("busbox: --set: slot.levers.width: must be a whole number from 1 to 32, not 'many'\n"),
        args=(
            "run",
            "bench.toml",
            "--set",
            "slot.levers.width=many",
        ),
    ),
    Spoiled(
        "Nothing is an empty text.",
        "busbox: --set: clock: must be a number with Hz, kHz, MHz or GHz, not ''\n",
        args=(
            "run",
            "bench.toml",
            "--set",
            "clock=",
        ),
    ),
    Spoiled(
        "A value must be one value.",
        (
            "busbox: --set: clock: must be a number with Hz, kHz, MHz or GHz, not '\"1 "
            "MHz\"\\nsettle=1'\n"
        ),
        args=(
            "run",
            "bench.toml",
            "--set",
            'clock="1 MHz"\nsettle=1',
        ),
    ),
    Spoiled(
        "A base that stands first in the file and has moved is told, not the one it has met.",
        (
            "busbox: --set: slot.levers.base: the slot overlaps slot 'telegraph': both "
            "answer at 0x40001000..0x40001fff (move one, or let one give way: yields_to = "
            '["telegraph"])\n'
        ),
        args=(
            "run",
            "bench.toml",
            "--set",
            "slot.levers.base=0x40001000",
        ),
    ),
    Spoiled(
        "A base that has moved onto another slot is told with both.",
        (
            "busbox: --set: slot.lamps.base: the slot overlaps slot 'levers': both answer "
            "at 0x40000000..0x40000fff (move one, or let one give way: yields_to = "
            '["levers"])\n'
        ),
        args=(
            "run",
            "bench.toml",
            "--set",
            "slot.lamps.base=0x40000000",
        ),
    ),
    Spoiled(
        "Every value that cannot be set is told.",
        (
            "busbox: --set: must be KEY=VALUE such as slot.lamps.base=0x1000, not "
            "'slot.lamps.base'\n"
            "busbox: --set: input.9.at: there is no item '9': input has item 0 only\n"
            "busbox: --set: clock.unit: clock is a value, not a table that could hold 'unit'\n"
        ),
        args=(
            "run",
            "bench.toml",
            "--set",
            "slot.lamps.base",
            "--set",
            "input.9.at=1",
            "--set",
            "clock.unit=1",
        ),
    ),
)


@pytest.mark.parametrize("spoiled", CASES, ids=[case.says for case in CASES])
def test_it_is_told_and_nothing_is_left(
    spoiled: Spoiled,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Each row: its sentence holds, its whole text is told, and the folder stays as it was."""
    assert_told(spoiled, tmp_path, monkeypatch, capsys)
