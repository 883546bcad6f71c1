"""The reader of waveform files against vcdvcd, an independent one, on drawn files."""

from __future__ import annotations

import gzip
import io
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from vcdvcd import VCDVCD

from busbox.basics.errors import InputError
from busbox.formats.waveform import header, vcd
from busbox.formats.waveform.vcd import VcdReader

pytestmark = pytest.mark.quick

#: Codes that look like values, times, commands and texts, and long ones.
CODES = (
    "!",
    "b",
    "b1",
    "B",
    "r0",
    "s",
    "x",
    "0",
    "1!",
    "#",
    "$",
    "~~",
    "Z",
    "abcdefghi",
    "abcdefghj",
)
Tv = list[tuple[int, str]]


def read(data: bytes, piece: int = 1 << 20) -> dict[str, Tv]:
    """Return the changes of every variable that has a level, extended to its width."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(vcd, "PIECE", piece)
        patch.setattr(header, "FIRST_READ", piece)
        reader = VcdReader(io.BytesIO(data), "x.vcd")
        wanted = [one for one in reader.header.variables if 0 < one.width <= 64]
        found: dict[str, Tv] = {one.name: [] for one in wanted}
        for changes in reader.changes(wanted):
            for one, times, values in zip(wanted, changes.times, changes.values, strict=True):
                for time, ones, unknown in zip(
                    times.tolist(), values.ones.tolist(), values.unknown.tolist(), strict=True
                ):
                    bits = "".join(
                        "x" if unknown >> bit & 1 else str(ones >> bit & 1)
                        for bit in reversed(range(one.width))
                    )
                    found[one.name].append((time, bits))
    return found


@st.composite
def files(draw: st.DrawFn) -> str:
    """Draw a waveform as vcdvcd reads it: one change a line."""
    codes = draw(st.lists(st.sampled_from(CODES), min_size=1, max_size=6, unique=True))
    widths = {code: draw(st.sampled_from((1, 1, 2, 8, 33, 64))) for code in codes}
    lines = ["$date today $end", "$timescale 1 ns $end", "$scope module m $end"]
    lines += [
        f"$var wire {width} {code} n{place} $end"
        for place, (code, width) in enumerate(widths.items())
    ]
    lines += ["$upscope $end", "$enddefinitions $end"]
    now = 0
    for _ in range(draw(st.integers(1, 25))):
        if len(lines) == len(widths) + 5 or draw(st.booleans()):
            now += draw(st.integers(0, 10**6))
            lines.append(f"#{now}")
            continue
        code = draw(st.sampled_from(codes))
        digits = draw(st.text("01xz", min_size=1, max_size=widths[code]))
        lines.append(f"{digits[0]}{code}" if widths[code] == 1 else f"b{digits} {code}")
    return "\n".join(lines) + "\n"


def expected(file: str, folder: Path) -> dict[str, Tv]:
    """Return what vcdvcd reads; z counts as x, short values are extended (clause 18.2.1)."""
    path = folder / "x.vcd"
    path.write_text(file, encoding="ascii")
    theirs = VCDVCD(str(path))
    found = {}
    for name, code in theirs.references_to_ids.items():
        signal = theirs.data[code]
        width = int(signal.size)
        found[name.partition("[")[0]] = [
            (time, _extended(value.replace("z", "x"), width)) for time, value in signal.tv
        ]
    return found


def _extended(value: str, width: int) -> str:
    return ("x" if value[0] == "x" else "0") * (width - len(value)) + value


@given(file=files(), piece=st.sampled_from((1, 5, 33, 1 << 20)))
def test_an_independent_reader_agrees(
    file: str, piece: int, tmp_path_factory: pytest.TempPathFactory
) -> None:
    """Every change of every variable, whatever the codes and the pieces."""
    ours = read(file.encode("ascii"), piece)
    assert ours == expected(file, tmp_path_factory.mktemp("vcd"))


@given(file=files(), data=st.data())
def test_blanks_and_comments_change_nothing(file: str, data: st.DataObject) -> None:
    """Words may stand on one line or on many, with comments between; pieces may cut anywhere."""
    plain = read(file.encode("ascii"))
    head, _, body = file.partition("$enddefinitions $end\n")
    words = body.split()
    blanks = st.sampled_from((" ", "\n", "\r\n", "\t", "  \n"))
    loose = "".join(word + data.draw(blanks) for word in words)
    comment = "$comment b1 ! $endless #7 0! \n$end\n"
    at = data.draw(st.integers(0, body.count("\n")))
    lines = body.splitlines(keepends=True)
    commented = "".join([*lines[:at], comment, *lines[at:]])
    for changed in (loose, commented):
        text = f"{head}$enddefinitions $end\n{changed}"
        assert read(text.encode("ascii"), data.draw(st.integers(1, 80))) == plain


HEAD = '$timescale 1 ns $end\n$var wire 1 ! a $end\n$var wire 8 " b $end\n$enddefinitions $end\n'


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("#0\n1!\n1?\n", "x.vcd:7: a change must be of a declared variable, not '?'"),
        ("#0\nb1 #\n", "x.vcd:6: a change must be of a declared variable, not '#'"),
        ("#5\n#4\n", "x.vcd:6: a time must not be below the one before, 5, not 4"),
        ("#0\nb102 \"\n", "x.vcd:6: a value of b must be at most 8 bits of 0, 1, x or z, not 'b102'"),
        ("#0\nb010101010 \"\n",
         "x.vcd:6: a value of b must be at most 8 bits of 0, 1, x or z, not 'b010101010'"),
        ("#0\nhello\n", "x.vcd:6: is not a valid VCD file: unexpected 'hello'"),
        ("#0\n#x\n", "x.vcd:6: is not a valid VCD file: unexpected '#x'"),
        ("#0\n$dumpports\n", "x.vcd:6: is not a valid VCD file: unexpected '$dumpports'"),
        ("#0\nb1", "x.vcd:6: ends in the middle of a token"),
        ("#0\n\n$comment 1!\n", "x.vcd:7: ends in the middle of a token"),
        (f"#{10**30}\n", f"x.vcd:5: a time must be at most {1 << 60}, not 1{30 * '0'}"),
    ],
)  # fmt: skip
def test_what_is_no_change_is_told_with_its_line(text: str, message: str) -> None:
    """One sentence, in whatever pieces the file is read."""
    for piece in (1, 20, 1 << 20):
        with pytest.raises(InputError) as caught:
            read((HEAD + text).encode(), piece)
        assert str(caught.value) == message


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("hello\n", "x.vcd:1: is not a valid VCD file: unexpected 'hello'"),
        ("$timescale 3 ns $end\n", "x.vcd:1: is not a valid VCD file: $timescale '3 ns'"),
        ("$timescale 1 ns $end\n$scope module $end\n",
         "x.vcd:2: is not a valid VCD file: $scope 'module'"),
        ("$timescale 1 ns $end\n$var wire ! a $end\n",
         "x.vcd:2: is not a valid VCD file: $var 'wire ! a'"),
        ("$timescale 1 ns\n", "x.vcd:1: ends in the middle of a token"),
        ("$timescale 1 ns $end\n", "x.vcd:1: $enddefinitions is missing"),
        ("", "x.vcd:1: $enddefinitions is missing"),
    ],
)  # fmt: skip
def test_declarations_that_are_none_are_told(text: str, message: str) -> None:
    """With the line."""
    with pytest.raises(InputError) as caught:
        read(text.encode(), 8)
    assert str(caught.value) == message


def test_long_declarations_and_many_codes(tmp_path: Path) -> None:
    """Ten thousand variables: codes of three characters, declarations beyond the first read."""

    def code(number: int) -> str:
        digits = ""
        while True:
            number, digit = divmod(number, 94)
            digits += chr(33 + digit)
            if not number:
                return digits

    lines = ["$timescale 1 ns $end"]
    lines += [f"$var wire 1 {code(number)} n{number} $end" for number in range(10_000)]
    lines += ["$enddefinitions $end", "#3"]
    lines += [f"{number % 2}{code(number)}" for number in range(10_000)]
    data = "\n".join(lines).encode() + b"\n"
    assert len(data) > 2 * header.FIRST_READ
    reader = VcdReader(io.BytesIO(data), "x.vcd")
    wanted = reader.header.variables[9_000:9_002]
    (changes,) = reader.changes(wanted)
    assert [times.tolist() for times in changes.times] == [[3], [3]]
    assert [values.ones.tolist() for values in changes.values] == [[0], [1]]


def test_memory_is_bounded_by_the_piece(monkeypatch: pytest.MonkeyPatch) -> None:
    """No part that is looked at grows with the file."""
    monkeypatch.setattr(vcd, "PIECE", 1000)
    sizes = []
    words_of = vcd.words_of
    monkeypatch.setattr(vcd, "words_of", lambda data: sizes.append(len(data)) or words_of(data))
    body = "".join(f"#{time}\n{time % 2}!\n" for time in range(20_000)).encode()
    reader = VcdReader(io.BytesIO(HEAD.encode() + body), "x.vcd")
    seen = sum(len(changes.times[0]) for changes in reader.changes(reader.header.variables[:1]))
    assert seen == 20_000
    assert max(sizes) <= 2 * header.FIRST_READ < len(body)


def test_a_packed_file_is_read_packed(tmp_path: Path) -> None:
    """``.vcd.gz`` through the traffic's own reader; see tests/cli/test_importing.py for the verb."""
    data = gzip.compress((HEAD + "#0\n1!\n").encode())
    with gzip.open(io.BytesIO(data)) as file:
        reader = VcdReader(file, "x.vcd.gz")  # type: ignore[arg-type]
        (changes,) = reader.changes(reader.header.variables[:1])
    assert changes.times[0].tolist() == [0]
