"""``busbox convert`` with files of other origin: waveforms, samples, tables of accesses."""

from __future__ import annotations

import gzip
import tomllib
from pathlib import Path

import pytest

from busbox import load_bench
from busbox.basics.units import Span
from busbox.cpu.steps import AccessStep, Pause
from busbox.formats.files import read_traffic
from tests.cli.saying import say
from tests.formats.waveform.drawing import Cycle, text_of
from tests.spoiled.cabin import Spoiled, assert_told

pytestmark = pytest.mark.quick

WIDTHS = {"valid": 1, "ready": 1, "d_addr": 32, "d_wstrb": 4, "d_wdata": 32, "d_rdata": 32}
IDLE: Cycle = {
    "valid": 0,
    "ready": 0,
    "d_addr": "x",
    "d_wstrb": "x",
    "d_wdata": "x",
    "d_rdata": "x",
}
WRITE: Cycle = {"valid": 1, "ready": 1, "d_addr": 0x4000_0000, "d_wstrb": 15, "d_wdata": 5}
FETCH: Cycle = {"valid": 1, "ready": 1, "d_addr": 0x100, "d_wstrb": 0, "d_rdata": 0x13}
BUS = text_of(WIDTHS, [IDLE, IDLE, WRITE, IDLE, FETCH, IDLE, WRITE | {"d_wdata": 6}, IDLE])
MAP = """\
kind = "valid-ready"
clock = "top.clk"
valid = "top.valid"
ready = "top.ready"
address = "top.d_addr"
write_strobes = "top.d_wstrb"
write_data = "top.d_wdata"
read_data = "top.d_rdata"
"""
MISSPELT = MAP.replace("top.valid", "top.vaild")
TABLE = "Cycle,Addr,Data,R/W\n3,40000004,1f,W\n10,40000008,,R\n"


@pytest.fixture(autouse=True)
def _here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


def put(name: str, text: str) -> None:
    """Write a file."""
    Path(name).write_text(text, encoding="utf-8")


def steps_of(name: str) -> list[object]:
    """Return the steps of a file."""
    return list(read_traffic(Path(name)))


# Waveforms.


def test_a_waveform_becomes_traffic(capsys: pytest.CaptureFixture[str]) -> None:
    """By a map; packed or not; with ``--bench`` only what its slots answer."""
    put("bus.vcd", BUS)
    put("map.toml", MAP)
    Path("packed.vcd.gz").write_bytes(gzip.compress(BUS.encode()))
    words = ("--signals", "map.toml")
    assert say(capsys, "convert", "bus.vcd", "a.csv", *words) == "a.csv: 3 steps\n"
    assert say(capsys, "convert", "packed.vcd.gz", "b.csv", *words) == "b.csv: 3 steps\n"
    assert Path("a.csv").read_text("utf-8").splitlines() == [
        "wait,op,address,data,lanes,pc",
        "1,write,0x40000000,0x00000005,1111,",
        "1,read,0x00000100,0x00000013,1111,",
        "1,write,0x40000000,0x00000006,1111,",
    ]
    assert steps_of("a.csv") == steps_of("b.csv")
    told = say(capsys, "convert", "bus.vcd", "c.steps", *words, "--bench", "first_light", "--names")
    assert told == (
        "c.steps: 2 steps\n  1 access outside the slots of the bench became idle time\n"
    )
    assert Path("c.steps").read_text("utf-8").splitlines() == [
        "write  levers.OUT 0x5 +1", "write  levers.OUT 0x6 +3",
    ]  # fmt: skip


def test_a_bench_plays_a_waveform(capsys: pytest.CaptureFixture[str]) -> None:
    """``[traffic.signals]``: the accesses of its slots are run, and the rest is told."""
    put("bus.vcd", BUS)
    put(
        "bench.toml",
        'clock = "1 MHz"\n[slot.levers]\nmodel = "gpio"\nbase = 0x4000_0000\nsize = 0x1000\n'
        f'[traffic]\nfile = "bus.vcd"\n[traffic.signals]\n{MAP}',
    )
    told = say(capsys, "run", "bench.toml", "--strict")
    assert "Traffic: 1 access outside the slots of the bench became idle time." in told
    accesses = load_bench("bench.toml").run("python").accesses
    assert accesses.address.tolist() == [0x4000_0000, 0x4000_0000]
    assert accesses.data.tolist() == [5, 6]


