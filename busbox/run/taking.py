"""What a run leaves behind: facts stored while it goes on, and the recording made of them."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from busbox.basics.growing import Column
from busbox.basics.units import show_time
from busbox.core.core import Core
from busbox.cpu.player import Player
from busbox.cpu.source import Routine
from busbox.cpu.steps import Await
from busbox.device import LiveDevice
from busbox.engines import LOG, Engine
from busbox.recording import (
    COLUMNS,
    Accesses,
    AwaitGivenUp,
    CoreFacts,
    HandlerStorm,
    IntColumn,
    PollGivenUp,
    PortBreach,
    Recording,
    SlotInfo,
)
from busbox.run.core_player import CorePlayer
from busbox.run.deliveries import Deliveries
from busbox.run.host import DeviceHost
from busbox.run.ledger import FACTS, Ledger
from busbox.system.system import System


class Taking:
    """Takes what a run leaves.

    Attributes
    ----------
    columns : of the accesses that are over
    registers : slot to register to value, as last read
    polls_given_up : those that reached their limit
    quiet_since : the cycle since which an access that hangs could not be answered any more, if the
        engine has proved that, and nothing more was to come
    last_step : the number of the step after the last access that was put away
    busy : slots whose devices were still busy where ``settle`` ended the run
    """

    def __init__(
        self,
        system: System,
        engine: Engine,
        ledger: Ledger,
        models: Sequence[LiveDevice],
        hosts: Sequence[DeviceHost],
    ) -> None:
        self._system, self._engine, self._ledger = system, engine, ledger
        self._models, self._hosts = models, hosts
        self._names = [device.name for device in system.devices]
        self.columns = {name: Column(kind) for name, kind in COLUMNS.items()}
        self.registers: dict[str, dict[str, int]] = {}
        self._asked = _asked(system)
        self.polls_given_up: list[PollGivenUp] = []
        self.quiet_since: int | None = None
        self.last_step = 0
        self.busy: list[str] = []

    def look(self, cycle: int) -> None:
        """Take the registers as of a cycle, before an access ends in it."""
        for model, host in zip(self._models, self._hosts, strict=True):
            model.advance(cycle)
            words = model.registers()
            for name, offset in self._asked.get(host.name, ()):
                if name not in words and hasattr(getattr(model, "model", model), "peek"):
                    words[name] = model.peek(offset)
            self.registers[host.name] = words

    def put_away(self, cycle: int) -> None:
        """Move what was recorded before a cycle into columns: no run is held in memory."""
        first = len(self.columns["end"])
        log = np.array(self._engine.log, dtype="i8").reshape(-1, len(LOG))
        columns: dict[str, IntColumn] = {name: log[:, place] for place, name in enumerate(LOG)}
        commands, given_up = columns.pop("command"), columns.pop("given_up")
        facts = self._facts(commands, first)
        columns |= {name: facts[:, place] for place, name in enumerate(FACTS)}
        columns["slot"] = self._slots(columns["address"])
        for name, column in self.columns.items():
            column.extend(columns[name])
        places = np.flatnonzero(given_up)
        self.polls_given_up += self._ledger.given_up(commands[places], first + places)
        self.last_step = int(columns["step"][-1]) + 1 if len(log) else self.last_step
        del self._engine.log[:]
        for host in self._hosts:
            host.settle(cycle)

    def _facts(self, commands: IntColumn, first: int) -> IntColumn:
        """Return what is known of commands; those of a core are their instruction's address."""
        if self._system.core is None:
            return self._ledger.facts()[commands]
        facts = np.full((len(commands), len(FACTS)), -1, dtype="i8")
        facts[:, FACTS.index("step")] = np.arange(first, first + len(commands))
        facts[:, FACTS.index("pc")] = -2 - commands
        return facts

    def _slots(self, addresses: IntColumn) -> IntColumn:
        unique, where = np.unique(addresses, return_inverse=True)
        found = [self._system.address_map.decode(int(address)).slot for address in unique]
        numbers = [-1 if slot is None else self._names.index(slot.name) for slot in found]
        slots: IntColumn = np.array(numbers, dtype="i2")[where]
        return slots

    def close(self, last: int) -> None:
        """Take what is left, after the last cycle has been run."""
        self._engine.finish()
        for model, host in zip(self._models, self._hosts, strict=True):
            model.close(last)
            host.forget_after(last)
        self.put_away(last)

    def recording(
        self, last: int, ended: str, player: Player | CorePlayer, deliveries: Deliveries
    ) -> Recording:
        """Return all facts of a run, not yet judged."""
        system = self._system
        events = [event for host in self._hosts for event in host.events]
        return Recording(
            bench=system.name,
            engine=self._engine.name,
            traffic=Path(system.traffic).name,
            clock_hz=system.clock_hz,
            cycles=last + 1,
            ended=ended,
            traffic_kind=_kind(player),
            accesses=Accesses({name: one.array() for name, one in self.columns.items()}),
            slots=tuple(self._slot_facts()),
            lines={name: line for host in self._hosts for name, line in host.lines()},
            characters={
                device.name: host.text()
                for device, host in zip(system.devices, self._hosts, strict=True)
                if "text" in device.model.sends
            },
            events=tuple(sorted(events, key=lambda event: event.cycle)),
            registers=self.registers,
            marks=tuple(player.marks),
            resets=tuple(reset for reset in deliveries.reached if reset[0] <= last),
            run_notes=tuple(self._notes(deliveries)),
            polls_given_up=tuple(self.polls_given_up),
            awaits_given_up=tuple(_await_given_up(*one) for one in player.given_up),
            handler_storm=None if player.handler_storm is None else _storm(*player.handler_storm),
            breaches=tuple(
                PortBreach(port, breach.cycle, breach.rule, breach.text)
                for port, breach in self._engine.breaches
            ),
            quiet_since=self.quiet_since,
            core=None if self._engine.core is None else _core(self._engine.core),
            files=self._ledger.files,
        )

    def _slot_facts(self) -> list[SlotInfo]:
        registered = self._system.fabric.registered_decode
        return [
            SlotInfo(
                one.slot.name,
                one.kind,
                one.slot.base,
                one.slot.size,
                one.slot.wait,
                one.slot.wait + registered,
                "hardware" if one.model.in_amaranth else "model",
                tuple(one.model.sends),
            )
            for one in self._system.devices
        ]

    def _notes(self, deliveries: Deliveries) -> list[str]:
        engine, left, notes = self._engine, deliveries.left(), [*self._system.traffic_notes]
        for one in self._system.devices:
            if one.model.in_amaranth:
                said = one.model.notes_for(one.settings)
                notes += [f"{one.name}: {note}." for note in said]
        if self.busy:
            wait = show_time(self._system.settle, self._system.clock_hz)
            verb = "was" if len(self.busy) == 1 else "were"
            notes.append(
                f"{some(self.busy)} {verb} still busy {wait} ({self._system.settle:,} cycles) after "
                "the last step, so the run was stopped. A device that never stops is best ended by "
                "--until; one that needs longer by settle in the bench, such as settle = '2 s'."
            )
        if engine.unexecuted:
            notes.append(
                f"Engine {engine.name} does not execute the prints and checks of the hardware (engine "
                f"reference does): {some(engine.unexecuted)}."
            )
        if left:
            end = show_time(engine.cycle, self._system.clock_hz)
            notes.append(f"The run ended at {end}, before {some(left)}.")
        return notes


