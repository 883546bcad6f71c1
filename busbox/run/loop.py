"""The one loop that drives any engine: steps in, calls of models in between, a recording out."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial

from busbox.basics.errors import InputError
from busbox.basics.hook_limit import limited_hooks
from busbox.basics.hooks import is_added
from busbox.cpu.player import AHEAD, Player
from busbox.device import Answer, BusAccess, LiveDevice
from busbox.engines import LOG, Engine, EngineFactory, Stop
from busbox.recording import Recording
from busbox.run.connections import Connections
from busbox.run.core_player import CorePlayer
from busbox.run.deliveries import Deliveries
from busbox.run.guard import GuardedHost, GuardedModel, built_by_hooks
from busbox.run.hardware_host import HardwareHost
from busbox.run.host import DeviceHost
from busbox.run.ledger import Ledger
from busbox.run.live import Live, looked
from busbox.run.pins import RunPins
from busbox.run.taking import Taking, some
from busbox.system.system import System

#: Accesses in the engine's log after which they are put away.
AT_HAND = AHEAD
#: Cycles between two reports of progress, or looks at a terminal.
PROGRESS_CYCLES = 8192
FOREVER = 1 << 62

#: Called occasionally with the cycle and the share of the steps completed (None if unknown).
Progress = Callable[[int, float | None], None]
#: Called before each cycle with the cycle and the devices in the order of the bench.
Observe = Callable[[int, Sequence[LiveDevice]], None]


class Replay:
    """One run of a system on an engine."""

    def __init__(self, system: System, factory: EngineFactory, live: Live | None = None) -> None:
        if any(system.devices[wire.from_device].model.in_amaranth for wire in system.wires):
            from busbox.engines.paths import check_wires

            check_wires(system)
        self._system = system
        self._hosts: list[DeviceHost] = []
        self._deliveries = Deliveries(system, lambda: self._engine, self._hosts)
        self._hosts += [
            (GuardedHost if is_added(device.model) else DeviceHost)(
                device, system.clock_hz, self._deliveries.waker(number), self._cacheable_until
            )
            for number, device in enumerate(system.devices)
        ]
        self._observers: dict[int, HardwareHost] = {}
        self._models = [self._device(number) for number in range(len(self._hosts))]
        self._accesses = [model.access for model in self._models]
        self._engine = self._built(factory)
        self._deliveries.begun = True
        self._connections = Connections(system, self._hosts, self._models, self._engine)
        self._watched = self._connections.watched
        ledger = Ledger(system)
        pins = RunPins(system, self._connections, self._engine)
        self._player: Player | CorePlayer = (
            Player(system.new_source, self._engine, ledger, pins, system.hang_after)
            if system.core is None
            else CorePlayer(self._engine, pins, system.core)
        )
        self.taking = Taking(system, self._engine, ledger, self._models, self._hosts)
        self._rest_at: int | None = 0
        self._busy_until = 0
        self._live = live
        if live is not None:
            live.connect(system, self._hosts, self._models)

    def _device(self, number: int) -> LiveDevice:
        """Return the device of a slot: its model, or what stands for the hardware."""
        device, host = self._system.devices[number], self._hosts[number]
        if not device.model.in_amaranth:
            if is_added(device.model):
                make = partial(device.model, host, **device.settings)
                return GuardedModel(make, device.model, f"slot.{host.name}")
            model: LiveDevice = device.model(host, **device.settings)
            return model
        self._observers[number] = HardwareHost(number, device, host, lambda: self._engine)
        return self._observers[number]

    def _built(self, factory: EngineFactory) -> Engine:
        slots = some([self._hosts[number].name for number in self._observers])
        with built_by_hooks(f"the hardware of {slots}"):
            return factory(self._system, self._answer, self._observers)

    def _cacheable_until(self, until: int | None) -> None:
        self._engine.cacheable_until(until)

    def _answer(self, slot: int, access: BusAccess) -> Answer:
        answer = self._accesses[slot](access)
        if slot in self._watched:
            change = self._connections.next_change(slot, access.cycle)
            if change is not None:
                self._engine.lower(change)
        return answer

    def run(
        self,
        until: int | None = None,
        progress: Progress | None = None,
        observe: Observe | None = None,
    ) -> Recording:
        """Run to the end (semantics page, rules 19 to 21) and return the recording."""
        last, ended = self.play(FOREVER if until is None else until, progress, observe)
        if self._live is not None:
            self._live.show(last + 1)
        self.taking.close(last)
        return self.taking.recording(last, ended, self._player, self._deliveries)

    def play(
        self, until: int, progress: Progress | None = None, observe: Observe | None = None
    ) -> tuple[int, str]:
        """Run the cycles; return the last one, and how the run ended."""
        if progress is not None or self._live is not None:
            self._engine.stretch = PROGRESS_CYCLES
        try:
            return self._play(until, progress, observe)
        finally:
            self._player.close()

    # The loop.

    def _play(
        self, until: int, progress: Progress | None, observe: Observe | None
    ) -> tuple[int, str]:
        engine, player = self._engine, self._player
        player.begin()
        stop = Stop.LIMIT
        while True:
            cycle = engine.cycle
            if cycle >= FOREVER:
                raise InputError.of(f"a run must be shorter than {FOREVER:,} cycles")
            if cycle >= until:
                return until - 1, "until"
            if len(engine.log) > AT_HAND * len(LOG):
                self.taking.put_away(cycle)
            until = looked(self._live, cycle, until, self._deliveries.add)
            self._deliveries.deliver(cycle, self._models, self._connections)
            player.sense()
            while stop is Stop.STARVED:
                player.go_on()
                stop = engine.run(cycle, idle=player.waits)
            if cycle == until - 1 or stop is Stop.LAST:
                self.taking.look(cycle)
            self._reset(cycle)
            ended = self._over(cycle)
            if ended:
                self.taking.look(cycle)
                engine.run(cycle + 1, idle=True)
                return cycle, ended
            called = player.call_handler()
            player.look()
            limit = self._limit(cycle, until, ahead=observe is None)
            if progress is not None:
                progress(cycle, self._share())
            if observe is not None:
                observe(cycle, self._models)
                limit = min(limit, cycle + 1)
            rest = self._rest_at is None
            stop = engine.run(limit, called=called, rest=rest, idle=player.waits)
            if stop is Stop.HANG:
                self._hung()
                return engine.cycle - 1, "hang"

    def _share(self) -> float | None:
        """Return how much of the traffic is over, where its length is known."""
        steps = self._player.source.count
        return min(1.0, self.taking.last_step / steps) if steps else None

    def _limit(self, cycle: int, until: int, ahead: bool) -> int:
        """Return the cycle at which the engine must stop for the loop.

        ``ahead``: models may be asked about later cycles, since nothing reads them in between.
        """
        player, none_left = self._player, self._player.none_left_from
        cycles = [until if cycle == until - 1 else until - 1]
        cycles += [
            one
            for one in (self._deliveries.next, self._connections.next_change_of_all(cycle))
            if one is not None
        ]
        if self._live is not None:
            cycles.append(self._live.next)
        if player.looks_until is not None:
            cycles.append(max(player.looks_until, cycle + 1))
        if none_left is not None and not player.handling:
            cycles.append(max(none_left - 1 + self._system.settle, cycle + 1))
            if self._rest_at is not None:
                rest = max(self._rest_at, cycle + 1, none_left)
                if ahead and cycle >= none_left and not self._observers:
                    rest = self._ask_on(rest, min(*cycles, cycle + PROGRESS_CYCLES))
                cycles.append(rest)
        return min(cycles)

    def _ask_on(self, cycle: int, limit: int) -> int:
        """Return the next cycle in which every model may be at rest, or ``limit``.

        Up to ``limit`` nothing reaches the models, so that a model that cannot say when it will be at
        rest is asked cycle by cycle here, and the loop need not turn for it.
        """
        ask = [model.rest_at for model in self._models]
        while cycle < limit:
            rest = max([rest_at(cycle) for rest_at in ask], default=cycle)
            if rest <= cycle:
                break
            cycle = rest
            if self._deliveries.next is not None:
                limit = min(limit, self._deliveries.next)
        self._busy_until = min(cycle, limit)
        return self._busy_until

    def _reset(self, cycle: int) -> None:
        """Put RST high, if the board or a step wants it in this cycle."""
        resets, player = self._deliveries.resets, self._player
        if resets and resets[0].at == cycle:
            length = resets.popleft().length
            self._deliveries.reset(cycle, length, self._models)
            player.reset_by_board(length, self._system.after_reset == "restart")
        elif player.reset_is_due:
            self._deliveries.reset(cycle, 1, self._models)
            player.reset_by_step()

    def _over(self, cycle: int) -> str:
        """Return how the run ends with a cycle, or "" if it goes on."""
        self._rest_at = 0
        ended = "" if self._player.none_left_from is None else self._at_rest(cycle)
        return "hang" if ended != "done" and self._player.storm_ends() else ended

    def _wakes_at(self, cycle: int) -> int | None:
        """Return the first later cycle in which a core that sleeps may wake, None if it cannot.

        What hardware does to its lines is not known before; it is waited for as for a busy device.
        """
        player = self._player
        if not player.wakeable:
            return None
        if self._live is not None and self._live.waited_for:
            return self._live.next
        if player.hardware_lines:
            return (player.none_left_from or 0) - 1 + self._system.settle
        changes = (self._deliveries.next, self._connections.next_change_of_all(cycle))
        return min((one for one in changes if one is not None), default=None)

    def _at_rest(self, cycle: int) -> str:
        """Return how a run without a step left ends with a cycle, or "" if it goes on.

        Notes in ``_rest_at`` when the models are at rest; None: the engine is to look for the hardware.
        """
        player, none_left = self._player, self._player.none_left_from or 0
        if cycle < none_left or self._player.handling:
            return ""
        wakes_at = self._wakes_at(cycle)
        if wakes_at is not None and wakes_at > cycle:
            self._rest_at = wakes_at
            return ""
        if cycle < self._busy_until:
            self._rest_at = self._busy_until
            return ""
        rests = [(model.rest_at(cycle), model.in_amaranth) for model in self._models]
        self._rest_at = max((at for at, hardware in rests if not hardware), default=cycle)
        if any(at > cycle for at, hardware in rests if hardware):
            self._rest_at = None
        elif player.stops or self._rest_at <= cycle:
            return "done"
        if cycle < none_left - 1 + self._system.settle:
            return ""
        busy = [at > cycle for at, _ in rests]
        self.taking.busy = [host.name for host, one in zip(self._hosts, busy, strict=True) if one]
        return "settle"

    def _hung(self) -> None:
        """Note since when the access could no longer be answered, if that is certain."""
        change = self._connections.next_change_of_all(self._engine.cycle)
        if self._deliveries.next is None and change is None:
            self.taking.quiet_since = self._engine.status.quiet_since


def replay(
    system: System,
    factory: EngineFactory,
    until: int | None = None,
    progress: Progress | None = None,
    observe: Observe | None = None,
    live: Live | None = None,
) -> Recording:
    """Run a system on an engine and return its recording, findings included.

    Parameters
    ----------
    until : run the cycles 0 to until - 1 at most
    progress : called occasionally with the cycle and the share of the steps completed
    observe : called before each cycle is run, with the cycle and the devices; this slows runs down
    live : a terminal at a serial port

    Raises
    ------
    InputError : a step that cannot be played
    """
    with limited_hooks():
        return Replay(system, factory, live).run(until, progress, observe)
