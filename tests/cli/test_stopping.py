"""Ctrl-C while machine code runs or is made: it is left, and code is made, in steps that are short."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from tests.cli.saying import plain_environment
from tests.core import assembler as asm

pytestmark = pytest.mark.skipif(os.name == "nt", reason="signals are sent otherwise there")

#: Says on standard error when machine code begins, and how much processor time passes after SIGINT.
PROGRAM = """
import signal, sys, time
from busbox.engines import llvm_kernel, netlist_engine
from busbox.engines.netlist import native
def marked(function):
    def call(*args, **options):
        print("begins", file=sys.stderr, flush=True)
        return function(*args, **options)
    return call
{patch}
from busbox.cli import main
main()
"""
RUNS = "netlist_engine.NetlistEngine.run = marked(netlist_engine.NetlistEngine.run)"
COMPILES = "llvm_kernel.object_of = marked(native.object_of)"
COMPUTING = """
clock = "16 MHz"
[slot.levers]
model = "gpio"
base = 0x40000000
size = 0x1000
[traffic]
file = "loop.bin"
at = 0
[core]
isa = "rv32im"
memory = [{ at = 0, size = 0x400, clocks = 0 }]
"""


def processor_time(patch: str, folder: Path, *words: str) -> float:
    """Send SIGINT when machine code begins; return the seconds of processor time up to the end."""
    import resource

    with subprocess.Popen(
        [sys.executable, "-c", PROGRAM.format(patch=patch), "run", str(folder), *words],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        encoding="utf-8",
        env=plain_environment() | {"BUSBOX_CACHE": "off"},
    ) as run:
        try:
            assert run.stderr is not None
            while run.stderr.readline() != "begins\n":
                pass
            ticks = Path(f"/proc/{run.pid}/stat").read_text(encoding="utf-8").rsplit(")", 1)[1]
            before = sum(map(int, ticks.split()[11:13])) / os.sysconf("SC_CLK_TCK")
            children = resource.getrusage(resource.RUSAGE_CHILDREN)
            run.send_signal(signal.SIGINT)
            run.communicate(timeout=60)
        finally:
            run.kill()
    assert run.returncode == 130
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    spent = after.ru_utime + after.ru_stime - children.ru_utime - children.ru_stime
    return spent - before


needs_proc = pytest.mark.skipif(
    not Path("/proc/self/stat").exists(), reason="processor time of a process is read there"
)


@needs_proc
@pytest.mark.parametrize("instructions", [0, 9000])
def test_ctrl_c_ends_a_core_that_computes_for_ever(instructions: int, tmp_path: Path) -> None:
    """A program without an access, or with one in thousands of cycles, is left within a second."""
    pytest.importorskip("llvmlite")
    code = [*asm.li(6, 0x4000_0000), *asm.li(5, instructions)]
    loop = [asm.addi(5, 5, -1), asm.bne(5, 0, -4), asm.sw(5, 6, 0)]
    code += loop if instructions else [asm.addi(11, 11, 3)]
    back = -4 * len(loop) - 4 * len(asm.li(5, instructions)) if instructions else -4
    code.append(asm.jal(0, back))
    (tmp_path / "loop.bin").write_bytes(b"".join(one.to_bytes(4, "little") for one in code))
    (tmp_path / "bench.toml").write_text(COMPUTING, encoding="utf-8")
    assert processor_time(RUNS, tmp_path, "--engine", "llvm", "--until", "1000 s") < 1


@needs_proc
def test_ctrl_c_ends_the_making_of_machine_code(tmp_path: Path) -> None:
    """While the code of many slots of hardware is made, the process ends within a second."""
    pytest.importorskip("llvmlite")
    slots = "".join(
        f'[slot.row_{number}]\nmodel = "gpio"\nbase = {number * 0x1000}\nsize = 0x1000\nwidth = 1\n'
        'as = "hardware"\n'
        for number in range(25)
    )
    text = f'clock = "16 MHz"\n{slots}[traffic]\nfile = "row.steps"\n'
    (tmp_path / "bench.toml").write_text(text, encoding="utf-8")
    (tmp_path / "row.steps").write_text("write 0 1\n", encoding="utf-8")
    assert processor_time(COMPILES, tmp_path, "--engine", "llvm") < 1
