"""A design on Amaranth's simulator: built for a run, or kept from a run that is over."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Callable, Hashable
from typing import Any

from amaranth.hdl import Cat, Module, Signal
from amaranth.sim import Simulator

from busbox.bus.design import Design
from busbox.bus.identity import design_key, hardware_of
from busbox.engines.paths import check_hardware
from busbox.system.system import System

#: The signals of a port that a rule checker looks at, in the order of the word ``watched``.
PORT_FIELDS = ("cyc", "stb", "we", "sel", "ack", "err", "write_data", "read_data", "adr")


class Simulation:
    """A design on Amaranth's simulator, in the state before cycle 0 once :meth:`start` has been called.

    Attributes
    ----------
    key : what it was built from
    design : what is simulated
    context : of its one test bench, which gets and sets signals
    half_tick : goes on to the next edge of the clock
    watched : RST, the watchdog's cut, then :data:`PORT_FIELDS` of every port, lowest bit first; a
        signal of its own, since the simulator reads that at once; None if nobody watches
    """

    def __init__(self, system: System, watch: bool, key: Hashable = None) -> None:
        self.key = key
        slots = [device.slot for device in system.devices]
        self.design = design = Design(slots, system.fabric, hardware_of(system))
        self.watched: Signal | None = None
        m = Module()
        m.submodules.design = design
        if watch:
            signals = [getattr(port, field) for _, port in design.ports for field in PORT_FIELDS]
            word = Cat(design.rst, design.fabric.cut, *signals)
            self.watched = Signal(len(word))
            m.d.comb += self.watched.eq(word)
        self._simulator = Simulator(m)
        self._simulator.add_clock(1e-6)  # the length of a cycle means nothing here
        self._simulator.add_testbench(self._open)
        self._started = False
        self.half_tick: Callable[[], object] = self._simulator.advance

    async def _open(self, context: Any) -> None:
        self.context = context
        context.set(self.design.rst, 1)

    def start(self) -> None:
        """Go to the state before cycle 0, whatever has been run.

        The simulator then stands between the rising edge that began cycle 0 (with RST high) and the
        falling one. So it stands in every cycle: what is set there settles long before the next rising
        edge, the second half of a tick.
        """
        if self._started:
            self._simulator.reset()
        self._started = True
        self._simulator.advance()
        self._simulator.advance()
        self.context.set(self.design.rst, 0)


class KeptSimulations:
    """Keeps the simulators of runs that are over, for other runs of the same design.

    A simulator serves one run at a time: it is kept from the moment it is given back, and no longer
    than until it is taken.

    Parameters
    ----------
    most : how many are kept; the one that has waited longest makes room
    """

    def __init__(self, most: int = 32) -> None:
        self._most = most
        self._kept: OrderedDict[Hashable, Simulation] = OrderedDict()

    def take(self, system: System, watch: bool) -> Simulation:
        """Return a simulator of the system's design, in any state.

        Raises
        ------
        NetlistError : a device in hardware cannot be run unchanged (:mod:`busbox.engines.paths`)
        """
        key = (design_key(system), watch)
        kept = self._kept.pop(key, None)
        if kept is None:
            check_hardware(system)
            kept = Simulation(system, watch, key)
        return kept

    def give_back(self, simulated: Simulation) -> None:
        """Keep a simulator that no run needs any more."""
        self._kept.pop(simulated.key, None)  # threads may share this: no key is looked up twice
        self._kept[simulated.key] = simulated
        if len(self._kept) > self._most:
            self._kept.popitem(last=False)
