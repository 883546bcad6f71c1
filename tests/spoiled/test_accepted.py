"""What looks odd but is good: line ends, byte-order marks, separators, packed files."""

from __future__ import annotations

import gzip
from pathlib import Path

import pytest

from busbox import Bench
from tests.spoiled.cabin import BELL, BENCH, TRAFFIC, contents_of, said_by

CSV = """\
wait,op,address,data,lanes,pc
0,write,0x40000000,1,1111,0x10
3,read,0x40001004,,1111,
"""


def played(folder: Path, bench: bytes, name: str = "day.steps", traffic: bytes = b"") -> list[int]:
    """Return the start of every access that a bench plays."""
    (folder / "bench.toml").write_bytes(bench)
    (folder / name).write_bytes(traffic or TRAFFIC.encode("utf-8"))
    return Bench.load(folder / "bench.toml").run(until=100).accesses.start.tolist()  # type: ignore[no-any-return]


@pytest.mark.parametrize(
    "bench",
    [
        BENCH.encode("utf-8"),
        BENCH.replace("\n", "\r\n").encode("utf-8"),
        b"\xef\xbb\xbf" + BENCH.encode("utf-8"),
        b"\xef\xbb\xbf" + BENCH.replace("\n", "\r\n").encode("utf-8"),
        BENCH.rstrip("\n").encode("utf-8"),
    ],
    ids=["as it is", "CR LF", "byte-order mark", "both", "no last line end"],
)
def test_a_bench_is_read_whatever_its_line_ends(tmp_path: Path, bench: bytes) -> None:
    """Line ends of two signs, a byte-order mark and a last line without end change nothing."""
    assert played(tmp_path, bench) == [1, 3]


def test_lines_are_counted_the_same_with_other_line_ends(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """A mistake in a bench with CR LF and a byte-order mark is told with the right line."""
    spoiled = BENCH.replace("width = 8", "width = 99").replace("\n", "\r\n")
    (tmp_path / "bench.toml").write_bytes(b"\xef\xbb\xbf" + spoiled.encode("utf-8"))
    (tmp_path / "day.steps").write_text(TRAFFIC, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    _, _, err = said_by(("run", "bench.toml"), capsys, tmp_path)
    assert err == (
        "busbox: bench.toml:15: slot.levers.width: must be a whole number from 1 to 32, not 99\n"
    )


STEPS = "mark noon\nwrite levers.OUT 1   # lever 0\n\n\tread\ttelegraph.STATUS\t+3\n"


@pytest.mark.parametrize(
    ("name", "traffic"),
    [
        ("day.steps", STEPS.encode("utf-8")),
        ("day.steps", b"\xef\xbb\xbf" + STEPS.replace("\n", "\r\n").encode("utf-8")),
        ("day.steps", STEPS.replace("\n", "\r").encode("utf-8")),
        ("day.steps", STEPS.replace("mark noon", "mark\tnoon").encode("utf-8")),
        ("day.steps.gz", gzip.compress(STEPS.encode("utf-8"), mtime=0)),
        ("day.csv", CSV.encode("utf-8")),
        ("day.csv", b"\xef\xbb\xbf" + CSV.replace("\n", "\r\n").encode("utf-8")),
        ("day.csv", CSV.replace(",", ";").encode("utf-8")),
        ("day.csv", CSV.replace(",", " , ").encode("utf-8")),
        ("day.csv", CSV.replace("\n", "\n\n").encode("utf-8")),
        (
            "day.csv",
            CSV.replace(",pc", "")
            .replace(",0x10", "")
            .replace("1111,\n", "1111\n")
            .encode("utf-8"),
        ),
        ("day.csv", CSV.replace("0x40000000", '"0x40000000"').encode("utf-8")),
        ("day.csv.gz", gzip.compress(CSV.replace(",", ";").encode("utf-8"), mtime=0)),
    ],
)
def test_traffic_is_read_whatever_its_dress(tmp_path: Path, name: str, traffic: bytes) -> None:
    """Byte-order marks, line ends, tabs, separators, blanks, quotes and packing change nothing."""
    bench = BENCH.replace("day.steps", name).encode("utf-8")
    assert played(tmp_path, bench, name, traffic) == [1, 6]


def test_python_files_leave_nothing_beside_them_and_are_read_anew(tmp_path: Path) -> None:
    """A model file and a traffic file are loaded as they are now, and nothing is written there."""
    keys = {
        "clock": "16 MHz",
        "slot": {"bell": {"model": "bell.py:Bell", "base": 0, "size": 4}},
        "traffic": {"file": "day.py:firmware"},
    }
    (tmp_path / "bell.py").write_text(BELL, encoding="utf-8")
    for data in (1, 2):
        firmware = f"def firmware(bus):\n    bus.write('bell.STRIKE', {data})\n"
        (tmp_path / "day.py").write_text(firmware, encoding="utf-8")
        before = contents_of(tmp_path)
        recording = Bench(keys, folder=tmp_path).run()
        assert recording.accesses.data.tolist() == [data]
        assert contents_of(tmp_path) == before
