"""``busbox registers``, and ``busbox where`` as a check of headers: pages, exit codes, mistakes."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from busbox.registers.writing import WRITERS
from tests.cli.test_verbs import Shell

pytestmark = pytest.mark.quick


@pytest.fixture
def busbox(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> Shell:
    """Run verbs in an empty folder."""
    monkeypatch.chdir(tmp_path)
    return Shell(capsys)


def test_without_a_file_the_reference_is_shown(busbox: Shell) -> None:
    """All slots, or those that are named."""
    page = busbox("registers", "first_light")
    assert page.startswith("Registers of first_light\n")
    assert "lamps.COUNT" not in page
    assert "  0x44000008  COUNT        31..0  rw" in page
    page = busbox("registers", "first_light", "levers")
    assert "  0x40000000  OUT       31..0  rw" in page
    assert "0x44000008" not in page


@pytest.mark.parametrize("suffix", WRITERS)
def test_a_file_for_each_suffix(suffix: str, busbox: Shell, tmp_path: Path) -> None:
    """The file has the slots that were asked for, with the values of --set; equal bytes each time."""
    words = ("registers", "first_light", "lamps", "--set", "slot.lamps.lamps=5", "-o", f"m{suffix}")
    assert busbox(*words) == f"m{suffix}: 6 registers of 1 slots\n".replace("slots", "slot")
    first = (tmp_path / f"m{suffix}").read_bytes()
    busbox(*words)
    assert (tmp_path / f"m{suffix}").read_bytes() == first
    assert b"5" in first
    assert b"telegraph" not in first
    assert str(tmp_path).encode() not in first


def test_the_prefix(busbox: Shell, tmp_path: Path) -> None:
    """The bench's name in capitals, or what --prefix gives."""
    for more, prefix in (((), "FIRST_LIGHT"), (("--prefix", "CABIN"), "CABIN")):
        busbox("registers", "first_light", "-o", "m.h", *more)
        text = (tmp_path / "m.h").read_text(encoding="utf-8")
        assert f"#define {prefix}_LAMPS_COUNT_AT 0x44000008u\n" in text
        assert f"#ifndef {prefix}_ACCESS\n" in text


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (("lampz",), "registers: there is no slot 'lampz'; did you mean 'lamps'? (known: "
         "levers, telegraph or lamps)"),
        (("-o", "m.htm"), "--output: must end in .h, .py, .md, .html, .rdl or .json, not 'm.htm'; did "
         "you mean '.html'?"),
        (("-o", "no/m.h"), "--output: there is no folder 'no'"),
        (("--prefix", "cabin"), "--prefix: may contain only capitals, digits and single _, and must "
         "start with a capital, not 'cabin'"),
    ],
)  # fmt: skip
def test_mistakes(
    words: tuple[str, ...],
    message: str,
    busbox: Shell,
    capsys: pytest.CaptureFixture[str],
    tmp_path: Path,
) -> None:
    """One sentence each, exit code 2, nothing written."""
    from busbox.cli import main

    with pytest.raises(SystemExit) as ended:
        main(["registers", "first_light", *words])
    assert (ended.value.code, capsys.readouterr().err) == (2, f"busbox: {message}\n")
    assert list(tmp_path.iterdir()) == []


#: Everything that can be amiss, and what is not.
AMISS = """\
#define LEVERS_BASE      0x40000000u
#define LEVERS_OUT       0x40000000u
#define SEMAPHORE        0x40000040u
#define LAMPS_COUNT      0x44000004u
#define UART_BASE        0x44000000u
#define LAMPS_STATUS     0x48000004u
#define SIGNAL           0x44001000u
#define TELEGRAPH_BASE   40001000
#define LIMIT            44000008
#define WAIT_CYCLES      40001000
"""


