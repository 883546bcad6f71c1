"""What each limit refuses, with the largest limit that still refuses it."""

from __future__ import annotations

import gzip
import io
import struct
from collections.abc import Callable
from pathlib import Path

import numpy as np
from amaranth.hdl import Elaboratable, Fragment, Module
from amaranth.lib import memory

from busbox import Bench, InputError, Recording, load_bench, load_registers
from busbox.basics import limits
from busbox.basics.files import opened
from busbox.basics.growing import Column
from busbox.basics.limits import Limit
from busbox.basics.toml_file import read_toml
from busbox.bench.find import packaged_benches
from busbox.cli.where_header import check_header
from busbox.core.program import read_program
from busbox.cpu.host_library import HostLibrary
from busbox.device import Site
from busbox.engines.netlist import build
from busbox.firmware.image_file import elf_pieces
from busbox.firmware.program import Firmware
from busbox.formats.csv import BLOCK, _Text
from busbox.formats.files import read_traffic
from busbox.formats.waveform.samples import Table
from busbox.formats.waveform.vcd import VcdReader
from busbox.lines.captures import read_capture
from busbox.map.slots import AddressMap
from busbox.models.memory.hardware import MemoryHardware
from busbox.models.memory.image import image_words
from busbox.variants.keeping import Keeping
from busbox.variants.tables import read_table
from busbox.verilog.source import Source

VERILOG = """module dimmer(
  input clk, input rst, input cyc, input stb, input we, input [5:0] adr, input [3:0] sel,
  input [31:0] dat_w, output reg [31:0] dat_r, output ack, output err, output glow);
  reg [7:0] level;
  assign ack = cyc & stb, err = 1'b0, glow = level[0];
  always @(posedge clk) if (rst) level <= 0; else if (cyc & stb & we) level <= dat_w[7:0];
  always @* dat_r = level;
endmodule
"""
Value = int | Callable[[Path], int]
ELF = packaged_benches()["night_watch"].with_name("night_watch.elf").read_bytes()
STEP = "write 0x40 1\n"
HEAD = "$timescale 1 ns $end\n"


def steps(folder: Path, text: str) -> None:
    (folder / "t.steps").write_text(text, encoding="utf-8")
    list(read_traffic(folder / "t.steps"))


def packed(folder: Path) -> None:
    with opened(packed_file(folder), packed=True) as file:
        while file.read(1 << 20):
            pass


def packed_file(folder: Path) -> Path:
    """Return a file that unpacks to 70 MB."""
    file = folder / "t.steps.gz"
    if not file.exists():
        file.write_bytes(gzip.compress(b"mark x\n" * 10_000_000, 1))
    return file


def ratio(folder: Path) -> int:
    return (70_000_000 - 1) // packed_file(folder).stat().st_size


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


def sizes(folder: Path) -> dict[str, int]:
    """Return the bytes of each part of a recording, without the header of a column."""
    recording(folder)
    with np.load(folder / "t.recording.npz") as stored:
        return {f"{name}.npy": stored[name].nbytes for name in stored.files}


def fact_parts(folder: Path) -> int:
    recording(folder)
    with np.load(folder / "t.recording.npz") as stored:
        text = stored["facts"].tobytes()
    return text.count(b"[") + text.count(b"{") - 1


def firmware(folder: Path) -> None:
    (folder / "t.elf").write_bytes(ELF)
    Firmware(folder / "t.elf")


def compressed(folder: Path) -> None:
    """Read an ELF file of little more than a section that unpacks to 5,000 bytes (ELF, Chdr)."""
    names = b"\0.debug_line\0".ljust(16, b"\0")
    head = b"\x7fELF\x01\x01\x01".ljust(16, b"\0") + bytes.fromhex("0200f30001000000")
    head += struct.pack("<IIIIHHHHHH", 0, 0, 84, 0, 52, 0, 0, 40, 3, 1)
    contents = struct.pack("<III", 1, 5000, 1) + bytes(4)
    table = bytes(40) + struct.pack("<10I", 0, 3, 0, 0, 52, len(names), 0, 0, 1, 0)
    table += struct.pack("<10I", 1, 1, 0x800, 0, 68, len(contents), 0, 0, 1, 0)
    (folder / "t.elf").write_bytes(head + names + contents + table)
    Firmware(folder / "t.elf")


