"""From a design to its program: the one way in."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

from amaranth.back import rtlil
from amaranth.hdl import CombinationalCycle, Fragment, Signal, Value

from busbox.engines.netlist.errors import NetlistError
from busbox.engines.netlist.facts import check_domains, memory_facts
from busbox.engines.netlist.flatten import flatten
from busbox.engines.netlist.lower import lower
from busbox.engines.netlist.program import Program
from busbox.engines.netlist.text import read


def build(design: Any, ports: Mapping[str, Any]) -> Program:
    """Return the program of a design: see the contract of :mod:`busbox.engines.netlist`.

    Parameters
    ----------
    design : an Elaboratable or Fragment; it is elaborated once
    ports : the inputs and outputs of the top by name, the clock and the reset among them

    Raises
    ------
    NetlistError : the design has something that is not run
    """
    fragment = Fragment.get(design, None)
    signals: dict[str, Signal] = {}
    for name, port in ports.items():
        signal = Value.cast(port)
        if not isinstance(signal, Signal):
            raise NetlistError(f"a port must be a Signal, not {type(port).__name__}", f"top.{name}")
        signals[name] = signal
    facts = memory_facts(fragment)
    try:
        text = rtlil.convert(
            fragment,
            ports={name: (signal, None) for name, signal in signals.items()},
            emit_src=False,
        )
    except CombinationalCycle as error:
        raise NetlistError(f"signals must not go round in a loop: {_path(error)}", "top") from error
    program = lower(flatten(read(text)), facts, signals)
    check_domains(fragment, None if program.clock is None else signals[program.clock])
    return program


def _path(error: CombinationalCycle) -> str:
    """Return the bits of signals that form a loop, as Amaranth reports them."""
    found = re.findall(r"signal (\S+) bit (\d+)", str(error))
    return ", ".join(sorted(f"{name}[{bit}]" for name, bit in found))
