"""Each limit refuses what is just above it, names itself, and is raised by its variable."""

from __future__ import annotations

import gzip
import io
import json
import os
import zipfile
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from amaranth.hdl import Elaboratable, Fragment, Module
from amaranth.lib import memory

from busbox import Bench, InputError, Recording, load_bench, load_registers
from busbox.basics import limits
from busbox.basics.files import opened, read_file
from busbox.basics.growing import Column
from busbox.basics.limits import LIMITS, Limit
from busbox.basics.toml_file import read_toml
from busbox.cli.where_header import check_header
from busbox.core.program import read_program
from busbox.device import Site
from busbox.engines.netlist import build
from busbox.firmware.image_file import elf_pieces
from busbox.formats.files import read_traffic
from busbox.formats.waveform.vcd import VcdReader
from busbox.lines.captures import read_capture
from busbox.map.slots import AddressMap
from busbox.models.memory.hardware import MemoryHardware
from busbox.models.memory.image import image_words
from busbox.variants.tables import read_table
from busbox.verilog.source import Source

STEP = "write 0x40 1\n"
HEAD = "$timescale 1 ns $end\n"


def steps(folder: Path, text: str) -> None:
    (folder / "t.steps").write_text(text, encoding="utf-8")
    list(read_traffic(folder / "t.steps"))


def packed(folder: Path, times: int) -> None:
    (folder / "t.steps.gz").write_bytes(gzip.compress(b"mark x\n" * times))
    with opened(folder / "t.steps.gz", packed=True) as file:
        while file.read(1 << 20):
            pass


def csv(folder: Path, text: str) -> None:
    (folder / "t.csv").write_text(text, encoding="utf-8")
    list(read_traffic(folder / "t.csv"))


def vcd(folder: Path, text: str) -> None:
    reader = VcdReader(io.BytesIO(text.encode()), "t.vcd")
    list(reader.changes(reader.header.variables[:1]))


def capture(name: str, text: str) -> Callable[[Path], None]:
    def read(folder: Path) -> None:
        (folder / name).write_text(text, encoding="utf-8")
        read_capture(folder / name)

    return read


def toml(folder: Path, text: str) -> None:
    (folder / "t.toml").write_text(text, encoding="utf-8")
    read_toml(folder / "t.toml")


def header(folder: Path, text: str) -> None:
    (folder / "t.h").write_text(text, encoding="utf-8")
    check_header(folder / "t.h", AddressMap([]), {})


def rdl(folder: Path) -> None:
    (folder / "t.rdl").write_text("addrmap x { };" + " " * 200, encoding="utf-8")
    load_registers("t.rdl", folder)


def verilog(folder: Path) -> None:
    (folder / "t.v").write_text("module t(); endmodule\n" + " " * 200, encoding="utf-8")
    assert Source(folder, ("t.v",)).texts


def front_end(loop: str) -> Callable[[Path], None]:
    """Have the front end read a module with a loop."""

    def read(folder: Path) -> None:
        text = f"module t(); genvar i; {loop} begin: g wire a; end endgenerate endmodule\n"
        (folder / "t.v").write_text(text, encoding="utf-8")
        Source(folder, ("t.v",)).outline({})

    return read


def image(name: str) -> Callable[[Path], None]:
    def read(folder: Path) -> None:
        record = b":10000000000102030405060708090A0B0C0D0E0F78\n"
        (folder / name).write_bytes(record * 4 if name.endswith("x") else bytes(200))
        image_words(folder / name, 0, 4096)

    return read


def segments(folder: Path) -> None:
    """Load two segments that are one: together above the limit, which the file is not."""
    one = b"\x7fELF\x01\x01\x01" + bytes(9) + bytes.fromhex(
        "0200f30001000000000000003400000000000000000000003400200002000000 00000000".replace(" ", "")
    )  # fmt: skip
    program = b"".join(
        part.to_bytes(4, "little") for part in (1, 0, 0, 0, 116, 116, 5, 4)
    )  # fmt: skip
    elf_pieces(one + program * 2)


def table(folder: Path) -> None:
    (folder / "t.csv").write_text("a,message\n" + "1,\n" * 100, encoding="utf-8")
    read_table(folder / "t.csv")


def recording(folder: Path) -> None:
    file = folder / "t.recording.npz"
    if not file.exists():
        load_bench("first_light").run("python", until=50).save(file)
    Recording.load(file)


def bench(**tables: object) -> Callable[[Path], None]:
    def build(folder: Path) -> None:
        slots = {f"s{n}": {"model": "gpio", "base": n << 12, "size": 4096} for n in range(2)}
        Bench({"clock": "1 MHz", "slot": slots, "traffic": [], **tables}).system()

    return build


def hardware_memory() -> None:
    Fragment.get(MemoryHardware(Site("ram", 0, 128, 1_000_000), kind="ram", file=None), None)


class Words(Elaboratable):
    """A memory of somebody else's."""

    def elaborate(self, platform: object) -> Module:
        m = Module()
        m.submodules.words = words = memory.Memory(shape=32, depth=26, init=[])
        words.read_port(domain="comb")
        return m


def words_of_its_own() -> None:
    build(Words(), {})


