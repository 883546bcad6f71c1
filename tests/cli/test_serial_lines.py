"""``busbox baud`` and ``busbox capture``."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.cli.saying import say

CAPTURE = str(Path(__file__).parent.parent / "lines" / "captures" / "uart_115200_8n1.csv")
HELLO = "Hello World!\r\n" * 3


def test_baud_shows_divisor_rate_error_and_what_receivers_allow(
    capsys: pytest.CaptureFixture[str],
) -> None:
    """A row for each rate; 921600 baud at 16 MHz uses 40 to 55 per cent of the tolerances."""
    # Divisors and errors: reference manual RM0390, table 149. Shares: 2.124 per cent (computed) of the
    # fast sides 5.263 (computed), 4.575 and 3.896 (formula of Microchip's "Error Tolerance").
    page = say(capsys, "baud", "16 MHz", "115200", "921_600").split("\n")
    assert page[0] == "Serial rates at a clock of 16 MHz"
    assert page[1].split() == [
        "rate", "divisor", "true", "rate", "error", "mid_bit", "majority_16", "majority_8",
    ]  # fmt: skip
    assert page[2].split() == [
        "115200", "139", "115107.9", "-0.080", "%", "1.5", "%", "1.7", "%", "2.0", "%",
    ]  # fmt: skip
    assert page[3].split() == [
        "921600", "17", "941176.5", "+2.124", "%", "40.4", "%", "46.4", "%", "54.5", "%",
    ]  # fmt: skip
    assert page[-4].endswith("94.74 % to 105.26 %")
    assert page[-3].endswith("95.36 % to 104.58 %")
    assert page[-2].endswith("96.00 % to 103.90 %")


def test_baud_as_json(capsys: pytest.CaptureFixture[str]) -> None:
    """The same numbers, unrounded."""
    found = json.loads(say(capsys, "baud", "16MHz", "134500.5", "9600", "--json"))
    assert found["clock_hz"] == 16_000_000
    assert [rate["wanted"] for rate in found["rates"]] == [134500.5, 9600]
    assert [rate["divisor"] for rate in found["rates"]] == [119, 1667]
    slow = found["rates"][1]
    assert slow["true_rate"] == pytest.approx(16e6 / 1667)
    assert slow["error"] == pytest.approx(100 * (16e6 / 1667 / 9600 - 1))
    assert slow["used"]["majority_8"] == pytest.approx(-slow["error"] / 4 * 100)
    assert found["receivers"]["majority_8"]["slow"] == 96
    assert list(found["receivers"]) == list(slow["used"])


@pytest.mark.parametrize("words", [(), ("--line", "tx"), ("--set", "format=8n1")])
def test_capture_reads_the_text_of_a_real_line(
    capsys: pytest.CaptureFixture[str], words: tuple[str, ...]
) -> None:
    """The object has bytes, text, errors and the measured rate of each line."""
    # Known answers that came with the capture (tests/lines/captures/README.md).
    found = json.loads(say(capsys, "capture", CAPTURE, "--as", "terminal", "--json", *words))
    assert (found["tick"], found["ticks"]) == (1e-6, 3650)
    assert found["lines"]["tx"] == {
        "as": "terminal", "baud": 115200, "format": "8N1",
        "ticks_a_bit": pytest.approx(10**6 / 115200), "bytes": list(HELLO.encode()), "text": HELLO,
        "framing_errors": 0, "parity_errors": 0, "breaks": 0, "false_starts": 0, "unfinished": 0,
        "measured_baud": 115224, "measured_per_cent": pytest.approx(0.41, abs=0.005),
        "measured_others": [], "findings": {},
    }  # fmt: skip


def test_capture_reads_only_the_lines_that_are_named(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    """Without --line all lines are read, in the file's order; with it those named."""
    file = tmp_path / "cabin.csv"
    file.write_text("time_us,tx,rx,ring\n0,1,1,1\n1,1,1,1\n", encoding="utf-8")
    words = ("capture", str(file), "--as", "terminal", "--json")
    assert list(json.loads(say(capsys, *words))["lines"]) == ["tx", "rx", "ring"]
    named = say(capsys, *words, "--line", "ring", "--line", "tx", "--line", "ring")
    assert list(json.loads(named)["lines"]) == ["ring", "tx"]


def test_capture_shows_text_and_rate(capsys: pytest.CaptureFixture[str]) -> None:
    """For a reader: the settings, the text line by line, errors, the measured rate."""
    page = say(capsys, "capture", CAPTURE, "--as", "terminal")
    assert "read as     115200 baud, 8N1: 8 data bits, no parity, 1 stop bit\n" in page
    assert page.count("Hello World!\n") == 3
    assert "errors      none\n" in page
    assert "measured    115,224 baud +-0.41 % (+0.02 %)\n" in page


def test_capture_with_other_settings_tells_the_errors(capsys: pytest.CaptureFixture[str]) -> None:
    """At a wrong rate and format there are errors, counted by kind, and nothing is dropped."""
    words = ("--set", "baud=19200", "--set", "format=7E2")
    page = say(capsys, "capture", CAPTURE, "--as", "terminal", *words)
    assert "19200 baud, 7E2: 7 data bits, even parity, 2 stop bits\n" in page
    assert "framing errors" in page
    assert "errors          none" not in page


def test_capture_reads_what_a_run_wrote(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """The waveform file of a run is a capture too; a tick is a cycle."""
    file = str(tmp_path / "run.vcd")
    say(capsys, "run", "first_light", "--vcd", file)
    words = ("--as", "terminal", "--set", "baud=1000000", "--line", "busbox.telegraph.tx")
    found = json.loads(say(capsys, "capture", file, *words, "--json"))
    assert list(found["lines"]) == ["busbox.telegraph.tx"]
    assert found["lines"]["busbox.telegraph.tx"]["text"] == "line free\n"
    assert found["lines"]["busbox.telegraph.tx"]["measured_baud"] == 1_000_000
    assert found["tick"] == 62.5e-9


def test_a_line_that_is_never_known_is_told(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    """A line of nothing but x is no silent line."""
    file = tmp_path / "x.vcd"
    file.write_text(
        "$timescale 1 us $end\n$var wire 1 ! tx $end\n$enddefinitions $end\n#0\nx!\n#9\n",
        encoding="ascii",
    )
    assert "level never known\n" in say(capsys, "capture", str(file), "--as", "terminal")
