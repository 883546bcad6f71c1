"""Command lines that cannot be used."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.spoiled.cabin import Spoiled, assert_told

CASES = (
    Spoiled(
        "A verb must be known.",
        "busbox: there is no verb 'rum'; did you mean 'run'? (known: VERBS)\n",
        args=(
            "rum",
            "bench.toml",
        ),
    ),
    Spoiled(
        "A verb that means nothing is told the known ones.",
        "busbox: there is no verb 'xyz' (known: VERBS)\n",
        args=("xyz",),
    ),
    Spoiled(
        "An option before the verb must be known.",
        ("busbox: there is no option '--verison'; did you mean '--version'? (known: OPTIONS)\n"),
        args=("--verison",),
    ),
    Spoiled(
        "An option must be known.",
        (
            "busbox: run: there is no option '--trafic'; did you mean '--traffic'? (known: "
            "OPTIONS)\n"
        ),
        args=(
            "run",
            "bench.toml",
            "--trafic",
            "day.steps",
        ),
    ),
    Spoiled(
        "An option of another verb is unknown.",
        "busbox: where: there is no option '--vcd' (known: OPTIONS)\n",
        args=(
            "where",
            "bench.toml",
            "0",
            "--vcd",
            "x.vcd",
        ),
    ),
    Spoiled(
        "An option must have its value.",
        "busbox: --traffic must be followed by a value\n",
        args=(
            "run",
            "bench.toml",
            "--traffic",
        ),
    ),
    Spoiled(
        "A flag takes no value.",
        "busbox: --strict takes no value\n",
        args=(
            "run",
            "bench.toml",
            "--strict=yes",
        ),
    ),
    Spoiled(
        "A bench must be given.",
        "busbox: run: BENCH must be given\n",
        args=("run",),
    ),
    Spoiled(
        "An address must be given.",
        "busbox: where: ADDRESS|FILE.h... must be given\n",
        args=(
            "where",
            "bench.toml",
        ),
    ),
    Spoiled(
        "There must not be a word too many.",
        "busbox: map: unexpected argument: levers\n",
        args=(
            "map",
            "bench.toml",
            "levers",
        ),
    ),
    Spoiled(
        "A bench must exist.",
        (
            "busbox: there is no bench 'first_lihgt'; did you mean 'first_light'? (known: "
            "a folder with bench.toml, a file, BENCHES)\n"
        ),
        args=(
            "run",
            "first_lihgt",
        ),
    ),
    Spoiled(
        "A bench's folder must have one.",
        "busbox: yard: this folder has no bench.toml\n",
        files={"yard": None},
        args=(
            "run",
            "yard",
        ),
    ),
    Spoiled(
        "An absolute path is told as it was given.",
        (
            "busbox: there is no bench 'TMP/nowhere.toml' (known: a folder with "
            "bench.toml, a file, BENCHES)\n"
        ),
        args=(
            "map",
            "TMP/nowhere.toml",
        ),
    ),
    Spoiled(
        "A bench's file must be a bench.",
        "busbox: day.steps:1: is not valid TOML: a key must be followed by = and a value\n",
        args=(
            "run",
            "day.steps",
        ),
    ),
    Spoiled(
        "A name that no file can have is none.",
        "busbox: there is no bench '"
        + "x" * 300
        + "' (known: a folder with bench.toml, a file, BENCHES)\n",
        args=(
            "run",
            "x" * 300,
        ),
    ),
    Spoiled(
        "An engine must be known.",
        ("busbox: there is no engine 'refrence'; did you mean 'reference'? (known: ENGINES)\n"),
        args=(
            "run",
            "bench.toml",
            "--engine",
            "refrence",
        ),
    ),
    Spoiled(
        "A run must have a cycle.",
        "busbox: --until: must be at least one cycle, not 0\n",
        args=(
            "run",
            "bench.toml",
            "--until",
            "0",
        ),
    ),
    Spoiled(
        "The end of a run must have a known unit.",
        (
            "busbox: --until: must be a number with s, ms, us, ns or ps, or whole cycles, "
            "not '2 min'\n"
        ),
        args=(
            "run",
            "bench.toml",
            "--until",
            "2 min",
        ),
    ),
    Spoiled(
        "The end of a run must not be negative.",
        "busbox: --until: must be at least 0, not '-1'\n",
        args=(
            "run",
            "bench.toml",
            "--until=-1",
        ),
    ),
    Spoiled(
        "A waveform's folder must exist.",
        "busbox: --vcd: there is no folder 'nowhere'\n",
        args=(
            "run",
            "bench.toml",
            "--vcd",
            "nowhere/day.vcd",
        ),
    ),
    Spoiled(
        "A waveform must not take a folder's place.",
        "busbox: --vcd: must be a file, not the folder '.'\n",
        args=(
            "run",
            "bench.toml",
            "--vcd",
            ".",
        ),
    ),
    Spoiled(
        "A waveform's folder must be a folder.",
        "busbox: --vcd: there is no folder 'day.steps'\n",
        args=(
            "run",
            "bench.toml",
            "--vcd",
            "day.steps/day.vcd",
        ),
    ),
    Spoiled(
        "A waveform's name must be one that a file can have.",
        "busbox: --vcd: cannot be written: File name too long\n",
        args=(
            "run",
            "bench.toml",
            "--vcd",
            "x" * 300,
        ),
    ),
    Spoiled(
        "A recording's folder must not be a file.",
        "busbox: --out: must be a folder, not the file 'day.steps'\n",
        args=(
            "run",
            "bench.toml",
            "--out",
            "day.steps",
        ),
    ),
    Spoiled(
        "A recording's folder must not be inside a file.",
        "busbox: --out: must be a folder, not the file 'TMP/day.steps'\n",
        args=(
            "run",
            "bench.toml",
            "--out",
            "day.steps/out/deeper",
        ),
    ),
    Spoiled(
        "An address must be a number.",
        (
            "busbox: where: an address must be a number such as 12 or 0x0c, not 'levers' "
            "(or a C header: a file in .h, .c, .hh, .hpp or .inc)\n"
        ),
        args=(
            "where",
            "bench.toml",
            "levers",
        ),
    ),
    Spoiled(
        "An address must have good digits.",
        "busbox: where: an address must be a number such as 12 or 0x0c, not '0x4000_000g'\n",
        args=(
            "where",
            "bench.toml",
            "0x4000_000g",
        ),
    ),
    Spoiled(
        "Every address that is none is told, and hexadecimal digits are known without 0x.",
        (
            "busbox: where: an address must be a number such as 12 or 0x0c, not '4400000c'; did you "
            "mean 0x4400000c?\n"
            "busbox: where: an address must be at most 0xffffffff, not '99999999999'\n"
        ),
        args=("where", "bench.toml", "4400000c", "0x40000000", "99999999999"),
    ),
    Spoiled(
        "An address must be of 32 bits.",
        "busbox: where: an address must be at most 0xffffffff, not '0x1_0000_0000'\n",
        args=(
            "where",
            "bench.toml",
            "0x1_0000_0000",
        ),
    ),
    Spoiled(
        "A header is no folder.",
        "busbox: where: must be a file, not the folder 'cabin.h'\n",
        files={"cabin.h": None},
        args=(
            "where",
            "bench.toml",
            "cabin.h",
        ),
    ),
    Spoiled(
        "A header must exist.",
        "busbox: where: there is no file 'cabin.h'\n",
        args=(
            "where",
            "bench.toml",
            "cabin.h",
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
