"""Each limit refuses what is just above it, names itself, and is raised by its variable."""

from __future__ import annotations

import io
import json
import os
import zipfile
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from busbox import InputError, Recording, load_bench
from busbox.basics import limits
from busbox.basics.files import read_file
from busbox.basics.limits import LIMITS, Limit
from busbox.basics.toml_file import read_toml
from busbox.firmware.program import Unusable
from busbox.formats.files import read_traffic
from busbox.lines.captures import read_capture
from busbox.variants.tables import read_table
from tests.basics.limit_cases import CASES, STEP, WORK, Value, recording, steps


@pytest.mark.parametrize(
    ("limit", "value", "read"), CASES, ids=[f"{one[0].name}-{n}" for n, one in enumerate(CASES)]
)
def test_one_more_than_a_limit_is_refused(
    limit: Limit,
    value: Value,
    read: Callable[[Path], object],
    monkeypatch: pytest.MonkeyPatch,
    tmp_path: Path,
) -> None:
    """The message names the limit and its variable; with a limit of one more, it is not refused."""
    most = value if isinstance(value, int) else value(tmp_path)
    assert most < limit.value
    monkeypatch.setenv(limit.variable, str(most))
    with pytest.raises((InputError, Unusable)) as raised:
        read(tmp_path)
    assert f"must have at most {most:,} {limit.unit}; {limit.variable} raises" in str(raised.value)
    if limit in WORK:
        return
    monkeypatch.setenv(limit.variable, str(most + 1))
    said = ""
    try:
        read(tmp_path)
    except (InputError, Unusable) as error:  # for another reason
        said = str(error)
    assert limit.variable not in said


def test_every_limit_is_tried() -> None:
    """No limit is without a case here, and names are unique."""
    assert {one[0].name for one in CASES} == {one.name for one in LIMITS}
    assert len({one.name for one in LIMITS}) == len(LIMITS)


def test_exactly_at_the_limit_is_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A file and a line of exactly so many bytes are read; one more is refused."""
    (tmp_path / "x").write_bytes(bytes(10))
    monkeypatch.setenv(limits.IMAGE.variable, "10")
    assert len(read_file(tmp_path / "x", limits.IMAGE)) == 10
    monkeypatch.setenv(limits.IMAGE.variable, "9")
    with pytest.raises(InputError, match="at most 9 bytes"):
        read_file(tmp_path / "x", limits.IMAGE)
    monkeypatch.setenv(limits.LINE.variable, str(len(STEP)))
    steps(tmp_path, STEP * 3)
    monkeypatch.setenv(limits.LINE.variable, str(len(STEP) - 1))
    with pytest.raises(InputError, match=r"t.steps:1: a line must have"):
        steps(tmp_path, STEP * 3)


@pytest.mark.parametrize("value", ["0", "-1", "x", "1.5", "9" * 30, " 1"])
def test_a_variable_must_be_a_number(value: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """What is no whole number from 1 on is refused by the variable's name."""
    monkeypatch.setenv("BUSBOX_MOST_LINE", value)
    with pytest.raises(InputError, match="BUSBOX_MOST_LINE: must be a whole number from 1"):
        _ = limits.LINE.most


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="there are no FIFOs here")
@pytest.mark.parametrize(
    "read",
    [
        lambda file: read_toml(file), lambda file: Recording.load(file), lambda file: read_table(file),
        lambda file: list(read_traffic(file)), lambda file: read_capture(file),
        lambda file: read_file(file, limits.IMAGE), lambda file: load_bench(file),
    ],
)  # fmt: skip
def test_a_fifo_is_refused_at_once(read: Callable[[Path], object], tmp_path: Path) -> None:
    """What may never end is not opened."""
    os.mkfifo(tmp_path / "x.csv")
    with pytest.raises(InputError, match=r"FIFO|there is no bench"):
        read(tmp_path / "x.csv")


