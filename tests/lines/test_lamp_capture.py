"""A real lamp line, captured by others: what the lamps show, and how it keeps the profiles."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from busbox.lines.captures import read_capture
from busbox.lines.lamps import judge, verdicts
from busbox.lines.profiles import PROFILES
from tests.cli.saying import say

CAPTURE = Path(__file__).parent / "captures" / "led_line_4_rgbw.csv"
#: Known answers that came with the capture (captures/README.md): bytes on the wire of each frame.
VALUES = (0x00, 0x3F, 0x7F, 0xFF)
PLACES = (0, 2, 3, 1)
STRING = ("--as", "lamp_string", "--set", "count=4", "--set", "channels=4")


def test_the_bytes_on_the_wire_are_the_known_ones() -> None:
    """Four frames of four lamps: in each frame one byte of every lamp has its value, the rest is 0."""
    wave = read_capture(CAPTURE)["line"]
    seen = judge(wave, PROFILES["P4"], 4, 4)
    octets = np.packbits(seen.bits.value).reshape(4, 4, 4).tolist()
    wanted = [
        [[value if place == lit else 0 for place in range(4)] for value in VALUES] for lit in PLACES
    ]
    assert octets == wanted
    assert seen.frames.latched.tolist() == [True, True, True, True]


def test_the_means_are_the_known_ones() -> None:
    """Bit period 1.297 us, high of a zero 0.438 us, of a one 0.887 us, to the last digit."""
    wave = read_capture(CAPTURE)["line"]
    seen = judge(wave, PROFILES["P4"], 4, 4)
    means = {key: one.mean for key, one in seen.measures.items()}
    assert means["zero_high"] is not None
    assert means["one_high"] is not None
    assert round(float(means["zero_high"])) == 438
    assert round(float(means["one_high"])) == 887
    inside = seen.bits.low < 100  # not the gaps
    period = float((seen.bits.high + seen.bits.low)[inside].mean() * wave.tick_ns)
    assert round(period) == 1297


def test_the_order_on_the_wire_is_green_red_blue_white(
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Read in that order, the frames are green, blue, white and red, as the sender meant them."""
    words = ("capture", str(CAPTURE), *STRING, "--set", "profile=P4", "--json")
    line = json.loads(say(capsys, *words))["lines"]["line"]
    # As [red, green, blue, white] of each lamp.
    lit = (1, 2, 3, 0)
    wanted = [[[v if c == channel else 0 for c in range(4)] for v in VALUES] for channel in lit]
    assert line["frames"] == wanted
    assert line["bits"] == 512
    assert line["verdict"] == "passes"
    assert set(line["windows"]["zero_high"]) >= {
        "mean_ns", "min_ns", "max_ns", "worst_margin_ns",
    }  # fmt: skip


def test_a_capture_is_judged_by_its_means_too() -> None:
    """P5 allows 400 ns and 850 ns only: every time is within a sample of it, their means are not."""
    # Driver data page UCS8904B: 400 and 850 ns, without a tolerance.
    found = verdicts(read_capture(CAPTURE)["line"], 4, 4)
    assert [name for name, one in found.items() if one.passes] == ["P4"]
    assert not len(found["P5"].failures)
    assert found["P5"].measures["zero_high"].mean_outside
    # The gap is no mean of many, and passes.
    assert not found["P5"].measures["gap"].mean_outside


def test_a_capture_in_sample_numbers_says_the_same(tmp_path: Path) -> None:
    """With times as numbers of samples, and the sample clock given, the bits are the same."""
    rows = CAPTURE.read_text(encoding="utf-8").splitlines()[1:]
    path = tmp_path / "samples.csv"
    numbers = (row.split(",") for row in rows)
    text = "\n".join(f"{int(time) // 250},{level}" for time, level in numbers)
    path.write_text(f"sample,line\n{text}\n", encoding="utf-8")
    waves = read_capture(CAPTURE)["line"], read_capture(path, 4_000_000)["line"]
    seen = [judge(wave, PROFILES["P4"], 4, 4) for wave in waves]
    assert seen[0].bits.value.tolist() == seen[1].bits.value.tolist()
    assert seen[0].measures == seen[1].measures


def test_a_capture_tells_what_is_wrong_with_it(capsys: pytest.CaptureFixture[str]) -> None:
    """Four channels read as three: every frame is 8 bits beyond whole lamps, and that is said."""
    words = (
        "capture",
        str(CAPTURE),
        "--as",
        "lamp_string",
        "--set",
        "count=24",
        "--set",
        "profile=P4",
    )
    line = json.loads(say(capsys, *words, "--json"))["lines"]["line"]
    assert (line["verdict"], line["broken"], line["findings"]) == (
        "passes", 4, {"broken-bit-count": 4},
    )  # fmt: skip
    page = " ".join(say(capsys, *words).split())
    assert (
        "broken-bit-count 4 times; the first: Frame 0 has 128 bits, which is 5 lamps of 24 bits and 8 "
        "bits left over: bits were lost or added" in page
    )
    assert "try: If the lamps have four channels, set channels = 4." in page
