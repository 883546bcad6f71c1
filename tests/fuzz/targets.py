"""What is spoiled: for each parser a sound file, the words of its grammar, commands that read it."""

from __future__ import annotations

import contextlib
import gzip
import io
import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from random import Random

import pytest

from busbox.bench.find import packaged_benches
from busbox.variants.keeping import Keeping
from tests.cpu.host_libraries import COMPILER, compiled
from tests.fuzz.running import MEMORY, Case
from tests.fuzz.spoiling import NUMBERS, ODD, spoiled

#: A bench that reads every kind of file that a bench names.
BENCH = b"""clock = "1 MHz"
[slot.levers]
model = "gpio"
base = 0x4000_0000
size = 0x1000
width = 8
[slot.telegraph]
model = "uart"
base = 0x4000_1000
size = 0x1000
divisor = 104
[slot.store]
model = "memory"
base = 0x2000_0000
size = 0x4000
[slot.lamps]
model = "pulse_led"
base = 0x4400_0000
size = 0x1000
lamps = 8
[attach.string]
kind = "lamp_string"
pin = "lamps.line"
count = 8
[attach.paper]
kind = "terminal"
pin = "telegraph.tx"
baud = 9600
[traffic]
file = "t.steps"
[[input]]
at = "40 us"
pin = "levers.in.4"
level = 1
[[reset]]
at = 900
length = 3
[[wire]]
from = "levers.out.0"
to = "levers.in.5"
[[expect]]
findings = { rule = "byte-lost", exactly = 0 }
[sweep]
vary = { "slot.levers.wait" = [1, 2] }
[variant.slow]
slot.levers.wait = 4
"""
STEPS = b"""# steps
mark   wait for lever 4
poll   levers.IN & 0x10 == 0x10 every 12 limit 40
write  levers.SET 0x1 +6
read   levers.IN keep seen pc 0x1f4
until  levers.IN - seen & 0xff >= 0 every 2 limit 9
write  0x44000008 8 lanes 1111 +6
pause  20 us
await  levers.in.4 1 limit 100
reset  +3
handler ring on levers.interrupt enter 3 leave 2
  write levers.CLEAR 1
end
write  telegraph.DATA 0x6c
"""
CSV = b"""wait,op,address,data,lanes,pc,mask,value,every,limit,text,since,keep
0,write,0x40000000,0x00000001,1111,0x000001f4,,,,,,,
3,read,0x40000004,,1111,,,,,,,,seen
0,poll,0x40000004,,1111,,0x00000010,0x00000000,12,40,,,
20 us,pause,,,,,,,,,,,
,mark,,,,,,,,,a text,,
,await,,,,,,1,,100,levers.in.4,,
"""
PLAIN = (
    b"wait,op,address,data,lanes\n" + b"0,write,0x40000000,0x1,1111\n3,read,0x40000004,,1111\n" * 40
)
ACCESSES = b"Time,Addr,Data,R/W\n0.5,40000004,12,W\n2.5,40000000,,R\n4,40000004,1,W\n"
SAMPLES = b"valid,ready,addr,wstrb,wdata,rdata\n0,0,0,0,0,0\n1,1,0x40000004,15,3,0\n0,0,x,z,,0\n"
SIGNALS = b"""kind = "valid-ready"
valid = "valid"
ready = "ready"
address = "addr"
write_strobes = "wstrb"
write_data = "wdata"
read_data = "rdata"
"""
CAPTURE = b"time_us,tx,rx\n0,1,1\n104,0,1\n208,1,1\n312,0,1\n1000,1,0\n1400,1,1\n"
HEADER = b"""#define BASE 0x44000000u
#define LED(n) (*(volatile unsigned *)(BASE + 4 * (n)))
typedef unsigned int u32;
static const u32 at = 0x40000000;
enum place { FIRST = 0x40001000, SECOND };
#define MASK (1 << 3 | ~0x7 & -3 % 4)
const unsigned char table[] = { 0x12, 0x34, 0x56 };
int main(void) { *(volatile u32 *)0x40000004 = LED(2)[1]; return 0; }
"""
HEX = b":10000000000102030405060708090A0B0C0D0E0F78\n:0400000500000000F7\n:00000001FF\n"
REGISTERS = b"""[BRIGHTNESS]
offset = 0x00
text = "Brightness."
[BRIGHTNESS.LEVEL]
bits = "7..0"
reset = 0x20
[MODE]
offset = 4
access = "rw"
count = 2
"""
RDL = b"""addrmap dimmer {
  reg { field { sw = rw; hw = r; } LEVEL[7:0] = 0x20; } BRIGHTNESS @ 0x0;
  reg { field { sw = r; } BUSY[0:0]; } STATUS @ 0x4;
};
"""
REGISTER_BENCH = b"""clock = "1 MHz"
[slot.d]
model = "d.py:D"
base = 0x1000
size = 0x100
[traffic]
file = "t.steps"
"""
VERILOG = b"""module dimmer #(parameter WIDTH = 8) (
  input clk, input rst, input cyc, input stb, input we, input [5:0] adr, input [3:0] sel,
  input [31:0] dat_w, output reg [31:0] dat_r, output ack, output err, output glow);
  reg [WIDTH-1:0] level;
  assign ack = cyc & stb, err = 1'b0, glow = level[0];
  always @(posedge clk)
    if (rst) level <= 8'h20;
    else if (cyc & stb & we & sel[0]) level <= dat_w[WIDTH-1:0];
  always @* case (adr) 6'd0: dat_r = level; default: dat_r = ~(32'd3 + {4{adr, 2'b01}}); endcase
endmodule
"""
VERILOG_BENCH = REGISTER_BENCH.replace(b"d.py:D", b"d.v:dimmer")
DRIVER = b"""#include "busbox.h"
void ring(void) { bus_write32(0x40000000, 1); bus_read32(0x40000004); }
"""
ANSWER = b"# my answer\naddress = 0x44000008\n#define data 3\n"
PROGRESS = b"2026-01-05T10:00:00Z\t1\t1\t1\tnot yet\t0x44000000 1\n"
REGISTER_MODEL = b"""from pathlib import Path
from busbox import RegisterModel, load_registers
class D(RegisterModel):
    table = load_registers("%s", Path(__file__).parent)
"""
SVG = ("x.svg", "x.html", "x.csv", "x.steps", "x.vcd", "x.json", "x.h", "x.rdl")
#: The front end runs in a process that reserves more address space than it uses.
RESERVED = 24 << 30


