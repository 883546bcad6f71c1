"""One source: a change of the bench or of a declaration shows in every artefact."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from busbox.basics.errors import InputError
from busbox.bench.bench import Bench
from busbox.check.twin import Plan
from busbox.check.twin.compare import observe
from busbox.engines import engine_class
from busbox.map.registers import Field, Register, RegisterTable
from busbox.map.slots import Slot
from busbox.plugins import DEVICES
from busbox.registers.layout import Layout, layout_of
from busbox.registers.writing import WRITERS, writer_for
from tests.registers.drawn import SHIPPED, shipped

pytestmark = pytest.mark.quick

LEVEL = Field("LEVEL", 7, 0, "rw", 0x21, "Brightness of the lamps.")
FADING = Field("FADING", 8, 8, "ro", 0, "It is fading.")
BEFORE = Register("BRIGHTNESS", 0x4, "rw", "The platform lamps.", (LEVEL, FADING))


def layout(register: Register, base: int = 0x4001_0000) -> Layout:
    """Return a bench of one slot with one register."""
    slot = Slot("dimmer", base, 0x1000, table=RegisterTable(register))
    return layout_of("platform", "", [(slot, "dimmer")])


#: What changes: the layout after it, and what each artefact then has and did not have before.
CHANGES = {
    "base": (
        layout(BEFORE, 0x5002_0000),
        {".h": "0x50020004u", ".py": "0x50020004", ".md": "0x50020004", ".html": "0x50020004",
         ".rdl": "@ 0x50020000", ".json": f'"address": {0x5002_0004}'},
    ),
    "a field": (
        layout(replace(BEFORE, fields=(LEVEL, replace(FADING, name="MOVING", high=9, low=9)))),
        {".h": "PLATFORM_DIMMER_BRIGHTNESS_MOVING_BITS 0x00000200u",
         ".py": "BRIGHTNESS_MOVING_BITS = 0x00000200", ".md": "| 9 | MOVING |",
         ".html": 'data-head="Bits">9<', ".rdl": "MOVING[9:9]", ".json": '"name": "MOVING"'},
    ),
    "an access right": (
        layout(replace(BEFORE, fields=(LEVEL, replace(FADING, access="ones_clear")))),
        {".h": "FADING, bits 8 (ones_clear)", ".py": "FADING: bits 8, ones_clear.",
         ".md": "| FADING | `ones_clear` |",
         ".html": 'data-head="Access">ones_clear<', ".rdl": "onwrite = woclr",
         ".json": '"access": "ones_clear"'},
    ),
    "a reset": (
        layout(replace(BEFORE, fields=(replace(LEVEL, reset=0x7B), FADING))),
        {".h": "0x0000007b", ".py": "0x0000007b", ".md": "0x7b", ".html": "0x7b",
         ".rdl": "reset = 0x7b", ".json": '"reset": 123'},
    ),
}  # fmt: skip


@pytest.mark.parametrize("change", CHANGES)
@pytest.mark.parametrize("suffix", WRITERS)
def test_a_change_shows_in_every_artefact(change: str, suffix: str) -> None:
    """After the change of one declaration, the artefact has the new fact, and had it not before."""
    after, marks = CHANGES[change]
    assert marks[suffix] in WRITERS[suffix](after)
    assert marks[suffix] not in WRITERS[suffix](layout(BEFORE))


def test_an_access_right_decides_the_functions() -> None:
    """A register that turns write-only loses its get in C and in Python."""
    after = layout(replace(BEFORE, access="wo", fields=(replace(LEVEL, access="wo"),)))
    for suffix, get, put in ((".h", "dimmer_get_brightness(", "dimmer_put_brightness("),
                             (".py", "def get_brightness(", "def put_brightness(")):  # fmt: skip
        assert get in WRITERS[suffix](layout(BEFORE))
        assert get not in WRITERS[suffix](after)
        assert put in WRITERS[suffix](after)


@pytest.mark.parametrize("suffix", WRITERS)
def test_a_bench_with_another_base_gives_another_file(suffix: str) -> None:
    """``--set slot.lamps.base`` moves the lamps in every artefact; the same bench gives equal bytes."""
    write = WRITERS[suffix]
    moved = write(shipped("first_light", "slot.lamps.base=0x44010000"))
    assert write(shipped("first_light")) == write(shipped("first_light"))
    assert moved != write(shipped("first_light"))
    assert ("0x44010000" if suffix != ".json" else f'"base": {0x4401_0000}') in moved


@pytest.mark.parametrize("clock", ["16 MHz", "8 MHz"])
@pytest.mark.parametrize("name", ["signal_cabin", "first_light", "edges", "night_watch"])
def test_reset_values_are_those_that_a_run_begins_with(name: str, clock: str) -> None:
    """What is written of each register is what it shows in cycle 0, but for bits that show none."""
    system = Bench.load(name).with_values([f"clock={clock}"]).system([])
    checked = 0
    for number, device in enumerate(system.devices):
        alone = Plan(()).system(system, number)
        (_, shown), *_ = observe(alone, 0, engine_class("python"), 1).registers
        for _, place in device.slot.table.places():
            if place.name in shown and not place.register.mask("wo", "ones_act"):
                assert shown[place.name] == place.register.reset_value, place.name
                checked += 1
    assert checked


def test_the_benches_of_these_tests_have_every_model() -> None:
    """No model that comes with Busbox is left out of what is written and read back."""
    kinds = {slot.kind for bench in SHIPPED for slot in shipped(bench).slots}
    assert set(DEVICES.built_in) <= kinds


def test_the_suffix_decides(tmp_path: Path) -> None:
    """Each suffix has its writer; another is refused with the nearest."""
    for suffix, write in WRITERS.items():
        assert writer_for(str(tmp_path / f"map{suffix}")) is write
    with pytest.raises(InputError, match=r"must end in \.h, \.py, .* or \.json, not 'm\.htm'"):
        writer_for("m.htm")
