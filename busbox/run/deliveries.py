"""What reaches a system from outside: inputs, wakes of models, resets of the board."""

from __future__ import annotations

import heapq
from collections import deque
from collections.abc import Callable, Sequence
from itertools import count

from busbox.basics.errors import ModelError, format_value
from busbox.basics.hooks import whole
from busbox.device import LiveDevice
from busbox.engines import NEVER, Engine
from busbox.run.connections import Connections
from busbox.run.host import DeviceHost
from busbox.system.scenario import BoardReset, InputLevel
from busbox.system.system import System


class Deliveries:
    """What is still to come in one run.

    Attributes
    ----------
    resets : those of the board that have not been reached
    reached : (first cycle, length) of every reset that was reached, by the board or by a step
    begun : whether there is an engine: models may ask for wakes while they are built
    """

    def __init__(
        self, system: System, engine: Callable[[], Engine], hosts: Sequence[DeviceHost]
    ) -> None:
        self._engine, self._hosts = engine, hosts
        self._names = [device.name for device in system.devices]
        self._order = count()
        self._inputs: list[tuple[int, int, InputLevel]] = []
        self._wakes: list[tuple[int, int]] = []
        self.begun = False
        self.resets: deque[BoardReset] = deque(system.resets)
        self.reached: list[tuple[int, int]] = []
        for level in system.inputs:
            self.add(level)

    def add(self, level: InputLevel) -> None:
        """Take a level that is to be delivered in its cycle."""
        heapq.heappush(self._inputs, (level.cycle, next(self._order), level))

    def waker(self, number: int) -> Callable[[int], None]:
        """Return the function that a model calls to be woken in a cycle.

        It raises ModelError for what is no cycle, or one that has begun.
        """

        def wake_at(cycle: int) -> None:
            at, now = whole(cycle), self._engine().cycle if self.begun else -1
            if at is None:
                raise ModelError(f"a wake must be asked for a cycle, not {format_value(cycle)}")
            if at <= now:
                raise ModelError(
                    f"a wake must be asked for a later cycle than {now:,}, not for {at:,}"
                )
            heapq.heappush(self._wakes, (min(at, NEVER), number))
            if self.begun:
                self._engine().lower(min(at, NEVER))

        return wake_at

    def deliver(self, cycle: int, models: Sequence[LiveDevice], connections: Connections) -> None:
        """Deliver the inputs and wakes of a cycle."""
        engine = self._engine()
        for reply in connections.replies(cycle):
            self.add(reply)
        levels = list(connections.wired(cycle))
        while self._inputs and self._inputs[0][0] <= cycle:
            levels.append(heapq.heappop(self._inputs)[2])
        for level in levels:
            self._hosts[level.device].input(level.pin, level.cycle, level.level)
            models[level.device].input(level.cycle, level.pin, level.level)
            engine.ask_again()
        while self._wakes and self._wakes[0][0] <= cycle:
            at, number = heapq.heappop(self._wakes)
            models[number].wake(at)
            engine.ask_again()

    def reset(self, cycle: int, length: int, models: Sequence[LiveDevice]) -> None:
        """Reset the models, and forget the wakes that they requested."""
        self._wakes.clear()
        self.reached.append((cycle, length))
        for model, host in zip(models, self._hosts, strict=True):
            model.reset(cycle, length)
            host.reset(cycle)

    @property
    def next(self) -> int | None:
        """The first cycle in which anything is to come, or None."""
        cycles = []
        if self._inputs:
            cycles.append(self._inputs[0][0])
        if self._wakes:
            cycles.append(self._wakes[0][0])
        if self.resets:
            cycles.append(self.resets[0].at)
        return min(cycles, default=None)

    def left(self) -> list[str]:
        """Return which inputs and resets have not been reached, as text."""
        inputs = sorted(self._inputs, key=lambda entry: entry[:2])
        return [
            *(
                f"input {self._names[level.device]}.{level.pin} in cycle {at:,}"
                for at, _, level in inputs
            ),
            *(f"reset in cycle {reset.at:,}" for reset in self.resets),
        ]
