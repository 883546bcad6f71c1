"""Traffic in the text format that cannot be read."""

from __future__ import annotations

import gzip
from pathlib import Path

import pytest

from tests.spoiled.cabin import Spoiled, assert_told

pytestmark = pytest.mark.quick

CASES = (
    Spoiled(
        "A line must begin with a verb.",
        (
            "busbox: day.steps:2: a line must begin with A VERB, "
            "not 'wirte'; did you mean 'write'?\n"
        ),
        files={"day.steps": ("mark noon\nwirte levers.OUT 1\n")},
    ),
    Spoiled(
        "A verb is written in small letters.",
        (
            "busbox: day.steps:2: a line must begin with A VERB, "
            "not 'WRITE'; did you mean 'write'?\n"
        ),
        files={"day.steps": ("mark noon\nWRITE levers.OUT 1\n")},
    ),
    Spoiled(
        "A verb that means nothing is told the known ones.",
        ("busbox: day.steps:2: a line must begin with A VERB, not 'halt'\n"),
        files={"day.steps": ("mark noon\nhalt\n")},
    ),
    Spoiled(
        "A write must have a target.",
        "busbox: day.steps:2: write must be followed by an address or slot.REGISTER\n",
        files={"day.steps": ("mark noon\nwrite\n")},
    ),
    Spoiled(
        "A write must have data.",
        "busbox: day.steps:2: write needs data after its target: write TARGET DATA\n",
        files={"day.steps": ("mark noon\nwrite levers.OUT\n")},
    ),
    Spoiled(
        "A read must have a target.",
        "busbox: day.steps:2: read must be followed by an address or slot.REGISTER\n",
        files={"day.steps": ("mark noon\nread   # what?\n")},
    ),
    Spoiled(
        "A target must have a register.",
        "busbox: day.steps:2: a target must be an address or slot.REGISTER, not 'levers'\n",
        files={"day.steps": ("mark noon\nwrite levers 1\n")},
    ),
    Spoiled(
        "A target must not be negative.",
        "busbox: day.steps:2: a target must be an address or slot.REGISTER, not '-4'\n",
        files={"day.steps": ("mark noon\nwrite -4 1\n")},
    ),
    Spoiled(
        "An address must be a number.",
        (
            "busbox: day.steps:2: an address must be a number such as 12 or 0x0c, not "
            "'0x4000_000g'\n"
        ),
        files={"day.steps": ("mark noon\nwrite 0x4000_000g 1\n")},
    ),
    Spoiled(
        "An address must be aligned, and the lanes of the byte are told.",
        (
            "busbox: day.steps:2: an address must be a multiple of 4, not 0x40000001; that "
            "byte is 0x40000000 with lanes 0010, its data in bits 15..8\n"
        ),
        files={"day.steps": ("mark noon\nwrite 0x40000001 1\n")},
    ),
    Spoiled(
        "An address of the last byte has its own lane.",
        (
            "busbox: day.steps:2: an address must be a multiple of 4, not 0x40000007; that "
            "byte is 0x40000004 with lanes 1000, its data in bits 31..24\n"
        ),
        files={"day.steps": ("mark noon\nread 0x40000007\n")},
    ),
    Spoiled(
        "An address must be of 32 bits.",
        "busbox: day.steps:2: an address must be at most 0xffffffff, not '0x140000000'\n",
        files={"day.steps": ("mark noon\nwrite 0x140000000 1\n")},
    ),
    Spoiled(
        "Data must be a number.",
        "busbox: day.steps:2: data must be a number such as 12 or 0x0c, not 'one'\n",
        files={"day.steps": ("mark noon\nwrite levers.OUT one\n")},
    ),
    Spoiled(
        "Data must not be negative.",
        "busbox: day.steps:2: data must be a number such as 12 or 0x0c, not '-1'\n",
        files={"day.steps": ("mark noon\nwrite levers.OUT -1\n")},
    ),
    Spoiled(
        "Data must not be a float.",
        "busbox: day.steps:2: data must be a number such as 12 or 0x0c, not '1.0'\n",
        files={"day.steps": ("mark noon\nwrite levers.OUT 1.0\n")},
    ),
    Spoiled(
        "Data must fit in a word.",
        "busbox: day.steps:2: data must be at most 0xffffffff, not '0x1_0000_0000'\n",
        files={"day.steps": ("mark noon\nwrite levers.OUT 0x1_0000_0000\n")},
    ),
    Spoiled(
        "A number without digits is none.",
        "busbox: day.steps:2: data must be a number such as 12 or 0x0c, not '0x_'\n",
        files={"day.steps": ("mark noon\nwrite levers.OUT 0x_\n")},
    ),
    Spoiled(
        "A very long number is cut in the message.",
        (
            "busbox: day.steps:2: data must be a number such as 12 or 0x0c, not "
            "'99999999999999999999999999999999999999999999999999999999...\n"
        ),
        files={"day.steps": "mark noon\nwrite levers.OUT " + "9" * 9000 + "\n"},
    ),
    Spoiled(
        "Lanes are binary digits.",
        (
            "busbox: day.steps:2: lanes must be four binary digits, SEL(3) first, such as "
            "0001, not '15'\n"
        ),
        files={"day.steps": ("mark noon\nwrite levers.OUT 1 lanes 15\n")},
    ),
    Spoiled(
        "Lanes are four.",
        (
            "busbox: day.steps:2: lanes must be four binary digits, SEL(3) first, such as "
            "0001, not '11111'\n"
        ),
        files={"day.steps": ("mark noon\nwrite levers.OUT 1 lanes 11111\n")},
    ),
    Spoiled(
        "Lanes must be given.",
        "busbox: day.steps:2: lanes must be followed by a value\n",
        files={"day.steps": ("mark noon\nwrite levers.OUT 1 lanes\n")},
    ),
    Spoiled(
        "Lanes must be given once.",
        "busbox: day.steps:2: lanes is given twice\n",
        files={"day.steps": ("mark noon\nwrite levers.OUT 1 lanes 0001 lanes 0010\n")},
    ),
    Spoiled(
        "A program counter is a number.",
        "busbox: day.steps:2: pc must be a number such as 12 or 0x0c, not 'main'\n",
        files={"day.steps": ("mark noon\nwrite levers.OUT 1 pc main\n")},
    ),
    Spoiled(
        "Idle cycles must be a number.",
        (
            "busbox: day.steps:2: a number of idle cycles must be a number such as 12 or "
            "0x0c, not 'soon'\n"
        ),
        files={"day.steps": ("mark noon\nwrite levers.OUT 1 +soon\n")},
    ),
    Spoiled(
        "Idle cycles must be given once.",
        "busbox: day.steps:2: +CYCLES is given twice\n",
        files={"day.steps": ("mark noon\nwrite levers.OUT 1 +1 +2\n")},
    ),
    Spoiled(
        "Idle cycles must be below 2^32.",
        (
            "busbox: day.steps:2: a number of idle cycles must be at most 0xffffffff, not "
            "'4294967296'\n"
        ),
        files={"day.steps": ("mark noon\nwrite levers.OUT 1 +4294967296\n")},
    ),
    Spoiled(
        "What follows a write must be known.",
        (
            "busbox: day.steps:2: unexpected 'lane'; expected lanes, pc or +CYCLES; "
            "did you mean 'lanes'?\n"
        ),
        files={"day.steps": ("mark noon\nwrite levers.OUT 1 lane 0001\n")},
    ),
    Spoiled(
        "A write has no limit.",
        "busbox: day.steps:2: unexpected 'limit'; expected lanes, pc or +CYCLES\n",
        files={"day.steps": ("mark noon\nwrite levers.OUT 1 limit 3\n")},
    ),
    Spoiled(
        "What was read must follow its sign.",
        "busbox: day.steps:2: = must be followed by the recorded value\n",
        files={"day.steps": ("mark noon\nread levers.OUT =\n")},
    ),
    Spoiled(
        "What was read has one equals sign.",
        "busbox: day.steps:2: use = before the recorded value, not ==\n",
        files={"day.steps": ("mark noon\nread levers.OUT == 1\n")},
    ),
    Spoiled(
        "What was read must be a number.",
        "busbox: day.steps:2: data must be a number such as 12 or 0x0c, not 'x'\n",
        files={"day.steps": ("mark noon\nread levers.OUT = x\n")},
    ),
    Spoiled(
        "A poll must say what it waits for.",
        ("busbox: day.steps:2: poll needs a value to wait for: poll TARGET [& MASK] == VALUE\n"),
        files={"day.steps": ("mark noon\npoll levers.IN\n")},
    ),
    Spoiled(
        "A poll has two equals signs.",
        ("busbox: day.steps:2: poll needs a value to wait for: poll TARGET [& MASK] == VALUE\n"),
        files={"day.steps": ("mark noon\npoll levers.IN = 1\n")},
    ),
    Spoiled(
        "A poll's value must be there.",
        ("busbox: day.steps:2: poll needs a value to wait for: poll TARGET [& MASK] == VALUE\n"),
        files={"day.steps": ("mark noon\npoll levers.IN & 1 ==\n")},
    ),
    Spoiled(
        "A poll's mask must be there.",
        "busbox: day.steps:2: & must be followed by a mask\n",
        files={"day.steps": ("mark noon\npoll levers.IN &\n")},
    ),
    Spoiled(
        "A poll's mask is a number.",
        "busbox: day.steps:2: a mask must be a number such as 12 or 0x0c, not 'all'\n",
        files={"day.steps": ("mark noon\npoll levers.IN & all == 1\n")},
    ),
    Spoiled(
        "A poll that can never end is refused.",
        "busbox: day.steps:2: poll can never end: 0x1 has bits outside the mask 0x10\n",
        files={"day.steps": ("mark noon\npoll levers.IN & 0x10 == 1\n")},
    ),
    Spoiled(
        "An until must say what it waits for.",
        "busbox: day.steps:2: until needs a value to wait for: until TARGET [- NAME] [& MASK] >= "
        "VALUE\n",
        files={"day.steps": ("mark noon\nuntil levers.IN == 1\n")},
    ),
    Spoiled(
        "An until that can never end is refused.",
        "busbox: day.steps:2: until can never end: 0x10000 is above the mask 0xffff\n",
        files={"day.steps": ("mark noon\nuntil levers.IN & 0xffff >= 65536\n")},
    ),
    Spoiled(
        "An until subtracts something.",
        "busbox: day.steps:2: - must be followed by the name of a kept word, or by a word\n",
        files={"day.steps": ("mark noon\nuntil levers.IN -\n")},
    ),
    Spoiled(
        "An until subtracts a word that was kept before.",
        "busbox: day.steps:2: no step before keeps a word as 'strat'; did you mean 'start'?\n",
        files={"day.steps": ("read levers.IN keep start\nuntil levers.IN - strat >= 1\n")},
    ),
    Spoiled(
        "A word is kept under a name.",
        "busbox: day.steps:1: the name of a kept word may contain only letters, digits and _, and "
        "must not start with a digit; got '1st'\n",
        files={"day.steps": ("read levers.IN keep 1st\n")},
    ),
    Spoiled(
        "A write keeps nothing.",
        "busbox: day.steps:1: unexpected 'keep'; expected lanes, pc or +CYCLES\n",
        files={"day.steps": ("write levers.OUT 1 keep start\n")},
    ),
    Spoiled(
        "A poll reads at least once.",
        "busbox: day.steps:2: limit must be at least 1, not 0\n",
        files={"day.steps": ("mark noon\npoll levers.IN == 1 limit 0\n")},
    ),
    Spoiled(
        "A poll's limit must be a number.",
        "busbox: day.steps:2: limit must be a number such as 12 or 0x0c, not 'never'\n",
        files={"day.steps": ("mark noon\npoll levers.IN == 1 limit never\n")},
    ),
    Spoiled(
        "A poll's pause must have a value.",
        "busbox: day.steps:2: every must be followed by a value\n",
        files={"day.steps": ("mark noon\npoll levers.IN == 1 every\n")},
    ),
    Spoiled(
        "What follows a poll must be known.",
        (
            "busbox: day.steps:2: unexpected 'evry'; expected every, limit, lanes, pc, keep or "
            "+CYCLES; did you mean 'every'?\n"
        ),
        files={"day.steps": ("mark noon\npoll levers.IN == 1 evry 12\n")},
    ),
    Spoiled(
        "A pause must have a time.",
        (
            "busbox: day.steps:2: pause must be followed by a time such as 2 ms, or "
            "a number of cycles\n"
        ),
        files={"day.steps": ("mark noon\npause\n")},
    ),
    Spoiled(
        "A pause's time must have a known unit.",
        (
            "busbox: day.steps:2: a time must be a number with s, ms, us, ns or ps, or "
            "whole cycles, not '2 sec'\n"
        ),
        files={"day.steps": ("mark noon\npause 2 sec\n")},
    ),
    Spoiled(
        "A pause must not be longer than can be counted.",
        (
            "busbox: day.steps:2: a time must be at most 1,000,000 s or "
            "1,000,000,000,000,000,000 cycles, not '9999999999999999999999'\n"
        ),
        files={"day.steps": ("mark noon\npause 9999999999999999999999\n")},
    ),
    Spoiled(
        "A mark must have a text.",
        "busbox: day.steps:2: mark must be followed by text\n",
        files={"day.steps": ("mark noon\nmark\n")},
    ),
    Spoiled(
        "A slot that is misspelt is told the nearest.",
        "busbox: day.steps:2: there is no slot 'lever'; did you mean 'levers'?\n",
        files={"day.steps": ("mark noon\nwrite lever.OUT 1\n")},
    ),
    Spoiled(
        "A register that is misspelt is told the nearest.",
        "busbox: day.steps:2: levers has no register 'SETT'; did you mean 'SET'?\n",
        files={"day.steps": ("mark noon\nwrite levers.SETT 1\n")},
    ),
    Spoiled(
        "A register in small letters is told the right one.",
        "busbox: day.steps:2: levers has no register 'out'; did you mean 'OUT'?\n",
        files={"day.steps": ("mark noon\nwrite levers.out 1\n")},
    ),
    Spoiled(
        "A number in a row of registers must exist.",
        "busbox: day.steps:2: lamps has no register 'COLOUR.8'; did you mean 'COLOUR.7'?\n",
        files={"day.steps": ("mark noon\nwrite lamps.COLOUR.8 1\n")},
    ),
    Spoiled(
        "A single register has no number.",
        "busbox: day.steps:2: lamps has no register 'COUNT.0'; did you mean 'COUNT'?\n",
        files={"day.steps": ("mark noon\nwrite lamps.COUNT.0 1\n")},
    ),
    Spoiled(
        "Traffic must be UTF-8, and the line is told.",
        "busbox: day.steps:2: must be UTF-8 text, not byte 0xff\n",
        files={"day.steps": b"mark noon\nmark \xff\n"},
    ),
    Spoiled(
        "A packed file must be one.",
        ("busbox: day.steps.gz: is not a valid gzip file, although its name ends in .gz\n"),
        edits=(('"day.steps"', '"day.steps.gz"'),),
        files={"day.steps.gz": "write levers.OUT 1\n"},
    ),
    Spoiled(
        "A packed file must be whole.",
        ("busbox: day.steps.gz: is not a valid gzip file, although its name ends in .gz\n"),
        edits=(('"day.steps"', '"day.steps.gz"'),),
        files={"day.steps.gz": gzip.compress(b"write levers.OUT 1\n", mtime=0)[:20]},
    ),
    Spoiled(
        "What is packed must have a known suffix.",
        (
            "busbox: bench.toml:45: traffic.file: a traffic file must end in .steps, "
            ".csv or .vcd (optionally followed by .gz), or be FILE.py:FUNCTION, "
            "not 'day.txt.gz'; a file with "
            "any other suffix needs file and format in [traffic]\n"
        ),
        edits=(('"day.steps"', '"day.txt.gz"'),),
        files={"day.txt.gz": "x"},
    ),
    Spoiled(
        "A mistake in a packed file is told with its line.",
        ("busbox: day.steps.gz:2: a line must begin with A VERB, not 'halt'\n"),
        edits=(('"day.steps"', '"day.steps.gz"'),),
        files={"day.steps.gz": gzip.compress(b"mark noon\nhalt\n", mtime=0)},
    ),
    Spoiled(
        "A traffic file of the command line must exist.",
        "busbox: --traffic: there is no file 'dya.steps'; did you mean 'day.steps'?\n",
        args=(
            "run",
            "bench.toml",
            "--traffic",
            "dya.steps",
        ),
    ),
    Spoiled(
        "A traffic file of the command line has a known suffix.",
        (
            "busbox: --traffic: a traffic file must end in .steps, .csv or .vcd (optionally "
            "followed by .gz), or be FILE.py:FUNCTION, not 'bench.toml'; a file with any other "
            "suffix needs file and format in [traffic]\n"
        ),
        args=(
            "run",
            "bench.toml",
            "--traffic",
            "bench.toml",
        ),
    ),
    Spoiled(
        "A traffic file of the command line is told by its name.",
        ("busbox: night.steps:1: a line must begin with A VERB, not 'halt'\n"),
        files={"night.steps": "halt\n"},
        args=(
            "run",
            "bench.toml",
            "--traffic",
            "night.steps",
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