def test_signals_are_listed_with_what_they_could_be(capsys: pytest.CaptureFixture[str]) -> None:
    """Path, width and keys of maps, by their names."""
    put("bus.vcd", BUS)
    assert say(capsys, "convert", "bus.vcd", "--list").splitlines() == [
        "bus.vcd: 7 signals",
        "  top.clk      1 bit    clock",
        "  top.valid    1 bit    valid (valid-ready)",
        "  top.ready    1 bit    ready (valid-ready), pready (apb)",
        "  top.d_addr   32 bits  adr (wishbone, wishbone-pipelined), address",
        "                        (valid-ready, strobes), paddr (apb)",
        "  top.d_wstrb  4 bits   write_strobes (valid-ready), wstrb (axi4-lite)",
        "  top.d_wdata  32 bits  write_data (wishbone, wishbone-pipelined, valid-ready,",
        "                        strobes), pwdata (apb), wdata (axi4-lite)",
        "  top.d_rdata  32 bits  read_data (wishbone, wishbone-pipelined, valid-ready,",
        "                        strobes), prdata (apb), rdata (axi4-lite)",
    ]


#: What names of each kind look like in designs, and the keys that a guess must give them.
GUESSED = {
    "wishbone": {
        "clk_i": "clock", "rst_n_i": "reset_n", "wb_cyc_o": "cyc", "wb_stb_o": "stb",
        "wb_we_o": "we", "wb_adr_o": "adr", "wb_sel_o": "sel", "wb_dat_w_o": "write_data",
        "wb_dat_r_i": "read_data", "wb_ack_i": "ack",
    },
    "wishbone-pipelined": {
        "clk": "clock", "cyc": "cyc", "stb": "stb", "we": "we", "adr": "adr", "sel": "sel",
        "wdata": "write_data", "rdata": "read_data", "ack": "ack", "stall": "stall",
    },
    "valid-ready": {
        "clock": "clock", "d_valid": "valid", "d_ready": "ready", "d_addr": "address",
        "d_wstrb": "write_strobes", "d_wdata": "write_data", "d_rdata": "read_data",
    },
    "apb": {
        "PCLK": "clock", "PRESETn": "reset_n", "PSEL": "psel", "PENABLE": "penable",
        "PWRITE": "pwrite", "PADDR": "paddr", "PWDATA": "pwdata", "PRDATA": "prdata",
        "PREADY": "pready", "PSLVERR": "pslverr", "PSTRB": "pstrb",
    },
    "axi4-lite": {
        "ACLK": "clock", "ARESETN": "reset_n",
        **{f"s_{name}": name for name in (
            "awvalid", "awready", "awaddr", "wvalid", "wready", "wdata", "wstrb", "bvalid",
            "bready", "bresp", "arvalid", "arready", "araddr", "rvalid", "rready", "rdata", "rresp",
        )},
    },
    "strobes": {
        "rd_n": "read_n", "wr_n": "write_n", "cs_n": "select_n", "addr": "address", "data": "data",
    },
}  # fmt: skip
_WIDE = {"sel": 4, "write_strobes": 4, "wstrb": 4, "pstrb": 4, "bresp": 2, "rresp": 2}


@pytest.mark.parametrize("kind", list(GUESSED))
def test_a_map_is_guessed_from_names(kind: str, capsys: pytest.CaptureFixture[str]) -> None:
    """What is printed is a map: TOML, of the right kind, that a conversion takes."""
    lines = ["$timescale 1 ns $end", "$scope module top $end", "$var wire 1 ~ lamp $end"]
    for place, (name, key) in enumerate(GUESSED[kind].items()):
        data = any(part in key for part in ("data", "addr", "adr"))
        width = 32 if data else _WIDE.get(key, 1)
        lines.append(f"$var wire {width} {chr(33 + place)} {name} $end")
    put("bus.vcd", "\n".join([*lines, "$upscope $end", "$enddefinitions $end", "#0", "0!"]) + "\n")
    told = say(capsys, "convert", "bus.vcd", "--guess")
    assert told.startswith("# Guessed from the names of bus.vcd: check every line.\n")
    found = tomllib.loads(told)
    assert found == {"kind": kind, **{key: f"top.{name}" for name, key in GUESSED[kind].items()}}


# Tables of accesses.


