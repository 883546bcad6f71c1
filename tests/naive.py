"""A naive reference model of the bus simulator: one cycle at a time, from the page alone.

"Rule n" is a rule of the semantics page (busbox.bus); "addition n" is one of the additions to
it (A1 to A4 are the rules 12a to 12f there); "table" is the register table of a device (its
docstring), whose naive model stands in tests/models/NAME/naive.py. Its author saw those pages, and
nothing of the package. A comment that begins with "READING" marks a place where the page was silent
or could be read in two ways; the reading that was taken stands there.

One cycle has two halves. `cycle`: every signal of cycle t, from the registers as they stand. `edge`:
the clock edge that ends cycle t; every register gets its next value. Inside an `edge` the
hardware's own steps come first (they see the state of the cycle) and the write comes last, except
for a bit that hardware sets, which wins over the write (rule 3).

No output pin depends on an input pin of the same cycle, so a cycle is: the output pins, then the wires
and the input pins, then the CPU, which may look at any pin.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from tests.models.folders import attributes
from tests.models.naive_device import Access, Device

DEVICES: dict[str, type[Device]] = attributes("naive", "NAIVE")


# ------------------------------------------------------------------------------------- the bus


class Slot:
    """A place in the address map with its device (rules 4 and 26)."""

    def __init__(self, plan: dict[str, Any], device: Device) -> None:
        self.base, self.size, self.decode = plan["base"], plan["size"], plan["decode"]
        self.bits = plan.get("compare") or []
        self.wait = plan.get("wait", 1)
        self.device = device

    def decodes(self, address: int) -> bool:
        """Rule 26."""
        if self.decode == "range":
            return self.base <= address < self.base + self.size
        if self.decode == "compare":
            return all((address ^ self.base) >> bit & 1 == 0 for bit in self.bits)
        return (address ^ self.base) & ~(self.size - 1) == 0


class Fabric:
    """Decoder, wait states, error responder and watchdog (rules 4 to 8)."""

    def __init__(self, plan: dict[str, Any], slots: list[Slot]) -> None:
        self.slots = slots
        self.error = plan["unanswered"] == "error"
        self.watchdog = plan.get("watchdog")
        self.extra = 1 if plan.get("registered_decode") else 0

    def decode(self, access: Access) -> None:
        """Rule 26: the slot of the address and the offset that its device sees."""
        for slot in self.slots:
            if slot.decodes(access.address):
                access.slot = slot
                access.offset = (access.address - slot.base) % slot.size
                return

    def shown(self, access: Access) -> bool:
        """Rules 4 and 6: the device sees the access from cycle s + w on (registered: one later)."""
        return access.slot is not None and access.age >= access.slot.wait + self.extra

    def answer(self, access: Access) -> str:
        """Rules 4, 5, 6 and 8: what the device or the error responder says in this cycle."""
        if access.slot is None:
            return "error" if self.error and access.age >= 1 + self.extra else ""
        if not self.shown(access):
            return ""
        return access.slot.device.answer(access.offset, access.held)

    def cycle(self, access: Access) -> str:
        """Rule 7: the terminator of this cycle ("" for none); an answer precedes the watchdog."""
        answer = self.answer(access)
        # READING: W counts from s with `registered_decode` too, and W = 0 cuts in cycle s itself.
        if not answer and access.age == self.watchdog:
            return "watchdog"
        return answer

    def edge(self, access: Access) -> None:
        """Rules 4 and 7: one more cycle has passed."""
        if self.shown(access):
            access.held += 1
        access.age += 1


# ------------------------------------------------------------------------------------------ CPU


class Track:
    """A list of steps as it is played: the main steps, or those of a handler (rules 10 to 12).

    `free` is F of the page. `waited` counts the cycles that the step's wait, the pause, the gap of
    a poll or the await has had: a track that stands still while a handler runs keeps its rest.
    """

    def __init__(
        self, steps: list[dict[str, Any]], first: int, free: int, kept: dict[str, int]
    ) -> None:
        self.kept = kept
        self.steps, self.first, self.free = steps, first, free
        self.index = self.waited = self.reads = 0
        self.access: Access | None = None

    def number(self) -> int:
        """Addition 3: handler steps are numbered after all main steps."""
        return self.first + self.index

    def op(self) -> str:
        """The kind of the step that is next or being played ("" if none is left)."""
        return self.steps[self.index]["op"] if self.index < len(self.steps) else ""

    def finish(self, free: int) -> None:
        """A step is over; `free` is F for the next one."""
        self.index += 1
        self.free = free
        self.access = None
        self.waited = self.reads = 0

    def gap(self) -> int:
        """Rules 10 to 12, addition 2: the idle cycles before the step acts or a pause is over."""
        step = self.steps[self.index]
        if step["op"] == "pause":
            return step["cycles"]
        return step["every"] if self.reads else step.get("wait", 0)

    def advance(self, t: int) -> None:
        """Rule 11: in cycle t, marks and pauses that have had their cycles take no time."""
        while (op := self.op()) == "mark" or (op == "pause" and self.waited == self.gap()):
            self.finish(t)

    def due(self) -> bool:
        """Rules 10 and 12, addition 2: an access or a reset step starts in this cycle."""
        return self.op() not in ("", "pause", "await") and self.waited == self.gap()

    def over(self, t: int) -> bool:
        """Rule 19: no step left in cycle t, and t is at least F."""
        return self.index == len(self.steps) and t >= self.free

    def end(self, t: int, terminator: str, data: int) -> None:
        """Rules 8 and 12: the access ends in cycle t; F = e + 1."""
        step = self.steps[self.index]
        reads = self.reads + 1
        past = data - self.kept.get(step.get("since", ""), 0) & 0xFFFFFFFF & step.get("mask", 0)
        right = past >= step["value"] if step["op"] == "until" else past == step.get("value", 0)
        match = terminator == "ack" and right
        waits = step["op"] in ("poll", "until")
        if not waits or match or reads >= step.get("limit", 10_000_000):
            if step["op"] != "write" and step.get("keep"):  # rule 12g
                self.kept[step["keep"]] = data
            self.finish(t + 1)
        else:
            self.access, self.free, self.waited, self.reads = None, t + 1, 0, reads

    def begun(self, t: int) -> bool:
        """Rule 17, additions 1 to 3: whether a reset in cycle t cuts the step off."""
        op = self.op()
        if t < self.free or not op:
            return False
        # Rule 12d: a pause or an await that a handler stopped in its first cycle has begun.
        waits = op in ("pause", "await")
        return self.access is not None or self.reads > 0 or waits or self.due()

    def cut(self, t: int) -> None:
        """Rules 15 and 17: drop what has begun; a step that has not is played from its start."""
        if self.begun(t):
            self.finish(self.free)
        self.waited = 0


class Cpu:
    """Plays the main steps and the handlers (rules 16 to 18, additions 1 to 3)."""

    def __init__(self, bench: dict[str, Any], level: Callable[[str], int]) -> None:
        self.restarts, self.level = bench["after_reset"] == "restart", level
        self.main = Track(bench["steps"], 0, 1, {})
        self.handlers: list[tuple[int, dict[str, Any]]] = []
        first = len(bench["steps"])
        for plan in bench.get("handlers") or []:
            self.handlers.append((first, plan))
            first += len(plan["steps"])
        self.handler: Track | None = None  # the one that is running
        self.b = 0  # cycle b of the last handler that is over
        self.chain = 0  # cycle in which the first of the handlers that follow one another was taken
        self.leave = 0  # and its idle cycles at the end
        self.raised = 0
        self.resetting = False  # a `reset` step acts in this cycle
        self.given_up: list[tuple[int, int]] = []

    def active(self) -> Track:
        """Addition 3: the main steps stand still while a handler runs."""
        return self.handler or self.main

    def cycle(self, t: int) -> Access | None:
        """Rules 10 to 12: the access that is up in cycle t, raised now if it is due."""
        track = self.active()
        if track.access is not None or t < track.free:
            return track.access
        track.advance(t)
        if track is self.handler and self.left(t, track):
            return self.cycle(t)
        if not track.due():
            return None
        if track.op() == "reset":
            self.resetting = True
        else:
            track.access = self.raise_access(t, track)
        return track.access

    def left(self, t: int, track: Track) -> bool:
        """Addition 3: is this cycle b = F_h + leave? Then it is the first one of the main steps."""
        if not track.over(t) or t < track.free + self.leave:
            return False
        self.handler = None
        self.main.free = self.b = t
        return True

    def raise_access(self, t: int, track: Track) -> Access:
        """Rule 10."""
        step = track.steps[track.index]
        write = step["op"] == "write"
        data = step["data"] if write else 0
        self.raised += 1
        number = self.raised - 1
        return Access(number, t, step["address"], write, step["lanes"], data, track.number())

    def edge(self, t: int) -> None:
        """Additions 1 and 3, for a cycle with no access up and RST low: take a handler, or wait on."""
        track = self.active()
        if t < track.free or (self.handler is None and self.take(t)):
            return
        if track.op() == "await":
            self.look(t, track)
        else:
            track.waited += 1

    def take(self, t: int) -> bool:
        """Addition 3: the first handler of the list whose pin is high starts in cycle t."""
        for first, plan in self.handlers:
            # READING: a released output (level 2) is not high, and shows neither level to an await.
            if self.level(plan["pin"]) == 1:
                if self.b != t:
                    self.chain = t
                self.handler = Track(plan["steps"], first, t + 1 + plan["enter"], self.main.kept)
                self.leave = plan["leave"]
                return True
        return False

    def crowded(self, t: int, most: int) -> bool:
        """Rule 12e: would one more handler be taken in cycle t, b of the one before, after so many?"""
        high = any(self.level(plan["pin"]) == 1 for _, plan in self.handlers)
        return self.handler is None and self.b == t and t - self.chain >= most and high

    def look(self, t: int, track: Track) -> None:
        """Addition 1: an await looks at its pin in cycle t, the last time in its row N."""
        step = track.steps[track.index]
        track.waited += 1
        if self.level(step["pin"]) == step["level"]:
            track.finish(t + 1)
        elif track.waited == step["limit"]:
            self.given_up.append((track.number(), t))
            track.finish(t + 1)

    def cut(self, t: int) -> None:
        """Rules 15, 17 and 18, addition 3, in cycle r: abandon a handler, find the next step."""
        self.main.cut(t)
        # READING: rule 18 ("restarts the CPU as well") holds for "restart" only; with "continue"
        # a reset after the last step leaves no step to play.
        if self.restarts:
            self.main.index = 0
        self.handler, self.resetting = None, False

    def reset_edge(self, t: int) -> None:
        """Rule 16, addition 2: the last cycle with RST high is t = r + L - 1, so F = r + L + 1."""
        if self.resetting:
            self.active().finish(t + 2)
            self.resetting = False
        else:
            self.main.free = t + 2

    def finished(self, t: int) -> bool:
        """Rule 19: no step left in cycle t, and t is at least F unless there never was a step."""
        return self.handler is None and (self.main.over(t) or not self.main.steps)


# --------------------------------------------------------------------------------------- the run


class Run:
    """All parts of one bench, and the cycles of its recording."""

    def __init__(self, bench: dict[str, Any]) -> None:
        self.bench = bench
        self.devices: list[Device] = [
            DEVICES[plan["device"]](plan["name"], plan.get("settings") or {}, bench["clock_hz"])
            for plan in bench["slots"]
        ]
        slots = [Slot(plan, dev) for plan, dev in zip(bench["slots"], self.devices)]
        self.fabric = Fabric(bench["fabric"], slots)
        self.cpu = Cpu(bench, self.level)
        self.resets = {reset["at"]: reset["length"] for reset in bench["resets"]}
        self.reset_left = 0
        self.accesses: list[tuple[Any, ...]] = []
        self.pins: dict[str, list[tuple[int, int]]] = {}
        self.places = {
            f"{device.name}.{pin}": (device, pin)
            for device in self.devices
            for pin in (*device.outputs, *device.inputs)
        }
        self.wires = [
            (*self.places[wire["from"]], *self.places[wire["to"]])
            for wire in bench.get("wires") or []
        ]
        self.inputs: dict[int, list[tuple[Device, str, int]]] = {}
        self.plan_inputs()

    def plan_inputs(self) -> None:
        """Rule 24: which pins change in which cycle (of two for one pin and cycle, the later)."""
        for entry in self.bench["inputs"]:
            change = (*self.places[entry["pin"]], entry["level"])
            self.inputs.setdefault(entry["cycle"], []).append(change)

    def level(self, name: str) -> int:
        """Additions 1 and 3: the level in this cycle of the pin "slot.pin", output or input."""
        device, pin = self.places[name]
        return device.level(pin)

    def cycle(self, t: int) -> dict[str, Any] | None:
        """One cycle: cycle t, then the edge that ends it. Gives the result after the last cycle."""
        self.pin_cycle(t)
        starts = self.reset_cycle(t)
        access = self.bus_cycle(t, starts)
        if self.cpu.resetting:
            starts, self.reset_left = True, 1
        rst = self.reset_left > 0
        terminator = self.fabric.cycle(access) if access is not None else ""
        ended = self.ending(t, rst, access, terminator)
        registers = self.registers() if ended else {}
        if rst:
            self.reset_edge(t, starts)
        else:
            self.edge(t, access, terminator)
        if ended and access is not None and not terminator:
            self.record(access, t, "none", 0)
        return self.result(t, ended, registers) if ended else None

    def pin_cycle(self, t: int) -> None:
        """Rules 2 and 24, addition 4: output pins, noted where they change, then input pins."""
        for device in self.devices:
            device.shown = device.cycle(t)
            if device.noted != (device.shown, device.released):
                device.noted = (device.shown, device.released)
                self.note_pins(t, device)
        for source, output, target, pin in self.wires:
            target.drive(pin, source.level(output))
        for device, pin, level in self.inputs.get(t, ()):
            device.drive(pin, level)

    def note_pins(self, t: int, device: Device) -> None:
        """Interface: (0, level in cycle 0), then changes only."""
        for pin in device.outputs:
            history = self.pins.setdefault(f"{device.name}.{pin}", [])
            level = device.level(pin)
            if not history or history[-1][1] != level:
                history.append((t, level))

    def reset_cycle(self, t: int) -> bool:
        """Rule 14: does a reset of the bench start in cycle t?"""
        if t in self.resets:
            self.reset_left = self.resets[t]
        return t in self.resets

    def bus_cycle(self, t: int, starts: bool) -> Access | None:
        """Rules 10 and 15: the access that is up in cycle t, not masked by RST."""
        if self.reset_left > 0 and not starts:
            return None
        access = self.cpu.cycle(t)
        if access is not None and access.start == t:
            self.fabric.decode(access)
        if not starts:
            return access
        if access is not None:
            self.record(access, t, "reset", 0)
        self.cpu.cut(t)
        return None

    def registers(self) -> dict[str, dict[str, int]]:
        """Interface: the registers as a read in this cycle shows them."""
        return {
            device.name: {name: device.read(offset) for name, offset in device.names.items()}
            for device in self.devices
        }

    def ending(self, t: int, rst: bool, access: Access | None, terminator: str) -> str:
        """Rules 9 and 19 to 21: how the run ends in cycle t, or ""."""
        # READING: of several ends in one cycle the one with the lowest rule counts.
        # READING: no proof of rule 9 is sought; a hang is always s + hang_after.
        if access is not None and not terminator and access.age >= self.bench["hang_after"]:
            return "hang"
        # READING: a reset that starts in cycle e + settle counts as reached too (rule 16: a new F).
        idle = not rst and access is None
        over = idle and self.cpu.finished(t)
        if over and all(device.at_rest() for device in self.devices):
            return "done"
        if idle and self.cpu.crowded(t, self.bench["hang_after"]):
            return "hang"
        # READING: with settle = 0 the cycle is still at least F.
        if over and t >= self.cpu.main.free - 1 + self.bench["settle"]:
            return "settle"
        until = self.bench.get("until")
        return "until" if until is not None and t >= until - 1 else ""

    def reset_edge(self, t: int, starts: bool) -> None:
        """Rules 14 and 16: a rising edge with RST high."""
        for device in self.devices:
            if starts:
                # READING: rule 25, what a device reports in cycle r (an event of receive) happened.
                device.edge(t, None)
            device.reset()
        self.cpu.reset_edge(t)
        self.reset_left -= 1

    def edge(self, t: int, access: Access | None, terminator: str) -> None:
        """Rules 1, 2 and 3: the rising edge that ends cycle t with RST low."""
        acting = None
        if access is None:
            self.cpu.edge(t)
        else:
            acting = self.end_access(t, access, terminator)
        for device in self.devices:
            device.edge(t, access if device is acting else None)

    def end_access(self, t: int, access: Access, terminator: str) -> Device | None:
        """Rules 1, 2, 7 and 8: the device on which the access acts at this edge, if any."""
        if not terminator:
            self.fabric.edge(access)
            return None
        acting = access.slot.device if terminator == "ack" and access.slot is not None else None
        data = acting.read(access.offset) if acting is not None and not access.write else 0
        self.record(access, t, terminator, data)
        self.cpu.active().end(t, terminator, data)
        return acting

    def record(self, access: Access, t: int, terminator: str, data: int) -> None:
        """Interface: one line of `accesses`."""
        name = access.slot.device.name if access.slot is not None else None
        shown = access.data if access.write else data
        self.accesses.append(
            (
                access.start,
                t,
                access.address,
                access.write,
                access.lanes,
                shown,
                terminator,
                name,
                access.step,
            )
        )

    def sorted_events(self) -> list[tuple[int, str, str, int]]:
        """Interface: by cycle, then by slot of the bench, then as listed on the page."""
        keyed = [
            ((event[0], k, device.kinds.index(event[2])), event)
            for k, device in enumerate(self.devices)
            for event in device.events
        ]
        return [event for _, event in sorted(keyed, key=lambda pair: pair[0])]

    def result(self, t: int, ended: str, registers: dict[str, dict[str, int]]) -> dict[str, Any]:
        """Interface: the result; `cycles` is the last cycle + 1 (rule 19)."""
        return {
            "accesses": self.accesses,
            "pins": self.pins,
            "events": self.sorted_events(),
            "frames": {d.name: d.frames for d in self.devices if hasattr(d, "frames")},
            "texts": {d.name: d.text for d in self.devices if hasattr(d, "text")},
            "registers": registers,
            "cycles": t + 1,
            "ended": ended,
            "awaits_given_up": self.cpu.given_up,
        }


def simulate(bench: dict[str, Any]) -> dict[str, Any]:
    """Rule 13: from cycle 0 on, one cycle after another, until a cycle is the last."""
    run = Run(bench)
    t = 0
    while (result := run.cycle(t)) is None:
        t += 1
    return result
