"""Random designs: the same on Amaranth's simulator and on every machine."""

from __future__ import annotations

import pytest

from busbox.engines.netlist import PythonMachine, build
from tests.engines.netlist.designs import RandomDesign
from tests.engines.netlist.running import drive, random_inputs, simulate

#: Designs of the ordinary run, in batches.
BATCHES = range(10)
IN_A_BATCH = 12


def agree(seed: int, rows: int = 14) -> None:
    """Run one design everywhere and compare outputs, changes and memories."""
    design = RandomDesign(seed)
    outputs = [name for name in design.ports if name.startswith("out")]
    inputs = [one.name for one in design.inputs]
    stimuli = random_inputs([len(one) for one in design.inputs], rows, seed)
    program = build(design, design.ports)
    expected, words = simulate(
        design, design.domain.clk, design.inputs, design.outputs, stimuli, design.memories
    )
    machine = PythonMachine(program)
    trace, _ = drive(machine, inputs, outputs, stimuli)
    assert trace == expected, seed
    for name, memory in words.items():
        assert [machine.peek_memory(name, at) for at in range(len(memory))] == memory, (seed, name)


@pytest.mark.parametrize("batch", BATCHES)
def test_a_random_design_runs_as_in_the_simulator(batch: int) -> None:
    """Outputs after each settle and edge, and memories at the end, are those of the simulator."""
    for seed in range(batch * IN_A_BATCH, (batch + 1) * IN_A_BATCH):
        agree(seed)