def _core(core: Core) -> CoreFacts:
    setup, how = core.setup, core.how_ended
    trapped = how == "trap"
    return CoreFacts(
        isa=setup.isa,
        clocks=dict(setup.clocks),
        memories=tuple((one.base, one.size, one.writable) for one in setup.memories),
        instructions=core.get("instret"),
        ended=how,
        pc=core.get("pc"),
        cycle=core.cycle,
        word=core.bits(core.get("pc")),
        cause=core.get("cause") if trapped else -1,
        value=core.get("tval") if trapped else 0,
        handler=core.get("mtvec"),
        finding=how == "ebreak" and setup.ebreak == "finding",
    )


def _asked(system: System) -> dict[str, list[tuple[str, int]]]:
    """Return, by slot, (name, offset) of the registers that expectations need at the end."""
    asked: dict[str, list[tuple[str, int]]] = {}
    for condition in system.expectations:
        if condition.register is None:
            continue
        slot, name = condition.register
        found = system.address_map.slot(slot)
        offset = None if found is None else found.table.offset_of(name)
        if offset is not None:
            asked.setdefault(slot, []).append((name, offset))
    return asked


def _await_given_up(cycle: int, step: Await) -> AwaitGivenUp:
    limit = f"{step.limit} cycles" if step.limit.cycles is not None else str(step.limit)
    line = -1 if step.line is None else step.line
    return AwaitGivenUp(cycle, step.pin, step.level, limit, line, step.file or "")


def _storm(since: int, routine: Routine) -> HandlerStorm:
    line = -1 if routine.line is None else routine.line
    return HandlerStorm(since, routine.name, routine.pin, line)


def some(names: Sequence[str]) -> str:
    """Return up to three names, and how many more there are."""
    more = "" if len(names) < 4 else f" and {len(names) - 3} more"
    return f"{', '.join(names[:3])}{more}"


def _kind(player: Player | CorePlayer) -> str:
    """Return where the steps of a run came from."""
    if isinstance(player, CorePlayer):
        return "executed"
    return "listed" if player.source.ahead else "decided"