def dotted(folder: Path) -> None:
    """Read a key of five parts; one that is refused only after the parser has read it passes."""
    try:
        toml(folder, "a.b.c.d.e = 1\n")
    except InputError as error:
        if error.mistakes[0].line is not None:
            raise


def block_of_csv(_: Path) -> None:
    """Read a block of CSV that ends within a line: what follows of the line is not read in full."""
    _Text(io.BytesIO(b"x" * (BLOCK + 86)), "t.csv").block()


def memory_of_verilog(folder: Path) -> None:
    text = VERILOG.replace("reg [7:0] level;", "reg [7:0] level; reg [31:0] words [0:63];")
    text = text.replace("level <= dat_w[7:0];", "begin level <= 0; words[adr] <= dat_w; end")
    (folder / "t.v").write_text(text.replace("= level;", "= words[adr];"), encoding="utf-8")
    slot = {"model": "t.v:dimmer", "base": 0, "size": 256}
    bench = Bench({"clock": "1 MHz", "slot": {"d": slot}, "traffic": []}, folder=folder)
    bench.system()


def library(folder: Path) -> None:
    (folder / "t.so").write_bytes(ELF)
    HostLibrary(folder / "t.so", "t.so").check("ring")


def unfinished(folder: Path) -> None:
    (folder / "t.csv.unfinished").write_text('{"sweep": "x"}\n' + " " * 200, encoding="utf-8")
    Keeping(folder / "t.csv", "x").close()


def looped(folder: Path) -> None:
    """Have the front end read a module with a loop that is far too long."""
    loop = "for (i = 0; i < 1000000; i = i + 1) begin: g wire a; end"
    module(folder, f"module t(); genvar i; generate {loop} endgenerate endmodule\n").outline({})


def program(name: str) -> Callable[[Path], None]:
    def read(folder: Path) -> None:
        record = b":10000000000102030405060708090A0B0C0D0E0F78\n"
        (folder / name).write_bytes(record * 4 if name.endswith("x") else bytes(200))
        read_program(folder / name, name, 0)

    return read


def module(folder: Path, text: str) -> Source:
    (folder / "t.v").write_text(text, encoding="utf-8")
    (folder / "t.mem").write_text("0 " * 100, encoding="ascii")
    return Source(folder, ("t.v",))


