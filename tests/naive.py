"""A naive reference model of the bus simulator: one cycle at a time, from the page alone.

"Rule n" is a rule of the semantics page (busbox.fabric); "table" is the register table of a
device (its docstring). Its author saw those pages, and nothing of the package. A comment that
begins with "READING" marks a place where the page was silent or could be read in two ways; the
reading that was taken stands there, and the page says so now.

Receive, kept edges, interrupts, REPEAT, four channels and wires were added later, by somebody who
knows the package; the rest is as its independent author wrote it.

One cycle has two halves. `row`: every signal of row t, from the registers as they stand. `edge`:
the clock edge that ends cycle t; every register gets its next value. Inside an `edge` the
hardware's own steps come first (they see the state of the row) and the write comes last, except
for a bit that hardware sets, which wins over the write (rule 3).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

WORD = 0xFFFFFFFF
LANES = [sum(0xFF << 8 * k for k in range(4) if lanes >> k & 1) for lanes in range(16)]
# READING: "as listed on the page" is the order in which the tables first name each kind, so
# `frame-missed` comes before a `frame` of the same cycle and slot.
KINDS = (
    "framing",
    "rx-lost",
    "byte-lost",
    "frame-missed",
    "frame",
    "frame-empty",
    "count-clipped",
    "high-too-long",
    "no-pulse",
    "period-zero",
    "gap-zero",
    "uninitialised-read",
    "rom-write",
)


def ones(data: int, lanes: int) -> int:
    """Every device: the bits of selected lanes; a lane that is not selected counts as zeros."""
    return data & LANES[lanes]


def merged(old: int, data: int, lanes: int) -> int:
    """Every device: a write changes only the bytes whose lane is selected."""
    return (old & ~LANES[lanes] | data & LANES[lanes]) & WORD


# ------------------------------------------------------------------------------------- accesses


@dataclass(slots=True)
class Access:
    """One access on the bus (rule 1). `age` and `held` count the rows it has been up and shown."""

    number: int
    start: int
    address: int
    write: bool
    lanes: int
    data: int
    step: int
    slot: Slot | None = None
    offset: int = 0
    age: int = 0
    held: int = 0


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
        """Rules 4 and 6: the device sees the access from row s + w on (registered: one later)."""
        return access.slot is not None and access.age >= access.slot.wait + self.extra

    def answer(self, access: Access) -> str:
        """Rules 4, 5, 6 and 8: what the device or the error responder says in this row."""
        if access.slot is None:
            return "error" if self.error and access.age >= 1 + self.extra else ""
        if not self.shown(access):
            return ""
        return access.slot.device.answer(access.offset, access.held)

    def row(self, access: Access) -> str:
        """Rule 7: the terminator of this row ("" for none); an answer precedes the watchdog."""
        answer = self.answer(access)
        # READING: W counts from s with `registered_decode` too, and W = 0 cuts in row s itself.
        if not answer and access.age == self.watchdog:
            return "watchdog"
        return answer

    def edge(self, access: Access) -> None:
        """Rules 4 and 7: one more row has passed."""
        if self.shown(access):
            access.held += 1
        access.age += 1


# -------------------------------------------------------------------------------------- devices


class Device:
    """What all devices share: a hole reads 0, drops a write and is acknowledged (table)."""

    outputs: tuple[str, ...] = ()
    names: dict[str, int] = {}
    plain: dict[int, tuple[str, int]] = {}  # rw registers: offset -> (attribute, its bits)

    def __init__(self, name: str, settings: dict[str, Any], clock_hz: int) -> None:
        self.name, self.settings, self.clock_hz = name, settings, clock_hz
        self.events: list[tuple[int, str, str, int]] = []
        self.reset()

    def log(self, cycle: int, kind: str, number: int) -> None:
        """Interface: one event."""
        self.events.append((cycle, self.name, kind, number))

    def answer(self, offset: int, held: int) -> str:
        """Table: all but the holder answer at once (k = 0)."""
        return "ack"

    def reset(self) -> None:
        """Rule 14: registers to their reset values."""

    def read(self, offset: int) -> int:
        """Rule 2: what a read in this row shows."""
        return getattr(self, self.plain[offset][0]) if offset in self.plain else 0

    def write_plain(self, offset: int, data: int, lanes: int) -> None:
        """Every device: an rw register takes the selected lanes of the bits that exist."""
        if offset in self.plain:
            attribute, bits = self.plain[offset]
            setattr(self, attribute, merged(getattr(self, attribute), data, lanes) & bits)

    def row(self, t: int) -> tuple[int, ...]:
        """Output levels of row t, in the order of ``outputs``; 2 = released."""
        return tuple(0 for _ in self.outputs)

    def edge(self, t: int, access: Access | None) -> None:
        """The edge that ends cycle t; `access` is the one acknowledged in t by this device."""
        if access is not None and access.write:
            self.write_plain(access.offset, access.data, access.lanes)

    def at_rest(self) -> bool:
        """Rule 19."""
        return True


class Gpio(Device):
    """Table gpio."""

    names = {
        "OUT": 0x00, "SET": 0x04, "CLEAR": 0x08, "TOGGLE": 0x0C, "IN": 0x10, "ENABLE": 0x14,
        "RISE": 0x18, "FALL": 0x1C, "EVENTS": 0x20,
    }  # fmt: skip

    def __init__(self, name: str, settings: dict[str, Any], clock_hz: int) -> None:
        self.width = settings.get("width", 32)
        self.bits = (1 << self.width) - 1
        self.plain = {
            0x00: ("out", self.bits), 0x14: ("enable", self.bits), 0x18: ("rise", self.bits),
            0x1C: ("fall", self.bits),
        }  # fmt: skip
        self.outputs = (*(f"out.{n}" for n in range(self.width)), "interrupt")
        self.board = 0
        super().__init__(name, settings, clock_hz)

    def drive(self, pin: str, level: int) -> None:
        """Rule 24: the board's level is on the pin in this row."""
        bit = int(pin.removeprefix("in."))
        self.board = (self.board & ~(1 << bit) | level << bit) & self.bits

    def reset(self) -> None:
        """Rule 14: the synchronisers are registers, the pins are not."""
        self.out = self.first = self.second = self.before = self.rise = self.fall = 0
        self.events_kept = 0
        self.enable = self.bits

    def read(self, offset: int) -> int:
        """Table gpio."""
        shown = {0x10: self.second, 0x20: self.events_kept}
        return shown.get(offset, super().read(offset))

    def row(self, t: int) -> tuple[int, ...]:
        """Table gpio: the outputs follow OUT where enabled; interrupt = EVENTS not 0."""
        pins = [self.out >> n & 1 if self.enable >> n & 1 else 2 for n in range(self.width)]
        return (*pins, int(self.events_kept != 0))

    def edge(self, t: int, access: Access | None) -> None:
        """Table gpio: edges of IN by RISE and FALL of this row; stages; ones act on OUT."""
        rose, fell = self.second & ~self.before, self.before & ~self.second
        kept = rose & self.rise | fell & self.fall
        self.before, self.second, self.first = self.second, self.first, self.board
        super().edge(t, access)
        if access is not None and access.write:
            acting = ones(access.data, access.lanes) & self.bits
            if access.offset == 0x04:
                self.out |= acting
            elif access.offset == 0x08:
                self.out &= ~acting
            elif access.offset == 0x0C:
                self.out ^= acting
            elif access.offset == 0x20:
                self.events_kept &= ~acting
        self.events_kept |= kept


