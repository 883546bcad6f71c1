"""Random designs: the same on Amaranth's simulator and on both machines."""

from __future__ import annotations

import importlib.util

import pytest

from busbox.engines.netlist import PythonMachine, build
from tests.engines.netlist.apart import Apart
from tests.engines.netlist.designs import RandomDesign
from tests.engines.netlist.running import Machine, Trace, drive, random_inputs, simulate

#: Designs of the ordinary run, in batches, and of the long one.
BATCHES, IN_A_BATCH = range(10), 10
LONG_BATCHES, IN_A_LONG_BATCH = range(100, 130), 100
CYCLES = 14


def agree(first: int, count: int) -> int:
    """Run designs everywhere; compare outputs and memories, and what the edges say of changes."""
    compared = 0
    for seed in range(first, first + count):
        design = RandomDesign(seed)
        outputs = [name for name in design.ports if name.startswith("out")]
        inputs = [one.name for one in design.inputs]
        stimuli = random_inputs([len(one) for one in design.inputs], CYCLES, seed)
        program = build(design, design.ports)
        expected, words = simulate(
            design, design.domain.clk, design.inputs, design.outputs, stimuli, design.memories
        )
        machines: list[Machine] = [PythonMachine(program)]
        if importlib.util.find_spec("llvmlite"):
            from busbox.engines.netlist.llvm_machine import LlvmMachine

            machines.append(LlvmMachine(program))
        changes = []
        for machine in machines:
            place = f"seed {seed}, {type(machine).__name__}"
            trace, changed = drive(machine, inputs, outputs, stimuli)
            assert trace == expected, f"{place}: {difference(trace, expected, outputs)}"
            for name, memory in words.items():
                found = [machine.peek_memory(name, at) for at in range(len(memory))]
                assert found == memory, f"{place}: {name}"
            changes.append(changed)
            compared += len(trace)
        assert changes[0] == changes[-1], f"seed {seed}: changes"
    return compared


def difference(trace: Trace, expected: Trace, outputs: list[str]) -> str:
    """Return the first difference of two traces."""
    for moment, (one, other) in enumerate(zip(trace, expected, strict=True)):
        for name, got, must in zip(outputs, one, other, strict=True):
            if got != must:
                return f"moment {moment}, {name} is {got:#x}, not {must:#x}"
    return "none"


@pytest.mark.parametrize("batch", BATCHES)
def test_a_random_design_runs_as_in_the_simulator(batch: int, apart: Apart) -> None:
    """Outputs after each settle and edge, and memories at the end, are those of the simulator."""
    assert apart(agree, batch * IN_A_BATCH, IN_A_BATCH) >= IN_A_BATCH * (2 * CYCLES + 1)


@pytest.mark.long
@pytest.mark.parametrize("batch", LONG_BATCHES)
def test_many_random_designs_run_as_in_the_simulator(batch: int, apart: Apart) -> None:
    """The same, for thousands of designs."""
    assert apart(agree, batch * IN_A_LONG_BATCH, IN_A_LONG_BATCH) >= IN_A_LONG_BATCH * CYCLES


def test_the_random_designs_have_what_they_should() -> None:
    """Among the designs are wide ones, hierarchies, memories of odd depth and registers not at 0."""
    designs = [RandomDesign(seed) for seed in range(14)]
    programs = [build(one, one.ports) for one in designs]
    assert any(len(one) > 128 for design in designs for one in design.inputs)
    assert any(name.count(".") > 1 for design in designs for name in design.memories)
    assert any(memory.depth in (3, 5, 7) for one in programs for memory in one.memories)
    assert any(len(memory.writes) > 1 for one in programs for memory in one.memories)
    assert any(register.init for one in programs for register in one.registers)
