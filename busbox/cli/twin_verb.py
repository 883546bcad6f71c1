"""``busbox twin``."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from busbox.cli.common import json_option, open_bench, paper, print_json, set_option
from busbox.engines import DEFAULT_ENGINE, TERMINATORS, engine_class
from busbox.errors import InputError, nearest, one_of
from busbox.registers import RegisterTable
from busbox.reports.listing import wrapped
from busbox.reports.paper import Paper
from busbox.system import Placed, System
from busbox.units import show_time

if TYPE_CHECKING:
    from busbox.lockstep import Difference, Plan
    from busbox.lockstep.exercise import Exercise

#: Accesses of one drawn plan; more are played in several plans.
PLAN = 500
#: Wait states that the plans take in turn, after those of the bench.
WAITS = (0, 1, 3)
#: Lines of the traffic that are shown, the last ones.
SHOWN_STEPS = 14


@click.command("twin")
@click.argument("bench")
@click.argument("slot")
@click.option(
    "--random",
    "count",
    metavar="N",
    type=click.IntRange(1),
    help="Play N accesses drawn at random, not the traffic.",
)
@click.option("--seed", type=int, default=1, show_default=True, help="Of what is drawn.")
@click.option(
    "--save",
    "folder",
    metavar="DIR",
    help="Where a bench that shows the difference is written (default: SLOT.twin).",
)
@set_option
@json_option
def command(
    bench: str,
    slot: str,
    count: int | None,
    seed: int,
    folder: str | None,
    values: tuple[str, ...],
    as_json: bool,
) -> int:
    """Play a slot's model and its hardware twin side by side, and tell where they first differ.

    Every row is compared: reads, how accesses end, pins, registers. The bench's traffic is played, or
    accesses drawn at random and aimed at what the device does by itself, with wait states, inputs and
    resets. Exit code 1 if they differ: the shortest traffic found that shows it is saved.
    """
    from busbox.registry import twin_of

    opened = open_bench(bench, values)
    known = list(opened.keys.get("slot", {}))
    if slot not in known:
        raise InputError.of(
            f"there is no slot {slot!r}{nearest(slot, known)} (known: {one_of(known)})"
        )
    system = opened.with_values([f'slot.{slot}.as="model"']).system([] if count else None)
    number = [placed.slot.name for placed in system.devices].index(slot)
    placed = system.devices[number]
    hardware = twin_of(placed.model, repr(placed.kind))
    _check_timing(replace(placed, model=hardware), system.clock_hz)
    pair = _Pair(system, number, hardware)
    found = pair.drawn(count, seed) if count else pair.played()
    told = f"{slot}: model {placed.kind} and its twin {hardware.__name__}"
    if found is None:
        _print(pair, told, None, None, as_json)
        return 0
    difference, plan, alone = found
    saved = Path(folder or f"{slot}.twin") if plan is not None else None
    if plan is not None and saved is not None and alone is not None:
        from busbox.lockstep.save import save

        save(plan, alone, saved, opened.folder)
    _print(pair, told, difference, (plan, saved), as_json)
    return 1


def _check_timing(placed: Placed, clock_hz: int) -> None:
    """Refuse a device that obeys the bus, but with another timing than the house's.

    Raises
    ------
    InputError : writes are not committed in e + 1, or reads do not show e
    """
    from busbox.conformance.subject import Subject
    from busbox.conformance.timing import timing_of

    timing = timing_of(Subject.of_placed(placed, clock_hz))
    if timing.commit in (None, 1) and timing.sample in (None, 0):
        return
    raise InputError.of(
        f"{placed.model.__name__} has a timing of its own: {timing.text}. Lockstep compares row by "
        "row, and needs the house's: a write shows from e + 1, a read shows e (busbox check tells "
        "more)"
    )


Found = tuple["Difference", "Plan | None", "System | None"]


class _Pair:
    """The two, and what was played to them."""

    def __init__(self, system: System, number: int, hardware: Any) -> None:
        from busbox.lockstep.exercise import Exercise

        self.system, self.number, self.hardware = system, number, hardware
        self.table: RegisterTable = system.devices[number].slot.table
        self.exercise: Exercise = Exercise(self.table)
        self.plans = 0
        self._factory = engine_class(DEFAULT_ENGINE)

    @property
    def slot(self) -> str:
        """The slot's name."""
        return self.system.devices[self.number].slot.name

    def _alone(self, plan: Plan, wait: int) -> System:
        system = plan.system(self.system, self.number)
        (placed,) = system.devices
        return replace(system, devices=(replace(placed, slot=replace(placed.slot, wait=wait)),))

    def drawn(self, count: int, seed: int) -> Found | None:
        """Play plans drawn at random until ``count`` accesses have been played."""
        from busbox.lockstep import compare, random_plan

        waits = self._waits()
        while count > 0:
            wait = waits[self.plans % len(waits)]
            devices = list(self.system.devices)
            placed = devices[self.number]
            devices[self.number] = replace(placed, slot=replace(placed.slot, wait=wait))
            system = replace(self.system, devices=tuple(devices))
            plan = random_plan(system, self.number, min(count, PLAN), seed * 1_000_003 + self.plans)
            alone = self._alone(plan, wait)
            difference, model, _ = compare(alone, 0, self.hardware, self._factory)
            self.plans += 1
            count -= PLAN
            if difference is not None:
                return self._shrunk(plan, wait)
            self.exercise.add(model, plan, alone)
        return None

    def _waits(self) -> list[int]:
        own = self.system.devices[self.number].slot.wait
        return [own, *(one for one in WAITS if one != own and one >= self.hardware.least_wait)]

    def played(self) -> Found | None:
        """Play the bench's traffic."""
        from busbox.lockstep import compare, observe, plan_of

        difference, model, _ = compare(self.system, self.number, self.hardware, self._factory)
        self.plans = 1
        plan = plan_of(model.recording, self.system, self.number)
        wait = self.system.devices[self.number].slot.wait
        alone = self._alone(plan, wait)
        if difference is None:
            self.exercise.add(observe(alone, 0, self._factory), plan, alone)
            return None
        if self._differs(wait)(plan) is not None:
            return self._shrunk(plan, wait)
        return difference, None, None

    def _differs(self, wait: int) -> Callable[[Plan], Difference | None]:
        from busbox.lockstep import compare

        def differs(plan: Plan) -> Difference | None:
            return compare(self._alone(plan, wait), 0, self.hardware, self._factory)[0]

        return differs

    def _shrunk(self, plan: Plan, wait: int) -> Found:
        from busbox.lockstep import compare, shrink

        plan = shrink(plan, self._differs(wait))
        alone = self._alone(plan, wait)
        difference, _, _ = compare(alone, 0, self.hardware, self._factory)
        assert difference is not None
        return difference, plan, alone


