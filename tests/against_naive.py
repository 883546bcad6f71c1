"""Runs one plan on the naive model and on Busbox, in the same words."""

from __future__ import annotations

from typing import Any

from busbox.basics.units import Span
from busbox.bench.bench import Bench
from busbox.cpu.steps import AccessStep, Await, Handler, Mark, Pause, Poll, ResetStep, Step, Until
from busbox.map.bits import show_bits
from busbox.recording import Recording
from tests import naive
from tests.models.drawing import Drawn
from tests.models.folders import attributes

Plan = dict[str, Any]


def bench_of(plan: Plan) -> Bench:
    """Return the bench of a plan (see ``simulate`` in tests/naive.py for its keys)."""
    slots = {slot["name"]: _slot_keys(slot) for slot in plan["slots"]}
    return Bench(
        {
            "clock": f"{plan['clock_hz']} Hz",
            "settle": plan["settle"],
            "hang_after": plan["hang_after"],
            "after_reset": plan["after_reset"],
            "fabric": {key: value for key, value in plan["fabric"].items() if value is not None},
            "slot": slots,
            "input": [
                {"at": one["cycle"], "pin": one["pin"], "level": one["level"]}
                for one in plan["inputs"]
            ],
            "reset": plan["resets"],
            "wire": plan.get("wires", []),
            "traffic": [
                *(_handler(number, one) for number, one in enumerate(plan.get("handlers", ()))),
                *(_step(step) for step in plan["steps"]),
            ],
        }
    )


def _slot_keys(slot: dict[str, Any]) -> dict[str, Any]:
    drawn: Drawn = attributes("drawn", "DRAWN")[slot["device"]]
    keys = {
        "model": drawn.model or slot["device"],
        "base": slot["base"],
        "size": slot["size"],
        "wait": slot["wait"],
        **slot["settings"],
    }
    if slot["decode"] == "compare":
        keys["compare"] = show_bits(frozenset(slot["compare"]))
    else:
        keys["decode"] = slot["decode"]
    return keys


def _handler(number: int, handler: dict[str, Any]) -> Handler:
    steps = tuple(_step(step) for step in handler["steps"])
    return Handler(f"handler_{number}", handler["pin"], steps, handler["enter"], handler["leave"])


def _step(step: dict[str, Any]) -> Step:
    if step["op"] == "await":
        return Await(step["pin"], step["level"], Span(cycles=step["limit"]))
    if step["op"] == "reset":
        return ResetStep(step["wait"])
    if step["op"] == "pause":
        return Pause(Span(cycles=step["cycles"]))
    if step["op"] == "mark":
        return Mark("here")
    if step["op"] in ("poll", "until"):
        names = ("address", "value", "mask", "every", "limit", "lanes", "wait")
        numbers = [step[name] for name in names]
        if step["op"] == "poll":
            return Poll(*numbers, keep=step["keep"])
        return Until(*numbers, keep=step["keep"], since=step["since"] or 0)
    return AccessStep(
        step["op"] == "write",
        step["address"],
        step.get("data"),
        step["lanes"],
        step["wait"],
        keep=step.get("keep"),
    )


def told(recording: Recording) -> dict[str, Any]:
    """Return a recording in the naive model's words."""
    columns, names = recording.accesses, [slot.name for slot in recording.slots]
    accesses = [
        (start, end, address, write, lanes, data, terminator, name, step)
        for start, end, address, write, lanes, data, terminator, name, step in zip(
            columns.start.tolist(),
            columns.end.tolist(),
            columns.address.tolist(),
            columns.write.tolist(),
            columns.lanes.tolist(),
            columns.data.tolist(),
            columns.terminators,
            [None if slot < 0 else names[slot] for slot in columns.slot.tolist()],
            columns.step.tolist(),
            strict=True,
        )
    ]
    return {
        "accesses": accesses,
        "pins": {
            pin: list(zip(line.cycles.tolist(), line.levels.tolist(), strict=True))
            for pin, line in recording.lines.items()
            if line.direction == "output"
        },
        "events": sorted((e.cycle, e.device, e.kind, e.access) for e in recording.events),
        "frames": {
            slot: [(frame.cycle, frame.access, list(frame.colours)) for frame in frames]
            for slot, frames in recording.frames.items()
        },
        "texts": recording.texts,
        "registers": {
            name: {
                key: value
                for key, value in registers.items()
                if key not in ("NEVER", "ANGRY", "SLOW_ANGRY")
            }
            for name, registers in recording.registers.items()
        },
        "cycles": recording.cycles,
        "ended": recording.ended,
    }


def expected(plan: Plan) -> dict[str, Any]:
    """Return what the naive model says of a plan, in an order that both sides can be put in."""
    result = naive.simulate(plan)
    return result | {"events": sorted(result["events"])}


def differences(plan: Plan) -> list[str]:
    """Return where the two sides differ, the first difference of each part; empty if they agree."""
    ours, theirs = told(bench_of(plan).run(until=plan["until"])), expected(plan)
    found = []
    for part, right in theirs.items():
        if part == "awaits_given_up":
            continue
        left = ours[part]
        if left == right:
            continue
        if isinstance(right, list):
            place = next(
                (n for n, (a, b) in enumerate(zip(left, right, strict=False)) if a != b),
                min(len(left), len(right)),
            )
            found.append(f"{part}[{place}]: {left[place : place + 1]} / {right[place : place + 1]}")
        elif isinstance(right, dict):
            for key in {*left, *right}:
                if left.get(key) != right.get(key):
                    found.append(f"{part}.{key}: {left.get(key)} / {right.get(key)}")
        else:
            found.append(f"{part}: {left} / {right}")
    return found