class Uart(Device):
    """Table uart: a holding register and a shifter."""

    outputs = ("tx", "interrupt")
    names = {"DATA": 0x00, "STATUS": 0x04, "DIVISOR": 0x08, "INTERRUPT": 0x0C}
    plain = {0x08: ("divisor", 0xFFFF), 0x0C: ("on", 3)}

    def __init__(self, name: str, settings: dict[str, Any], clock_hz: int) -> None:
        self.text = ""
        self.board = 1
        super().__init__(name, settings, clock_hz)

    def reset(self) -> None:
        """Rule 14; table uart: tx idles at 1."""
        nearest = (2 * self.clock_hz + 115200) // (2 * 115200)  # halves go up; 1 to 65535
        self.divisor = self.settings.get("divisor", min(max(nearest, 1), 0xFFFF))
        self.on = 0
        self.reset_receiver()
        self.full = self.lost = self.shifting = False
        self.holding = self.frame = self.bit = self.clock = 0
        self.length = 1

    def read(self, offset: int) -> int:
        """Table uart."""
        if offset == 0x00:
            return self.received
        if offset == 0x04:
            receive = int(self.ready) << 2 | int(self.rx_lost) << 3 | int(self.framing) << 4
            send = int(not self.full) | int(not self.at_rest()) << 1 | int(self.lost) << 5
            return send | receive
        return super().read(offset)

    def reset_receiver(self) -> None:
        """Rule 14; table uart: two stages of 1, nothing received."""
        self.first = self.second = self.before = 1
        self.ready = self.rx_lost = self.framing = self.receiving = False
        self.received = self.bits = self.sample = self.countdown = self.step = 0

    def drive(self, pin: str, level: int) -> None:
        """Rule 24: the level is on rx in this row."""
        self.board = level

    def receiver_edge(self, t: int, taken: bool) -> None:
        """Table uart: a fall starts; then a sample every D rows from D // 2 on; 0 to 9."""
        if not self.receiving and self.before == 1 and self.second == 0:
            self.receiving, self.sample, self.bits = True, 0, 0
            self.step = self.divisor or 1
            self.countdown = self.step // 2
        if taken:
            self.ready, self.received = False, 0
        if self.receiving:
            if self.countdown == 0:
                self.take_sample(t)
                self.countdown = self.step
            self.countdown -= 1
        self.before, self.second, self.first = self.second, self.first, self.board

    def take_sample(self, t: int) -> None:
        """Table uart: start check, eight data bits, stop."""
        if self.sample == 0 and self.second == 1:
            self.receiving = False
        elif 1 <= self.sample <= 8:
            self.bits |= self.second << self.sample - 1
        elif self.sample == 9:
            self.receiving = False
            self.finish_byte(t)
        self.sample += 1

    def finish_byte(self, t: int) -> None:
        """Table uart: framing, lost, or received."""
        if self.second == 0:
            self.framing = True
            self.log(t, "framing", -1)
        elif self.ready:
            self.rx_lost = True
            self.log(t, "rx-lost", -1)
        else:
            self.ready, self.received = True, self.bits

    def last_stop(self) -> bool:
        """Table uart: this row is the last cycle of the stop bit."""
        return self.shifting and self.bit == 9 and self.clock == self.length - 1

    def row(self, t: int) -> tuple[int, ...]:
        """Table uart: the line; a byte counts once its last stop cycle is a row of the run."""
        interrupt = int((self.on & 1 and not self.full) or (self.on & 2 and self.ready))
        interrupt = 1 if interrupt else 0
        if not self.shifting:
            return 1, interrupt
        if self.last_stop():
            self.text += chr(self.frame >> 1 & 0xFF)
        return self.frame >> self.bit & 1, interrupt

    def edge(self, t: int, access: Access | None) -> None:
        """Table uart: shifter first, with the state of the row; then the write (rule 3)."""
        was_full = self.full
        self.shifter_edge()
        lane_0 = access is not None and access.lanes & 1 == 1
        taken = access is not None and not access.write and access.offset == 0 and lane_0
        if access is not None and access.write and access.offset == 0x04:
            acting = ones(access.data, access.lanes)
            self.rx_lost = self.rx_lost and not acting >> 3 & 1
            self.framing = self.framing and not acting >> 4 & 1
        self.receiver_edge(t, taken)
        if access is None or not access.write:
            return
        if access.offset == 0x00 and access.lanes & 1:
            if was_full:
                self.lost = True
                self.log(t, "byte-lost", access.number)
            else:
                self.holding, self.full = access.data & 0xFF, True
        elif access.offset == 0x04 and ones(access.data, access.lanes) >> 5 & 1:
            self.lost = False
        super().edge(t, access)

    def shifter_edge(self) -> None:
        """Table uart: take a byte, with the DIVISOR of this row (0 acts as 1), or go on."""
        if self.full and (not self.shifting or self.last_stop()):
            self.frame = self.holding << 1 | 0x200
            self.length = self.divisor or 1
            self.full, self.shifting = False, True
            self.bit = self.clock = 0
        elif self.shifting:
            self.shifting = not self.last_stop()
            self.clock += 1
            if self.clock == self.length:
                self.clock = 0
                self.bit += 1

    def at_rest(self) -> bool:
        """Table uart: TX_BUSY is 0."""
        return not (self.shifting or self.full)


