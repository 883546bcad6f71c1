"""Several mistakes at once: all are told, each with its line, in order."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.spoiled.cabin import Spoiled, assert_told

CASES = (
    Spoiled(
        "Mistakes of every part of a bench are told, in order of line.",
        (
            "busbox: bench.toml:1: clock: must be a number with Hz, kHz, MHz or GHz, not '16'\n"
            "busbox: bench.toml:8: fabric.watchdog: must be a whole number of cycles from "
            "1 to 1099511627776, not true\n"
            "busbox: bench.toml:12: slot.levers.model: there is no model 'gpoi'; did you "
            "mean 'gpio'? (known: gpio, uart, pulse_led, timer, memory or file.py:Class)\n"
            "busbox: bench.toml:21: slot.telegraph.divisor: must be a whole number from 1 "
            "to 65535, not 0\n"
            "busbox: bench.toml:31: slot.lamps.colours: unknown key 'colours' (known: "
            "model, base, size, compare, decode, wait, yields_to, as, lamps, channels, order, "
            "count, high or period)\n"
            "busbox: bench.toml:43: slot.book.kind: must be one of ram, rom, not 'tape'\n"
            "busbox: bench.toml:46: traffic.file: there is no file 'night.steps'; did you "
            "mean 'day.steps'?\n"
            "busbox: bench.toml:50: input.0.pin: there is no slot 'lever'; did you mean "
            "'levers'?\n"
            "busbox: bench.toml:55: reset.0.length: must be a whole number of cycles from "
            "1 to 1099511627776, not 0\n"
        ),
        edits=(
            ('"16 MHz"', '"16"'),
            ("watchdog = 64", "watchdog = true"),
            ('"gpio"', '"gpoi"'),
            ("divisor = 16", "divisor = 0"),
            ("lamps = 8", "lamps = 8\ncolours = 2"),
            ('kind = "ram"', 'kind = "tape"'),
            ('file = "day.steps"', 'file = "night.steps"'),
            ('pin = "levers.in.4"', 'pin = "lever.in.4"'),
            ("length = 4", "length = 0"),
        ),
    ),
    Spoiled(
        "A slot with a wrong base has its other mistakes told as well.",
        (
            "busbox: bench.toml:27: slot.lamps.base: must be a whole number from 0 to "
            "0xffffffff, not 'here'\n"
            "busbox: bench.toml:30: slot.lamps.lamps: must be a whole number from 1 to "
            "16320, not 0\n"
            "busbox: bench.toml:34: slot.lamps.high: must be a whole number from 0 to "
            "0xffffffff, not -1\n"
        ),
        edits=(
            ("base = 0x4400_0000", 'base = "here"'),
            ("lamps = 8", "lamps = 0"),
            ("high = 0x000d_0007", "high = -1"),
        ),
    ),
    Spoiled(
        "Overlaps are told although another slot and the clock are wrong.",
        (
            "busbox: bench.toml:1: clock: must be a number with Hz, kHz, MHz or GHz, not '16'\n"
            "busbox: bench.toml:19: slot.telegraph.base: the slot overlaps slot 'levers': "
            "both answer at 0x40000000..0x40000fff (move one, or let one give way: "
            'yields_to = ["levers"])\n'
            "busbox: bench.toml:42: slot.book.kind: must be one of ram, rom, not 'tape'\n"
        ),
        edits=(
            ('"16 MHz"', '"16"'),
            ("base = 0x4000_1000", "base = 0x4000_0000"),
            ('kind = "ram"', 'kind = "tape"'),
        ),
    ),
    Spoiled(
        "Mistakes of the bench come first, and names in its traffic are looked up all the same.",
        (
            "busbox: bench.toml:30: slot.lamps.lamps: must be a whole number from 1 to "
            "16320, not 0\n"
            "busbox: bench.toml:50: input.0.level: must be 0 or 1, not 7\n"
            "busbox: day.steps:1: levers has no register 'OUTT'; did you mean 'OUT'?\n"
            "busbox: day.steps:3: there is no slot 'lever'; did you mean 'levers'?\n"
        ),
        edits=(
            ("level = 1", "level = 7"),
            ("lamps = 8", "lamps = 0"),
        ),
        files={"day.steps": ("write levers.OUTT 1\nwrite lamps.COUNT 1\nread lever.OUT\n")},
    ),
    Spoiled(
        "Mistakes of the command line come after those of the file.",
        (
            "busbox: bench.toml:22: slot.telegraph.wait: must be a whole number from 0 to "
            "65,535, not -1\n"
            "busbox: --set: clock: must be a number with Hz, kHz, MHz or GHz, not 'fast'\n"
            "busbox: --set: slot.levers.width: must be a whole number from 1 to 32, not 99\n"
        ),
        edits=(("wait = 1", "wait = -1"),),
        args=(
            "run",
            "bench.toml",
            "--set",
            "slot.levers.width=99",
            "--set",
            "clock=fast",
        ),
    ),
    Spoiled(
        "Every wrong line of a traffic file is told.",
        (
            "busbox: day.steps:1: a line must begin with A VERB, "
            "not 'wirte'; did you mean 'write'?\n"
            "busbox: day.steps:2: write needs data after its target: write TARGET DATA\n"
            "busbox: day.steps:5: data must be a number such as 12 or 0x0c, not 'x'\n"
            "busbox: day.steps:6: pause must be followed by a time such as 2 ms, or "
            "a number of cycles\n"
        ),
        files={
            "day.steps": (
                "wirte levers.OUT 1\nwrite levers.OUT\n\n# fine\nread levers.OUT = x\npause\n"
            )
        },
    ),
    Spoiled(
        "Of very many wrong lines the first fifty are told, and the rest counted.",
        "".join(
            f"busbox: day.steps:{line}: a line must begin with A VERB, not 'halt'\n"
            for line in range(1, 51)
        )
        + "busbox: day.steps: and 3 more mistakes\n",
        files={"day.steps": "halt\n" * 53},
    ),
    Spoiled(
        "One wrong line more than are told is counted in the singular.",
        "".join(
            f"busbox: day.steps:{line}: a line must begin with A VERB, not 'halt'\n"
            for line in range(1, 51)
        )
        + "busbox: day.steps: and 1 more mistake\n",
        files={"day.steps": "halt\n" * 51},
    ),
    Spoiled(
        "Both places that cannot be written are told.",
        (
            "busbox: --vcd: there is no folder 'nowhere'\n"
            "busbox: --out: must be a folder, not the file 'day.steps'\n"
        ),
        args=(
            "run",
            "bench.toml",
            "--vcd",
            "nowhere/day.vcd",
            "--out",
            "day.steps",
        ),
    ),
    Spoiled(
        "A file and its two wrong records are told.",
        (
            "busbox: log.hex:1: is not a valid memory image: the checksum must be 0xbe, not "
            "0xbd\n"
            "busbox: log.hex:2: is not a valid memory image: the checksum must be 0xbc, not "
            "0x42\n"
        ),
        edits=(('kind = "ram"', 'file = "log.hex"'),),
        files={"log.hex": (":0100000041BD\n:010001004242\n:00000001FF\n")},
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
