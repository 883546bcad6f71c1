"""Random plans, drawn where mistakes hide: small counts, so that accesses meet events."""

from __future__ import annotations

from typing import Any

from hypothesis import strategies as st

from tests.against_naive import Plan
from tests.models.drawing import Drawn
from tests.models.folders import attributes

CLOCK_HZ = 1_000_000
ALL_BITS = range(2, 32)

#: What is drawn of each device, by the name of its folder.
DRAWN: dict[str, Drawn] = attributes("drawn", "DRAWN")

_word = st.one_of(
    st.integers(0, 0xFFFF_FFFF),
    st.sampled_from((0, 1, 2, 3, 0xFF, 0xFFFF_FFFF, 0x0002_0001, 0x0003_0002, 0x0100_0010)),
    st.integers(0, 40),
)
_lanes = st.one_of(st.just(15), st.just(15), st.integers(0, 15))
_wait = st.one_of(st.just(0), st.integers(0, 4), st.integers(0, 60))


@st.composite
def _slot(draw: st.DrawFn, number: int, device: str) -> dict[str, Any]:
    size = DRAWN[device].size
    decode = draw(st.sampled_from(("full", "compare", "range")))
    base = 0x1000 * (number + 1)
    compare: list[int] = []
    if decode == "compare":
        # Bits 15..12 tell the slots apart; of the rest some are left out, and make images.
        inner = (size - 1).bit_length()
        others = [bit for bit in range(inner, 32) if bit not in range(12, 16)]
        compare = list(range(12, 16)) + draw(st.lists(st.sampled_from(others), unique=True))
    elif decode == "range":
        base += 4 * draw(st.integers(0, 9))
        size += 4 * draw(st.integers(0, 3))
    return {
        "name": f"{device}_{number}",
        "device": device,
        "base": base,
        "size": size,
        "decode": decode,
        "compare": compare,
        "wait": draw(st.sampled_from((0, 1, 1, 3))),
        "settings": draw(DRAWN[device].settings),
    }


@st.composite
def _address(draw: st.DrawFn, slots: list[dict[str, Any]]) -> int:
    slot = draw(st.sampled_from(slots))
    how = draw(st.sampled_from(("in",) * 8 + ("image", "edge", "any")))
    if how == "any":
        return draw(st.integers(0, (1 << 30) - 1)) * 4
    if how == "edge":
        end = slot["base"] + slot["size"]
        return draw(st.sampled_from((slot["base"] - 4, slot["base"], end - 4, end)))
    address = slot["base"] + draw(st.sampled_from(DRAWN[slot["device"]].offsets))
    free = [bit for bit in ALL_BITS if bit not in slot["compare"] and 1 << bit >= slot["size"]]
    if how == "image" and slot["decode"] == "compare" and free:
        address ^= 1 << draw(st.sampled_from(free))
    return address


@st.composite
def _step(draw: st.DrawFn, slots: list[dict[str, Any]]) -> dict[str, Any]:
    op = draw(st.sampled_from(("write",) * 6 + ("read",) * 5 + ("poll", "until", "pause", "mark")))
    if op == "pause":
        return {"op": op, "cycles": draw(_wait)}
    if op == "mark":
        return {"op": op}
    step = {"op": op, "address": draw(_address(slots)), "lanes": draw(_lanes), "wait": draw(_wait)}
    if op == "write":
        step["data"] = draw(_word)
    if op != "write":
        step["keep"] = draw(st.sampled_from((None, None, "a", "b")))
    if op in ("poll", "until"):
        mask = draw(st.sampled_from((1, 2, 3, 0xFFFF_FFFF)))
        step |= {
            "mask": mask,
            "value": draw(st.integers(0, 3)) & mask,
            "every": draw(st.integers(0, 3)),
            "limit": draw(st.integers(1, 12)),
        }
    if op == "until":
        step["since"] = draw(st.sampled_from(("", "a", "b")))
    return step


@st.composite
def _resets(draw: st.DrawFn) -> list[dict[str, int]]:
    resets, cycle = [], 0
    for _ in range(draw(st.sampled_from((0, 0, 1, 2)))):
        at = cycle + 1 + draw(st.integers(0, 60))
        length = draw(st.integers(1, 3))
        resets.append({"at": at, "length": length})
        cycle = at + length
    return resets