def _print(
    pair: _Pair,
    told: str,
    difference: Difference | None,
    shown: tuple[Plan | None, Path | None] | None,
    as_json: bool,
) -> None:
    plan, saved = shown or (None, None)
    if as_json:
        print_json(_object(pair, difference, plan, saved))
        return
    page = paper()
    page.line((told, "bold"))
    if difference is None:
        _same(pair, page)
    else:
        _differ(pair, difference, plan, saved, page)
    page.print()


def _object(
    pair: _Pair, difference: Difference | None, plan: Plan | None, saved: Path | None
) -> dict[str, Any]:
    from busbox.lockstep.plan import show_steps

    if difference is None:
        return {"slot": pair.slot, "difference": None, "exercised": pair.exercise.as_object()}
    return {
        "slot": pair.slot,
        "difference": {
            "cycle": difference.row,
            "what": difference.what,
            "name": difference.name,
            "model": difference.model,
            "hardware": difference.hardware,
            "access": difference.access,
        },
        "traffic": None if plan is None else list(show_steps(plan)),
        "saved": None if saved is None else saved.as_posix(),
    }


def _same(pair: _Pair, page: Paper) -> None:
    done: Exercise = pair.exercise
    page.line(f"  the same in all of {done.rows:,} cycles and {done.accesses:,} accesses")
    counts = [("changes of inputs", done.inputs), ("resets", done.resets),
              ("accesses that a reset cut off", done.cut)]  # fmt: skip
    rows: list[tuple[object, ...]] = [("  " + what, f"{count:,}") for what, count in counts]
    if done.aimed:
        share = f"{100 * done.aimed // done.accesses} %"
        rows.append(("  accesses within two cycles of an event", share))
    page.table(rows, numbers=(1,))
    never = list(done.never())
    if never:
        page.table(wrapped([("  never", ", ".join(never))]))


def _differ(
    pair: _Pair, difference: Difference, plan: Plan | None, saved: Path | None, page: Paper
) -> None:
    clock = pair.system.clock_hz
    page.line(
        "  ",
        (f"they differ in cycle {difference.row:,}", "bold red"),
        f" ({show_time(difference.row, clock)}): {_what(pair, difference)}",
    )
    rows = [("    model", _value(pair, difference, difference.model)),
            ("    hardware", _value(pair, difference, difference.hardware))]  # fmt: skip
    page.table(rows)
    if plan is None:
        page.line(
            "  Alone, with the same accesses, they do not differ: the rest of the bench matters."
        )
        return
    steps = list(_steps(plan))
    page.line(f"  The shortest traffic found that shows it ({len(steps)} lines):")
    if len(steps) > SHOWN_STEPS:
        page.line(f"    {len(steps) - SHOWN_STEPS:,} lines before these")
    for line in steps[-SHOWN_STEPS:]:
        page.line(f"    {line}")
    page.line(f"  saved as a bench of its own: busbox twin {saved} {pair.slot}")


def _steps(plan: Plan) -> Iterator[str]:
    from busbox.lockstep.plan import show_steps

    yield from (f"at cycle {row}: RST for {length}" for row, length in plan.resets)
    yield from (f"at cycle {row}: {pin} {level}" for row, pin, level in plan.inputs)
    yield from show_steps(plan)


def _what(pair: _Pair, difference: Difference) -> str:
    if difference.what == "access":
        return f"{difference.name} of access {difference.access}"
    if difference.what == "end":
        return "the end of the run"
    after = f", after access {difference.access}" if difference.access >= 0 else ""
    return f"{difference.what} {pair.slot}.{difference.name}{after}"


def _value(pair: _Pair, difference: Difference, value: Any) -> str:
    if difference.what == "register" and isinstance(value, int):
        return f"{value:#x}{_fields(pair.table, difference, value)}"
    if difference.name == "terminator":
        return TERMINATORS[value]
    if difference.name == "data":
        return f"{value:#x}"
    if difference.what == "pin" and value == 2:
        return "released"
    return str(value)


def _fields(table: RegisterTable, difference: Difference, value: int) -> str:
    offset = table.offset_of(difference.name)
    place = table.at(offset) if offset is not None else None
    if place is None or not isinstance(difference.model, int):
        return ""
    wrong = difference.model ^ int(difference.hardware or 0)
    fields = [
        f"{field.name} {(value & field.mask) >> field.low}"
        for field in place.register.fields
        if wrong & field.mask and field.name != "VALUE"
    ]
    return f" ({', '.join(fields)})" if fields else ""