def altered(
    good: bytes, change: Callable[[zipfile.ZipInfo, bytes], tuple[zipfile.ZipInfo, bytes]]
) -> bytes:
    """Return a recording with other parts."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(good)) as old, zipfile.ZipFile(out, "w") as new:
        for info in old.infolist():
            new.writestr(*change(info, old.read(info)))
    return out.getvalue()


def column(values: object, kind: str) -> bytes:
    out = io.BytesIO()
    np.save(out, np.array(values, dtype=kind))
    return out.getvalue()


@pytest.mark.parametrize(
    ("name", "data"),
    [
        ("facts.npy", column(list(b"[" * 100_000), "u1")),
        ("facts.npy", column([b"x"], "S1")),
        ("facts.npy", column([1], "i8")),
        ("access/start.npy", column([1.5], "f8")),
        ("access/start.npy", column([1], "i4")),
        ("access/start.npy", column([[1]], "i8")),
        ("access/start.npy", column([1] * 99, "i8")),
        ("access/start.npy", column([-5], "i8")),
        ("access/start.npy", column([1], "i8").replace(b"(1,)", b"(9,)")),
        ("access/start.npy", column([1], "i8").replace(b"<i8", b"|O ")),
        ("access/start.npy", column([1], "i8").replace(b"(1,)", b"((((")),
        ("pin/lamps.line/levels.npy", column([7], "u1")),
        ("pin/lamps.line/cycles.npy", column([99999999], "i8")),
    ],
)
def test_an_altered_recording_is_refused(name: str, data: bytes, tmp_path: Path) -> None:
    """Types, lengths and numbers of columns are checked before they are believed."""
    file = tmp_path / "t.recording.npz"
    recording(tmp_path)
    file.write_bytes(
        altered(file.read_bytes(), lambda info, old: (info, data if info.filename == name else old))
    )
    with pytest.raises(InputError, match=r"is not a Busbox recording|is an incomplete recording"):
        Recording.load(file)


@pytest.mark.parametrize(("at", "value"), [(8, 1), (10, 99), (10, 12), (10, 14)])
def test_flags_and_kinds_of_packing_are_checked(at: int, value: int, tmp_path: Path) -> None:
    """An encrypted part, and one packed as no recording is, are refused (ZIP, 4.3.12: directory)."""
    file = tmp_path / "t.recording.npz"
    recording(tmp_path)
    data = bytearray(file.read_bytes())
    data[data.rindex(b"PK\x01\x02") + at] = value
    file.write_bytes(data)
    with pytest.raises(InputError, match="is not a Busbox recording"):
        Recording.load(file)


def test_no_text_of_a_recording_is_believed(tmp_path: Path) -> None:
    """Its facts must be a table."""
    file = tmp_path / "t.recording.npz"
    recording(tmp_path)
    facts = column(list(json.dumps([1, 2]).encode()), "u1")
    file.write_bytes(
        altered(
            file.read_bytes(),
            lambda info, old: (info, facts if info.filename == "facts.npy" else old),
        )
    )
    with pytest.raises(InputError, match="is not a Busbox recording"):
        Recording.load(file)


WORDS = ".".join("x" for _ in range(34))


@pytest.mark.parametrize(
    ("text", "line"),
    [
        (f"a = '{WORDS}'", None), (f'a = "{WORDS}"', None), (f'"{WORDS}" = 1', None),
        (f"a = \'\'\'\n{WORDS}\n\'\'\'", None), (f'a = """\n"{WORDS}"\n"""', None),
        (f"# {WORDS}", None),
        (f"'\"' = '{WORDS}'", None), (f'a = """""""\nb = "{WORDS}"', None), (f"\n{WORDS} = 1", 2),
        ('"a". ' * 33 + "b = 1", 1), (f"a = \'\'\'\n\'\'\'\n[{WORDS}]", 3),
        (f"x = {{ {WORDS} = 1 }}", 1),
    ],
)  # fmt: skip
def test_dots_count_in_keys_alone(text: str, line: int | None, tmp_path: Path) -> None:
    """34 words with dots between them are refused as a key, by its line, and read in a string."""
    (tmp_path / "t.toml").write_text(text, encoding="utf-8")
    if line is None:
        read_toml(tmp_path / "t.toml")
        return
    with pytest.raises(InputError, match=rf"t.toml:{line}: .* at most 32 levels"):
        read_toml(tmp_path / "t.toml")


def test_what_looks_like_strings_takes_no_time(tmp_path: Path) -> None:
    """Quotes without their ends, and keys with 500,000 parts, are told in a moment."""
    for text in ("'" * 900_000, '"' * 900_000, 'a = "' + "\\" * 900_000, "a." * 500_000 + "b = 1"):
        (tmp_path / "t.toml").write_text(text, encoding="utf-8")
        with pytest.raises(InputError):
            read_toml(tmp_path / "t.toml")
