"""The reader of the netlist text, and the joining of bits: what they know, and every refusal."""

from __future__ import annotations

import pytest
from amaranth.back import rtlil
from amaranth.hdl import Module, Signal

from busbox.engines.netlist import NetlistError
from busbox.engines.netlist.flatten import flatten
from busbox.engines.netlist.order import order
from busbox.engines.netlist.text import Bits, Piece, read

pytestmark = pytest.mark.quick

HEAD = 'attribute \\generator "Amaranth"\nattribute \\top 1\nmodule \\top\n'
WIRES = (
    "wire width 4 input 0  \\lever\nwire width 4 output 1 signed \\lamp\nwire width 4 $1\n"
    "wire width 1 input 2 \\clk\n"
)
ADD = (
    "cell $add $2\nparameter \\A_SIGNED 0\nparameter \\B_SIGNED 0\nparameter \\A_WIDTH 4\n"
    "parameter \\B_WIDTH 4\nparameter \\Y_WIDTH 4\nconnect \\A \\lever [3:0]\n"
    "connect \\B 4'0011\nconnect \\Y \\lamp\nend\n"
)
DFF = (
    "cell $dff $3\nparameter \\WIDTH 4\nparameter \\CLK_POLARITY 1\nconnect \\D \\lever [3:0]\n"
    "connect \\CLK \\clk [0]\nconnect \\Q \\lamp\nend\n"
)


def top(body: str) -> str:
    """Return the text of a module with wires and a body."""
    return f"{HEAD}{WIRES}{body}end\n"


def test_a_text_of_amaranth_is_read_whole() -> None:
    """Wires, cells, parameters, patterns and constants of a design's text are found as written."""
    m, lever, lamp = Module(), Signal(4, name="lever"), Signal(4, name="lamp")
    with m.Switch(lever):
        with m.Case("1--0", "0011"):
            m.d.comb += lamp[1:3].eq(lever + 3)
        with m.Default():
            m.d.comb += lamp.eq(9)
    ports = {"lever": (lever, None), "lamp": (lamp, None)}
    (module,) = read(rtlil.convert(m, ports=ports, emit_src=False))
    assert module.top
    assert module.name == "top"
    assert [wire.port for wire in module.wires.values()].count("input") == 1
    (add,) = module.cells
    assert (add.kind, add.parameters["A_WIDTH"]) == ("$add", 4)
    assert add.ports["B"] == (Bits(3, 2),)
    (process,) = module.processes
    first, switch = process.body
    assert first.target == (Piece("\\lamp", 0, 4),)  # type: ignore[union-attr]
    assert [case.patterns for case in switch.cases] == [  # type: ignore[union-attr]
        ((0b1001, 0b1000), (0b1111, 0b0011)),
        (),
    ]


MISREAD = {
    "line": (
        "nonsense here\n",
        "top (line 8 of the netlist): this line is not known: 'nonsense here'",
    ),
    "cut": (
        "process $9\n",
        "top (line 10 of the netlist): the text must go on until 'end', not stop",
    ),
    "wire": (
        "wire width x \\bell\n",
        "top (line 8 of the netlist): this line is not known: 'wire width x \\\\bell'",
    ),
    "twice": (
        "wire width 4 $1\n",
        "top (line 8 of the netlist): the name $1 must stand for one thing, not two",
    ),
    "no wire": (
        "connect \\bell \\lever\n",
        "top (line 8 of the netlist): there is no wire '\\\\bell'",
    ),
    "range": (
        "connect $1 \\lever [4:1]\n",
        "top (line 8 of the netlist): bits [4:1] must lie in \\lever, which has 4",
    ),
    "widths": (
        "connect $1 \\lever [2:1]\n",
        "top (line 8 of the netlist): 4 bits must take as many, not 2",
    ),
    "unknown bits": (
        "connect $1 4'00x0\n",
        'top (line 8 of the netlist): bits must be 0 or 1, not "4\'00x0"',
    ),
    "digits": (
        "connect $1 4'000\n",
        'top (line 8 of the netlist): "4\'000" must have 4 digits, not 3',
    ),
    "open": ("connect $1 { \\lever [0]\n", "top (line 8 of the netlist): '{' must be closed"),
    "nothing": (
        "connect $1\n",
        "top (line 8 of the netlist): what is connected must be named, not left out",
    ),
    "more": (
        "connect $1 \\lever $1\n",
        "top (line 8 of the netlist): this is not known after what is connected: '$1'",
    ),
    "pattern": (
        "process $9\nswitch \\lever [0]\ncase 2'00\n",
        'top (line 10 of the netlist): a pattern must be 1 of 0, 1 and -, not "2\'00"',
    ),
    "case": (
        "process $9\nswitch \\lever [0]\nwire width 1 $8\n",
        "top (line 10 of the netlist): this line is not known: 'wire width 1 $8'",
    ),
    "init": (
        "attribute \\init 3'000\nwire width 4 $8\n",
        "top (line 9 of the netlist): the attribute init of $8 must be 4 bits, not "
        "Bits(value=0, width=3, known=True)",
    ),
    "value": (
        "attribute \\init what\n",
        "top (line 8 of the netlist): a value must be a number, bits or a string, not 'what'",
    ),
    "parameter": (
        "cell $add $2\nparameter A_SIGNED\n",
        "top (line 9 of the netlist): this parameter is not known: 'A_SIGNED'",
    ),
    "in a cell": (
        "cell $add $2\nswitch $1\n",
        "top (line 9 of the netlist): this line is not known: 'switch $1'",
    ),
}


