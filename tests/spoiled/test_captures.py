"""Captures that cannot be read, and rates that cannot be used."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.spoiled.cabin import Spoiled, assert_told

CSV = ("capture", "day.csv", "--as", "terminal")
VCD = ("capture", "day.vcd", "--as", "terminal")
HEAD = "$timescale 1 us $end\n$var wire 1 ! tx $end\n$enddefinitions $end\n"


def csv(says: str, told: str, text: str | bytes, *words: str) -> Spoiled:
    """Return a spoiled CSV file."""
    return Spoiled(says, f"busbox: day.csv:{told}\n", files={"day.csv": text}, args=(*CSV, *words))


def vcd(says: str, told: str, text: str | bytes, *words: str) -> Spoiled:
    """Return a spoiled VCD file."""
    return Spoiled(says, f"busbox: day.vcd:{told}\n", files={"day.vcd": text}, args=(*VCD, *words))


NAMES = "time_s, time_ms, time_us, time_ns or sample"
CASES = (
    csv("An empty file has no header.", f"1: the first column must be {NAMES}, not ''", ""),
    csv(
        "The time's column must be named.",
        f"1: the first column must be {NAMES}, not 'time_u'; did you mean 'time_us'?",
        "time_u,tx\n0,1\n",
    ),
    csv(
        "There must be a line.", ("1: must have a column for a line after the time column"),
        "time_us\n0\n",
    ),
    csv(
        "A line must have a name.", ("1: column 2 must have a unique name, not ''"),
        "time_us,\n0,1\n",
    ),
    csv(
        "Two lines must not share a name.",
        ("1: column 3 must have a unique name, not 'tx' again"),
        "time_us,tx,tx\n0,1,1\n",
    ),
    csv("There must be a row.", ("1: must have a row below the header"), "time_us,tx\n\n"),
    csv(
        "A row must have all cells.", "3: a row must have 2 cells (time_us, tx), not 1",
        "time_us,tx\n0,1\n5\n",
    ),
    csv("A level must be 0 or 1.", "2: tx must be 0 or 1, not 'high'", "time_us,tx\n0,high\n"),
    csv("A level must be there.", "2: tx must be 0 or 1, not ''", "time_us,tx\n0,\n"),
    csv(
        "A time must be a number.", "2: time_us must be a number such as 12.5, not 'noon'",
        "time_us,tx\nnoon,1\n",
    ),
    csv(
        "A decimal comma is no point.", "2: time_us must be a number such as 12.5, not '0,5'",
        "time_us;tx\n0,5;1\n",
    ),
    csv(
        "Times must grow.", ("4: time_us must be above the one in the row before, 5.5, not '5.5'"),
        "time_us,tx\n0,1\n5.5,0\n5.5,1\n",
    ),
    csv(
        "A sample's number must be whole.",
        "2: sample must be a whole number such as 12, not '0.5'",
        "sample,tx\n0.5,1\n", "--sample-clock", "1 MHz",
    ),
    csv(
        "Samples need their clock.",
        ("1: a sample clock must be given: the times are sample numbers"),
        "sample,tx\n0,1\n",
    ),
    csv(
        "Times need no clock.",
        "1: a sample clock is not allowed here: the file already contains times",
        "time_us,tx\n0,1\n", "--sample-clock", "1 MHz",
    ),
    csv(
        "A time must not be beyond all steps.",
        "4: times must be at most 1152921504606846976 steps of 1",
        "time_s,tx\n0,1\n1,0\n1152921504606846977,1\n",
    ),
    csv(
        "A quote must end in its line.", "2: must be cells between ',', not '\"0,1'",
        'time_us,tx\n"0,1\n',
    ),
    csv("A capture is UTF-8.", "2: must be UTF-8 text, not byte 0xff", b"time_us,tx\n0,\xff\n"),
    vcd(
        "A file of other words is no VCD file.", ("1: is not a valid VCD file: unexpected 'hello'"),
        "hello world\n",
    ),
    vcd(
        "An empty file has no declarations.",
        ("1: $enddefinitions is missing"), "",
    ),
    vcd(
        "The unit of time must be there.", ("2: $timescale must come before $enddefinitions"),
        "$var wire 1 ! tx $end\n$enddefinitions $end\n#0\n1!\n",
    ),
    vcd(
        "There must be a variable of one bit.", ("5: must declare a variable of one bit"),
        "$timescale 1 us $end\n$var wire 8 ! wide $end\n$enddefinitions $end\n#0\nb1 !\n",
    ),
    vcd(
        "Variables with one code are equally wide.",
        "3: rx must be as wide as the other variable with the code !",
        "$timescale 1 us $end\n$var wire 1 ! tx $end\n$var wire 8 ! rx $end\n",
    ),
    vcd("There must be a time.", "4: must have a time, such as #0", HEAD + "1!\n"),
    vcd(
        "Times must not go back.", "6: a time must not be below the one before, 9, not 8",
        HEAD + "#9\n1!\n#8\n0!\n",
    ),
    vcd(
        "A change must be of what was declared.",
        ("5: a change must be of a declared variable, not '?'"), HEAD + "#0\n1?\n",
    ),
    vcd(
        "A line has two levels.",
        "5: a value of tx must be at most 1 bit of 0, 1, x or z, not 'b10'", HEAD + "#0\nb10 !\n",
    ),
    vcd(
        "A scope that is closed must be open.", ("2: $upscope without an open scope"),
        "$timescale 1 us $end\n$upscope $end\n",
    ),
    vcd(
        "A name is declared once.", ("3: tx is declared twice"),
        "$timescale 1 us $end\n$var wire 1 ! tx $end\n$var wire 1 ' tx $end\n",
    ),
    vcd(
        "Declarations come first.", ("4: $var must come before $enddefinitions"),
        HEAD + "$var wire 1 ' rx $end\n",
    ),
    vcd(
        "Times come after the declarations.", ("2: $enddefinitions must come before #0"),
        "$timescale 1 us $end\n#0\n",
    ),
    vcd(
        "A word must be whole.", ("5: ends in the middle of a token"),
        HEAD + "#0\n$comment the rest is gone",
    ),
    vcd(
        "A VCD file has times.",
        "1: a sample clock is not allowed here: the file already contains times",
        HEAD + "#0\n1!\n", "--sample-clock", "1 MHz",
    ),
    Spoiled(
        "A capture must be there.",
        "busbox: there is no file 'dusk.csv'; did you mean 'dust.csv'?\n",
        files={"dust.csv": "time_us,tx\n0,1\n"},
        args=("capture", "dusk.csv", "--as", "terminal"),
    ),
    Spoiled(
        "A folder is no capture.",
        "busbox: must be a file, not the folder 'day.csv'\n",
        files={"day.csv": None},
        args=CSV,
    ),
    Spoiled(
        "A capture's format is told by its suffix.",
        "busbox: a capture must end in .csv or .vcd, not 'day.steps'\n",
        args=("capture", "day.steps", "--as", "terminal"),
    ),
    Spoiled(
        "A kind must be named.",
        "busbox: --as: must be given, such as terminal or lamp_string\n",
        args=("capture", "day.csv"),
    ),
    Spoiled(
        "A kind must be known.",
        "busbox: --as: there is no kind of attachment 'terminus'; did you mean 'terminal'? (known: "
        "lamp_string, terminal, switch, level or file.py:Class)\n",
        args=("capture", "day.csv", "--as", "terminus"),
    ),
    Spoiled(
        "All that is wrong with the settings is told.",
        "busbox: --set: must be KEY=VALUE such as baud=19200, not '7E2'\n"
        "busbox: --set: there is no setting 'bawd'; did you mean 'baud'? (known: baud or format)\n"
        "busbox: --set: baud: must be a number from 1 to 1e+12, not 'fast'\n",
        args=(*CSV, "--set", "7E2", "--set", "bawd=9600", "--set", "baud=fast"),
    ),
    Spoiled(
        "A format must be one.",
        "busbox: --set: a format must be data bits 5 to 9, parity N, E or O, and stop bits 1, 1.5 or "
        "2, such as 8N1, not '8'\n",
        args=(*CSV, "--set", "format=8"),
    ),
    Spoiled(
        "A switch reads no line.",
        "busbox: --as: must decode a line, as lamp_string, terminal or level do, not 'switch'\n",
        args=("capture", "day.csv", "--as", "switch"),
    ),
    Spoiled(
        "A string must have its count.",
        ("busbox: --set: count: must be given: Number of lamps.\n"),
        args=("capture", "day.csv", "--as", "lamp_string"),
    ),
    Spoiled(
        "A profile must be known.",
        "busbox: --set: profile must be P1, P2, P3, P4 or P5, not 'P6'\n",
        files={"day.csv": "time_us,tx\n0,1\n1,0\n"},
        args=("capture", "day.csv", "--as", "lamp_string", "--set", "count=1", "--set", "profile=P6"),
    ),
    Spoiled(
        "A profile must be meant for the channels.",
        "busbox: --set: channels must be 4 for profile P5, not 3\n",
        files={"day.csv": "time_us,tx\n0,1\n1,0\n"},
        args=("capture", "day.csv", "--as", "lamp_string", "--set", "count=1", "--set", "profile=P5"),
    ),
    Spoiled(
        "An order must hold all channels.",
        ("busbox: --set: order must contain each of the letters RGB once, not 'GRBW'\n"),
        args=("capture", "day.csv", "--as", "lamp_string", "--set", "count=1", "--set", "order=GRBW"),
    ),
    Spoiled(
        "A line must be one of the capture's.",
        "busbox: --line: there is no line 'tv' in day.csv (known: tx or rx)\n",
        files={"day.csv": "time_us,tx,rx\n0,1,1\n1,0,1\n"},
        args=(*CSV, "--line", "tv"),
    ),
    Spoiled(
        "A rate must fit the capture.",
        "busbox: tx: baud must be at most 1000000, one tick a bit, not 2000000\n",
        files={"day.csv": "time_us,tx\n0,1\n1,0\n"},
        args=(*CSV, "--set", "baud=2000000"),
    ),
    Spoiled(
        "A sample clock must be a clock.",
        "busbox: --sample-clock: a clock must be a number with Hz, kHz, MHz or GHz, not '1'\n",
        args=(*CSV, "--sample-clock", "1"),
    ),
    Spoiled(
        "The clock of a rate must be a clock.",
        "busbox: baud: a clock must be a number with Hz, kHz, MHz or GHz, not '16'\n",
        args=("baud", "16", "9600"),
    ),
    Spoiled(
        "Every rate that cannot be used is told.",
        "busbox: baud: a rate must be a number above 0, such as 115200 or 134.5, not 'x'\n"
        "busbox: baud: a rate must be at most 16000000 with a clock of 16 MHz, not 16000001\n",
        args=("baud", "16 MHz", "x", "9600", "16000001"),
    ),
    Spoiled("A rate must be given.", "busbox: baud: RATE... must be given\n",
            args=("baud", "16 MHz")),
)  # fmt: skip


@pytest.mark.parametrize("spoiled", CASES, ids=lambda spoiled: spoiled.says)
def test_a_bad_capture_is_told(
    spoiled: Spoiled,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Exit code 2, exactly the message expected on stderr, nothing on stdout, nothing written."""
    assert_told(spoiled, tmp_path, monkeypatch, capsys)
