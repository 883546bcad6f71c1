"""A naive reference model of the bus simulator: one cycle at a time, from the page alone.

"Rule n" is a rule of the semantics page (busbox.bus); "addition n" is one of the additions to
it (A1 to A4 are the rules 12a to 12f there); "table" is the register table of a device (its
docstring). Its author saw those pages, and nothing of the package. A comment that begins with
"READING" marks a place where the page was silent or could be read in two ways; the reading that
was taken stands there.

One cycle has two halves. `row`: every signal of row t, from the registers as they stand. `edge`:
the clock edge that ends cycle t; every register gets its next value. Inside an `edge` the
hardware's own steps come first (they see the state of the row) and the write comes last, except
for a bit that hardware sets, which wins over the write (rule 3).

No output pin depends on an input pin of the same row, so a row is: the output pins, then the wires
and the input pins, then the CPU, which may look at any pin.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

WORD = 0xFFFFFFFF
LANES = [sum(0xFF << 8 * k for k in range(4) if lanes >> k & 1) for lanes in range(16)]
# READING: "as listed on the page" is the order in which the tables first name each kind, so
# `frame-missed` comes before a `frame` of the same cycle and slot; the two of receive come after
# `byte-lost`, as the newer table comes after the older one.
KINDS = (
    "byte-lost",
    "framing",
    "rx-lost",
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
    inputs: tuple[str, ...] = ()
    undriven = 0  # the level of an input pin that nothing drives
    names: Mapping[str, int] = MappingProxyType({})
    # rw registers: offset -> (attribute, its bits)
    plain: Mapping[int, tuple[str, int]] = MappingProxyType({})

    def __init__(self, name: str, settings: dict[str, Any], clock_hz: int) -> None:
        self.name, self.settings, self.clock_hz = name, settings, clock_hz
        self.events: list[tuple[int, str, str, int]] = []
        self.output_bit = {pin: n for n, pin in enumerate(self.outputs)}
        self.input_bit = {pin: n for n, pin in enumerate(self.inputs)}
        self.board = sum(self.undriven << n for n in range(len(self.inputs)))
        self.released = 0  # the outputs that are released in this row, bit k for outputs[k]
        self.noted: tuple[int, int] | None = None  # the output pins as last recorded
        self.shown = 0  # the output pins of this row
        self.reset()

    def drive(self, pin: str, level: int) -> None:
        """Rule 24, addition 4: the level that an input pin has in this row."""
        bit = self.input_bit[pin]
        self.board = self.board & ~(1 << bit) | (self.undriven if level == 2 else level) << bit

    def level(self, pin: str) -> int:
        """Additions 1, 3 and 4: the level of a pin in this row (2: a released output)."""
        if pin in self.input_bit:
            return self.board >> self.input_bit[pin] & 1
        bit = self.output_bit[pin]
        return 2 if self.released >> bit & 1 else self.shown >> bit & 1

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

    def row(self, t: int) -> int:
        """Output levels of row t, bit k for outputs[k]."""
        return 0

    def edge(self, t: int, access: Access | None) -> None:
        """The edge that ends cycle t; `access` is the one acknowledged in t by this device."""
        if access is not None and access.write:
            self.write_plain(access.offset, access.data, access.lanes)

    def at_rest(self) -> bool:
        """Rule 19."""
        return True


class Gpio(Device):
    """Table gpio."""

    names = MappingProxyType(
        {
            "OUT": 0x00,
            "SET": 0x04,
            "CLEAR": 0x08,
            "TOGGLE": 0x0C,
            "IN": 0x10,
            "ENABLE": 0x14,
            "RISE": 0x18,
            "FALL": 0x1C,
            "EVENTS": 0x20,
        }
    )

    def __init__(self, name: str, settings: dict[str, Any], clock_hz: int) -> None:
        self.width = settings.get("width", 32)
        self.bits = (1 << self.width) - 1
        plain = {0x00: "out", 0x14: "enable", 0x18: "rise", 0x1C: "fall"}
        self.plain = {offset: (register, self.bits) for offset, register in plain.items()}
        self.outputs = (*(f"out.{n}" for n in range(self.width)), "interrupt")
        self.inputs = tuple(f"in.{n}" for n in range(self.width))
        super().__init__(name, settings, clock_hz)

    def reset(self) -> None:
        """Rule 14: the synchronisers are registers, the pins are not."""
        self.out = self.first = self.second = self.before = 0
        self.rise = self.fall = self.happened = 0
        self.enable = self.bits

    def read(self, offset: int) -> int:
        """Table gpio."""
        if offset == 0x10:
            return self.second
        return self.happened if offset == 0x20 else super().read(offset)

    def row(self, t: int) -> int:
        """Table gpio: outputs follow OUT (ENABLE 0 releases), `interrupt` is EVENTS not 0."""
        self.released = ~self.enable & self.bits
        return self.out | int(self.happened != 0) << self.width

    def edge(self, t: int, access: Access | None) -> None:
        """Table gpio: edges of IN with RISE and FALL of this row; then the write; a set wins."""
        risen = self.second & ~self.before & self.rise
        fallen = self.before & ~self.second & self.fall
        self.before, self.second, self.first = self.second, self.first, self.board
        super().edge(t, access)
        if access is not None and access.write:
            self.act(access.offset, ones(access.data, access.lanes) & self.bits)
        self.happened |= risen | fallen

    def act(self, offset: int, acting: int) -> None:
        """Table gpio: ones act on OUT; ones clear EVENTS."""
        if offset == 0x04:
            self.out |= acting
        elif offset == 0x08:
            self.out &= ~acting
        elif offset == 0x0C:
            self.out ^= acting
        elif offset == 0x20:
            self.happened &= ~acting


class Receiver:
    """Table uart, "Receive": two synchroniser stages and a sampler, one row at a time."""

    def __init__(self) -> None:
        self.first = self.second = self.before = 1
        self.searching = True
        self.length = 1  # D of this byte
        self.to_go = 0  # rows up to the next sample
        self.samples = self.bits = 0

    def edge(self, pin: int, divisor: int) -> int | None:
        """One row: a fall starts a byte; gives the ten samples in the row of the last one."""
        if self.searching and self.before == 1 and self.second == 0:
            self.start(divisor)
        byte = None
        if not self.searching and self.to_go == 0:
            byte = self.sample()
        elif not self.searching:
            self.to_go -= 1
        self.before, self.second, self.first = self.second, self.first, pin
        return byte

    def start(self, divisor: int) -> None:
        """Row c + 2: D as DIVISOR reads now (0 acts as 1); the start check is D//2 rows on."""
        self.length = divisor or 1
        self.to_go = self.length // 2
        self.samples = self.bits = 0
        self.searching = False

    def sample(self) -> int | None:
        """Row c + 2 + D//2 + k D: k = 0 start check, 1 to 8 data, 9 stop."""
        self.bits |= self.second << self.samples
        false_start = self.samples == 0 and self.second == 1
        last = self.samples == 9
        self.samples += 1
        self.to_go = self.length - 1
        self.searching = false_start or last
        return self.bits if last else None