def test_a_table_of_accesses_becomes_traffic(capsys: pytest.CaptureFixture[str]) -> None:
    """Each row is an access; a cycle is that of its beginning, and it counts as one cycle long."""
    put("log.csv", TABLE)
    columns = "cycle=Cycle, address:hex=Addr, data:hex=Data, op=R/W"
    say(capsys, "convert", "log.csv", "log.steps", "--columns", columns)
    assert steps_of("log.steps") == [
        AccessStep(True, 0x4000_0004, 0x1F, 15, 2),
        AccessStep(False, 0x4000_0008, None, 15, 6),
    ]


@pytest.mark.parametrize(
    ("columns", "row", "step"),
    [
        ("address=a,data=b,write=c", "8,9,1", AccessStep(True, 8, 9)),
        ("address=a,data=b,read=c", "8,9,1", AccessStep(False, 8, 9)),
        ("address=a,data=b,read=c", "8,9,W", AccessStep(True, 8, 9)),
        ("address=a,data=b,op=c", "8,9,wr", AccessStep(True, 8, 9)),
        ("address=a,data=b,op=c,lanes=d", "8,9,R,0011", AccessStep(False, 8, 9, 3)),
        ("address=a,data=b,op=c,strobe=d", "9,0x900,w,2", AccessStep(True, 8, 0x900, 2)),
        ("address=a,data=b,op=c,size=d", "9,9,w,1", AccessStep(True, 8, 0x900, 2)),
        ("address=a,data=b,op=c,size=d", "10,9,w,2", AccessStep(True, 8, 0x9_0000, 12)),
        ("address=a,data=b,op=c,wait=d", "8,9,w,7", AccessStep(True, 8, 9, 15, 7)),
        ("address=a,data=b,op=c,pc:hex=d", "8,9,w,1f", AccessStep(True, 8, 9, 15, 0, 0x1F)),
    ],
)  # fmt: skip
def test_columns_of_many_kinds(
    columns: str, row: str, step: AccessStep, capsys: pytest.CaptureFixture[str]
) -> None:
    """Direction, lanes, sizes and waits, each in the ways that tables have them."""
    put("log.csv", f"{','.join('abcd'[: row.count(',') + 1])}\n{row}\n")
    say(capsys, "convert", "log.csv", "log.steps", "--columns", columns)
    assert steps_of("log.steps") == [step]


def test_times_of_a_table_become_cycles(capsys: pytest.CaptureFixture[str]) -> None:
    """Rounded up, told once, and not added up; a long wait becomes a pause."""
    put("log.csv", "t;a;d;w\n0.5;0;1;1\n1.25;4;2;1\n1.3;8;3;1\n5000000000;8;4;1\n")
    words = ("--columns", "time_us=t,address=a,data=d,write=w", "--clock", "2 MHz")
    told = say(capsys, "convert", "log.csv", "log.steps", *words)
    assert told == (
        "log.steps: 5 steps\n"
        "  1 access began before the one before ended: played one after the other\n"
        "  2 of 4 times rounded up to the next whole cycle of 2 MHz\n"
    )
    assert steps_of("log.steps") == [
        AccessStep(True, 0, 1, 15, 0), AccessStep(True, 4, 2, 15, 1),
        AccessStep(True, 8, 3, 15, 0), Pause(Span(cycles=10**10 - 5)), AccessStep(True, 8, 4),
    ]  # fmt: skip


def test_a_table_of_accesses_outside_the_slots(capsys: pytest.CaptureFixture[str]) -> None:
    """With a bench, they become idle time: those by cycle, and those by wait."""
    rows = "3,0,1,1\n9,0x40000000,2,1\n12,4,3,1\n20,0x40000000,4,1\n"
    for first, waits in (("cycle", [8, 10]), ("wait", [13, 33])):
        put("log.csv", f"t,a,d,w\n{rows}")
        words = ("--columns", f"{first}=t,address=a,data=d,write=w", "--bench", "first_light")
        told = say(capsys, "convert", "log.csv", "log.steps", *words)
        assert told.endswith("2 accesses outside the slots of the bench became idle time\n")
        assert [step.wait for step in steps_of("log.steps")] == waits  # type: ignore[attr-defined]


# Samples.


