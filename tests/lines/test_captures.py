"""Captures: CSV and VCD give the same edges; a file that is none is told where."""

from __future__ import annotations

import io
from collections.abc import Mapping
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from vcd import VCDWriter

from busbox.basics.errors import InputError
from busbox.lines.capture_vcd import read_vcd
from busbox.lines.captures import read_capture, read_csv
from busbox.lines.serial import Format, decode
from busbox.lines.wave import Wave

CAPTURE = Path(__file__).parent / "captures" / "uart_115200_8n1.csv"

HEAD = b"$timescale 10 ns $end\n$scope module cabin $end\n$var wire 1 ! tx $end\n"
END = b"$upscope $end\n$enddefinitions $end\n"

Facts = dict[str, tuple[list[int], list[int], Fraction, int]]


def facts(waves: Mapping[str, Wave]) -> Facts:
    """Return what waves hold, to be compared."""
    return {
        name: (wave.times.tolist(), wave.levels.tolist(), wave.tick, wave.end)
        for name, wave in waves.items()
    }


def as_vcd(waves: Mapping[str, Wave], timescale: str) -> bytes:
    """Return a VCD file of waves, a tick being one ``timescale``."""
    text = io.StringIO()
    with VCDWriter(text, timescale=timescale, date="") as writer:
        signals = {name: writer.register_var("cabin", name, "wire", 1) for name in waves}
        changes = sorted(
            (time, name, level)
            for name, wave in waves.items()
            for time, level in zip(wave.times.tolist(), wave.levels.tolist(), strict=True)
        )
        for time, name, level in changes:
            writer.change(signals[name], time, level)
        writer.close(max(wave.end for wave in waves.values()))
    return text.getvalue().encode("ascii")


def test_the_real_capture_says_the_same_as_vcd(tmp_path: Path) -> None:
    """Converted to VCD by another writer, a capture has the same edges, text and rate."""
    waves = read_capture(CAPTURE)
    path = tmp_path / "hello.vcd"
    path.write_bytes(as_vcd(waves, "1 us"))
    read = read_capture(path)
    assert facts(read) == {"cabin.tx": facts(waves)["tx"]}
    decoded = decode(read["cabin.tx"], 115_200, Format.parse("8N1"))
    assert decoded.text == "Hello World!\r\n" * 3
    assert decoded.framing_errors == ()
    assert decoded.measured_baud is not None
    assert round(decoded.measured_baud) == 115_224  # known answer, see captures/README.md


