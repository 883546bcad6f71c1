"""Mistakes put into the hardware twins, one at a time, and where a comparison must show each.

A mutant's texts are those of the twin's file, or, where ``base`` is set, of the register part in
``busbox/bus/hardware.py`` that the twin is then built on. ``quick`` ones run in the normal tests.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Mutant:
    """One mistake.

    Attributes
    ----------
    slot : of the bench in which it is looked for
    mistake : what is wrong, for a reader
    old, new : the text that occurs once in the source, and what stands there instead
    names : what a report may name first: registers, pins, or ``data``, ``end``, ``terminator``; a byte
        that is received shows in DATA and STATUS at once
    base : it is in the register part
    quick : few accesses show it, and the run is short
    """

    slot: str
    mistake: str
    old: str
    new: str
    names: tuple[str, ...]
    base: bool = False
    quick: bool = False


GPIO = (
    Mutant(
        "levers",
        "a third synchroniser stage",
        "stages=SYNCHRONISER_STAGES,",
        "stages=SYNCHRONISER_STAGES + 1,",
        ("IN",),
    ),
    Mutant(
        "levers",
        "a reset leaves the synchroniser as it is",
        "reset_less=False",
        "reset_less=True",
        ("IN", "EVENTS"),
    ),
    Mutant(
        "levers",
        "edges are seen before the synchroniser",
        "before.eq(self.word)",
        "before.eq(self.lines)",
        ("EVENTS",),
    ),
    Mutant(
        "levers",
        "rising and falling edges are swapped",
        "self.rose.eq(self.word & ~before), self.fell.eq(before & ~self.word)",
        "self.fell.eq(self.word & ~before), self.rose.eq(before & ~self.word)",
        ("EVENTS",),
    ),
    Mutant(
        "levers",
        "TOGGLE sets only",
        "^ registers.TOGGLE.ones",
        "| registers.TOGGLE.ones",
        ("OUT",),
        quick=True,
    ),
    Mutant("levers", "CLEAR does nothing", "& ~registers.CLEAR.ones", "", ("OUT",)),
    Mutant(
        "levers",
        "RISE counts in the cycle of its write",
        "inputs.rose & registers.RISE.value",
        "inputs.rose & registers.RISE.after",
        ("EVENTS",),
    ),
    Mutant(
        "levers",
        "FALL keeps a low level and no edge",
        "inputs.fell & registers.FALL.value",
        "~inputs.word & registers.FALL.value",
        ("EVENTS",),
    ),
    Mutant(
        "levers",
        "outputs move in the cycle of a write",
        "self.pin_out.eq(out.value)",
        "self.pin_out.eq(out.after)",
        ("out",),
    ),
    Mutant(
        "levers",
        "outputs are released in the cycle of a write",
        "self.pin_out_enable.eq(registers.ENABLE.value)",
        "self.pin_out_enable.eq(registers.ENABLE.after)",
        ("out",),
    ),
    Mutant(
        "levers",
        "the highest event raises no interrupt",
        "self.pin_interrupt.eq(events.value.any())",
        "self.pin_interrupt.eq(events.value[:-1].any())",
        ("interrupt",),
    ),
    Mutant(
        "levers",
        "the interrupt comes in the cycle of the edge",
        "self.pin_interrupt.eq(events.value.any())",
        "self.pin_interrupt.eq((events.value | events.sets).any())",
        ("interrupt",),
    ),
    Mutant(
        "levers",
        "IN shows the pins without the stages",
        "registers.IN.show(inputs.word)",
        "registers.IN.show(self.pin_in)",
        ("IN",),
    ),
    Mutant(
        "levers",
        "a clear wins over a set",
        "cell.after & ~(cell.ones & cell.clears) | cell.sets",
        "(cell.after | cell.sets) & ~(cell.ones & cell.clears)",
        ("EVENTS",),
        base=True,
    ),
    Mutant(
        "levers",
        "every reset value is 0",
        "init=reset & (self.stores | self.clears)",
        "init=0",
        ("ENABLE",),
        base=True,
        quick=True,
    ),
    Mutant(
        "levers",
        "the lanes in the wrong order",
        "for bit in bus.sel)",
        "for bit in reversed(bus.sel))",
        ("OUT", "ENABLE", "RISE", "FALL", "EVENTS"),
        base=True,
    ),
    Mutant(
        "levers",
        "bytes that no lane selects are lost",
        "kept = cell.value & ~(lanes & cell.stores)",
        "kept = Const(0, width)",
        ("OUT", "ENABLE", "RISE", "FALL"),
        base=True,
    ),
    Mutant(
        "levers",
        "ones act without an access to their register",
        "cell.ones.eq(Mux(cell.written, given, 0))",
        "cell.ones.eq(given)",
        ("OUT", "EVENTS"),
        base=True,
    ),
)

TIMER = (
    Mutant(
        "clock",
        "the count begins with 1",
        "self.count = Signal(64)",
        "self.count = Signal(64, init=1)",
        ("NOW",),
    ),
    Mutant(
        "clock",
        "a reset leaves the count as it is",
        "self.count = Signal(64)",
        "self.count = Signal(64, reset_less=True)",
        ("NOW",),
    ),
    Mutant(
        "clock",
        "a read of NOW keeps the low word",
        "kept.eq(high)",
        "kept.eq(low)",
        ("NOW_HIGH",),
        quick=True,
    ),
    Mutant(
        "clock",
        "CONTROL and not ALARM arms the alarm",
        "with m.If(alarm.written):",
        "with m.If(control.written):",
        ("STATUS",),
    ),
    Mutant(
        "clock",
        "an alarm that was never written rings",
        "armed & (low == alarm.value)",
        "low == alarm.value",
        ("STATUS",),
    ),
    Mutant(
        "clock",
        "a reset leaves the alarm armed",
        "armed = Signal()",
        "armed = Signal(reset_less=True)",
        ("STATUS",),
    ),
    Mutant(
        "clock",
        "ALARM counts in the cycle of its write",
        "low == alarm.value",
        "low == alarm.after",
        ("STATUS",),
    ),
    Mutant(
        "clock",
        "the match comes a cycle late",
        "low == alarm.value",
        "low == alarm.value + 1",
        ("STATUS",),
    ),
    Mutant(
        "clock",
        "a count beyond ALARM rings too",
        "low == alarm.value",
        "low >= alarm.value",
        ("STATUS",),
        quick=True,
    ),
    Mutant(
        "clock",
        "the upper half of ALARM is not compared",
        "low == alarm.value",
        "low[:16] == alarm.value[:16]",
        ("STATUS",),
    ),
    Mutant(
        "clock",
        "either bit raises the pin",
        "status.value & control.value",
        "status.value | control.value",
        ("ring",),
    ),
    Mutant(
        "clock",
        "CONTROL moves the pin in the cycle of its write",
        "status.value & control.value",
        "status.value & control.after",
        ("ring",),
    ),
    Mutant(
        "clock",
        "a match in the cycle of a write of STATUS is lost",
        "status.sets.eq(matches)",
        "status.sets.eq(matches & ~status.written)",
        ("STATUS",),
    ),
    Mutant(
        "clock",
        "every access ends a cycle late",
        "called = bus.cyc & bus.stb & ~self.hold",
        "called = Signal()\n        m.d.sync += called.eq(bus.cyc & bus.stb & ~called)",
        ("end",),
        base=True,
    ),
    Mutant(
        "clock",
        "every access is refused",
        "self.refuse = Signal()",
        "self.refuse = Signal(init=1)",
        ("terminator",),
        base=True,
    ),
    Mutant(
        "clock",
        "a clear wins over a set",
        "cell.after & ~(cell.ones & cell.clears) | cell.sets",
        "(cell.after | cell.sets) & ~(cell.ones & cell.clears)",
        ("STATUS",),
        base=True,
    ),
)

UART = (
    Mutant(
        "telegraph",
        "the line is low after a reset",
        "frame = Signal(FRAME_BITS - 1, init=(1 << FRAME_BITS - 1) - 1)",
        "frame = Signal(FRAME_BITS - 1)",
        ("tx",),
    ),
    Mutant(
        "telegraph",
        "a divisor of 0 does not act as 1 while sending",
        "cycles = self.clocks - (self.clocks != 0)\n"
        "            m.d.sync += [\n                full.eq(0),",
        "cycles = self.clocks - 1\n            m.d.sync += [\n                full.eq(0),",
        ("tx",),
    ),
    Mutant(
        "telegraph",
        "a bit sent is a cycle too long",
        "                length.eq(cycles),\n",
        "                length.eq(cycles + 1),\n",
        ("tx", "STATUS"),
    ),
    Mutant(
        "telegraph",
        "the stop bit is not waited for",
        "left.eq(FRAME_BITS),",
        "left.eq(FRAME_BITS - 1),",
        ("STATUS", "tx"),
    ),
    Mutant(
        "telegraph",
        "the highest bit is sent first",
        "Cat(Const(0, 1), held)",
        "Cat(Const(0, 1), held[::-1])",
        ("tx",),
        quick=True,
    ),
    Mutant(
        "telegraph",
        "a byte without room replaces the one that waits",
        "with m.If(self.put & ~full):",
        "with m.If(self.put):",
        ("tx", "STATUS"),
    ),
    Mutant(
        "telegraph",
        "a byte that waits is taken a cycle late",
        "full & ((left == 0) | self.ends)",
        "full & (left == 0)",
        ("tx", "STATUS"),
    ),
    Mutant(
        "telegraph",
        "room is shown in the cycle of the take",
        "self.room.eq(~full)",
        "self.room.eq(~full | self.takes)",
        ("STATUS",),
    ),
    Mutant(
        "telegraph",
        "a byte that waits is not busy",
        "self.busy.eq(full | (left != 0))",
        "self.busy.eq(left != 0)",
        ("STATUS",),
    ),
    Mutant(
        "telegraph",
        "DIVISOR changes a byte that is being sent",
        "                    clock.eq(length),",
        "                    clock.eq(self.clocks - (self.clocks != 0)),",
        ("tx", "STATUS"),
    ),
    Mutant(
        "telegraph",
        "a third synchroniser stage",
        "stages=SYNCHRONISER_STAGES,",
        "stages=SYNCHRONISER_STAGES + 1,",
        ("DATA", "STATUS"),
    ),
    Mutant(
        "telegraph",
        "samples come a cycle late",
        "wait.eq(half - 1)",
        "wait.eq(half)",
        ("STATUS",),
    ),
    Mutant(
        "telegraph",
        "the start check at one clock per bit counts as a data bit to come",
        "[place.eq(1), wait.eq(cycles)]",
        "[wait.eq(cycles)]",
        ("DATA", "STATUS"),
    ),
    Mutant(
        "telegraph",
        "a divisor of 0 does not act as 1 while receiving",
        "cycles = self.clocks - (self.clocks != 0)\n        half",
        "cycles = self.clocks - 1\n        half",
        ("DATA", "STATUS"),
    ),
    Mutant(
        "telegraph",
        "a false start is taken for a byte",
        "stops | ((place == 0) & level)",
        "stops",
        ("STATUS", "DATA"),
    ),
    Mutant(
        "telegraph",
        "DIVISOR changes a byte that is being received",
        "place.eq(place + 1), wait.eq(length)]",
        "place.eq(place + 1), wait.eq(cycles)]",
        ("STATUS", "DATA"),
    ),
    Mutant(
        "telegraph",
        "the first bit received becomes the highest",
        "bits.eq(Cat(bits[1:], level))",
        "bits.eq(Cat(level, bits[:-1]))",
        ("DATA",),
    ),
    Mutant(
        "telegraph",
        "a byte taken in the cycle of a stop sample leaves no room",
        "self.comes.eq(stops & stop & ~full)",
        "self.comes.eq(stops & stop & ~self.ready)",
        ("STATUS", "DATA"),
    ),
    Mutant(
        "telegraph",
        "a byte without a stop bit is kept",
        "self.comes.eq(stops & stop & ~full)",
        "self.comes.eq(stops & ~full)",
        ("STATUS", "DATA"),
    ),
    Mutant(
        "telegraph",
        "DATA shows a byte that was taken",
        "self.byte.eq(Mux(self.ready, waiting, 0))",
        "self.byte.eq(waiting)",
        ("DATA",),
    ),
    Mutant(
        "telegraph",
        "a lost byte replaces the one that waits",
        "with m.If(self.comes):",
        "with m.If(stops & stop):",
        ("DATA",),
    ),
    Mutant(
        "telegraph",
        "RX_LOST and RX_FRAMING are swapped",
        "Mux(receiver.lost, RX_LOST, 0)\n                | Mux(receiver.framing, RX_FRAMING, 0)",
        "Mux(receiver.lost, RX_FRAMING, 0)\n                | Mux(receiver.framing, RX_LOST, 0)",
        ("STATUS",),
    ),
    Mutant(
        "telegraph",
        "the two interrupts are swapped",
        "on_room, on_ready = registers",
        "on_ready, on_room = registers",
        ("interrupt",),
        quick=True,
    ),
    Mutant(
        "telegraph",
        "DIVISOR has a wrong reset value",
        "Cell(place, register.reset_value)",
        'Cell(place, register.reset_value + (place.name == "DIVISOR"))',
        ("DIVISOR",),
    ),
    Mutant(
        "telegraph",
        "DATA takes a byte without its lane",
        "((bus.sel & whole) == whole)",
        "1",
        ("STATUS", "tx", "DATA"),
        base=True,
    ),
    Mutant(
        "telegraph",
        "a write of DATA takes the byte received",
        "self._read.eq(bus.ack & ~bus.we)",
        "self._read.eq(bus.ack)",
        ("STATUS", "DATA"),
        base=True,
    ),
)

PULSE_LED = (
    Mutant(
        "lamps",
        "a period of 0 does not act as 1",
        "self.period - (self.period != 0)",
        "self.period - 1",
        ("line", "STATUS"),
    ),
    Mutant(
        "lamps",
        "a gap of 0 does not act as 1",
        "self.gap - (self.gap != 0)",
        "self.gap - 1",
        ("line", "STATUS"),
    ),
    Mutant(
        "lamps",
        "a frame has a lamp too many",
        "Mux(starts, self.count, left) - 1",
        "Mux(starts, self.count, left - 1)",
        ("line", "STATUS"),
    ),
    Mutant(
        "lamps",
        "the channels in the wrong order",
        "CHANNEL_BITS] for shift in reversed(self._shifts)",
        "CHANNEL_BITS] for shift in self._shifts",
        ("line",),
    ),
    Mutant("lamps", "the wrong end of a colour first", "coming[-1]", "coming[0]", ("line",)),
    Mutant(
        "lamps",
        "a lamp has a bit too few",
        "Mux(loads, self._bits - 1, place - 1)",
        "Mux(loads, self._bits - 2, place - 1)",
        ("line", "STATUS"),
    ),
    Mutant(
        "lamps",
        "the gap ends a cycle early",
        "self.last_gap.eq((phase == Phase.GAP) & ends)",
        "self.last_gap.eq((phase == Phase.GAP) & (clock <= 1))",
        ("STATUS", "line"),
        quick=True,
    ),
    Mutant(
        "lamps",
        "counts written change the frame under way",
        "Mux(starts, count, kept[name])",
        "count",
        ("line", "STATUS"),
    ),
    Mutant(
        "lamps",
        "the next frame does not begin with the first lamp",
        "m.d.sync += self.lamp.eq(0)",
        "m.d.sync += self.lamp.eq(self.lamp + 1)",
        ("line",),
    ),
    Mutant(
        "lamps",
        "a count beyond the lamps sends none",
        "Mux(count > lamps, lamps, count)",
        "Mux(count > lamps, 0, count)",
        ("line", "STATUS"),
    ),
    Mutant(
        "lamps",
        "SEND in the last cycle of a gap is not missed",
        "missed = send & sender.busy",
        "missed = send & sender.busy & ~sender.last_gap",
        ("STATUS",),
    ),
    Mutant(
        "lamps",
        "REPEAT counts in the cycle of its write",
        "registers.CONTROL.value[1]",
        "registers.CONTROL.after[1]",
        ("line", "STATUS"),
    ),
    Mutant(
        "lamps",
        "an empty frame sends a lamp",
        "Mux(starts, self.count != 0,",
        "Mux(starts, 1,",
        ("line", "STATUS"),
    ),
    Mutant(
        "lamps",
        "the line is a cycle late",
        "self.line.eq(coming_pulse != 0)",
        "self.line.eq(pulse != 0)",
        ("line",),
        quick=True,
    ),
    Mutant(
        "lamps",
        "the halves of HIGH are swapped",
        "Cat(sender.zero_high, sender.one_high)",
        "Cat(sender.one_high, sender.zero_high)",
        ("line",),
    ),
    Mutant(
        "lamps",
        "a colour is read a cycle early",
        'read_port(domain="comb")',
        'read_port(domain="sync")',
        ("line",),
    ),
    Mutant(
        "lamps",
        "STATUS shows no MISSED",
        "Mux(sender.busy, BUSY, 0) | registers.STATUS.value",
        "Mux(sender.busy, BUSY, 0)",
        ("STATUS",),
    ),
    Mutant(
        "lamps",
        "a write of a colour takes every lane",
        "port.en.eq(Mux(chosen & self._write, bus.sel, 0))",
        "port.en.eq(Mux(chosen & self._write, 0b1111, 0))",
        ("COLOUR",),
        base=True,
    ),
)

MEMORY = (
    Mutant(
        "diary",
        "the file is taken for every fourth word",
        "given.get(4 * word, 0)",
        "given.get(16 * word, 0)",
        ("data", "WORD"),
    ),
    Mutant(
        "diary",
        "a write takes every lane",
        "Mux(bus.ack & bus.we, bus.sel, 0)",
        "Mux(bus.ack & bus.we, 0b1111, 0)",
        ("data", "WORD"),
        quick=True,
    ),
    Mutant(
        "diary",
        "the lanes in the wrong order",
        "Mux(bus.ack & bus.we, bus.sel, 0)",
        "Mux(bus.ack & bus.we, bus.sel[::-1], 0)",
        ("data", "WORD"),
    ),
    Mutant(
        "diary",
        "neighbouring words are swapped in a read",
        "reader.addr.eq(bus.adr)",
        "reader.addr.eq(bus.adr ^ 1)",
        ("data", "WORD"),
    ),
    Mutant(
        "diary",
        "the upper half shows the lower one",
        "reader.addr.eq(bus.adr)",
        "reader.addr.eq(bus.adr[:-1])",
        ("data", "WORD"),
    ),
    Mutant(
        "diary",
        "the upper half is written to the lower one",
        "writer.addr.eq(bus.adr)",
        "writer.addr.eq(bus.adr[:-1])",
        ("data", "WORD"),
    ),
    Mutant(
        "diary",
        "bits are written in the wrong order",
        "writer.data.eq(bus.write_data)",
        "writer.data.eq(bus.write_data[::-1])",
        ("data", "WORD"),
    ),
    Mutant(
        "diary",
        "a word comes a cycle late",
        "            bus.read_data.eq(reader.data),\n",
        "        ]\n        m.d.sync += bus.read_data.eq(reader.data)\n        m.d.comb += [\n",
        ("data",),
    ),
    Mutant(
        "diary",
        "every access ends a cycle late",
        "            bus.ack.eq(bus.cyc & bus.stb),\n        ]\n",
        "        ]\n        m.d.sync += bus.ack.eq(bus.cyc & bus.stb & ~bus.ack)\n",
        ("end",),
        quick=True,
    ),
    Mutant(
        "diary",
        "a write without lanes is not acknowledged",
        "bus.ack.eq(bus.cyc & bus.stb)",
        "bus.ack.eq(bus.cyc & bus.stb & (~bus.we | bus.sel.any()))",
        ("end",),
    ),
    Mutant(
        "rules",
        "a rom can be written",
        'if self.options["kind"] == "ram":',
        "if True:",
        ("data", "WORD"),
    ),
)

MUTANTS = (*GPIO, *TIMER, *UART, *PULSE_LED, *MEMORY)