def test_samples_with_a_clock_among_the_columns(capsys: pytest.CaptureFixture[str]) -> None:
    """Rows of moments: the signals are those before an edge, as in a waveform."""
    rows = ["time,clk,v,a,s,d"]
    for cycle, (valid, address, strobes, data) in enumerate(
        [(0, 0, 0, 0), (0, 0, 0, 0), (1, 8, 0, 5), (1, 12, 15, 6), (0, 0, 0, 0)]
    ):
        cells = f"{valid},{address},{strobes},{data}"
        rows += [f"{cycle}.25,0,{cells}", f"{cycle}.75,1,{'0,0,0,0'}"]
    put("log.csv", "\n".join(rows) + "\n")
    put(
        "map.toml",
        'kind = "valid-ready"\nclock = "clk"\nvalid = "v"\nready = "v"\naddress = "a"\n'
        'write_strobes = "s"\nwrite_data = "d"\nread_data = "d"\n',
    )
    words = ("--signals", "map.toml", "--columns", "time_us=time")
    say(capsys, "convert", "log.csv", "log.steps", *words)
    assert steps_of("log.steps") == [
        AccessStep(False, 8, 5, 15, 1), AccessStep(True, 12, 6, 15, 0),
    ]  # fmt: skip


# What cannot be used.

FILES = {"bus.vcd": BUS, "map.toml": MAP, "log.csv": TABLE}
CONVERT = ("convert", "bus.vcd", "a.csv", "--signals", "map.toml")


def of_map(says: str, told: str, old: str, new: str) -> Spoiled:
    """Return a map with a mistake."""
    assert MAP.count(old) == 1
    files = {**FILES, "map.toml": MAP.replace(old, new)}
    return Spoiled(says, f"busbox: map.toml{told}\n", files=files, args=CONVERT)


def of_bus(says: str, told: str, text: str | bytes) -> Spoiled:
    """Return a waveform with a mistake."""
    return Spoiled(says, f"busbox: {told}\n", files={**FILES, "bus.vcd": text}, args=CONVERT)


def of_words(says: str, told: str, *words: str) -> Spoiled:
    """Return options that cannot be used."""
    return Spoiled(says, f"busbox: {told}\n", files=FILES, args=("convert", *words))


def of_samples(says: str, told: str, text: str) -> Spoiled:
    """Return a table of samples with a mistake."""
    table = MAP.replace("top.", "").replace('clock = "clk"\n', "")
    return Spoiled(
        says, f"busbox: log.csv{told}\n", files={"log.csv": text, "map.toml": table},
        args=("convert", "log.csv", "a.csv", "--signals", "map.toml"),
    )  # fmt: skip