def test_what_is_amiss_in_a_header_is_told_apart(busbox: Shell, tmp_path: Path) -> None:
    """Holes, other registers than the names say, no slot, and numbers without 0x."""
    (tmp_path / "amiss.h").write_text(AMISS, encoding="utf-8")
    page = busbox("where", "first_light", "amiss.h", "--strict", code=1)
    assert page.splitlines() == [
        "2 addresses reach a slot",
        "  amiss.h:1  LEVERS_BASE  0x40000000  levers.OUT",
        "  amiss.h:2  LEVERS_OUT   0x40000000  levers.OUT",
        "",
        "1 address reaches no register",
        "  amiss.h:3  SEMAPHORE  0x40000040  levers+0x40 (a hole)",
        "",
        "2 addresses reach something other than their names suggest",
        "  amiss.h:4  LAMPS_COUNT  0x44000004  lamps.STATUS, but lamps.COUNT is at",
        "                                      0x44000008",
        "  amiss.h:5  UART_BASE    0x44000000  lamps.CONTROL, but telegraph is at",
        "                                      0x40001000",
        "",
        "2 addresses reach no slot",
        "  amiss.h:6  LAMPS_STATUS  0x48000004  no slot; lamps.STATUS is at 0x44000004",
        "  amiss.h:7  SIGNAL        0x44001000  no slot; the nearest slot is lamps at",
        "                                       0x44000000..0x44000fff; the same offset",
        "                                       there is lamps.CONTROL (0x44000000)",
        "",
        "2 numbers without 0x",
        "  amiss.h:8  TELEGRAPH_BASE  40001000  did you mean 0x40001000 (telegraph.DATA)?",
        "  amiss.h:9  LIMIT           44000008  did you mean 0x44000008 (lamps.COUNT)?",
    ]
    assert busbox("where", "first_light", "amiss.h") == page


@pytest.mark.parametrize(
    ("line", "code"),
    [
        ("#define LEVERS_OUT 0x40000000u", 0),
        ("#define LIMIT 44000008", 0),  # asked about; nothing says that it is an address
        ("#define LAMPS_LIMIT 44000008", 1),
        ("#define LIMIT_ADDR 44000008", 1),
        ("void f(void) { put(44000008, 1); }", 0),
        ("#define HERE (*(volatile unsigned *)44000008)", 1),
        ("#define SEMAPHORE 0x40000040u", 1),
        ("#define LAMPS_COUNT 0x44000004u", 1),
        ("#define LAMPS_STATUS 0x48000004u", 1),
        ("#define LEVER_MASK 0x48000004u", 0),
    ],
)
def test_strict(line: str, code: int, busbox: Shell, tmp_path: Path) -> None:
    """Each thing that is amiss ends a strict check with 1; without --strict it is 0."""
    (tmp_path / "one.h").write_text(f"{line}\n", encoding="utf-8")
    busbox("where", "first_light", "one.h", "--strict", code=code)
    busbox("where", "first_light", "one.h")
    found = json.loads(busbox("where", "first_light", "one.h", "--strict", "--json", code=code))
    assert found["headers"][0]["has_mistakes"] == bool(code)


def test_strict_holds_for_addresses_too(busbox: Shell) -> None:
    """An address in a hole or in no slot ends a strict check with 1."""
    busbox("where", "first_light", "0x40000000", "--strict")
    busbox("where", "first_light", "0x40000000", "0x40000040", "--strict", code=1)
    busbox("where", "first_light", "0x48000000", "--strict", code=1)


def test_the_object_of_a_header_says_what_is_amiss(busbox: Shell, tmp_path: Path) -> None:
    """Each address has its verdict; a decimal number has what it may mean."""
    (tmp_path / "amiss.h").write_text(AMISS, encoding="utf-8")
    (header,) = json.loads(busbox("where", "first_light", "amiss.h", "--json"))["headers"]
    assert [(one["name"], one["verdict"]) for one in header["addresses"]] == [
        ("LEVERS_BASE", "base"),
        ("LEVERS_OUT", "reached"),
        ("SEMAPHORE", "hole"),
        ("LAMPS_COUNT", "another"),
        ("UART_BASE", "another"),
        ("LAMPS_STATUS", "nowhere"),
        ("SIGNAL", "nowhere"),
    ]
    assert header["addresses"][3]["means"] == "lamps.COUNT is at 0x44000008"
    assert [(one["name"], one["did_you_mean"]) for one in header["decimals"]] == [
        ("TELEGRAPH_BASE", 0x4000_1000),
        ("LIMIT", 0x4400_0008),
    ]


@pytest.mark.parametrize("bench", ["first_light", "signal_cabin", "word_lamps", "night_watch"])
def test_the_header_of_a_bench_passes_the_strict_check(bench: str, busbox: Shell) -> None:
    """What registers writes, where finds nothing amiss in."""
    busbox("registers", bench, "-o", "own.h")
    busbox("where", bench, "own.h", "--strict")
