"""Modules read and built alone, without a bus; and what the front end itself says of them."""

from __future__ import annotations

import re
import subprocess
import sys
from collections.abc import Iterable, Mapping, Sequence
from importlib.util import find_spec
from pathlib import Path

import pytest
from amaranth.hdl import Elaboratable, Module, Signal
from amaranth.sim import Simulator

from busbox.verilog.front_end import MODULE
from busbox.verilog.netlist import Netlist
from busbox.verilog.source import Source
from busbox.verilog.statements import Storage, build

#: Tests that need the front end are skipped where it is not installed.
needs_front_end = pytest.mark.skipif(find_spec(MODULE) is None, reason=f"{MODULE} is missing")


def module_of(folder: Path, text: str, reset: str = "") -> Netlist:
    """Return a module as Busbox reads it."""
    (folder / "module.v").write_text(text, encoding="utf-8")
    return Source(folder, ("module.v",)).reduced({}, reset, False)[0]


class Alone(Elaboratable):
    """A module without a bus: ``inputs`` and ``outputs`` by their names."""

    def __init__(self, netlist: Netlist, undefined: int) -> None:
        self._netlist, self._undefined = netlist, undefined
        ports = netlist.ports.values()
        self.inputs = {one.name: Signal(one.width) for one in ports if one.direction == "input"}
        self.outputs = {one.name: Signal(one.width) for one in ports if one.direction == "output"}

    def elaborate(self, platform: object) -> Module:
        m = Module()
        storage = Storage(m, self._netlist, {}, self._undefined)
        found = build(m, self._netlist, storage, self.inputs)
        m.d.comb += [self.outputs[name].eq(value) for name, value in found.items()]
        return m


def computed(
    netlist: Netlist, undefined: int, vectors: Sequence[Mapping[str, int]], output: str = "y"
) -> list[int]:
    """Return what an output of a module without registers shows for each set of inputs."""
    module, found = Alone(netlist, undefined), []

    async def ask(context: object) -> None:
        for values in vectors:
            for name, value in values.items():
                context.set(module.inputs[name], value)  # type: ignore[attr-defined]
            await context.delay(1e-6)  # type: ignore[attr-defined]
            found.append(context.get(module.outputs[output]))  # type: ignore[attr-defined]

    simulator = Simulator(module)
    simulator.add_testbench(ask)
    simulator.run()
    return found


def evaluated(
    folder: Path, top: str, vectors: Iterable[Mapping[str, int]], widths: Mapping[str, int],
    output: str = "y",
) -> list[str]:  # fmt: skip
    """Return the bits of an output as the front end evaluates it, x where it says so."""
    lines = [f"read_verilog module.v\nhierarchy -top {top}\nproc\nflatten"]
    for values in vectors:
        given = " ".join(f"-set {key} {widths[key]}'d{value}" for key, value in values.items())
        lines.append(f"tee -q -a said.txt eval {given} -show {output}")
    code = f"import sys, {MODULE}; sys.exit({MODULE}.run_yosys(sys.argv[1:]))"
    subprocess.run(
        [sys.executable, "-c", code, "-q", "-"], input="\n".join(lines), cwd=folder, check=True,
        capture_output=True, encoding="utf-8",
    )  # fmt: skip
    said = (folder / "said.txt").read_text(encoding="utf-8")
    return re.findall(rf"Eval result: \\{output} = \d+'([01xz]+)\.", said)
