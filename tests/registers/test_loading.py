"""Declarations by the names of their files: SystemRDL, TOML, Python."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from busbox.basics.errors import InputError
from busbox.registers.loading import load_registers

pytestmark = pytest.mark.quick

PYTHON = """\
from busbox.device import Declaration, Register, RegisterTable
from busbox.models.gpio import Gpio
DIMMER = RegisterTable(Register("LEVEL", 0, width=8))
class Dimmer(Declaration):
    table = DIMMER
class Nothing(Declaration):
    pass
class Made(Declaration):
    @classmethod
    def table_for(cls, settings, size):
        return DIMMER
"""
RDL = "addrmap dimmer { reg { field { sw=rw; hw=r; reset=0; } VALUE[7:0]; } LEVEL @ 0; };\n"


@pytest.mark.parametrize(
    "name",
    ["dimmer.rdl", "dimmer.rdl:dimmer", "dimmer.toml", "dimmer.py:DIMMER", "dimmer.py:Dimmer"],
)
def test_the_same_registers_from_each_kind_of_file(name: str, tmp_path: Path) -> None:
    """One register of eight bits, whatever it is declared in."""
    if ".rdl" in name:
        pytest.importorskip("systemrdl")
    (tmp_path / "dimmer.rdl").write_text(RDL, encoding="utf-8")
    (tmp_path / "dimmer.toml").write_text("[LEVEL]\noffset = 0\nwidth = 8\n", encoding="utf-8")
    (tmp_path / "dimmer.py").write_text(PYTHON, encoding="utf-8")
    (level,) = load_registers(name, tmp_path)
    assert (level.name, level.offset, level.access, level.mask()) == ("LEVEL", 0, "rw", 0xFF)


@pytest.mark.parametrize(
    ("name", "message"),
    [
        ("dimmer.v", "must be a file of SystemRDL 'FILE.rdl', of TOML 'FILE.toml', or 'FILE.py:NAME', "
         "not 'dimmer.v'"),
        ("dimmer.py", "must be a file of SystemRDL"),
        ("dimmer.toml:x", "must be a file of SystemRDL"),
        ("dimmer.rdl:", "must be a file of SystemRDL"),
        ("", "must be a file of SystemRDL"),
        ("dimer.toml", "there is no file '{folder}/dimer.toml'; did you mean 'dimmer.toml'?"),
        ("dimer.rdl", "there is no file '{folder}/dimer.rdl'; did you mean 'dimmer.rdl'?"),
        ("dimmer.py:DIMER", "there is no table or class 'DIMER' in dimmer.py"),
        ("dimmer.py:Gpio", "dimmer.py:Gpio makes its registers from settings (table_for)"),
        ("dimmer.py:Made", "dimmer.py:Made makes its registers from settings (table_for)"),
        ("dimmer.py:Nothing", "dimmer.py:Nothing must declare at least one register"),
        ("dimmer.py:Register", "dimmer.py:Register must be a RegisterTable, or a class with a table"),
    ],
)  # fmt: skip
def test_what_declares_no_registers_is_refused(name: str, message: str, tmp_path: Path) -> None:
    """One sentence says what the name must be."""
    if ".rdl" in name and name != "dimmer.rdl:":
        pytest.importorskip("systemrdl")
    (tmp_path / "dimmer.rdl").write_text(RDL, encoding="utf-8")
    (tmp_path / "dimmer.toml").write_text("[LEVEL]\noffset = 0\nwidth = 8\n", encoding="utf-8")
    (tmp_path / "dimmer.py").write_text(PYTHON, encoding="utf-8")
    with pytest.raises(InputError) as refused:
        load_registers(name, tmp_path)
    assert str(refused.value).startswith(message.format(folder=tmp_path))


def test_without_the_library_one_command_is_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The refusal names the extra; TOML and Python need no library."""
    for name in [one for one in sys.modules if one.split(".")[0] == "systemrdl"]:
        monkeypatch.delitem(sys.modules, name)
    monkeypatch.setitem(sys.modules, "systemrdl", None)
    (tmp_path / "dimmer.rdl").write_text(RDL, encoding="utf-8")
    with pytest.raises(InputError) as refused:
        load_registers("dimmer.rdl", tmp_path)
    assert str(refused.value) == (
        "SystemRDL needs the library systemrdl-compiler: pip install 'busbox[systemrdl]'"
    )