ATTACHED = {f"a{n}": {"kind": "level", "pin": f"s{n}.out.0"} for n in range(2)}
WIRED = [{"from": "s0.out.0", "to": f"s1.in.{n}"} for n in range(2)]
VAR = "$var wire 1 {} {} $end\n"
#: Limit, a small value of it, and what is above that but not far.
CASES: list[tuple[Limit, int, Callable[[Path], None]]] = [
    (limits.LINE, 40, lambda folder: steps(folder, f"mark {'x' * 80}\n")),
    (limits.LINE, 90, lambda folder: csv(folder, "wait,op,address,data,lanes\n0" + "0" * 120)),
    (limits.LINE, 90, lambda folder: csv(folder, "wait,op,address,data,lanes" + " " * 120)),
    (limits.LINE, 40, lambda folder: toml(folder, f"a = '{'x' * 80}'\n")),
    (limits.TOKEN, 99, lambda folder: vcd(
        folder, f"{HEAD}{VAR.format('!', 'a')}$enddefinitions $end{' ' * 560_000}{'1' * 60_000}")),
    (limits.NAME, 9, lambda folder: vcd(folder, HEAD + VAR.format("!", "a" * 10))),
    (limits.DECLARATIONS, 99, lambda folder: vcd(folder, "$comment " + "x " * (1 << 16))),
    (limits.VARIABLES, 1, lambda folder: vcd(
        folder, HEAD + VAR.format("!", "a") + VAR.format("?", "b"))),
    (limits.NESTING, 2, lambda folder: vcd(folder, HEAD + "$scope module a $end " * 3)),
    (limits.NESTING, 2, lambda folder: toml(folder, "a = [[[[1]]]]\n")),
    (limits.NESTING, 2, lambda folder: toml(folder, "a.b.c.d.e = 1\n")),
    (limits.NESTING, 2, lambda _: str(load_bench("first_light").with_values(["a.b.c.d=1"]))),
    (limits.COLUMNS, 2, capture("t.csv", "time_s,a,b\n0,1,1\n")),
    (limits.SAMPLES, 2, capture("t.csv", "time_s,a\n0,1\n1,0\n2,1\n")),
    (limits.CAPTURE, 20, capture("t.vcd", HEAD + "$enddefinitions $end")),
    (limits.TOML, 20, lambda folder: toml(folder, "#" * 30)),
    (limits.HEADER, 20, lambda folder: header(folder, "//" + "x" * 30)),
    (limits.HEADER_WORK, 50, lambda folder: header(folder, "#define A 1+1+1\n#define B A+A+A\n" * 5)),
    (limits.DECLARATION, 100, rdl),
    (limits.VERILOG, 100, verilog),
    (limits.VERILOG_SECONDS, 1, front_end("generate for (i = 0; i < 40000; i = i + 1)")),
    (limits.VERILOG_MEMORY, 40 << 20, front_end("generate for (i = 0; i < 10; i = i + 1)")),
    (limits.IMAGE, 100, image("t.bin")),
    (limits.IMAGE, 150, segments),
    (limits.IMAGE, 100, lambda folder: (
        (folder / "t.bin").write_bytes(bytes(200)), read_program(folder / "t.bin", "t.bin", 0))[1]),
    (limits.CORE_MEMORY, 100, lambda _: load_bench("night_watch").system() and None),
    (limits.HARDWARE_MEMORY, 100, lambda _: hardware_memory()),
    (limits.HARDWARE_MEMORY, 100, lambda _: words_of_its_own()),
    (limits.HEX_IMAGE, 100, image("t.hex")),
    (limits.TABLE, 100, table),
    (limits.UNPACKED, 1000, recording),
    (limits.FACTS, 100, recording),
    (limits.FACT_PARTS, 5, recording),
    (limits.PARTS, 3, recording),
    (limits.RATIO, 1, lambda folder: packed(folder, 10_000_000)),
    (limits.ROWS, 200_000, lambda _: Column("i8").extend(range(200_001))),
    (limits.SLOTS, 1, bench()),
    (limits.PINS, 100, bench()),
    (limits.ATTACHMENTS, 1, bench(attach=ATTACHED)),
    (limits.WIRES, 1, bench(wire=WIRED)),
]  # fmt: skip


@pytest.mark.parametrize(
    ("limit", "value", "read"), CASES, ids=[f"{one[0].name}-{n}" for n, one in enumerate(CASES)]
)
def test_what_is_above_a_limit_is_refused(
    limit: Limit,
    value: int,
    read: Callable[[Path], None],
    monkeypatch: pytest.MonkeyPatch,
    tmp_path: Path,
) -> None:
    """The message names the limit and its variable; without that variable, the limit is far away."""
    refused = limit.name in ("NAME", "DECLARATIONS", "VARIABLES") or read is recording
    try:
        read(tmp_path)  # the default lets all of these pass, or refuses them for another reason
    except InputError as error:
        mine, refused = limit.variable in str(error), True
    else:
        mine = False
    assert not mine or limit is limits.RATIO  # what unpacks to more than 64 MiB takes long to make
    monkeypatch.setenv(limit.variable, str(value))
    with pytest.raises(InputError) as raised:
        read(tmp_path)
    assert f"must have at most {value:,} {limit.unit}; {limit.variable} raises" in str(raised.value)
    assert refused or limit.most < limit.value


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