@given(st.data(), st.integers(1, 3), st.integers(1, 1000), st.integers(2, 30))
def test_any_edges_come_back_from_both_formats(
    data: st.DataObject, lines: int, step: int, rows: int
) -> None:
    """Levels written as CSV in three ways, and as VCD, are the same waves; the step is found."""
    numbers = data.draw(st.sets(st.integers(0, 500), min_size=rows, max_size=rows))
    times = sorted(step * number for number in numbers | {0, 1})
    levels = st.lists(st.integers(0, 1), min_size=len(times), max_size=len(times))
    columns = {f"line{n}": data.draw(levels) for n in range(lines)}
    for column in columns.values():
        column[-1] = column[-2]  # the last row repeats the levels, as the end of a capture does
    waves = {}
    for unit, separator, shift in (("ns", ",", 1), ("us", ";", 1000), ("s", ",", 10**9)):
        text = [separator.join([f"time_{unit}", *columns])]
        for time, *row in zip(times, *columns.values(), strict=True):
            whole, rest = divmod(time, shift)
            cell = f"{whole}.{rest:0{len(str(shift)) - 1}d}" if shift > 1 else str(time)
            text.append(separator.join([cell, *map(str, row)]))
        waves = read_csv(text, "x.csv")
        for name, column in columns.items():
            kept = [n for n in range(len(times)) if n == 0 or column[n] != column[n - 1]]
            assert waves[name].times.tolist() == [times[n] // step for n in kept]
            assert waves[name].levels.tolist() == [column[n] for n in kept]
            assert waves[name].tick == Fraction(step, 10**9)
            assert waves[name].end == times[-1] // step
    read = read_vcd(as_vcd(waves, "1 ns"), "x.vcd")  # its times are the steps
    for name, wave in waves.items():
        other = read[f"cabin.{name}"]
        scale = other.tick * 10**9
        assert [time * scale for time in other.times.tolist()] == wave.times.tolist()
        assert other.levels.tolist() == wave.levels.tolist()
        assert other.end * scale == wave.end


@pytest.mark.parametrize(
    "text",
    [
        b"time_us,tx\n0,1\n5.5,0\n14,0\n",
        b"\xef\xbb\xbfTime_us;tx\r\n0;1\r\n5.5;0\r\n14;0\r\n",
        b'"time_us","tx"\n\n 0 , 1\n5.50,0\n1.4e1,0\n\n',
        b"time_ns,tx\n0,1\n5500,0\n14000,0",
    ],
)
def test_csv_may_be_written_in_many_ways(text: bytes, tmp_path: Path) -> None:
    """Separator, byte-order mark, line ends, spaces, quotes, empty lines and units do not matter."""
    path = tmp_path / "cabin.CSV"
    path.write_bytes(text)
    assert facts(read_capture(path)) == {"tx": ([0, 11], [1, 0], Fraction(1, 2_000_000), 28)}


def test_times_may_be_samples() -> None:
    """With a sample clock a tick is one sample, whatever the numbers have in common."""
    waves = read_csv(["sample,tx", "0,1", "40,0", "80,0"], "x.csv", 4_000_000)
    assert facts(waves) == {"tx": ([0, 40], [1, 0], Fraction(1, 4_000_000), 80)}


def test_times_may_begin_before_a_trigger() -> None:
    """Times below 0 are times like others."""
    waves = read_csv(["time_ms,tx", "-3,1", "0,0", "9,0"], "x.csv")
    assert facts(waves) == {"tx": ([-1, 0], [1, 0], Fraction(3, 1000), 3)}


def test_a_single_row_has_the_step_of_its_unit() -> None:
    """A capture of one row at time 0 has no times to find a step in: it is one unit."""
    waves = read_csv(["time_us,tx", "0.00,1"], "x.csv")
    assert facts(waves) == {"tx": ([0], [1], Fraction(1, 10**6), 1)}


def test_a_change_in_the_last_row_was_seen() -> None:
    """A level that is new in the last row is known for one step; others end at the last time."""
    waves = read_csv(["time_us,tx,rx", "0,1,1", "2,0,1", "4,1,1"], "x.csv")
    assert {name: wave.end for name, wave in waves.items()} == {"tx": 3, "rx": 3}
    assert waves["tx"].times.tolist() == [0, 1, 2]


def test_vcd_levels_that_are_unknown_count_as_the_level_before() -> None:
    """x and z are no edges; a line that begins unknown begins with its first level."""
    changes = b"#0\n$dumpvars\nx!\n$end\n#4\n1!\n#8\nz!\n#12\n0!\n#14\nX!\n#16\nb1 !\n#20\n"
    read = read_vcd(HEAD + END + changes, "x.vcd")
    assert facts(read) == {"cabin.tx": ([2, 6, 8], [1, 0, 1], Fraction(2, 10**8), 10)}


def test_vcd_variables_of_one_bit_are_read() -> None:
    """Wider ones, numbers with a point, texts and events are no lines; two names may share a code."""
    more = (
        b"$var wire 8 # wide $end\n$var real 64 % heat $end\n$var event 1 & bell $end\n"
        b"$var string 1 s word $end\n$var wire 1 ! again $end\n$var reg 1 ' lever [3] $end\n"
    )
    changes = b"#0\n1!\nb101 #\nr1.5 %\n1&\nsup s\n0'\n#3\n0!\n1'\n#6\n"
    read = read_vcd(b"\xef\xbb\xbf" + HEAD + more + END + changes, "x.vcd")
    assert list(read) == ["cabin.tx", "cabin.again", "cabin.lever[3]"]
    assert facts(read)["cabin.tx"] == facts(read)["cabin.again"]
    assert facts(read)["cabin.lever[3]"] == ([0, 1], [0, 1], Fraction(3, 10**8), 2)


def test_of_two_levels_at_one_time_the_last_counts() -> None:
    """A pulse of no length is no edge."""
    read = read_vcd(HEAD + END + b"#0\n1!\n#5\n0!\n1!\n#9\n0!\n#10\n", "x.vcd")
    assert facts(read)["cabin.tx"] == ([0, 9], [1, 0], Fraction(1, 10**8), 10)


def test_a_line_that_is_never_known_has_no_times() -> None:
    """It says nothing, and the others are read."""
    other = b"$var wire 1 ' rx $end\n"
    read = read_vcd(HEAD + other + END + b"#0\nx!\n1'\n#5\n0'\n#9\n", "x.vcd")
    assert facts(read)["cabin.tx"][:2] == ([], [])
    assert decode(read["cabin.tx"], 9600, Format.parse("8N1")).characters == ()
    assert len(read["cabin.rx"].times) == 2


@given(st.data())
def test_a_spoiled_vcd_file_is_read_or_refused(data: st.DataObject) -> None:
    """Whatever bytes are cut out or put in, there are waves, or an InputError with a line."""
    whole = HEAD + END + b"#0\n1!\n#5\n0!\n#9\n1!\nb1 !\n#10\n"
    first = data.draw(st.integers(0, len(whole)))
    last = data.draw(st.integers(first, min(first + 12, len(whole))))
    word = data.draw(
        st.one_of(st.binary(max_size=6), st.sampled_from([b"b ", b"#", b"r1 !", b"$"]))
    )
    try:
        assert read_vcd(whole[:first] + word + whole[last:], "x.vcd")
    except InputError as error:
        (mistake,) = error.mistakes
        assert mistake.where == "x.vcd"
        assert mistake.line is not None


def test_a_vcd_file_that_is_cut_off_has_no_more_than_its_words() -> None:
    """Cut off anywhere, a file gives the edges before that, or is refused: never others."""
    whole = HEAD + END + b"#0\n1!\n#10\n0!\n#20\n1!\n#30\n0!\n#40\n"
    seen = set()
    for length in range(len(whole) + 1):
        try:
            read = read_vcd(whole[:length], "x.vcd")["cabin.tx"]
        except InputError:
            continue
        edges = [time * read.tick * 10**8 for time in read.times.tolist()]
        assert edges == [0, 10, 20, 30][: len(edges)]
        seen.add(len(edges))
    assert seen == {0, 1, 2, 3, 4}