@st.composite
def _inputs(draw: st.DrawFn, slots: list[dict[str, Any]]) -> list[dict[str, Any]]:
    ports = [slot for slot in slots if DRAWN[slot["device"]].driven]
    if not ports:
        return []
    seen: dict[tuple[int, str], int] = {}
    for _ in range(draw(st.sampled_from((0, 2, 6, 20)))):
        slot = draw(st.sampled_from(ports))
        driven = DRAWN[slot["device"]].driven
        assert driven is not None
        pin = draw(driven(slot["settings"]))
        seen[draw(st.integers(0, 80)), f"{slot['name']}.{pin}"] = draw(st.integers(0, 1))
    return [
        {"cycle": cycle, "pin": pin, "level": level} for (cycle, pin), level in sorted(seen.items())
    ]


@st.composite
def _wires(draw: st.DrawFn, slots: list[dict[str, Any]], driven: set[str]) -> list[dict[str, str]]:
    outputs, ends = [], []
    for slot in slots:
        name, drawn = slot["name"], DRAWN[slot["device"]]
        outputs += [f"{name}.{pin}" for pin in drawn.outputs]
        ends += [f"{name}.{pin}" for pin in drawn.inputs]
    ends = [end for end in ends if end not in driven]
    if not outputs or not ends:
        return []
    chosen = draw(st.lists(st.sampled_from(ends), unique=True, max_size=3))
    return [{"from": draw(st.sampled_from(outputs)), "to": end} for end in chosen]


@st.composite
def _waiting(draw: st.DrawFn, slots: list[dict[str, Any]], steps: list[Any]) -> list[Any]:
    """Put awaits and resets among the steps, and return the handlers."""
    pins = [
        f"{slot['name']}.{pin}"
        for slot in slots
        for pin in (*DRAWN[slot["device"]].outputs, *DRAWN[slot["device"]].inputs)
    ]
    handlers = []
    for kind in draw(st.lists(st.sampled_from(("await", "reset", "handler")), max_size=3)):
        place = draw(st.integers(0, len(steps)))
        if kind == "reset":
            steps.insert(place, {"op": "reset", "wait": draw(st.integers(0, 6))})
        elif pins and kind == "await":
            limit, level = draw(st.integers(1, 20)), draw(st.integers(0, 1))
            pin = draw(st.sampled_from(pins))
            steps.insert(place, {"op": "await", "pin": pin, "level": level, "limit": limit})
        elif pins:
            handler = {"pin": draw(st.sampled_from(pins)), "enter": draw(st.integers(0, 3))}
            some = draw(st.lists(_step(slots), max_size=2))
            handlers.append(handler | {"leave": draw(st.integers(0, 3)), "steps": some})
    return handlers


def _known(steps: list[dict[str, Any]]) -> None:
    """Subtract nothing where no step before keeps a word of that name."""
    kept = set()
    for step in steps:
        if step["op"] == "until" and step["since"] not in kept:
            step["since"] = ""
        kept.add(step.get("keep"))


@st.composite
def plans(
    draw: st.DrawFn, devices: tuple[str, ...] = tuple(DRAWN), most: int = 30, waiting: bool = True
) -> Plan:
    """Draw a plan for the naive model (its keys: ``simulate`` in tests/naive.py).

    With ``waiting`` there may be awaits, handlers, and resets by the CPU.
    """
    chosen = draw(st.lists(st.sampled_from(devices), min_size=1, max_size=4))
    slots = [draw(_slot(number, device)) for number, device in enumerate(chosen)]
    steps = draw(st.lists(_step(slots), max_size=most))
    handlers = draw(_waiting(slots, steps)) if waiting else []
    _known(steps + [step for one in handlers for step in one["steps"]])
    silent = draw(st.sampled_from((False, False, False, True)))
    hang_after = draw(st.sampled_from((30, 60, 200)))
    inputs = draw(_inputs(slots))
    return {
        "clock_hz": CLOCK_HZ,
        "hang_after": hang_after,
        "settle": draw(st.sampled_from((1, 7, 100_000, 100_000))),
        "after_reset": draw(st.sampled_from(("restart", "continue"))),
        # A pin that stays high calls its handler for ever: with one, the run has an end.
        "until": draw(st.sampled_from((300,) if handlers else (None, None, None, 1, 17, 90))),
        "fabric": {
            "unanswered": "silence" if silent else "error",
            "watchdog": draw(st.sampled_from((None, None, 1, 2, 3, 8))),
            "registered_decode": draw(st.booleans()),
        },
        "slots": slots,
        "steps": steps,
        "handlers": handlers,
        "inputs": inputs,
        "wires": draw(_wires(slots, {one["pin"] for one in inputs})),
        "resets": draw(_resets()),
    }
