"""Machine code of very large designs: functions in pieces, modules that are compiled one by one."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

import pytest

pytest.importorskip("llvmlite")

from busbox import load_bench
from busbox.basics.cache import OFF, VARIABLE
from busbox.engines import llvm_loop
from busbox.engines.netlist import build, llvm_pieces, llvm_text, native
from busbox.engines.netlist.llvm_machine import LlvmMachine
from busbox.engines.netlist.llvm_pieces import APART
from tests.engines.netlist.apart import Apart
from tests.engines.netlist.designs import RandomDesign
from tests.engines.netlist.test_random_designs import CYCLES
from tests.engines.netlist.test_random_designs import agree as random_designs_agree
from tests.engines.test_engines_agree import agree, reference
from tests.models.test_twins import BENCHES, as_hardware

DESIGNS = 6


@contextmanager
def small_pieces(nodes: int) -> Iterator[pytest.MonkeyPatch]:
    """Have every function in pieces of so many nodes, and nothing kept on disk."""
    with pytest.MonkeyPatch.context() as monkeypatch:
        monkeypatch.setenv(VARIABLE, OFF)
        for name, value in {"WHOLE": -1, "REGISTERS": max(3, nodes // 4), "MEMORIES": 1}.items():
            monkeypatch.setattr(llvm_text, name, value)
        monkeypatch.setattr(llvm_pieces, "PIECE", nodes)
        for name, value in {"RECORDS": 1, "INLINE": 0}.items():
            monkeypatch.setattr(llvm_loop, name, value)
        yield monkeypatch


def designs_in_pieces(first: int, count: int) -> tuple[int, int]:
    """Compare random designs in pieces; return the comparisons, and the modules of the last design."""
    with small_pieces(12):
        design = RandomDesign(first + count - 1)
        modules = LlvmMachine(build(design, design.ports)).text.count(APART) + 1
        return random_designs_agree(first, count), modules


def test_random_designs_in_pieces_run_as_in_the_simulator(apart: Apart) -> None:
    """Cut anywhere, between any two nodes, registers or memories, a design does what it did."""
    compared, modules = apart(designs_in_pieces, 500, DESIGNS)
    assert compared >= DESIGNS * (2 * CYCLES + 1)
    assert modules > 5


@pytest.fixture
def apart() -> Iterator[Apart]:
    """Work in another process."""
    found = Apart()
    yield found
    found.close()


def test_a_bench_in_pieces_is_recorded_alike(built_afresh: None) -> None:
    """All devices in hardware, with each function of their design in pieces: every fact is the same."""
    slots = BENCHES["first_light"]
    with small_pieces(60) as monkeypatch:
        texts: list[str] = []
        real = native.compiled

        def counted(text: str, level: int) -> bytes:
            texts.append(text)
            return real(text, level)

        monkeypatch.setattr(native, "compiled", counted)
        recording = load_bench("first_light").with_values(as_hardware(*slots)).run("llvm")
    assert len(texts) > 20
    agree(reference("first_light", slots), recording)
