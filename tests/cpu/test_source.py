"""A source of somebody's own: what executes firmware needs no more than the protocol gives."""

from __future__ import annotations

from collections.abc import Iterator

from busbox.basics.units import Span
from busbox.bench.bench import Bench
from busbox.cpu import ListedSource, Moment, Routine
from busbox.cpu.steps import AccessStep, Pause, Step

LEVERS = {"levers": {"model": "gpio", "base": 0, "size": 0x40, "wait": 0}}


class Core:
    """A CPU of one loop: it reads IN, writes what it read to OUT, and stops when lever 7 is pulled.

    An instruction at address 4 k takes k cycles; its interrupt is called by lever 0, once.
    """

    ahead = False
    count = None

    def __init__(self, moments: list[Moment]) -> None:
        self.moments = moments
        self._steps = self._run()
        start = ListedSource(lambda: [AccessStep(True, 4, 0x100, pc=0x40)]).again
        self.handlers: list[Routine] = []
        self._interrupt = Routine("lever", "levers.in.0", 2, 1, start)

    def _run(self) -> Iterator[Step]:
        self.handlers.append(self._interrupt)
        while not self.moments[-1].level("levers.in.7"):
            yield AccessStep(False, 0x10, pc=0, wait=1)
            result = self.moments[-1].result
            assert result is not None
            yield AccessStep(True, 0, result.data, pc=4, wait=2)
            yield Pause(Span(cycles=3))

    def next(self, moment: Moment) -> Step | None:
        """Return the next access."""
        self.moments.append(moment)
        return next(self._steps, None)

    def again(self) -> Core:
        """Return a core that has been reset."""
        return Core(self.moments)

    def close(self) -> None:
        """Do nothing."""


def test_a_source_of_ones_own_has_the_moment_places_and_interrupts() -> None:
    """Cycles, results and pins come with each moment; accesses keep their pc; the pin interrupts."""
    inputs = [
        {"at": at, "pin": f"levers.in.{pin}", "level": level}
        for at, pin, level in ((0, 2, 1), (4, 0, 1), (5, 0, 0), (20, 7, 1))
    ]
    moments: list[Moment] = []
    core = Core(moments)
    recording = Bench({"clock": "1 MHz", "slot": LEVERS, "input": inputs, "traffic": core}).run()
    # Read in 2, F = 3; the write is to be raised in 5; taken in 4: F = 7, access in 7, b = 8 + 1 = 9;
    # the write in 10, F = 11, 14 after the pause; read in 15, write in 18, F = 19, 22: lever 7 is high.
    accesses = recording.accesses
    assert accesses.start.tolist() == [2, 7, 10, 15, 18]
    assert accesses.pc.tolist() == [0, 0x40, 4, 0, 4]
    assert accesses.data.tolist() == [4, 0x100, 4, 4, 4]
    assert [moment.cycle for moment in moments] == [1, 3, 11, 14, 16, 19, 22]
    data = [None if one.result is None else one.result.data for one in moments]
    assert data[:2] == [None, 4]
    assert data[3:5] == [None, 4]
