"""Machine code that is kept on disk: of the same text only, and a run that uses it is the same run."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

pytest.importorskip("llvmlite")

import llvmlite.binding as llvm

from busbox.basics.cache import VARIABLE
from busbox.bench.bench import Bench
from busbox.engines import llvm_kernel
from busbox.engines.llvm_kernel import LlvmEngine
from busbox.engines.netlist import native
from busbox.engines.netlist.native import compile_ir

TEXT = "define i64 @seven() {\n  ret i64 7\n}\n"


@pytest.fixture
def compiled(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Keep code in a folder of its own; return the texts that were compiled."""
    monkeypatch.setenv(VARIABLE, str(tmp_path / "kept"))
    texts: list[str] = []
    real = native.object_of

    def counted(text: str, *more: Any) -> bytes:
        texts.append(text)
        return real(text, *more)

    monkeypatch.setattr(native, "object_of", counted)
    monkeypatch.setattr(llvm_kernel, "object_of", counted)
    return texts


def test_the_same_text_is_compiled_once(compiled: list[str]) -> None:
    """Another text, or another level, is another key."""
    for _ in range(2):
        compile_ir(TEXT)
    compile_ir(TEXT.replace("7", "8"))
    compile_ir(TEXT, 0)
    assert compiled == [TEXT, TEXT.replace("7", "8"), TEXT]


@pytest.mark.parametrize("what", ["get_host_cpu_name", "llvm_version_info", "version"])
def test_another_processor_or_version_is_another_key(
    what: str, compiled: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Code for another processor, of another LLVM or another llvmlite is not used."""
    compile_ir(TEXT)
    before = native.made_by(2)
    if what == "version":
        monkeypatch.setattr(native.llvmlite, "__version__", "0")
    elif what == "llvm_version_info":
        monkeypatch.setattr(llvm, what, (0, 0, 0))
    else:
        monkeypatch.setattr(llvm, what, lambda: "another")
    assert native.made_by(2) != before


def test_a_run_with_kept_code_is_the_same_run(compiled: list[str]) -> None:
    """The first run compiles, the second does not; every fact is equal."""
    bench = Bench.load("first_light").with_values({"slot.lamps.as": "hardware"})
    first = bench.run(LlvmEngine)  # not one whose designs the tests share
    count = len(compiled)
    assert count
    assert bench.run(LlvmEngine) == first
    moved = bench.with_values({"slot.levers.wait": 5})
    again = moved.run(LlvmEngine)
    assert len(compiled) == count
    assert again.accesses.end.tolist() == moved.run("python").accesses.end.tolist()
