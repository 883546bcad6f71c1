"""What a bench file declares about its keys."""

from __future__ import annotations

import shutil
import tomllib
from pathlib import Path
from typing import Any

import pytest

import busbox
from busbox.bench.find import packaged_benches
from busbox.bench.keys import BenchKey, bench_keys

pytestmark = pytest.mark.quick

KEYS = tuple(bench_keys())
#: No source of traffic comes with Busbox, so that its example names none.
NOT_BUILT = ("traffic.source", "slot.ports", "slot.verilog", "slot.registers")
#: A clock with one edge, and a bus without an access.
WAVEFORM = """\
$timescale 1 ns $end
$scope module top $end
$var wire 1 c clk $end
$var wire 1 v valid $end
$var wire 1 r ready $end
$var wire 32 a addr $end
$var wire 4 s wstrb $end
$var wire 32 w wdata $end
$var wire 32 d rdata $end
$upscope $end
$enddefinitions $end
#0
0c
0v
#5
1c
#10
"""

RULE = '''
def bell_silent(facts):
    """The bell is silent.

    It is not heard.

    What to do
    ----------
    Ring it.
    """
    yield from ()
'''


def _id(key: BenchKey) -> str:
    table = key.table.strip("[]").removesuffix(".NAME")
    return ".".join(part for part in (table, key.owner, key.name) if part)