KINDS = "wishbone, wishbone-pipelined, valid-ready, apb, axi4-lite or strobes"
HEAD = "valid,ready,d_addr,d_wstrb,d_wdata,d_rdata\n"
COLUMNS = "cycle=Cycle,address:hex=Addr,data:hex=Data,op=R/W"
CASES = (
    of_map("A kind must be known.",
           f":1: kind: must be {KINDS}, not 'valid-redy'; did you mean 'valid-ready'?",
           '"valid-ready"', '"valid-redy"'),
    of_map("A kind must be given.", f": must have a key kind, the kind of bus: {KINDS}",
           'kind = "valid-ready"\n', ""),
    of_map("A signal must be there, and the nearest is told.",
           ":3: valid: there is no signal 'top.vaild' in bus.vcd; did you mean 'top.valid'?",
           "top.valid", "top.vaild"),
    of_map("A signal must have its scope.",
           ":3: valid: there is no signal 'valid' in bus.vcd; did you mean 'top.valid'?",
           "top.valid", "valid"),
    of_map("A key must be known.",
           ":5: addres: unknown key 'addres'; did you mean 'address'? (known for valid-ready: kind, "
           "valid, valid_n, ready, ready_n, address, write_strobes, write_strobes_n, write_data, "
           "read_data, clock, clock_n, cycle, reset, reset_n, address_step or data_width)",
           "address =", "addres ="),
    of_map("An address is never active at 0.",
           ":5: address_n: unknown key 'address_n'; did you mean 'address'? (known for valid-ready: "
           "kind, valid, valid_n, ready, ready_n, address, write_strobes, write_strobes_n, "
           "write_data, read_data, clock, clock_n, cycle, reset, reset_n, address_step or "
           "data_width)",
           "address =", "address_n ="),
    of_map("A width must fit.", ":6: write_strobes: must have 4 bits; write_strobes (top.valid) has "
           "1 bit", "top.d_wstrb", "top.valid"),
    of_map("A bit is one bit.", ":4: ready: must have 1 bit; ready (top.d_addr) has 32 bits",
           "top.ready", "top.d_addr"),
    of_map("Data are as wide as data.",
           ":8: read_data: must have 32 bits; read_data (top.d_wstrb) has 4 bits",
           "top.d_rdata", "top.d_wstrb"),
    of_map("A required signal must be there.",
           ": a bus of kind valid-ready needs the signal ready", 'ready = "top.ready"\n', ""),
    of_map("A waveform has a clock.", ": must name the clock, or a counter of cycles (cycle)",
           'clock = "top.clk"\n', ""),
    of_map("A signal is active at 1 or at 0.", ":4: valid_n: cannot be combined with valid",
           'ready = "top.ready"', 'valid_n = "top.ready"\nready = "top.ready"'),
    of_map("A signal is a name.",
           ":4: ready: must be the name of a signal, or a list of names with the most significant "
           "first, not 7", '"top.ready"', "7"),
    of_map("A step is 1, 2 or 4.", ":8: address_step: must be 1, 2 or 4, not 3",
           'read_data = "top.d_rdata"', "address_step = 3"),
    of_map("A map is TOML.", ":1: is not valid TOML: a key must be followed by = and a value",
           'kind = "valid-ready"', "kind"),
    of_bus("A waveform is a VCD file.", "bus.vcd:1: is not a valid VCD file: unexpected 'hello'",
           "hello\n"),
    of_bus("An empty file is none.", "bus.vcd:1: $enddefinitions is missing", ""),
    of_bus("A file without changes has no edge.", "bus.vcd: clock (top.clk) has no edge that counts",
           BUS.partition("#0")[0]),
    of_bus("A file that is cut off within a word is refused.",
           "bus.vcd:13: a change must be of a declared variable, not ''", BUS.partition("!\n")[0]),
    of_bus("Unknown control is refused with time and name.",
           "bus.vcd: at 30 ns: ready (top.ready) is unknown (x or z)",
           BUS.replace("#20\n1!\n1\"\n1#\n", "#20\n1!\n1\"\nx#\n")),
    of_words("A waveform needs a map.", "--signals: must be given: bus.vcd holds the signals of a bus",
             "bus.vcd", "a.csv"),
    of_words("A map must be there.", "--signals: there is no file 'mpa.toml'; did you mean 'map.toml'?",
             "bus.vcd", "a.csv", "--signals", "mpa.toml"),
    of_words("Steps have no signals.",
             "--signals: must not be given: day.steps holds steps, not signals",
             "day.steps", "a.csv", "--signals", "map.toml"),
    of_words("A waveform is not written.", "OUT: must end in .steps or .csv (traffic may have .gz "
             "after it), not 'b.vdc'", "bus.vcd", "b.vdc", "--signals", "map.toml"),
    of_words("A list writes nothing.",
             "OUT: must not be given with --list or --guess, which write nothing: 'a.csv'",
             "bus.vcd", "a.csv", "--list"),
    of_words("Either a list or a guess.", "--list: cannot be combined with --guess",
             "bus.vcd", "--list", "--guess"),
    of_words("A list is of a waveform.", "IN: must end in .vcd or .vcd.gz, not 'log.csv'",
             "log.csv", "--list"),
    of_words("A waveform must be there.", "there is no file 'bsu.vcd'; did you mean 'bus.vcd'?",
             "bsu.vcd", "--guess"),
    of_words("A clock is one.", "--clock: must be a number with Hz, kHz, MHz or GHz, not 'fast'",
             *CONVERT[1:], "--clock", "fast"),
    of_words("A bench has a clock.", "--clock: cannot be combined with --bench, which has a clock",
             *CONVERT[1:], "--clock", "1 MHz", "--bench", "bench.toml"),
    of_words("Steps need no clock.", "--clock: is for times of a file with --signals or --columns",
             "day.steps", "a.csv", "--clock", "1 MHz"),
    of_words("Columns have keys.",
             "--columns: must be KEY=COLUMN with a key time_s, time_ms, time_us, time_ns, cycle, wait, "
             "op, write, read, address, data, lanes, strobe, size or pc, not 'adress=Addr'; did you "
             "mean 'address'?", "log.csv", "a.csv", "--columns", "adress=Addr"),
    of_words("Columns are there.",
             "--columns: there is no column 'Adr' in log.csv; did you mean 'Addr'?",
             "log.csv", "a.csv", "--columns", COLUMNS.replace("Addr", "Adr")),
    of_words("An access has an address and a direction.",
             "--columns: must name address and op, write or read", "log.csv", "a.csv", "--columns",
             "address=Addr"),
    of_words("One column says when.", "--columns: cycle cannot be combined with wait",
             "log.csv", "a.csv", "--columns", f"{COLUMNS},wait=Cycle"),
    of_words("Times need a clock.",
             "--clock: must be given: time_us is a time, which becomes cycles of it",
             "log.csv", "a.csv", "--columns", COLUMNS.replace("cycle", "time_us")),
    of_words("A number is decimal unless it says so.",
             "log.csv:2: data must be a number such as 12 or 0x0c, not '1f'; did you mean 0x1f?",
             "log.csv", "a.csv", "--columns", COLUMNS.replace("data:hex", "data")),
    of_words("A direction is one.",
             "log.csv:2: op must be w, wr, write, r, rd or read, not '40000004'",
             "log.csv", "a.csv", "--columns", COLUMNS.replace("R/W", "Addr")),
    Spoiled("Cycles must not go back.",
            "busbox: log.csv:3: cycle must not be below the one in the row before\n",
            files={"log.csv": TABLE.replace("10,", "2,")},
            args=("convert", "log.csv", "a.csv", "--columns", COLUMNS)),
    Spoiled("An address is aligned to its size.",
            "busbox: log.csv:2: the address of 4 bytes must be a multiple of 4, not 0x40000005\n",
            files={"log.csv": TABLE.replace("40000004", "40000005")},
            args=("convert", "log.csv", "a.csv", "--columns", COLUMNS)),
    of_samples("A sample is a number.",
               ":2: ready must be a number such as 12 or 0x0c, not 'high'", HEAD + "0,high,0,0,0,0\n"),
    of_samples("A sample fits its signal.", ":2: valid must be at most 0x1, not '2'",
               HEAD + "2,0,0,0,0,0\n"),
    of_samples("A row has all cells.", ":3: a row must have 6 cells, as the header, not 2",
               HEAD + "0,0,0,0,0,0\n0,0\n"),
    of_samples("There are rows.", ":1: must have a row below the header", HEAD),
    of_samples("Unknown control is told by its line.", ":3: ready (ready) is unknown (x or z)",
               HEAD + "0,0,0,0,0,0\n1,x,0,0,0,0\n"),
    Spoiled(
        "A bench needs a map for a waveform.",
        "busbox: bus.vcd: holds the signals of a bus: a map must say "
        "which is what, [traffic.signals] in a bench or --signals MAP in busbox convert\n",
        edits=(('"day.steps"', '"bus.vcd"'),), files={"bus.vcd": BUS},
    ),
    Spoiled(
        "A bench's map must fit.",
        "busbox: bench.toml:50: traffic.signals.valid: there is no signal 'top.vaild' in bus.vcd; did "
        "you mean 'top.valid'?\n",
        edits=(('"day.steps"', f'"bus.vcd"\n\n[traffic.signals]\n{MISSPELT}'),),
        files={"bus.vcd": BUS},
    ),
    Spoiled(
        "A bench's steps have no map.",
        "busbox: bench.toml:47: traffic.signals: must not be given: the file of the traffic holds "
        "steps, not signals\n",
        edits=(('"day.steps"', f'"day.steps"\n\n[traffic.signals]\n{MAP}'),),
    ),
)  # fmt: skip


@pytest.mark.parametrize("spoiled", CASES, ids=[case.says for case in CASES])
def test_it_is_told_and_nothing_is_left(
    spoiled: Spoiled,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Each row: its sentence holds, its whole text is told, and the folder stays as it was."""
    assert_told(spoiled, tmp_path, monkeypatch, capsys)


def test_a_guess_that_is_none_says_what_is_nearest(capsys: pytest.CaptureFixture[str]) -> None:
    """Exit code 2, and the signals that are missing."""
    put("bus.vcd", BUS.replace(" ready $end", " roady $end"))
    assert say(capsys, "convert", "bus.vcd", "--guess", code=2) == (
        "busbox: bus.vcd: no bus was found by the names of the signals (--list shows them); nearest "
        "is valid-ready in top, without ready\n"
    )