class Uart(Device):
    """Table uart: a holding register and a shifter; a receiver and one byte that waits."""

    outputs = ("tx", "interrupt")
    inputs = ("rx",)
    undriven = 1
    names = MappingProxyType({"DATA": 0x00, "STATUS": 0x04, "DIVISOR": 0x08, "INTERRUPT": 0x0C})
    plain = MappingProxyType({0x08: ("divisor", 0xFFFF), 0x0C: ("interrupt", 0x3)})

    def __init__(self, name: str, settings: dict[str, Any], clock_hz: int) -> None:
        self.text = ""
        super().__init__(name, settings, clock_hz)

    def reset(self) -> None:
        """Rule 14; table uart: tx idles at 1."""
        # Halves go up, within 1 to 65535: as the package does (changed from the author's reading).
        self.divisor = self.settings.get(
            "divisor", min(max((2 * self.clock_hz + 115200) // 230400, 1), 0xFFFF)
        )
        self.full = self.lost = self.shifting = False
        self.holding = self.frame = self.bit = self.clock = 0
        self.length = 1
        self.receiver = Receiver()
        self.ready = self.rx_lost = self.framing = False
        self.byte = self.interrupt = 0

    def read(self, offset: int) -> int:
        """Table uart."""
        if offset == 0x00:
            return self.byte if self.ready else 0
        return self.status() if offset == 0x04 else super().read(offset)

    def status(self) -> int:
        """Table uart: the bits of STATUS from bit 0 on."""
        sending = int(not self.full) | int(not self.at_rest()) << 1 | int(self.lost) << 5
        return sending | int(self.ready) << 2 | int(self.rx_lost) << 3 | int(self.framing) << 4

    def last_stop(self) -> bool:
        """Table uart: this row is the last cycle of the stop bit."""
        return self.shifting and self.bit == 9 and self.clock == self.length - 1

    def row(self, t: int) -> int:
        """Table uart: tx and `interrupt`; a byte counts once its last stop cycle is a row."""
        asked = self.interrupt & (int(not self.full) | int(self.ready) << 1)
        line = 1
        if self.shifting:
            line = self.frame >> self.bit & 1
            if self.last_stop():
                self.text += chr(self.frame >> 1 & 0xFF)
        return line | int(asked != 0) << 1

    def edge(self, t: int, access: Access | None) -> None:
        """Table uart: the hardware, with the state of the row; then the write (rule 3)."""
        was_full = self.full
        self.shifter_edge()
        samples = self.receiver.edge(self.board, self.divisor)
        if access is not None:
            self.access_edge(t, access, was_full)
        if samples is not None:
            self.arrive(t, samples)
        super().edge(t, access)

    def access_edge(self, t: int, access: Access, was_full: bool) -> None:
        """Table uart: DATA sends and takes if lane 0 is selected; ones clear STATUS."""
        if access.offset == 0x04 and access.write:
            self.clear(ones(access.data, access.lanes))
        if access.offset != 0x00 or not access.lanes & 1:
            return
        if not access.write:
            self.ready = False
        elif was_full:
            self.lost = True
            self.log(t, "byte-lost", access.number)
        else:
            self.holding, self.full = access.data & 0xFF, True

    def clear(self, acting: int) -> None:
        """Table uart: bits 3 to 5 of STATUS, ones clear."""
        self.rx_lost = self.rx_lost and not acting >> 3 & 1
        self.framing = self.framing and not acting >> 4 & 1
        self.lost = self.lost and not acting >> 5 & 1

    def arrive(self, t: int, samples: int) -> None:
        """Table uart, row q: after a read of this row has made room; a set wins over a clear."""
        if not samples >> 9 & 1:
            self.framing = True
            self.log(t, "framing", -1)
        elif self.ready:
            self.rx_lost = True
            self.log(t, "rx-lost", -1)
        else:
            self.byte, self.ready = samples >> 1 & 0xFF, True

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
        """Table uart: TX_BUSY is 0 (receiving does not count)."""
        return not (self.shifting or self.full)


class PulseLed(Device):
    """Table pulse_led."""

    outputs = ("line",)
    plain = MappingProxyType(
        {
            0x00: ("control", 0x2),
            0x08: ("count", WORD),
            0x0C: ("high", WORD),
            0x10: ("period", WORD),
        }
    )

    def __init__(self, name: str, settings: dict[str, Any], clock_hz: int) -> None:
        self.lamps, self.channels = settings["lamps"], settings.get("channels", 3)
        order = settings.get("order") or "GRBW"[: self.channels]
        self.shifts = [{"W": 24, "R": 16, "G": 8, "B": 0}[letter] for letter in order]
        self.colour_bits = (1 << 8 * self.channels) - 1
        self.colours = {0x100 + 4 * n: 0 for n in range(self.lamps)}
        self.frames: list[tuple[int, int, list[int]]] = []
        names = {"CONTROL": 0x00, "STATUS": 0x04, "COUNT": 0x08, "HIGH": 0x0C, "PERIOD": 0x10}
        self.names = names | {f"COLOUR.{n}": 0x100 + 4 * n for n in range(self.lamps)}
        super().__init__(name, settings, clock_hz)

    def reset(self) -> None:
        """Rule 14: COLOUR is a memory and stays."""
        self.count = self.settings.get("count", 0)
        self.high = self.settings.get("high", 0)
        self.period = self.settings.get("period", 0)
        self.busy = self.starting = self.missed = False
        self.control = 0  # bit 1: REPEAT
        self.number = self.lamp = self.bit = self.clock = self.colour = self.gap_clock = 0
        self.frame_count = self.frame_high = self.frame_period = self.frame_lamps = 0

    def read(self, offset: int) -> int:
        """Table pulse_led."""
        if offset == 0x04:
            return int(self.busy) | int(self.missed) << 1
        return self.colours.get(offset, super().read(offset))

    def row(self, t: int) -> int:
        """Table pulse_led: the line in row t; a lamp is listed once its first bit is a row."""
        if not self.busy:
            return 0
        if self.starting:
            self.report(t)
        if self.lamp == self.frame_lamps:
            return 0
        if self.bit == 0 and self.clock == 0:
            self.frames[-1][2].append(self.colour)
        shift = self.shifts[self.bit // 8] + 7 - self.bit % 8
        high = self.frame_high >> 16 if self.colour >> shift & 1 else self.frame_high & 0xFFFF
        return 1 if self.clock < high else 0

    def report(self, t: int) -> None:
        """Table pulse_led: the events of cycle b, in the order of the table."""
        halves = (self.frame_high & 0xFFFF, self.frame_high >> 16)
        raw_period, raw_gap = self.frame_period & 0xFFFF, self.frame_period >> 16
        # READING: an empty frame stands in `frames` too, with no colours; one whose row b is
        # never reached (the run ends in b - 1) stands nowhere, neither as frame nor as event.
        self.frames.append((t, self.number, []))
        self.log(t, "frame" if self.frame_lamps else "frame-empty", self.number)
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
        if was_busy:
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
            self.colours[access.offset] = merged(old, access.data, access.lanes) & self.colour_bits
        super().edge(t, access)

    def last_gap(self) -> bool:
        """Table pulse_led: this row is the last one of BUSY (row g)."""
        gap = self.frame_period >> 16 or 1
        return self.lamp == self.frame_lamps and self.gap_clock == gap - 1

    def repeating(self) -> bool:
        """Table pulse_led: a read of CONTROL in this row shows REPEAT."""
        return self.control >> 1 & 1 == 1

    def sender_edge(self) -> None:
        """Table pulse_led: the bits, then the gap; its last row g ends the frame or repeats it."""
        if self.lamp < self.frame_lamps:
            self.bit_edge()
        elif not self.last_gap():
            self.gap_clock += 1
        elif self.repeating():
            self.send(self.number)
        else:
            self.busy = False

    def bit_edge(self) -> None:
        """Table pulse_led: 8 x channels bits a lamp, of P rows each (0 acts as 1)."""
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
        if self.lamp < self.frame_lamps:
            self.colour = self.colours[0x100 + 4 * self.lamp]

    def send(self, number: int) -> None:
        """Table pulse_led: COUNT, HIGH and PERIOD of cycle b - 1 hold for the whole frame."""
        self.frame_count, self.frame_high, self.frame_period = self.count, self.high, self.period
        self.frame_lamps = min(self.count, self.lamps)
        self.number = number
        self.busy = self.starting = True
        self.lamp = self.bit = self.clock = self.gap_clock = 0
        self.fetch()

    def at_rest(self) -> bool:
        """Table pulse_led: not BUSY, or in row g of a frame that would repeat."""
        return not self.busy or (self.repeating() and self.last_gap())


class Timer(Device):
    """Table timer."""

    outputs = ("ring",)
    names = MappingProxyType(
        {"NOW": 0x00, "NOW_HIGH": 0x04, "ALARM": 0x08, "CONTROL": 0x0C, "STATUS": 0x10}
    )
    plain = MappingProxyType({0x08: ("alarm", WORD), 0x0C: ("control", 0x1)})

    def reset(self) -> None:
        """Rules 14 and 16: the counter reads 0 up to row r + L."""
        self.now = self.now_high = self.alarm = self.control = 0
        self.armed = self.rang = False

    def read(self, offset: int) -> int:
        """Table timer."""
        shown = {0x00: self.now & WORD, 0x04: self.now_high, 0x10: int(self.rang)}
        return shown.get(offset, super().read(offset))

    def row(self, t: int) -> int:
        """Table timer: `ring` is RANG and CONTROL.0."""
        return int(self.rang) & self.control

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

    names = MappingProxyType({"PLAIN": 0x00, "SLOW": 0x04})
    plain = MappingProxyType({0x00: ("quick", WORD), 0x04: ("slow", WORD)})

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


class Track:
    """A list of steps as it is played: the main steps, or those of a handler (rules 10 to 12).

    `free` is F of the page. `waited` counts the rows that the step's wait, the pause, the gap of
    a poll or the await has had: a track that stands still while a handler runs keeps its rest.
    """

    def __init__(self, steps: list[dict[str, Any]], first: int, free: int) -> None:
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
        """Rules 10 to 12, addition 2: the idle rows before the step acts or a pause is over."""
        step = self.steps[self.index]
        if step["op"] == "pause":
            return step["cycles"]
        return step["every"] if self.reads else step.get("wait", 0)

    def advance(self, t: int) -> None:
        """Rule 11: in row t, marks and pauses that have had their rows take no time."""
        while (op := self.op()) == "mark" or (op == "pause" and self.waited == self.gap()):
            self.finish(t)

    def due(self) -> bool:
        """Rules 10 and 12, addition 2: an access or a reset step starts in this row."""
        return self.op() not in ("", "pause", "await") and self.waited == self.gap()

    def over(self, t: int) -> bool:
        """Rule 19: no step left in row t, and t is at least F."""
        return self.index == len(self.steps) and t >= self.free

    def end(self, t: int, terminator: str, data: int) -> None:
        """Rules 8 and 12: the access ends in cycle t; F = e + 1."""
        step = self.steps[self.index]
        reads = self.reads + 1
        match = terminator == "ack" and data & step.get("mask", 0) == step.get("value", 0)
        if step["op"] != "poll" or match or reads >= step.get("limit", 10_000_000):
            self.finish(t + 1)
        else:
            self.access, self.free, self.waited, self.reads = None, t + 1, 0, reads

    def begun(self, t: int) -> bool:
        """Rule 17, additions 1 to 3: whether a reset in row t cuts the step off."""
        op = self.op()
        if t < self.free or not op:
            return False
        # Rule 12d: a pause or an await that a handler stopped in its first row has begun.
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
        self.main = Track(bench["steps"], 0, 1)
        self.handlers: list[tuple[int, dict[str, Any]]] = []
        first = len(bench["steps"])
        for plan in bench.get("handlers") or []:
            self.handlers.append((first, plan))
            first += len(plan["steps"])
        self.handler: Track | None = None  # the one that is running
        self.b = 0  # row b of the last handler that is over
        self.chain = 0  # row in which the first of the handlers that follow one another was taken
        self.leave = 0  # and its idle cycles at the end
        self.raised = 0
        self.resetting = False  # a `reset` step acts in this row
        self.given_up: list[tuple[int, int]] = []

    def active(self) -> Track:
        """Addition 3: the main steps stand still while a handler runs."""
        return self.handler or self.main

    def row(self, t: int) -> Access | None:
        """Rules 10 to 12: the access that is up in row t, raised now if it is due."""
        track = self.active()
        if track.access is not None or t < track.free:
            return track.access
        track.advance(t)
        if track is self.handler and self.left(t, track):
            return self.row(t)
        if not track.due():
            return None
        if track.op() == "reset":
            self.resetting = True
        else:
            track.access = self.raise_access(t, track)
        return track.access

    def left(self, t: int, track: Track) -> bool:
        """Addition 3: is this row b = F_h + leave? Then it is the first one of the main steps."""
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
        """Additions 1 and 3, for a row with no access up and RST low: take a handler, or wait on."""
        track = self.active()
        if t < track.free or (self.handler is None and self.take(t)):
            return
        if track.op() == "await":
            self.look(t, track)
        else:
            track.waited += 1

    def take(self, t: int) -> bool:
        """Addition 3: the first handler of the list whose pin is high starts in row t."""
        for first, plan in self.handlers:
            # READING: a released output (level 2) is not high, and shows neither level to an await.
            if self.level(plan["pin"]) == 1:
                if self.b != t:
                    self.chain = t
                self.handler = Track(plan["steps"], first, t + 1 + plan["enter"])
                self.leave = plan["leave"]
                return True
        return False

    def crowded(self, t: int, most: int) -> bool:
        """Rule 12e: would one more handler be taken in row t, b of the one before, after so many?"""
        high = any(self.level(plan["pin"]) == 1 for _, plan in self.handlers)
        return self.handler is None and self.b == t and t - self.chain >= most and high

    def look(self, t: int, track: Track) -> None:
        """Addition 1: an await looks at its pin in row t, the last time in its row N."""
        step = track.steps[track.index]
        track.waited += 1
        if self.level(step["pin"]) == step["level"]:
            track.finish(t + 1)
        elif track.waited == step["limit"]:
            self.given_up.append((track.number(), t))
            track.finish(t + 1)

    def cut(self, t: int) -> None:
        """Rules 15, 17 and 18, addition 3, in row r: abandon a handler, find the next step."""
        self.main.cut(t)
        # READING: rule 18 ("restarts the CPU as well") holds for "restart" only; with "continue"
        # a reset after the last step leaves no step to play.
        if self.restarts:
            self.main.index = 0
        self.handler, self.resetting = None, False

    def reset_edge(self, t: int) -> None:
        """Rule 16, addition 2: the last row with RST high is t = r + L - 1, so F = r + L + 1."""
        if self.resetting:
            self.active().finish(t + 2)
            self.resetting = False
        else:
            self.main.free = t + 2

    def finished(self, t: int) -> bool:
        """Rule 19: no step left in row t, and t is at least F unless there never was a step."""
        return self.handler is None and (self.main.over(t) or not self.main.steps)


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
        """Rule 24: which pins change in which row (of two for one pin and row, the later)."""
        for entry in self.bench["inputs"]:
            change = (*self.places[entry["pin"]], entry["level"])
            self.inputs.setdefault(entry["cycle"], []).append(change)

    def level(self, name: str) -> int:
        """Additions 1 and 3: the level in this row of the pin "slot.pin", output or input."""
        device, pin = self.places[name]
        return device.level(pin)

    def cycle(self, t: int) -> dict[str, Any] | None:
        """One cycle: row t, then the edge that ends it. Gives the result after the last row."""
        self.pin_row(t)
        starts = self.reset_row(t)
        access = self.bus_row(t, starts)
        if self.cpu.resetting:
            starts, self.reset_left = True, 1
        rst = self.reset_left > 0
        terminator = self.fabric.row(access) if access is not None else ""
        ended = self.ending(t, rst, access, terminator)
        registers = self.registers() if ended else {}
        if rst:
            self.reset_edge(t, starts)
        else:
            self.edge(t, access, terminator)
        if ended and access is not None and not terminator:
            self.record(access, t, "none", 0)
        return self.result(t, ended, registers) if ended else None

    def pin_row(self, t: int) -> None:
        """Rules 2 and 24, addition 4: output pins, noted where they change, then input pins."""
        for device in self.devices:
            device.shown = device.row(t)
            if device.noted != (device.shown, device.released):
                device.noted = (device.shown, device.released)
                self.note_pins(t, device)
        for source, output, target, pin in self.wires:
            target.drive(pin, source.level(output))
        for device, pin, level in self.inputs.get(t, ()):
            device.drive(pin, level)

    def note_pins(self, t: int, device: Device) -> None:
        """Interface: (0, level in row 0), then changes only."""
        for pin in device.outputs:
            history = self.pins.setdefault(f"{device.name}.{pin}", [])
            level = device.level(pin)
            if not history or history[-1][1] != level:
                history.append((t, level))

    def reset_row(self, t: int) -> bool:
        """Rule 14: does a reset of the bench start in row t?"""
        if t in self.resets:
            self.reset_left = self.resets[t]
        return t in self.resets

    def bus_row(self, t: int, starts: bool) -> Access | None:
        """Rules 10 and 15: the access that is up in row t, not masked by RST."""
        if self.reset_left > 0 and not starts:
            return None
        access = self.cpu.row(t)
        if access is not None and access.start == t:
            self.fabric.decode(access)
        if not starts:
            return access
        if access is not None:
            self.record(access, t, "reset", 0)
        self.cpu.cut(t)
        return None

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
        idle = not rst and access is None
        over = idle and self.cpu.finished(t)
        if over and all(device.at_rest() for device in self.devices):
            return "done"
        if idle and self.cpu.crowded(t, self.bench["hang_after"]):
            return "hang"
        # READING: with settle = 0 the row is still at least F.
        if over and t >= self.cpu.main.free - 1 + self.bench["settle"]:
            return "settle"
        until = self.bench.get("until")
        return "until" if until is not None and t >= until - 1 else ""

    def reset_edge(self, t: int, starts: bool) -> None:
        """Rules 14 and 16: a rising edge with RST high."""
        for device in self.devices:
            if starts:
                # READING: rule 25, what a device reports in row r (an event of receive) happened.
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
            "awaits_given_up": self.cpu.given_up,
        }


def simulate(bench: dict[str, Any]) -> dict[str, Any]:
    """Rule 13: from row 0 on, one cycle after another, until a row is the last."""
    run = Run(bench)
    t = 0
    while (result := run.cycle(t)) is None:
        t += 1
    return result