@dataclass(frozen=True)
class Target:
    """A parser.

    Attributes
    ----------
    name : of the parser
    file : the name of the file that is spoiled; "" : the words of the command line
    files : all files, sound
    commands : those that read it
    words : the words of its grammar
    makes : what the names of files begin with that the commands may make
    memory : bytes that a case may use
    drawn : how many cases the suite draws
    """

    name: str
    file: str
    files: Mapping[str, bytes]
    commands: Sequence[Sequence[str]]
    words: Sequence[bytes] = ()
    makes: tuple[str, ...] = field(default=SVG)
    memory: int = MEMORY
    drawn: int = 6

    def case(self, random: Random) -> Case:
        """Return a case, drawn."""
        args = tuple(random.choice(self.commands))
        files = dict(self.files)
        if self.file:
            files[self.file] = spoiled(files[self.file], random, self.words)
        else:
            args = _spoiled_args(args, random)
        makes = (*self.makes, "x")
        return Case(args, files, makes, memory=self.memory)


def _spoiled_args(args: tuple[str, ...], random: Random) -> tuple[str, ...]:
    """Return a command line with one or two words spoiled; not what would be another command."""
    words = [*args, "x"] if len(args) == 1 else list(args)
    for _ in range(random.choice((1, 1, 2))):
        at = random.randrange(1, len(words))
        data = words[at].encode("utf-8", "surrogateescape")
        if random.random() < 0.4:
            key, sign, _ = data.rpartition(b"=")
            data = key + sign + random.choice(NUMBERS)
        else:
            data = spoiled(data, random, ODD)[:100_000]
        text = data.replace(b"\0", b"").decode("utf-8", "surrogateescape")
        words[at] = text.replace("/", "_") if not text.startswith("/dev") else text
    return tuple(words)


def _run(*args: str) -> None:
    from busbox.cli import main

    with contextlib.redirect_stdout(io.StringIO()), contextlib.suppress(SystemExit):
        main(list(args))