def bench() -> dict[str, Any]:
    """Return a bench that has everything which the examples name."""
    return {
        "clock": "16 MHz",
        "slot": {
            "levers": {"model": "gpio", "base": 0x4000_0000, "size": 0x1000},
            "telegraph": {"model": "uart", "base": 0x4000_1000, "size": 0x1000},
            "lamps": {"model": "pulse_led", "base": 0x4000_2000, "size": 0x1000, "lamps": 8},
        },
        "traffic": {"file": "cabin.steps"},
    }


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Return a folder with the files that the examples name."""
    (tmp_path / "cabin.steps").write_text("write levers.OUT 1\n", encoding="utf-8")
    (tmp_path / "driver.so").write_bytes(b"")
    (tmp_path / "NAME.bin").write_bytes(bytes(16))
    (tmp_path / "bus.vcd").write_text(WAVEFORM, encoding="utf-8")
    (tmp_path / "line.csv").write_text("time_s,tx\n0,1\n0.001,0\n", encoding="utf-8")
    (tmp_path / "bell.py").write_text(RULE, encoding="utf-8")
    cabin = packaged_benches()["signal_cabin"].parent / "signal_cabin.elf"
    shutil.copy(cabin, tmp_path / "cabin.elf")
    return tmp_path


def with_example(key: BenchKey) -> dict[str, Any]:
    """Return a bench that holds the example of a key."""
    keys, value = bench(), tomllib.loads(f"value = {key.example}")["value"]
    others = {
        other.name: tomllib.loads(f"value = {other.example}")["value"]
        for other in KEYS
        if (other.table, other.owner, other.required) == (key.table, key.owner, True)
    }
    match key.table, key.owner:
        case "", _:
            keys[key.name] = value
        case ("[fabric]", _):
            keys["fabric"] = {key.name: value}
        case ("[slot.NAME]", owner):
            slot = {**others, "model": owner or "gpio", "base": 0x5000_0000, "size": 0x1000}
            keys["slot"]["more"] = slot | {key.name: value}
            if key.name == "base":
                del keys["slot"]["levers"]
                keys["traffic"] = []
        case ("[attach.NAME]", owner):
            pins = {"terminal": "telegraph.tx", "switch": "levers.in.0"}
            part = {"kind": owner or "lamp_string", "pin": pins.get(owner, "lamps.line"), **others}
            if part["kind"] == "lamp_string":
                part["count"] = 8
            keys["attach"] = {"more": part | {key.name: value}}
        case ("[profile.NAME]", _):
            keys["profile"] = {"ours": others | {key.name: value}}
        case ("[traffic]", _) if key.name == "signals":
            keys["traffic"] = {"file": "bus.vcd", "signals": value}
        case ("[traffic]", _) if key.name == "at":
            keys["traffic"] = {"file": "NAME.bin", "at": value}
        case ("[core]" | "[[core.memory]]" | "[core.clocks]" | "[core.interrupt]", _):
            keys["slot"]["clock"] = {"model": "timer", "base": 0x4000_3000, "size": 0x1000}
            table = {**others, key.name: value}
            # The program is loaded where the example has its start, or its memory.
            at = value if key.name == "start" else table.get("at", 0x8000_0000)
            keys["traffic"] = {"file": "NAME.bin", "at": 0 if key.name == "memory" else at}
            inside = key.table.strip("[]").removeprefix("core").strip(".")
            keys["core"] = {inside: [table] if inside == "memory" else table} if inside else table
        case ("[traffic]", _) if key.name in ("idle", "patience"):
            keys["traffic"] = {"file": "driver.so:main", key.name: value}
        case ("[traffic]", _):
            keys["traffic"][key.name] = value
        case ("[[expect]]", ""):
            keys["expect"] = [{key.name: value}]
        case ("[[expect]]", owner):
            counted = dict.fromkeys(("frames", "findings", "cycles", "errors"), "exactly")
            ways = {"text": "is", **counted}
            table = others | {key.name: value}
            way = ways.get(owner)
            if way and (key.required or key.name == "of"):
                table[way] = "" if owner == "text" else 0
            keys["expect"] = [{owner: table}]
        case ("[[input]]", _):
            ways = {"rate": {"bytes": "a"}, "spacing": {"bytes": "a"}, "level": {}, "bytes": {},
                    "capture": {}, "line": {"capture": "tx.csv"},
                    "sample_clock": {"capture": "samples.csv"}}  # fmt: skip
            keys["input"] = [others | ways.get(key.name, {"level": 1}) | {key.name: value}]
        case (table, _):
            keys[table.strip("[]")] = [others | {key.name: value}]
    return keys


@pytest.mark.parametrize("key", [key for key in KEYS if _id(key) not in NOT_BUILT], ids=_id)
def test_the_example_of_every_key_is_valid(key: BenchKey, folder: Path) -> None:
    """A bench is built from the example that each key declares."""
    (folder / "tx.csv").write_text("time_s,tx\n0,1\n0.001,0\n", encoding="utf-8")
    (folder / "samples.csv").write_text("sample,tx\n0,1\n1,0\n2,1\n", encoding="utf-8")
    if _id(key) == "traffic.format":
        (folder / "cabin.steps").write_text(
            "wait,op,address,data,lanes\n0,write,0x40000000,1,1111\n", encoding="utf-8"
        )
    busbox.Bench(with_example(key), folder=folder).system()


def test_every_key_says_what_it_means() -> None:
    """Each key has a type, an example and a sentence; one that must be given has no default."""
    for key in KEYS:
        assert key.kind, key
        assert key.example, key
        assert key.text, key
        assert not (key.required and key.default), key


def test_every_key_that_a_table_takes_is_declared() -> None:
    """No field of a table is without its declaration, but for those that hold tables."""
    from busbox.bench.schema import TABLES, BenchTable

    assert {*BenchTable.keys()} - {*BenchTable.declared()} == {*TABLES, "traffic", "core"}
    for name, table in TABLES.items():
        assert {*table.keys()} == {*table.declared()}, name


@pytest.mark.parametrize(
    ("key", "default"),
    [(key, key.default) for key in KEYS if key.default and not key.owner],
    ids=lambda given: _id(given) if isinstance(given, BenchKey) else "",
)
def test_a_default_that_is_a_value_is_one_that_may_be_given(
    key: BenchKey, default: str, folder: Path
) -> None:
    """A default that reads as TOML can stand in the file and is accepted there."""
    try:
        tomllib.loads(f"value = {default}")
    except tomllib.TOMLDecodeError:
        return  # in words
    from dataclasses import replace

    busbox.Bench(with_example(replace(key, example=default)), folder=folder).system()