class PulseLed(Device):
    """Table pulse_led."""

    outputs = ("line",)
    plain = {0x08: ("count", WORD), 0x0C: ("high", WORD), 0x10: ("period", WORD)}

    def __init__(self, name: str, settings: dict[str, Any], clock_hz: int) -> None:
        self.lamps = settings["lamps"]
        self.channels = settings.get("channels", 3)
        order = settings.get("order", "GRB" if self.channels == 3 else "GRBW")
        self.shifts = [{"R": 16, "G": 8, "B": 0, "W": 24}[c] for c in order]
        self.colours = {0x100 + 4 * n: 0 for n in range(self.lamps)}
        self.frames: list[tuple[int, int, list[int]]] = []
        self.names = {"CONTROL": 0x00, "STATUS": 0x04, "COUNT": 0x08, "HIGH": 0x0C, "PERIOD": 0x10}
        self.names |= {f"COLOUR.{n}": 0x100 + 4 * n for n in range(self.lamps)}
        super().__init__(name, settings, clock_hz)

    def reset(self) -> None:
        """Rule 14: COLOUR is a memory and stays."""
        self.count = self.settings.get("count", 0)
        self.high = self.settings.get("high", 0)
        self.period = self.settings.get("period", 0)
        self.busy = self.starting = self.missed = False
        self.repeat = 0
        self.number = self.lamp = self.bit = self.clock = self.colour = self.gap_clock = 0
        self.frame_count = self.frame_high = self.frame_period = 0

    def read(self, offset: int) -> int:
        """Table pulse_led."""
        if offset == 0x00:
            return self.repeat << 1
        if offset == 0x04:
            return int(self.busy) | int(self.missed) << 1
        return self.colours.get(offset, super().read(offset))

    def lamps_sent(self) -> int:
        """Table pulse_led: N = min(COUNT, lamps)."""
        return min(self.frame_count, self.lamps)

    def row(self, t: int) -> tuple[int, ...]:
        """Table pulse_led: the line in row t; a lamp is listed once its first bit is a row."""
        if not self.busy:
            return (0,)
        if self.starting:
            self.report(t)
        if self.lamp == self.lamps_sent():
            return (0,)
        if self.bit == 0 and self.clock == 0:
            self.frames[-1][2].append(self.colour)
        shift = self.shifts[self.bit // 8] + 7 - self.bit % 8
        high = self.frame_high >> 16 if self.colour >> shift & 1 else self.frame_high & 0xFFFF
        return (1 if self.clock < high else 0,)

    def report(self, t: int) -> None:
        """Table pulse_led: the events of cycle b, in the order of the table."""
        halves = (self.frame_high & 0xFFFF, self.frame_high >> 16)
        raw_period, raw_gap = self.frame_period & 0xFFFF, self.frame_period >> 16
        # READING: an empty frame stands in `frames` too, with no colours; one whose row b is
        # never reached (the run ends in b - 1) stands nowhere, neither as frame nor as event.
        self.frames.append((t, self.number, []))
        self.log(t, "frame" if self.lamps_sent() else "frame-empty", self.number)
        # READING: the remarks follow an empty frame too; "not below P" means P as it acts.
        for kind, is_so in (
            ("count-clipped", self.frame_count > self.lamps),
            ("high-too-long", max(halves) >= (raw_period or 1)),
            ("no-pulse", min(halves) == 0),
            ("period-zero", raw_period == 0),
            ("gap-zero", raw_gap == 0),
        ):
            if is_so:
                self.log(t, kind, self.number)

    def edge(self, t: int, access: Access | None) -> None:
        """Table pulse_led: the sender first, with the state of the row; then the write."""
        was_busy = self.busy
        self.starting = False
        if self.last_gap_row() and self.repeat:
            self.send(self.number)
        elif was_busy:
            self.sender_edge()
        if access is None or not access.write:
            return
        acting = ones(access.data, access.lanes)
        if access.offset == 0x00 and acting & 1 and was_busy:
            self.missed = True
            self.log(t, "frame-missed", access.number)
        elif access.offset == 0x00 and acting & 1:
            self.send(access.number)
        elif access.offset == 0x04 and acting & 2:
            self.missed = False
        elif access.offset in self.colours:
            old = self.colours[access.offset]
            mask = 0xFFFFFF if self.channels == 3 else WORD
            self.colours[access.offset] = merged(old, access.data, access.lanes) & mask
        if access.offset == 0x00 and access.lanes & 1:
            self.repeat = access.data >> 1 & 1
        super().edge(t, access)

    def last_gap_row(self) -> bool:
        """Table pulse_led: this row is the last one of BUSY."""
        gap = self.frame_period >> 16 or 1
        return self.busy and self.lamp == self.lamps_sent() and self.gap_clock == gap - 1

    def sender_edge(self) -> None:
        """Table pulse_led: 24 bits a lamp of P rows each, then G rows of gap (0 acts as 1)."""
        if self.lamp == self.lamps_sent():
            self.gap_clock += 1
            self.busy = self.gap_clock < (self.frame_period >> 16 or 1)
            return
        self.clock += 1
        if self.clock == (self.frame_period & 0xFFFF or 1):
            self.clock = 0
            self.bit += 1
        if self.bit == 8 * self.channels:
            self.bit = 0
            self.lamp += 1
            self.fetch()

    def fetch(self) -> None:
        """Table pulse_led: the colour as a read in the cycle before its first bit shows it."""
        if self.lamp < self.lamps_sent():
            self.colour = self.colours[0x100 + 4 * self.lamp]

    def send(self, number: int) -> None:
        """Table pulse_led: COUNT, HIGH and PERIOD of cycle b - 1 hold for the whole frame."""
        self.frame_count, self.frame_high, self.frame_period = self.count, self.high, self.period
        self.number = number
        self.busy = self.starting = True
        self.lamp = self.bit = self.clock = self.gap_clock = 0
        self.fetch()

    def at_rest(self) -> bool:
        """Table pulse_led: not BUSY, or the last gap row while it repeats."""
        return not self.busy or bool(self.repeat and self.last_gap_row())


class Timer(Device):
    """Table timer."""

    outputs = ("ring",)
    names = {"NOW": 0x00, "NOW_HIGH": 0x04, "ALARM": 0x08, "CONTROL": 0x0C, "STATUS": 0x10}
    plain = {0x08: ("alarm", WORD), 0x0C: ("control", 1)}

    def reset(self) -> None:
        """Rules 14 and 16: the counter reads 0 up to row r + L."""
        self.now = self.now_high = self.alarm = self.control = 0
        self.armed = self.rang = False

    def read(self, offset: int) -> int:
        """Table timer."""
        shown = {0x00: self.now & WORD, 0x04: self.now_high, 0x10: int(self.rang)}
        return shown.get(offset, super().read(offset))

    def row(self, t: int) -> tuple[int, ...]:
        """Table timer: ring = RANG and CONTROL.0."""
        return (int(self.rang and self.control == 1),)

    def edge(self, t: int, access: Access | None) -> None:
        """Table timer: a read of NOW keeps the high half; a set of RANG wins (rule 3)."""
        rings = self.armed and self.now & WORD == self.alarm
        super().edge(t, access)
        if access is not None and access.offset == 0x00 and not access.write:
            self.now_high = self.now >> 32 & WORD
        elif access is not None and access.offset == 0x08 and access.write:
            # READING: a write without any lane has not written ALARM (as for the memory).
            self.armed = self.armed or access.lanes != 0
        elif access is not None and access.offset == 0x10 and access.write:
            self.rang = self.rang and not ones(access.data, access.lanes) & 1
        self.rang = self.rang or rings
        self.now += 1


class Memory(Device):
    """Table memory: the words stay through a reset."""

    def __init__(self, name: str, settings: dict[str, Any], clock_hz: int) -> None:
        self.words: dict[int, int] = {}
        super().__init__(name, settings, clock_hz)

    def read(self, offset: int) -> int:
        """Table memory: a word never written reads 0."""
        return self.words.get(offset, 0)

    def edge(self, t: int, access: Access | None) -> None:
        """Table memory."""
        if access is None:
            return
        if not access.write:
            if access.offset not in self.words:
                self.log(t, "uninitialised-read", access.number)
        elif self.settings.get("kind") == "rom":
            # READING: a write without any lane is a write to the rom all the same.
            self.log(t, "rom-write", access.number)
        elif access.lanes:
            old = self.words.get(access.offset, 0)
            self.words[access.offset] = merged(old, access.data, access.lanes)


class Holder(Device):
    """Table holder."""

    names = {"PLAIN": 0x00, "SLOW": 0x04}
    plain = {0x00: ("quick", WORD), 0x04: ("slow", WORD)}

    def reset(self) -> None:
        """READING: the table names no reset value; 0, as everywhere."""
        self.quick = self.slow = 0

    def answer(self, offset: int, held: int) -> str:
        """Table holder; rule 4: k cycles more."""
        if offset == 0x08 or offset in (0x04, 0x10) and held < self.settings.get("hold", 0):
            return ""
        return "error" if offset in (0x0C, 0x10) else "ack"


DEVICES = {
    "gpio": Gpio,
    "uart": Uart,
    "pulse_led": PulseLed,
    "timer": Timer,
    "memory": Memory,
    "holder": Holder,
}


# ------------------------------------------------------------------------------------------ CPU


class Cpu:
    """Plays the steps (rules 10 to 12 and 16 to 18). `free` is F of the page."""

    def __init__(self, steps: list[dict[str, Any]], restarts: bool) -> None:
        self.steps, self.restarts = steps, restarts
        self.index = self.reads = self.raised = 0
        self.free = 1
        self.pausing = False
        self.access: Access | None = None

    def row(self, t: int) -> Access | None:
        """Rules 10 to 12: the access that is up in row t, raised now if it is due."""
        while self.access is None and self.index < len(self.steps) and t >= self.free:
            step = self.steps[self.index]
            if step["op"] == "mark":
                self.index += 1
            elif step["op"] == "pause":
                self.pause(step)
            elif t == self.free + (step["every"] if self.reads else step.get("wait", 0)):
                self.access = self.raise_access(t, step)
            else:
                break
        return self.access

    def pause(self, step: dict[str, Any]) -> None:
        """Rule 11: at its first row F grows by n; when the new F is there the pause is over."""
        if self.pausing:
            self.index += 1
        else:
            self.free += step["cycles"]
        self.pausing = not self.pausing

    def raise_access(self, t: int, step: dict[str, Any]) -> Access:
        """Rule 10."""
        write = step["op"] == "write"
        data = step["data"] if write else 0
        self.raised += 1
        return Access(self.raised - 1, t, step["address"], write, step["lanes"], data, self.index)

    def end(self, t: int, terminator: str, data: int) -> None:
        """Rules 8 and 12: the access ends in cycle t; F = e + 1."""
        self.access = None
        self.free = t + 1
        step = self.steps[self.index]
        if step["op"] == "poll":
            self.reads += 1
            # READING: the whole word read is compared, whatever the lanes of the poll.
            match = terminator == "ack" and data & step["mask"] == step["value"]
            if not match and self.reads < step.get("limit", 10_000_000):
                return
        self.index += 1
        self.reads = 0

    def cut(self) -> None:
        """Rules 15, 17 and 18, in row r: drop what is up or has begun, and find the next step."""
        if self.access is not None or self.pausing or self.reads:
            self.index += 1
        # READING: rule 18 ("restarts the CPU as well") holds for "restart" only; with "continue"
        # a reset after the last step leaves no step to play.
        if self.restarts:
            self.index = 0
        self.access, self.pausing, self.reads = None, False, 0

    def reset_edge(self, t: int) -> None:
        """Rule 16: the last row with RST high is t = r + L - 1, so F = r + L + 1."""
        self.free = t + 2

    def finished(self, t: int) -> bool:
        """Rule 19: no step left in row t, and t is at least F unless there never was a step."""
        none_left = self.access is None and self.index == len(self.steps)
        return none_left and (t >= self.free or not self.steps)


# --------------------------------------------------------------------------------------- the run


class Run:
    """All parts of one bench, and the rows of its recording."""

    def __init__(self, bench: dict[str, Any]) -> None:
        self.bench = bench
        self.devices: list[Device] = [
            DEVICES[plan["device"]](plan["name"], plan.get("settings") or {}, bench["clock_hz"])
            for plan in bench["slots"]
        ]
        slots = [Slot(plan, dev) for plan, dev in zip(bench["slots"], self.devices)]
        self.fabric = Fabric(bench["fabric"], slots)
        self.cpu = Cpu(bench["steps"], bench["after_reset"] == "restart")
        self.resets = {reset["at"]: reset["length"] for reset in bench["resets"]}
        self.reset_left = 0
        self.accesses: list[tuple[Any, ...]] = []
        self.pins: dict[str, list[tuple[int, int]]] = {}
        self.levels: list[tuple[int, ...] | None] = [None] * len(self.devices)
        self.inputs: dict[int, list[tuple[Any, str, int]]] = {}
        self.plan_inputs()

    def plan_inputs(self) -> None:
        """Rule 24: which pins change in which row (of two for one pin and row, the later)."""
        by_name = {device.name: device for device in self.devices}
        for entry in self.bench["inputs"]:
            slot, _, pin = entry["pin"].partition(".")
            change = (by_name[slot], pin, entry["level"])
            self.inputs.setdefault(entry["cycle"], []).append(change)

    def cycle(self, t: int) -> dict[str, Any] | None:
        """One cycle: row t, then the edge that ends it. Gives the result after the last row."""
        for device, pin, level in self.inputs.get(t, ()):
            device.drive(pin, level)
        starts = t in self.resets
        if starts:
            self.reset_left = self.resets[t]
        rst = self.reset_left > 0
        access = self.bus_row(t, rst, starts)
        terminator = self.fabric.row(access) if access is not None else ""
        self.pin_row(t)
        ended = self.ending(t, rst, access, terminator)
        registers = self.registers() if ended else {}
        self.edge(t, rst, access, terminator)
        if ended and access is not None and not terminator:
            self.record(access, t, "none", 0)
        return self.result(t, ended, registers) if ended else None

    def bus_row(self, t: int, rst: bool, starts: bool) -> Access | None:
        """Rules 10 and 15: the access that is up in row t, not masked by RST."""
        if rst and not starts:
            return None
        access = self.cpu.row(t)
        if access is not None and access.start == t:
            self.fabric.decode(access)
        if not starts:
            return access
        if access is not None:
            self.record(access, t, "reset", 0)
        self.cpu.cut()
        return None

    def pin_row(self, t: int) -> None:
        """Rule 2: the pins of row t, noted where they change."""
        for k, device in enumerate(self.devices):
            levels = device.row(t)
            if levels != self.levels[k]:
                self.levels[k] = levels
                self.note_pins(t, device, levels)
        self.wire_row()

    def wire_row(self) -> None:
        """Rule 12e: input pins get the levels of this row from the outputs wired to them."""
        now = {
            f"{device.name}.{pin}": level
            for device, levels in zip(self.devices, self.levels)
            for pin, level in zip(device.outputs, levels or ())
        }
        by_name = {device.name: device for device in self.devices}
        for wire in self.bench.get("wires", ()):
            slot, _, pin = wire["to"].partition(".")
            level = now[wire["from"]]
            undriven = 1 if pin == "rx" else 0
            by_name[slot].drive(pin, undriven if level == 2 else level)

    def note_pins(self, t: int, device: Device, levels: tuple[int, ...]) -> None:
        """Interface: (0, level in row 0), then changes only."""
        for n, pin in enumerate(device.outputs):
            history = self.pins.setdefault(f"{device.name}.{pin}", [])
            level = levels[n]
            if not history or history[-1][1] != level:
                history.append((t, level))

    def registers(self) -> dict[str, dict[str, int]]:
        """Interface: the registers as a read in this row shows them."""
        return {
            device.name: {name: device.read(offset) for name, offset in device.names.items()}
            for device in self.devices
        }

    def ending(self, t: int, rst: bool, access: Access | None, terminator: str) -> str:
        """Rules 9 and 19 to 21: how the run ends in row t, or ""."""
        # READING: of several ends in one row the one with the lowest rule counts.
        # READING: no proof of rule 9 is sought; a hang is always s + hang_after.
        if access is not None and not terminator and access.age >= self.bench["hang_after"]:
            return "hang"
        # READING: a reset that starts in row e + settle counts as reached too (rule 16: a new F).
        if not rst and access is None and self.cpu.finished(t):
            if all(device.at_rest() for device in self.devices):
                return "done"
            # READING: with settle = 0 the row is still at least F.
            if t >= self.cpu.free - 1 + self.bench["settle"]:
                return "settle"
        until = self.bench.get("until")
        return "until" if until is not None and t >= until - 1 else ""

    def edge(self, t: int, rst: bool, access: Access | None, terminator: str) -> None:
        """Rules 1, 2, 3, 14 and 16: the rising edge that ends cycle t."""
        if rst:
            for device in self.devices:
                device.reset()
            self.cpu.reset_edge(t)
            self.reset_left -= 1
            return
        acting = self.end_access(t, access, terminator) if access is not None else None
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
        self.cpu.end(t, terminator, data)
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
            ((event[0], k, KINDS.index(event[2])), event)
            for k, device in enumerate(self.devices)
            for event in device.events
        ]
        return [event for _, event in sorted(keyed, key=lambda pair: pair[0])]

    def result(self, t: int, ended: str, registers: dict[str, dict[str, int]]) -> dict[str, Any]:
        """Interface: the result; `cycles` is the last row + 1 (rule 19)."""
        return {
            "accesses": self.accesses,
            "pins": self.pins,
            "events": self.sorted_events(),
            "frames": {d.name: d.frames for d in self.devices if isinstance(d, PulseLed)},
            "texts": {d.name: d.text for d in self.devices if isinstance(d, Uart)},
            "registers": registers,
            "cycles": t + 1,
            "ended": ended,
        }


def simulate(bench: dict[str, Any]) -> dict[str, Any]:
    """Rule 13: from row 0 on, one cycle after another, until a row is the last."""
    run = Run(bench)
    t = 0
    while (result := run.cycle(t)) is None:
        t += 1
    return result