def made(folder: Path) -> dict[str, bytes]:
    """Return files that Busbox makes: a recording, a waveform, a table, and the map of its signals."""
    (folder / "bench.toml").write_bytes(BENCH)
    (folder / "t.steps").write_bytes(STEPS)
    before = Path.cwd()
    os.chdir(folder)
    try:
        _run("run", ".", "--engine", "python", "--vcd", "w.vcd", "--out", "made", "--until", "3000")
        _run("sweep", ".", "--engine", "python", "--jobs", "1", "-o", "table.csv")
        _run("sweep", ".", "--engine", "python", "--jobs", "1", "-o", "table.json")
    finally:
        os.chdir(before)
    recording = next((folder / "made").glob("*.recording.npz"))
    return {
        **_left_over(folder),
        "r.recording.npz": recording.read_bytes(),
        "w.vcd": (folder / "w.vcd").read_bytes()[:30_000],
        "table.csv": (folder / "table.csv").read_bytes(),
        "table.json": (folder / "table.json").read_bytes(),
    }


def _left_over(folder: Path) -> dict[str, bytes]:
    """Return what a sweep leaves that is killed before it writes its table, as ``x.csv.unfinished``."""
    file = folder / "x.csv"
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Keeping, "finish", lambda self, *_: self.close())
        patch.chdir(folder)
        _run("sweep", ".", "--jobs", "1", "--engine", "python", "--until", "300", "-o", "x.csv")
    return {"x.csv.unfinished": file.with_name("x.csv.unfinished").read_bytes()}


def _driver(folder: Path) -> bytes:
    """Return a driver in C, compiled; without a compiler, a program of another machine."""
    if COMPILER is None:
        return packaged_benches()["night_watch"].with_name("night_watch.elf").read_bytes()
    return compiled(folder, DRIVER.decode("ascii"), "-s", flags=("-O1",), name="d.so").read_bytes()


def _words(*texts: bytes) -> tuple[bytes, ...]:
    return tuple(dict.fromkeys(word for text in texts for word in text.split()))