def samples(folder: Path) -> None:
    Table(["a,b,c\n", "0,0,0\n"], "t.csv")


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
#: Limits of what is used at work, which is no exact number: one more may be too little, too.
WORK = (limits.VERILOG_SECONDS, limits.VERILOG_MEMORY)
#: Limit, a small value of it, and what is above that but not far.
CASES: list[tuple[Limit, Value, Callable[[Path], object]]] = [
    (limits.LINE, 85, lambda folder: steps(folder, f"mark {'x' * 80}\n")),
    (limits.LINE, 120, lambda folder: csv(folder, "wait,op,address,data,lanes\n0" + "0" * 120)),
    (limits.LINE, 145, lambda folder: csv(folder, "wait,op,address,data,lanes" + " " * 120)),
    (limits.LINE, 85, lambda folder: toml(folder, f"a = '{'x' * 80}'\n")),
    (limits.TOKEN, 59999, lambda folder: vcd(
        folder, f"{HEAD}{VAR.format('!', 'a')}$enddefinitions $end{' ' * 560_000}{'1' * 60_000}")),
    (limits.NAME, 9, lambda folder: vcd(folder, HEAD + VAR.format("!", "a" * 10))),
    (limits.DECLARATIONS, 131071, lambda folder: vcd(folder, "$comment " + "x " * (1 << 16))),
    (limits.VARIABLES, 1, lambda folder: vcd(
        folder, HEAD + VAR.format("!", "a") + VAR.format("?", "b"))),
    (limits.NESTING, 2, lambda folder: vcd(folder, HEAD + "$scope module a $end " * 3)),
    (limits.NESTING, 3, lambda folder: toml(folder, "a = [[[[1]]]]\n")),
    (limits.NESTING, 3, lambda folder: toml(folder, "a.b.c.d.e = 1\n")),
    (limits.NESTING, 3, dotted),
    (limits.LINE, 85, block_of_csv),
    (limits.IMAGE, 4999, compressed),
    (limits.HARDWARE_MEMORY, 255, memory_of_verilog),
    (limits.NESTING, 2, lambda _: str(load_bench("first_light").with_values(["a.b.c.d=1"]))),
    (limits.COLUMNS, 2, capture("t.csv", "time_s,a,b\n0,1,1\n")),
    (limits.SAMPLES, 2, capture("t.csv", "time_s,a\n0,1\n1,0\n2,1\n")),
    (limits.CAPTURE, 40, capture("t.vcd", HEAD + "$enddefinitions $end")),
    (limits.LINE, 600_008, lambda folder: vcd(
        folder, f"{HEAD}{VAR.format('!', 'a')}$enddefinitions $end\n$comment {'x ' * 300_000}")),
    (limits.NESTING, 2, lambda _: Bench({"a": {"b": {"c": 1}}}).system()),
    (limits.COLUMNS, 2, samples),
    (limits.TOML, 29, lambda folder: toml(folder, "#" * 30)),
    (limits.HEADER, 31, lambda folder: header(folder, "//" + "x" * 30)),
    (limits.HEADER_WORK, 115, lambda folder: header(folder, "#define A 1+1+1\n#define B A+A+A\n" * 5)),
    (limits.DECLARATION, 213, rdl),
    (limits.VERILOG, 221, verilog),
    (limits.VERILOG_SECONDS, 1, looped),
    (limits.VERILOG_MEMORY, 40 << 20, looped),
    (limits.IMAGE, 199, image("t.bin")),
    (limits.IMAGE, 231, segments),
    (limits.IMAGE, 199, program("t.bin")),
    (limits.IMAGE, len(ELF) - 1, firmware),
    (limits.IMAGE, len(ELF) - 1, library),
    (limits.HEX_IMAGE, 175, program("t.hex")),
    (limits.HEX_IMAGE, 199, lambda folder: module(folder, '$readmemh("t.mem", a);').key),
    (limits.TABLE, 214, unfinished),
    (limits.CORE_MEMORY, 65731, lambda _: load_bench("night_watch").system() and None),
    (limits.HARDWARE_MEMORY, 127, lambda _: hardware_memory()),
    (limits.HARDWARE_MEMORY, 103, lambda _: words_of_its_own()),
    (limits.HEX_IMAGE, 175, image("t.hex")),
    (limits.TABLE, 309, table),
    (limits.UNPACKED, lambda folder: sum(sizes(folder).values()) - 1, recording),
    (limits.FACTS, lambda folder: sizes(folder)["facts.npy"] - 1, recording),
    (limits.FACT_PARTS, fact_parts, recording),
    (limits.PARTS, lambda folder: len(sizes(folder)) - 1, recording),
    (limits.RATIO, ratio, packed),
    (limits.ROWS, 200000, lambda _: Column("i8").extend(range(200_001))),
    (limits.SLOTS, 1, bench()),
    (limits.PINS, 129, bench()),
    (limits.ATTACHMENTS, 1, bench(attach=ATTACHED)),
    (limits.WIRES, 1, bench(wire=WIRED)),
]  # fmt: skip
