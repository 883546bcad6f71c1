"""A second run uses the code that the first one kept: the same run, nothing built, never stale code."""

from __future__ import annotations

import importlib
import os
import shutil
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from importlib.util import find_spec
from pathlib import Path
from typing import Any

import pytest

pytest.importorskip("llvmlite")

from busbox.basics.cache import VARIABLE
from busbox.bench.bench import Bench
from busbox.bench.find import packaged_benches
from busbox.bus.identity import content_of
from busbox.cpu.steps import AccessStep
from busbox.engines import kernel, llvm_kernel, sources
from busbox.engines.kernel import Parts
from busbox.engines.llvm_kernel import LlvmEngine, level_for
from busbox.engines.netlist import building
from busbox.engines.netlist.native import LEVEL, QUICK
from busbox.engines.netlist_engine import NetlistEngine
from busbox.engines.python_kernel import PythonEngine
from busbox.run.loop import replay
from busbox.system.system import System

ENGINES = (LlvmEngine, PythonEngine)
HARDWARE = {"slot.lamps.as": "hardware"}


@pytest.fixture
def built(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> list[object]:
    """Keep code in a folder of its own; return the designs that were elaborated as a whole."""
    monkeypatch.setenv(VARIABLE, str(tmp_path / "kept"))
    designs: list[object] = []
    real = building.build

    def counted(design: Any, ports: Any) -> Any:
        designs.append(design)
        return real(design, ports)

    monkeypatch.setattr(building, "build", counted)
    return designs


def system_of(name: str = "first_light", **values: object) -> System:
    """Return a bench that comes with Busbox, with values of keys changed (``__`` for a dot)."""
    keys = {key.replace("__", "."): value for key, value in values.items()}
    return Bench.load(name).with_values(keys).system()


def memory(file: Path) -> System:
    """Return a bench with a memory in hardware, whose words stand in a file."""
    slot = {"model": "memory", "base": 0, "size": 0x100, "kind": "rom", "file": str(file),
            "as": "hardware"}  # fmt: skip
    bench = Bench({"clock": "1 MHz", "slot": {"words": slot}, "traffic": []})
    return bench.system([AccessStep(False, 0), AccessStep(False, 4)])


@pytest.mark.parametrize("engine", ENGINES, ids=lambda one: one.name)
@pytest.mark.parametrize("name", sorted(packaged_benches()))
def test_the_second_run_of_a_bench_is_the_first_one_and_builds_nothing(
    name: str, engine: type[NetlistEngine], built: list[object]
) -> None:
    """Every bench that comes with Busbox: equal recordings, and no design is elaborated again."""
    system = system_of(name)
    first = replay(system, engine, 3000)
    assert built
    built.clear()
    assert replay(system, engine, 3000) == first
    ours = content_of(system) is not None
    assert (not built) == ours


@pytest.mark.parametrize("engine", ENGINES, ids=lambda one: one.name)
@pytest.mark.parametrize(
    "changes",
    [
        {"slot__lamps__lamps": 3},
        {"slot__lamps__base": 0x4800_0000},
        {"slot__levers__as": "hardware"},
        {"slot__lamps__as": "model"},
        {"slot__levers__size": 0x800},
        {"fabric__watchdog": 5},
        {"fabric__registered_decode": True},
        {"fabric__unanswered": "silence"},
        {"clock": "2 MHz"},
    ],
    ids=lambda changes: "-".join(changes),
)
def test_what_the_code_depends_on_is_in_its_key(
    changes: dict[str, object], engine: type[NetlistEngine], built: list[object]
) -> None:
    """Another setting, place, kind, fabric or clock is built anew, and runs as without kept code."""
    same: dict[str, object] = {"slot__lamps__as": "hardware"}
    replay(system_of(**same), engine, 2)
    built.clear()
    replay(system_of(**same), engine, 2)
    assert not built
    replay(system_of(**{**same, **changes}), engine, 2)
    assert built


@pytest.mark.parametrize("engine", ENGINES, ids=lambda one: one.name)
def test_wait_states_are_no_part_of_the_code(
    engine: type[NetlistEngine], built: list[object], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Kept code runs with another wait, exactly as new code does."""
    replay(system_of(), engine, 500)
    built.clear()
    moved = system_of(slot__levers__wait=5)
    found = replay(moved, engine, 500)
    assert not built
    monkeypatch.setenv(VARIABLE, "off")
    assert replay(moved, engine, 500) == found
    assert built


@pytest.mark.parametrize("engine", ENGINES, ids=lambda one: one.name)
def test_words_from_a_changed_file_are_the_new_ones(
    engine: type[NetlistEngine], built: list[object], tmp_path: Path
) -> None:
    """The contents of a file that hardware reads are in the key, whatever its time and size say."""
    file = tmp_path / "words.bin"
    for text in (b"abcdefgh", b"abcdefgX", b"abcdefgh"):
        file.write_bytes(text)
        found = replay(memory(file), engine, 40).accesses.data.tolist()
        assert found == [int.from_bytes(text[:4], "little"), int.from_bytes(text[4:], "little")]
    assert len(built) == 2


def test_a_file_that_changes_while_it_is_built_keeps_nothing(
    built: list[object], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What was read between the two looks at the file may be either: it serves this run alone."""
    file = tmp_path / "words.bin"
    file.write_bytes(b"abcdefgh")
    system = memory(file)
    real = kernel.hardware_of

    def changing(given: System) -> Any:
        file.write_bytes(b"ABCDEFGH")
        return real(given)

    monkeypatch.setattr(kernel, "hardware_of", changing)
    replay(system, PythonEngine, 40)
    assert not list((tmp_path / "kept").glob("*"))


def test_hardware_of_somebody_else_is_elaborated_every_time(built: list[object]) -> None:
    """Nobody knows what it reads, so its design is never told without building it."""
    system = system_of(**HARDWARE)
    lamps = system.devices[-1]

    class Own(lamps.model):  # type: ignore[misc, name-defined]
        """The same hardware, in a file of somebody else's."""

    own = replace(system, devices=(*system.devices[:-1], replace(lamps, model=Own)))
    assert content_of(system) is not None
    assert content_of(own) is None
    for _ in range(2):
        built.clear()
        replay(own, PythonEngine, 2)
        assert built


@pytest.mark.parametrize("spoil", [bytes.upper, lambda text: text[:-9], lambda text: b""])
@pytest.mark.parametrize("engine", ENGINES, ids=lambda one: one.name)
def test_a_spoiled_file_is_as_good_as_none(
    engine: type[NetlistEngine],
    spoil: Callable[[bytes], bytes],
    built: list[object],
    tmp_path: Path,
) -> None:
    """Code that is not what was written is made again, and the run is the same."""
    system = system_of()
    first = replay(system, engine, 500)
    for file in (tmp_path / "kept").iterdir():
        file.write_bytes(spoil(file.read_bytes()))
    built.clear()
    assert replay(system, engine, 500) == first
    assert built


PROBE = """
from busbox.engines.sources import sources
print(sources().hex())
"""
RUN = """
import atexit, sys
show = lambda: print(sorted({{name.partition(".")[0] for name in sys.modules}}), file=sys.stderr)
atexit.register(show)
from busbox.cli import main
main({args!r})
"""


def asked(code: str, folder: Path | None = None) -> subprocess.CompletedProcess[str]:
    """Run code in a process of its own, which finds packages in a folder first."""
    paths = [str(folder)] if folder else []
    begin = f"import sys; sys.path[:0] = {paths!r}\n"
    return subprocess.run(
        [sys.executable, "-c", begin + code],
        capture_output=True, text=True, encoding="utf-8", check=True,
    )  # fmt: skip


@pytest.mark.parametrize("package", ["amaranth", "busbox"])
def test_one_more_comment_in_a_source_is_another_key(package: str, tmp_path: Path) -> None:
    """Amaranth or Busbox that differs in one byte has other code, whatever its version says."""
    found = find_spec(package)
    assert found is not None
    assert found.submodule_search_locations
    home = Path(found.submodule_search_locations[0])
    shutil.copytree(home, tmp_path / package, ignore=shutil.ignore_patterns("__pycache__"))
    before = asked(PROBE, tmp_path).stdout
    assert before == asked(PROBE, tmp_path).stdout
    file = max((tmp_path / package).rglob("*.py"))
    file.write_text(file.read_text(encoding="utf-8") + "#\n", encoding="utf-8")
    assert asked(PROBE, tmp_path).stdout != before


def test_other_sources_are_another_key(
    built: list[object], monkeypatch: pytest.MonkeyPatch
) -> None:
    """What one version kept is not used by another."""
    replay(system_of(), PythonEngine, 2)
    built.clear()
    monkeypatch.setattr(kernel, "sources", lambda: b"another")
    replay(system_of(), PythonEngine, 2)
    assert built


def test_what_a_source_follows_from_is_all_digested() -> None:
    """Every file of ours or of Amaranth's that builds and writes a design is among those digested."""
    code = (
        "from busbox.bench.bench import Bench\n"
        "from busbox.engines.kernel import Parts\n"
        "Parts(Bench.load('first_light').with_values({'slot.lamps.as': 'hardware'}).system()).program\n"
        "for name, module in sys.modules.items():\n"
        "    if name.partition('.')[0] in ('busbox', 'amaranth'):\n"
        "        print(module.__file__)"
    )
    digested = {
        file
        for package in sources.PACKAGES
        for folder in importlib.import_module(package).__path__
        for file in sources._files(folder)
    }
    loaded = set(asked(code).stdout.splitlines())
    assert any(os.path.join("pulse_led", "hardware.py") in file for file in loaded)
    assert loaded <= digested


@pytest.mark.parametrize(
    ("engine", "unneeded"),
    [
        ("llvm", {"amaranth", "elftools", "bincopy", "vcd"}),
        ("python", {"amaranth", "elftools", "bincopy", "vcd", "llvmlite"}),
    ],
)
def test_a_second_run_with_models_loads_no_amaranth(
    engine: str, unneeded: set[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A run of kept code loads what it needs: nothing that builds, or reads a program."""
    monkeypatch.setenv(VARIABLE, str(tmp_path / "kept"))
    code = RUN.format(args=["run", "first_light", "--engine", engine])
    first, second = asked(code), asked(code)
    assert first.stdout == second.stdout
    assert "'amaranth'" in first.stderr
    assert not {name for name in unneeded if f"'{name}'" in second.stderr}


def test_the_length_of_traffic_chooses_how_code_is_made() -> None:
    """Short traffic is translated alone; long or unknown traffic, hardware and cores are optimised."""
    step = AccessStep(True, 0x4000_0000, 1)
    bench = Bench.load("first_light")
    for count, level in ((10, QUICK), (llvm_kernel._MANY - 1, QUICK), (llvm_kernel._MANY, LEVEL)):
        assert level_for(bench.system([step] * count)) == level
    assert level_for(bench.system(lambda bus: None)) == LEVEL
    assert level_for(bench.with_values(HARDWARE).system([step])) == LEVEL
    assert level_for(Bench.load("night_watch").system()) == LEVEL


@pytest.mark.parametrize("values", [{}, HARDWARE], ids=["models", "hardware"])
def test_both_ways_to_make_code_give_the_same_run(values: dict[str, object]) -> None:
    """Optimised or translated alone: equal recordings."""
    system = Bench.load("first_light").with_values(values).system()

    def made(level: int) -> type[LlvmEngine]:
        def make(parts: Parts, system: System) -> llvm_kernel.LlvmKernel:
            return llvm_kernel.LlvmKernel(parts, level)

        return type("Chosen", (LlvmEngine,), {"make_kernel": staticmethod(make)})

    assert replay(system, made(QUICK)) == replay(system, made(LEVEL))


def test_a_short_run_takes_optimised_code_that_is_kept(built: list[object]) -> None:
    """What a long run has kept serves a short one; what a short one has kept is not for a long one."""
    bench, step = Bench.load("first_light"), AccessStep(True, 0x4000_0000, 1)
    short, long = bench.system([step]), bench.system([step] * llvm_kernel._MANY)
    replay(short, LlvmEngine, 2)
    built.clear()
    replay(long, LlvmEngine, 2)
    assert built
    built.clear()
    for system in (short, long):
        replay(system, LlvmEngine, 2)
    assert not built