def targets(folder: Path) -> list[Target]:
    """Return all targets; ``folder`` is an empty one, for what is made first."""
    found = made(folder)
    bench = {"bench.toml": BENCH, "t.steps": STEPS}
    elf = packaged_benches()["night_watch"].with_name("night_watch.elf").read_bytes()
    core = b'clock = "1 MHz"\n[traffic]\nfile = "f.elf"\n[core]\n'
    core += b"[slot.levers]\nmodel = 'gpio'\nbase = 0x4000_0000\nsize = 0x1000\n"
    image = BENCH.replace(b'model = "memory"\n', b'model = "memory"\nfile = "m.hex"\n')
    image = image.replace(b"base = 0x2000_0000", b"base = 0")
    run = ["run", ".", "--engine", "python", "--until", "2000"]
    signals = ["convert", "w.vcd", "x.csv", "--signals", "map.toml"]
    waveform = b'kind = "wishbone"\ncycle = "busbox.cycle"\n' + b"".join(
        b'%s = "busbox.bus.%s"\n' % pair
        for pair in ((b"cyc", b"cyc"), (b"stb", b"stb"), (b"we", b"we"), (b"adr", b"adr"),
                     (b"sel", b"sel"), (b"write_data", b"write_data"), (b"read_data", b"read_data"),
                     (b"ack", b"ack"), (b"err", b"err"))
    )  # fmt: skip
    recording = {"r.recording.npz": found["r.recording.npz"]}
    table = {"table.csv": found["table.csv"], "table.json": found["table.json"]}
    declared = {"bench.toml": REGISTER_BENCH, "t.steps": b"read d.BRIGHTNESS\n"}
    by_file = [["convert", "t.steps", "x.csv"], ["convert", "t.steps", "x.steps"], run]
    on_cabin = ["--bench", "."]
    return [
        Target("steps", "t.steps", bench, by_file, _words(STEPS)),
        Target("csv", "t.csv", {"t.csv": CSV}, [["convert", "t.csv", "x.steps"]], _words(CSV)),
        Target("plain csv", "t.csv", {"t.csv": PLAIN}, [["convert", "t.csv", "x.steps"]]),
        Target("gz", "t.steps.gz", {"t.steps.gz": gzip.compress(STEPS, mtime=0)},
               [["convert", "t.steps.gz", "x.csv"]], _words(STEPS)),
        Target("columns", "a.csv", {"a.csv": ACCESSES},
               [["convert", "a.csv", "x.csv", "--clock", "1 MHz", "--columns",
                 "time_us=Time, address:hex=Addr, data:hex=Data, op=R/W"]], _words(ACCESSES)),
        Target("samples", "s.csv", {"s.csv": SAMPLES, "map.toml": SIGNALS},
               [["convert", "s.csv", "x.csv", "--signals", "map.toml"]]),
        Target("waveform", "w.vcd", {"w.vcd": found["w.vcd"], "map.toml": waveform},
               [signals, ["convert", "w.vcd", "--list"], ["convert", "w.vcd", "--guess"],
                ["capture", "w.vcd", "--as", "level"]],
               (b"$var", b"$end", b"$scope", b"$upscope", b"$dumpvars", b"$comment", b"#1", b"b1 !",
                b"$enddefinitions", b"$timescale", b"1!", b"r1.5 !", b"$var wire 65 ~ x $end")),
        Target("signal map", "map.toml", {"w.vcd": found["w.vcd"], "map.toml": waveform}, [signals],
               _words(SIGNALS, waveform)),
        Target("capture", "c.csv", {"c.csv": CAPTURE},
               [["capture", "c.csv", "--as", "terminal", "--set", "baud=9600"],
                ["capture", "c.csv", "--as", "lamp_string"], ["capture", "c.csv", "--as", "level"]],
               _words(CAPTURE)),
        Target("bench", "bench.toml", {**bench, "m.hex": HEX},
               [run, ["map", "."], ["where", ".", "0x44000008"], ["registers", "."],
                ["state", ".", "--at", "100"], ["draw", ".", "map"], ["registers", ".", "-o", "x.h"],
                ["run", ".", "--variant", "slow", "--engine", "python", "--until", "500"],
                ["sweep", ".", "--jobs", "1", "--engine", "python", "--until", "300"],
                ["registers", ".", "-o", "x.rdl"], ["run", ".", "--json", "--until", "500",
                                                    "--engine", "python"]],
               _words(BENCH)),
        Target("core", "bench.toml", {"bench.toml": core, "f.elf": elf},
               [["run", ".", "--engine", "python", "--until", "500"], ["state", ".", "--at", "90"]],
               (b"isa = 'rv32i'\n", b"memory = [{at=0,size=4}]\n", b"start = 0\n", b"clocks = 3\n",
                b"interrupt = 'levers.out.0'\n", b"on_end = 'stop'\n", b"ebreak = 'end'\n")),
        Target("header", "h.h", {**bench, "h.h": HEADER},
               [["where", ".", "h.h"], ["where", ".", "h.h", "--json"]], _words(HEADER)),
        Target("hex image", "m.hex", {"bench.toml": image, "t.steps": STEPS, "m.hex": HEX}, [run]),
        Target("elf", "f.elf", {"bench.toml": core, "f.elf": elf},
               [["run", ".", "--engine", "python", "--until", "500"], ["state", ".", "--at", "90"],
                ["run", ".", "--engine", "python", "--until", "90", "--json"]]),
        Target("registers in TOML", "d.toml",
               {**declared, "d.toml": REGISTERS, "d.py": REGISTER_MODEL % b"d.toml"},
               [["registers", "."], run], _words(REGISTERS)),
        Target("registers in SystemRDL", "d.rdl",
               {**declared, "d.rdl": RDL, "d.py": REGISTER_MODEL % b"d.rdl"}, [["registers", "."]],
               _words(RDL)),
        Target("recording", "r.recording.npz", recording,
               [["run", "r.recording.npz"], ["run", "r.recording.npz", "--vcd", "x.vcd"],
                ["why", "r.recording.npz", "access.1"], ["state", "r.recording.npz", "--at", "50"],
                ["draw", "r.recording.npz", "access", "1"], ["report", "r.recording.npz", "-o",
                                                            "x.html"],
                ["convert", "r.recording.npz", "x.steps"],
                ["compare", "r.recording.npz", "r.recording.npz"]]),
        Target("table of a sweep", "table.csv", table,
               [["draw", "table.csv", "sweep"], ["report", "table.csv", "-o", "x.html"]]),
        Target("table in JSON", "table.json", table,
               [["draw", "table.json", "sweep"], ["report", "table.json", "-o", "x.html"]]),
        Target("verilog", "d.v", {"bench.toml": VERILOG_BENCH, "t.steps": b"write 0x1000 3\n",
                                  "d.v": VERILOG},
               [["models", "d.v:dimmer"], run, ["check", "d.v:dimmer", "--json"], ["map", "."]],
               (*_words(VERILOG), b'`include "d.v"', b"`define A `A", b"$readmemh", b"initial"),
               memory=RESERVED, drawn=1),
        Target("driver in C", "d.so", {"bench.toml": BENCH.replace(b't.steps"', b'd.so:ring"'),
                                       "d.so": _driver(folder)},
               [run, ["map", "."]], (b"\x7fELF", b"ring", b"bus_", b".symtab", b".dynsym")),
        Target("answer", "a.txt", {"a.txt": ANSWER}, [["lesson", "1", "--answer", "a.txt"]],
               _words(ANSWER)),
        Target("progress", "p.txt", {"p.txt": PROGRESS},
               [["lesson", "--collect", "p.txt"], ["lesson", "1", "--progress", "p.txt"]],
               _words(PROGRESS)),
        Target("unfinished sweep", "x.csv.unfinished",
               {**bench, "x.csv.unfinished": found["x.csv.unfinished"]},
               [["sweep", ".", "--jobs", "1", "--engine", "python", "--until", "300", "-o", "x.csv"]],
               (b"[0,", b"{}", b"null", b'"sweep"', b"1e999", b"[1, {}]")),
        Target("recorded core", "f.csv", {"bench.toml": core, "f.elf": elf, "f.csv": CSV},
               [["fit", ".", "f.csv"], ["fit", ".", "f.csv", "--json"]], _words(CSV)),
        Target("command line", "", {**bench, "c.csv": CAPTURE, "h.h": HEADER, "t.csv": CSV,
                                   **recording}, [
            [*run, "--vcd", "x.vcd"], [*run, "--set", "slot.levers.base=0x1000"],
            [*run, "--stop-on", "byte-lost"], [*run, "--write", "json=x.json"],
            [*run, "--traffic", "t.csv"], ["where", ".", "0x44000008"], ["state", ".", "--at", "9 us"],
            ["why", ".", "lamps.line@3 ms"], ["why", ".", "access.2"], ["map", "."],
            ["baud", "16 MHz", "9600"], ["timing", "16 MHz", "--profile", "P4"],
            ["explain", "framing"], ["guide", "words"], ["models", "uart"],
            ["attachments", "terminal"], ["list", "rules"], ["new", "bench", "xnew"],
            ["new", "device", "xdev"], ["record", ".", "-o", "x.csv"],
            ["convert", "t.steps", "x.csv", *on_cabin, "--numbers"], ["compare", ".", ".@slow"],
            ["registers", ".", "levers", "-o", "x.h", "--prefix", "CABIN"],
            ["draw", ".", "access", "1", "--width", "700"], ["draw", ".", "pins", "0..90 us"],
            ["capture", "c.csv", "--as", "terminal", "--set", "baud=9600", "--line", "tx"],
            ["find", ".", "--smallest", "slot.levers.wait", "--range", "1..3", "--such-that",
             "no finding byte-lost", "--engine", "python", "--until", "300"],
            ["sweep", ".", "--vary", "slot.levers.wait=1..3", "--measure", "duration", "--jobs", "1",
             "--engine", "python", "--until", "300"],
            ["completion", "bash"],
            ["report", ".", "-o", "x.html"], ["run", "r.recording.npz", "--coverage"],
            ["lesson", "1", "0x44000008", "1"], ["lesson", "2", "--seed", "3"],
            ["lesson", "1", "--sheets", "xsheets", "--seeds", "1..2"], ["lesson", "1", "--guide"],
            ["lesson", "--kit", "xkit", "--for", "linux-x64", "--python", "3.11"],
            ["lesson", "1", "--page", "x.html"], ["lesson", "1", "--code", "1-1-AAAA"],
            ["new", "notebook", "xnote"], ["new", "lessons", "xless"], ["new", "host_driver", "xc"],
            ["twin", ".", "levers", "--json"], ["check", "gpio", "--json"], ["schema"],
            ["export", ".", "xout"], ["fit", ".", "t.csv"], ["guide", "--html", "x.html"],
        ]),
    ]  # fmt: skip
