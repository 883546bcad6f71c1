"""The Python class: the same names as the C header, and one access for each function."""

from __future__ import annotations

import ast
import re
from types import SimpleNamespace
from typing import Any

import pytest
from hypothesis import given, settings

from busbox.bench.bench import Bench
from busbox.registers.header import header
from busbox.registers.layout import Layout
from busbox.registers.python_class import python_class
from tests.registers.drawn import SHIPPED, layouts, shipped

pytestmark = pytest.mark.quick


class Bridge:
    """Words by address; notes every access."""

    def __init__(self) -> None:
        self.words: dict[int, int] = {}
        self.seen: list[tuple[str, int, int]] = []

    def read(self, address: int) -> int:
        word = self.words.get(address, 0)
        self.seen.append(("read", address, word))
        return word

    def write(self, address: int, word: int) -> None:
        self.words[address] = word
        self.seen.append(("write", address, word))


def loaded(layout: Layout) -> Any:
    """Return what the file of a layout defines, with warnings as errors."""
    names: dict[str, Any] = {"__name__": "registers"}
    exec(compile(python_class(layout), "registers.py", "exec"), names)
    return SimpleNamespace(**names)


def test_each_function_makes_one_access_at_its_address() -> None:
    """Words, fields, arrays and ones: what is read and written, and where."""
    bridge = Bridge()
    cabin = loaded(shipped("signal_cabin")).SignalCabin(bridge)
    bridge.words[0x4000_200C] = 0x000C_0006
    assert cabin.lamps.get_high_one() == 12
    word = cabin.lamps.place_high_one(cabin.lamps.place_high_zero(0xFFFF_FFFF, 6), 13)
    cabin.lamps.put_high(word)
    cabin.lamps.put_colour(3, 0x40_2010)
    cabin.levers.act_set(0b10)
    cabin.lamps.clear_status(cabin.lamps.STATUS_MISSED_BITS)
    assert cabin.lamps.take_high_zero(0x000C_0006) == 6
    assert bridge.seen == [
        ("read", 0x4000_200C, 0x000C_0006),
        ("write", 0x4000_200C, 0x000D_0006),
        ("write", 0x4000_210C, 0x40_2010),
        ("write", 0x4000_0004, 2),
        ("write", 0x4000_2004, 2),
    ]


def test_what_does_not_fit_is_refused() -> None:
    """Values, words, ones and indices beyond what the register has raise, and nothing is written."""
    bridge = Bridge()
    cabin = loaded(shipped("signal_cabin")).SignalCabin(bridge)
    with pytest.raises(ValueError, match="must be a number from 0 to 65535, not 65536"):
        cabin.lamps.place_high_one(0, 0x1_0000)
    with pytest.raises(ValueError, match="must have ones in bits 0xffffffff only, not 0x100000000"):
        cabin.lamps.put_high(1 << 32)
    with pytest.raises(ValueError, match="must have ones in bits 0x00000002 only, not 0x1"):
        cabin.lamps.clear_status(1)
    with pytest.raises(IndexError, match="index must be a number from 0 to 11, not 12"):
        cabin.lamps.get_colour(12)
    assert bridge.seen == []


def test_a_driver_uses_the_same_class() -> None:
    """The bus of a driver in Python is a bridge: the class reaches the simulated devices."""
    made = loaded(shipped("first_light"))

    def driver(bus: Any) -> None:
        board = made.FirstLight(bus)
        board.levers.put_out(0b101)
        board.levers.act_clear(0b001)
        assert board.levers.get_out() == 0b100

    keys = {key: value for key, value in Bench.load("first_light").keys.items() if key != "expect"}
    recording = Bench(keys | {"traffic": driver}, name="first_light").run()
    assert [hex(address) for address in recording.accesses.address] == [
        "0x40000000", "0x40000008", "0x40000000",
    ]  # fmt: skip


@pytest.mark.parametrize("bench", SHIPPED)
def test_the_names_are_those_of_the_header(bench: str) -> None:
    """Every constant and function of the header has its counterpart with the same number."""
    layout = shipped(bench)
    made, text = loaded(layout), header(layout)
    board = vars(made)["".join(part.capitalize() for part in layout.prefix.split("_"))](Bridge())
    constants = {
        name: int(value.rstrip("u"), 0)
        for name, value in re.findall(
            r"^#define (\w+_(?:AT|BITS|SHIFT|LENGTH|BASE)) (\w+)$", text, re.MULTILINE
        )
    }
    functions = set(re.findall(r"^static inline \w+ (\w+)\(", text, re.MULTILINE))
    mine = {}
    for slot in layout.slots:
        own = getattr(board, slot.stem.lower())
        for name in dir(type(own)):
            if (
                name.isupper()
                and name != "SIZE"
                and f"{slot.stem}_{name[:-3]}"
                not in {
                    one.stem
                    for one in slot.registers
                    if one.register.count and name.endswith("_AT")
                }
            ):
                mine[f"{layout.prefix}_{slot.stem}_{name}"] = getattr(own, name)
        verbs = [name for name in dir(own) if name.islower() and not name.startswith("_")]
        functions -= {f"{slot.stem}_{name}".lower() for name in verbs}
    assert mine == constants
    assert functions == {f"{layout.prefix.lower()}_access"}


@given(layouts())
@settings(max_examples=60, deadline=None)
def test_drawn_classes_load_and_define_each_name_once(layout: Layout) -> None:
    """Whatever names and texts a table has, the file is Python and no name hides another."""
    tree = ast.parse(python_class(layout))
    for scope in (tree, *(node for node in tree.body if isinstance(node, ast.ClassDef))):
        names = [node.name for node in scope.body if hasattr(node, "name")]
        names += [node.targets[0].id for node in scope.body if isinstance(node, ast.Assign)]  # type: ignore[attr-defined]
        assert len(names) == len(set(names))
    made = loaded(layout)
    assert made.A is not None