@pytest.mark.parametrize("name", MISREAD)
def test_what_the_reader_does_not_know_is_refused(name: str) -> None:
    """Each line, width or name that Amaranth does not print is refused with its place."""
    body, message = MISREAD[name]
    with pytest.raises(NetlistError) as caught:
        read(top(body))
    assert str(caught.value) == message


def test_another_generator_is_refused() -> None:
    """A text that says it comes from elsewhere is refused."""
    with pytest.raises(NetlistError) as caught:
        read(top("").replace('"Amaranth"', '"a kettle"'))
    message = "top (line 3 of the netlist): the generator must be 'Amaranth', not 'a kettle'"
    assert str(caught.value) == message


MISMADE = {
    "kind": (
        ADD.replace("$add", "$kettle"),
        "top.lamp (line 8 of the netlist): there is no cell of the kind $kettle",
    ),
    "missing parameter": (
        ADD.replace("parameter \\B_SIGNED 0\n", ""),
        "top.lamp (line 8 of the netlist): $add must have the parameter B_SIGNED",
    ),
    "extra parameter": (
        ADD.replace("connect \\A", "parameter \\SIGNED 0\nconnect \\A"),
        "top.lamp (line 8 of the netlist): $add has no parameter SIGNED",
    ),
    "missing port": (
        ADD.replace("connect \\B 4'0011\n", ""),
        "top.lamp (line 8 of the netlist): $add must have the port B",
    ),
    "extra port": (
        ADD.replace("connect \\B", "connect \\C 1'0\nconnect \\B"),
        "top.lamp (line 8 of the netlist): $add has no port C",
    ),
    "width": (
        ADD.replace("B_WIDTH 4", "B_WIDTH 5"),
        "top.lamp (line 8 of the netlist): port B must have 5 bits, not 4",
    ),
    "signs": (
        ADD.replace("B_SIGNED 0", "B_SIGNED 1"),
        "top.lamp (line 8 of the netlist): A_SIGNED 0 and B_SIGNED 1 are not known here",
    ),
    "number": (
        ADD.replace("A_WIDTH 4", 'A_WIDTH "4"'),
        "top.lamp (line 8 of the netlist): A_WIDTH must be a whole number, not '4'",
    ),
    "two drivers": (
        ADD + "connect \\lamp \\lever\n",
        "top.lamp (line 8 of the netlist): bit 0 must have one driver; top.lever drives it too",
    ),
    "a driver and a constant": (
        ADD + "connect \\lamp [1] 1'1\n",
        "top.lamp (line 8 of the netlist): bit 1 must have one driver; the constant 1 drives it too",
    ),
    "two constants": (
        "connect $1 4'0101\nconnect $1 4'0111\n",
        "top (line 9 of the netlist): a bit must have one driver, not the constants 0 and 1",
    ),
    "to a constant": (
        "process $9\nassign 4'0000 \\lever [3:0]\nend\n",
        "top (line 9 of the netlist): a constant must not be assigned to",
    ),
    "undriven": (
        ADD.replace("\\lever [3:0]", "$1 [3:0]"),
        "top.$1[0] (line 8 of the netlist): this bit is read, but nothing drives it",
    ),
    "loop": (
        ADD.replace("\\lever [3:0]", "\\lamp [3:0]"),
        "top: signals must not go round in a loop: top.lamp",
    ),
    "no place": (
        "end\nmodule \\top.bell\n",
        "top.bell (line 9 of the netlist): a module must have one place, not 0",
    ),
    "port of a module": (
        "cell \\top.bell \\bell\nconnect \\hammer \\lamp [0]\nend\nend\nmodule \\top.bell\n",
        "top.bell (line 8 of the netlist): top.bell has no port hammer of 1 bits",
    ),
}


@pytest.mark.parametrize("name", MISMADE)
def test_what_does_not_fit_together_is_refused(name: str) -> None:
    """Cells with other parts than theirs, several drivers, none, and loops are refused by name."""
    body, message = MISMADE[name]
    with pytest.raises(NetlistError) as caught:
        order(flatten(read(top(body))))
    assert str(caught.value) == message


def test_the_parts_of_these_texts_are_right() -> None:
    """Without the mistakes, the same texts are read, so that each test above sees its mistake."""
    assert len(order(flatten(read(top(ADD)))).steps) == 1
    assert len(order(flatten(read(top(DFF)))).steps) == 0


def test_two_tops_are_refused() -> None:
    """Exactly one module is the top."""
    with pytest.raises(NetlistError) as caught:
        flatten(read(top("").replace("attribute \\top 1\n", "")))
    assert str(caught.value) == "netlist: one module must be the top, not 0"
