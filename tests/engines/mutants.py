"""Mistakes put into reader, emitters, loop and engines, one at a time: a comparison must find each.

``old`` occurs once in the file of the package; ``new`` stands there instead. ``check`` names the
comparison: of random ``designs`` or single operations (``values``) with Amaranth's simulator, of drawn
``plans``, fixed ``benches``, ``guards`` or ``sharp`` cases with the judge. What all engines share, the
player, is compared with cases worked out from the semantics page (``page``). ``FILE::TEST`` is one test
that was written for the mistake.
"""

from __future__ import annotations

from tests.mutant_runs import Mutant

NETLIST = "engines/netlist/"
LOOP = "engines/loop.py"
AROUND = "engines/netlist_engine.py"
TELLING = "engines/telling.py"
PLAYER = "cpu/player.py"
FLOW = "cpu/flow.py"
FOLDING = "formats/folding/"
UNTIL, FOLDED = "cpu/test_until.py::test_", "formats/test_folding.py::test_"

CONSTANTS = (
    "engines/netlist/test_values.py::test_operations_with_a_constant_are_those_of_whole_numbers"
)
JUMPS = "engines/test_jumps_and_stops.py::"

READER = (
    Mutant(
        "write ports of a memory in the wrong order",
        NETLIST + "memories.py",
        'memory.writes.sort(key=lambda cell: cells.number(cell, "PORTID", where))\n'
        "        _check(memory, where, text.line)",
        "_check(memory, where, text.line)\n        memory.writes.reverse()",
        "designs",
    ),
    Mutant(
        "a read port is transparent for no write port",
        NETLIST + "lower.py",
        "if mask >> number & 1:",
        "if False:",
        "designs",
    ),
    Mutant(
        "a signed operand is extended with zeros",
        NETLIST + "nodes.py",
        'return self.node("sext", width, a)',
        "return self.cat(a, self.const(0, width - a.width))",
        "designs",
        quick=True,
    ),
    Mutant(
        "the last case of a switch wins, not the first",
        NETLIST + "lower.py",
        "for case in reversed(switch.cases):",
        "for case in switch.cases:",
        "designs",
    ),
    Mutant(
        "a write port writes all lanes",
        NETLIST + "lower.py",
        "return WritePort(*(self._value(module, port, cell.line) for port in ports))",
        "address, data, enable = (self._value(module, port, cell.line) for port in ports)\n"
        "        every = self._graph.sext(self._graph.any(enable), enable.width)\n"
        "        return WritePort(address, data, every)",
        "designs",
    ),
    Mutant(
        "every register begins at 0",
        NETLIST + "lower.py",
        "return Register(source.name, source.width, wire.init.value, following)",
        "return Register(source.name, source.width, 0, following)",
        "designs",
    ),
    Mutant(
        "a memory begins with zeros",
        NETLIST + "memories.py",
        "return tuple(value >> width * word & (1 << width) - 1 for word in range(depth))",
        "return tuple(0 for word in range(depth))",
        "designs",
    ),
)

EMITTERS = (
    Mutant(
        "Python: a shift by more places than the width is not cut",
        NETLIST + "python_text.py",
        'return f"(({a} << {b}) & {_mask(node)})"',
        'return f"({a} << {b})"',
        "values",
    ),
    Mutant(
        "Python: a read outside of a memory gives its first word",
        NETLIST + "python_text.py",
        'return f"({word} if {self.use(address)} < {depth} else 0)"',
        'return f"({word} if {self.use(address)} < {depth} else {self._prefix}m{node.extra}[0])"',
        "designs",
    ),
    Mutant(
        "Python: a word of a memory that changes does not count as a change",
        NETLIST + "python_source.py",
        'lines.append(f"{INDENT}{p}changed = {p}changed or {word} != {p}word")',
        "pass",
        "designs",
    ),
    Mutant(
        "LLVM: a shift by the width or more is not guarded",
        NETLIST + "llvm_values.py",
        'return values.add(f"select i1 {inside}, i{width} {moved}, i{width} {rest}")',
        "return moved",
        "designs",
        "llvm",
    ),
    Mutant(
        "LLVM: a short division is one bit too narrow",
        NETLIST + "llvm_values.py",
        "width = long or (32 if node.width < 32 else WORD)",
        "width = long or max(8, node.width - 1)",
        "designs",
        "llvm",
    ),
    Mutant(
        "LLVM: signed division rounds to zero",
        NETLIST + "llvm_values.py",
        'less = values.add(f"zext i1 {wrong} to i{width}")',
        'less = "0"',
        "values",
        "llvm",
    ),
    Mutant(
        "LLVM: a memory's bounds are not checked",
        NETLIST + "llvm_values.py",
        'return self.add(f"select i1 {inside}, i{node.width} {word}, i{node.width} 0")',
        "return word",
        "designs",
        "llvm",
    ),
    Mutant(
        "LLVM: a write port writes all bits of a word",
        NETLIST + "llvm_text.py",
        'new = values.add(f"and i{width} {data}, {enable}")',
        "new = data",
        "designs",
        "llvm",
    ),
    Mutant(
        "LLVM: a sign is extended with zeros",
        NETLIST + "llvm_values.py",
        'return values.resized(values.value(a), a.width, node.width, "sext")',
        "return values.resized(values.value(a), a.width, node.width)",
        "designs",
        "llvm",
    ),
)

QUIESCENCE = (
    Mutant(
        "parts of the design sleep on after an access",
        LOOP,
        "    settle()\n    awake = -1\n",
        "    settle()\n",
        "benches",
        quick=True,
    ),
    Mutant(
        "a pin that is driven wakes nobody",
        AROUND,
        "        self._engine._set(awake=-1)\n",
        "",
        "sharp",
    ),
    Mutant(
        "a part with notes goes to sleep",
        "engines/python_kernel.py",
        '"elif noted == 0:",',
        '"else:",',
        "sharp",
    ),
    Mutant(
        "two parts that hear of each other are taken apart",
        NETLIST + "parts.py",
        "self.join([cell, *self.under(self._roots(cell))])",
        "pass",
        "benches",
    ),
    Mutant(
        "idle cycles are jumped although something changed",
        LOOP,
        "        if changed == 0 and told == 0 and end > cycle:",
        "        if told == 0 and end > cycle:",
        "benches",
    ),
    Mutant(
        "cycles with an access that waits are jumped although something changes",
        LOOP,
        "if changed or told:\n    quiet_from = -1\n",
        "if told:\n    quiet_from = -1\n",
        "plans",
    ),
    Mutant(
        "a hold is slept through",
        LOOP,
        "    if caller and hold_until < end:\n        end = hold_until\n",
        "",
        "plans",
    ),
    Mutant(
        "a word that stays is not forgotten when an input comes",
        AROUND,
        "        self._set(hold_until=0, quiet_from=-1)\n        self._forget_cached()\n",
        "        self._set(hold_until=0, quiet_from=-1)\n",
        "sharp",
    ),
    Mutant(
        "a word that stays is not forgotten after another access",
        AROUND,
        "        elif slot in self._kept:\n            self._keep(slot, 0, 0, 0)\n",
        "",
        "sharp",
    ),
    Mutant(
        "a word that stays is not forgotten in a reset",
        AROUND,
        "        self._teller.renew(cycle)\n        self._forget_cached()\n",
        "        self._teller.renew(cycle)\n",
        "sharp",
    ),
    Mutant(
        "a word that stays is given a cycle too long",
        LOOP,
        "if write == 0 and cycle < cached[at] and inner == cached[at + 1]:",
        "if write == 0 and cycle <= cached[at] and inner == cached[at + 1]:",
        "sharp",
    ),
    Mutant(
        "a word that stays is given for any register",
        LOOP,
        "if write == 0 and cycle < cached[at] and inner == cached[at + 1]:",
        "if write == 0 and cycle < cached[at]:",
        "sharp",
    ),
)

LOOPS = (
    Mutant(
        "a poll waits a cycle less",
        LOOP,
        "start = cycle + every\n",
        "start = cycle + every - 1\n",
        "benches",
    ),
    Mutant(
        "a poll reads once more than it may",
        LOOP,
        "if matched == 0 and reads < most:",
        "if matched == 0 and reads <= most:",
        "plans",
    ),
    Mutant(
        "an ERR ends a poll",
        LOOP,
        "if failed == 0 and word & mask == value:",
        "if word & mask == value:",
        "plans",
    ),
    Mutant(
        "a pause is a cycle too long",
        LOOP,
        "free = cycle + commands[at + 12]",
        "free = cycle + commands[at + 12] + 1",
        "plans",
        quick=True,
    ),
    Mutant(
        "a handler is not taken in a wait",
        LOOP,
        "if kind < 0 or cycle < start:",
        "if kind < 0:",
        "sharp",
    ),
    Mutant(
        "a handler interrupts an access",
        LOOP,
        "if kind < 0 or cycle < start:",
        "if kind < 0 or cycle <= start:",
        JUMPS + "test_a_run_does_not_stop_in_the_cycle_in_which_an_access_is_raised",
    ),
    Mutant(
        "a hang ends a cycle early",
        LOOP,
        "if cycle > start + hang_after:",
        "if cycle >= start + hang_after:",
        "plans",
    ),
    Mutant(
        "the watchdog's end counts as the device's",
        LOOP,
        "    if status & 4:\n        terminator = 2\n",
        "",
        "plans",
    ),
    Mutant(
        "a write's data is logged as 0",
        LOOP,
        "    if write:\n        log[at + 5] = data\n",
        "",
        "benches",
    ),
    Mutant(
        "the request stays on the bus after an access",
        LOOP,
        "    # It ended in the cycle before.\n    request = 0\n",
        "    # It ended in the cycle before.\n",
        JUMPS + "test_a_request_ends_with_its_access",
    ),
    Mutant(
        "the reply stays on after a cycle",
        LOOP,
        "    reply = 0\n    in_reply = 0\n",
        "    reply = 0\n",
        "plans",
    ),
    Mutant(
        "RST stays high a cycle too long",
        LOOP,
        "    if cycle == reset_until:\n        reset_until = -1\n        rst = 0\n",
        "    if cycle == reset_until + 1:\n        reset_until = -1\n        rst = 0\n",
        "plans",
    ),
    Mutant(
        "after a reset the CPU begins a cycle early",
        AROUND,
        "self._set(free=cycle + length + 1)",
        "self._set(free=cycle + length)",
        "plans",
    ),
    Mutant(
        "a reset forgets the command that had not begun",
        AROUND,
        '(self._get("taken") - (under_way and not begun)) * COMMAND',
        'self._get("taken") * COMMAND',
        "plans",
    ),
    Mutant(
        "a reset plays a poll that has begun again",
        AROUND,
        'begun = under_way and self._get("reads") > 0',
        "begun = False",
        "sharp",
    ),
    Mutant(
        "a handler that is over leaves a wait as it was",
        AROUND,
        "self._state[_START] - cycle if under_way else 0,",
        "self._state[_START] - cycle - 1 if under_way else 0,",
        "sharp",
    ),
    Mutant(
        "a cycle before the first, with RST high, is left out",
        LOOP,
        '"cycle": -1, "entered": -1, "rst": 1, "reset_until": 0, "reset_cycle": -1,',
        '"cycle": -1, "entered": -1, "rst": 0, "reset_until": 0, "reset_cycle": -1,',
        "guards",
    ),
    Mutant(
        "an input pin begins at 0",
        AROUND,
        "sum(pin.level << place for place, pin in enumerate(group))",
        "sum(0 << place for place, pin in enumerate(group))",
        "sharp",
    ),
    Mutant(
        "a pin that is watched stops no run",
        LOOP,
        "if cycle != entered and (moved or rest and out_resting):",
        "if cycle != entered and (rest and out_resting):",
        "benches",
    ),
    Mutant(
        "pins after a reset are not told anew",
        TELLING,
        "            before = None\n",
        "            pass\n",
        "sharp",
    ),
    Mutant(
        "an access is told before the pins of its cycle",
        TELLING,
        "            if ended.next < cycle:\n                ended.tell_before(cycle)\n",
        "            ended.tell_before(cycle + 1)\n",
        "sharp",
    ),
    Mutant(
        "of accesses in between, the first is told, not the last",
        TELLING,
        "self._told if self._every else upto - 1, upto",
        "self._told, upto if self._every else self._told + 1",
        "benches",
    ),
    Mutant(
        "an access that a watchdog ended is told to the device's note reader",
        TELLING,
        "(log[:, _TERMINATORS] <= ERR)",
        "(log[:, _TERMINATORS] <= ERR + 1)",
        "plans",
    ),
    Mutant(
        "LLVM: notes of a part are not told",
        "engines/llvm_loop.py",
        'told = self._add(f"trunc i{width} {word} to i1") if width > 1 else word',
        'told = "false"',
        "benches",
        "llvm",
    ),
    Mutant(
        "LLVM: pins are compared without their highest bits",
        "engines/llvm_loop.py",
        'different = self._add(f"and i{width} {different}, {records.mask}")',
        'different = self._add(f"and i{width} {different}, {records.mask & 0xFFFF}")',
        "benches",
        "llvm",
    ),
    Mutant(
        "LLVM: only the first part of the design is run",
        "engines/llvm_loop.py",
        "for number in range(self._count_of_parts):",
        "for number in range(1):",
        "benches",
        "llvm",
    ),
)

CPU = (
    Mutant(
        "an await looks at its pin in a cycle more",
        PLAYER,
        "self._book.cycles(step) - 1",
        "self._book.cycles(step)",
        "page",
    ),
    Mutant(
        "an await goes on in the cycle that shows the level",
        PLAYER,
        "self._channel.feed(pause(1))",
        "self._channel.feed(pause(0))",
        "page",
    ),
    Mutant(
        "an await that was interrupted has a cycle more",
        PLAYER,
        "self._main.last = cycle + self._main.distance",
        "self._main.last = cycle + self._main.distance + 1",
        "page",
    ),
    Mutant(
        "a handler begins a cycle early",
        PLAYER,
        "self._channel.feed(pause(1 + routine.enter))",
        "self._channel.feed(pause(routine.enter))",
        "page",
        quick=True,
    ),
    Mutant(
        "idle cycles after a handler are left out",
        PLAYER,
        "commands.extend(pause(self._put_aside[0].leave))",
        "commands.extend(pause(0))",
        "page",
    ),
    Mutant(
        "cycle b takes no handler",
        PLAYER,
        "self._open = self._back = cycle",
        "self._open = self._back = cycle + 1",
        "page",
    ),
    Mutant(
        "the last of two handlers goes first",
        PLAYER,
        "for routine in self._routines:",
        "for routine in reversed(self._routines):",
        "page",
    ),
    Mutant(
        "a handler that follows another begins a chain of its own",
        PLAYER,
        "        if self._back != cycle:\n            self._storm_since = cycle\n",
        "        self._storm_since = cycle\n",
        "page",
    ),
    Mutant(
        "the wait of a reset is left out",
        PLAYER,
        "self._channel.feed(pause(step.wait))",
        "self._channel.feed(pause(0))",
        "page",
    ),
    Mutant(
        "after a reset a handler is taken at once",
        PLAYER,
        "self._open = self._channel.cycle + length + 1",
        "self._open = self._channel.cycle + length",
        "page",
    ),
    Mutant(
        "a reset of the board forgets the step that a handler had put aside",
        PLAYER,
        "rest = suspended.not_begun()",
        "rest = rest[:0]",
        "page",
    ),
    Mutant(
        "a reset of the board in the wait of a step that resets is taken for it",
        FLOW,
        "self.next, self.resetting = self.resetting, None",
        "self.resetting = None",
        "page",
    ),
    Mutant(
        "an await that a reset cut off goes on",
        FLOW,
        "        if self.awaiting is not None:\n            self.end_await(Result(0, True))\n",
        "        if False:\n            pass\n",
        "page",
    ),
)

STRANGE = (
    Mutant(
        "a signed shift to the right by a constant of the width or more gives 0",
        NETLIST + "nodes.py",
        "return self.sext(self._top_bit(a), a.width)",
        "return self.const(0, a.width)",
        CONSTANTS,
        quick=True,
    ),
    Mutant(
        "Python: a sum is not cut although a constant uses the highest bit",
        NETLIST + "python_text.py",
        '(one.kind == "const" and one.extra >> node.width - 1 == 0)',
        '(one.kind == "const")',
        CONSTANTS,
        quick=True,
    ),
    Mutant(
        "Python: a sum is not cut although an operand has ones above",
        NETLIST + "python_text.py",
        'one.args[-1].kind == "const" and one.args[-1].extra == 0)',
        'one.args[-1].kind == "const")',
        CONSTANTS,
    ),
    Mutant(
        "LLVM: a constant operand of a division loses its sign",
        NETLIST + "llvm_values.py",
        "return str(_number(node, signed))",
        "return str(node.extra)",
        CONSTANTS,
        "llvm",
    ),
    Mutant(
        "a clocked read port is enabled in every cycle",
        NETLIST + "lower.py",
        "fact.init, graph.mux(enable, word, held))",
        "fact.init, word)",
        "designs",
    ),
    Mutant(
        "an input of the design begins at 0",
        NETLIST + "lower.py",
        "init = self._ports[name].init & (1 << source.width) - 1",
        "init = 0",
        "engines/test_quiescence.py::test_pins_that_nothing_drives_keep_their_level",
    ),
    Mutant(
        "a stop before an access is raised leaves its request on the bus",
        LOOP,
        "        if up == 0:\n            request = 0\n            written = 0\n        return LIMIT",
        "        return LIMIT",
        JUMPS + "test_a_watched_pin_that_moves_in_the_cycle_of_an_access",
        unchanged="The run goes on in the same cycle, and raises the same access. In between, "
        "registers are looked at, a reset comes, or a handler is taken only in cycles before which "
        "`limit` or `called` stops, where the request is not there yet. Pins are told as they are "
        "with the access, as they are a moment later: wires, which would carry them on, are refused "
        "for such pins (paths.py).",
    ),
    Mutant(
        "a hold outlives its access",
        LOOP,
        "    up = 0\n    hold_until = 0\n    quiet_from = -1\n",
        "    up = 0\n    quiet_from = -1\n",
        JUMPS + "test_a_hold_ends_with_its_access",
        quick=True,
    ),
    Mutant(
        "cycles with an access that waits are jumped although a device has notes",
        LOOP,
        "if changed or told:\n    quiet_from = -1\n",
        "if changed:\n    quiet_from = -1\n",
        JUMPS + "test_notes_in_every_cycle_of_an_access_that_waits",
        quick=True,
    ),
    Mutant(
        "idle cycles in which a pin is watched are jumped although a device has notes",
        LOOP,
        "if changed == 0 and told == 0 and fresh == 0 and end > cycle:",
        "if changed == 0 and fresh == 0 and end > cycle:",
        JUMPS + "test_notes_in_every_cycle_of_a_pause_in_which_a_pin_is_watched",
        quick=True,
    ),
    Mutant(
        "the cycle after a reset may be quiet",
        LOOP,
        "if rst == 0 and rest == 0 and watching == 0 and fresh == 0:",
        "if rst == 0 and rest == 0 and watching == 0:",
        JUMPS + "test_pins_around_a_reset",
        "llvm",
    ),
    Mutant(
        "the cycles after the first of a reset are jumped",
        LOOP,
        "if changed == 0 and told == 0 and fresh == 0 and end > cycle:",
        "if changed == 0 and told == 0 and end > cycle:",
        JUMPS + "test_pins_around_a_reset",
        unchanged="Pins are those of hardware devices, and each has a guard. Its register `rested` "
        "takes RST: it is 0 in the first cycle of a reset, as RST was low in the one before (rule "
        "18), and 1 in the next. So `changed` is 1 in that cycle, and nothing is jumped.",
    ),
    Mutant(
        "pins of the first cycle of a reset are told as new",
        TELLING,
        "if slot in self._renewed and cycle > self._reset_cycle:",
        "if slot in self._renewed and cycle >= self._reset_cycle:",
        JUMPS + "test_a_pin_that_is_high_with_notes_in_the_first_cycle_of_a_reset",
        quick=True,
    ),
    Mutant(
        "after a handler its cycle b takes no other",
        PLAYER,
        "self._open = self._back = cycle",
        "self._open, self._back = cycle + 1, cycle",
        "page",
    ),
    Mutant(
        "idle cycles are jumped past the one from which a handler waits",
        LOOP,
        "    if cycle < called and called < end:\n        end = called\n",
        "",
        JUMPS + "test_a_run_stops_in_the_first_idle_cycle_from_which_it_is_called",
    ),
    Mutant(
        "a run whose last steps a handler interrupts ends a cycle early",
        PLAYER,
        "self.none_left_from = max(self.none_left_from, cycle)",
        "self.none_left_from = max(self.none_left_from, cycle - 1)",
        "page",
    ),
    Mutant(
        "handlers that follow one another have a cycle more",
        PLAYER,
        "cycle - self._storm_since < self._hang_after:",
        "cycle - self._storm_since <= self._hang_after:",
        "page",
    ),
    Mutant(
        "a read counts as the last write to a device",
        TELLING,
        "                mine &= log[:, _WRITES] == 1\n",
        "                pass\n",
        JUMPS + "test_of_accesses_in_between_the_last_write_is_told",
    ),
)

#: Mistakes in untils and kept words (rule 12g), and in the folding of recorded traffic.
UNTILS = (
    Mutant(
        "an until ends above its value only",
        LOOP,
        "at_least and distance > value:",
        "at_least and distance > value + 1:",
        UNTIL + "an_until_ends_at_the_distance",
        quick=True,
    ),
    Mutant(
        "an until subtracts nothing",
        LOOP,
        "word - kept[since] - less & mask",
        "word & mask",
        UNTIL + "an_until_ends_at_the_distance",
    ),
    Mutant(
        "a resumed until compares as a poll",
        AROUND,
        '"less", "at_least")',
        '"less")',
        UNTIL + "a_handler_shares_kept_words",
    ),
    Mutant(
        "an until that gives up keeps nothing",
        LOOP,
        "    if keep:\n",
        "    if keep and (matched or poll == 0):\n",
        UNTIL + "an_error_never_ends_an_until_and_keeps_0",
    ),
    Mutant(
        "runs of one read are left",
        FOLDING + "fold.py",
        "        for run in runs:\n            first = self._first(run)\n            poll = Poll(",
        "        for run in [one for one in runs if len(one.words) > 1]:\n"
        "            first = self._first(run)\n            poll = Poll(",
        FOLDED + "runs_of_one_read_are_polls_too",
        quick=True,
    ),
    Mutant(
        "the words of a run that ended at once do not count",
        FOLDING + "fold.py",
        "masks((run.words[-1] for run in runs)",
        "masks((run.words[-1] for run in runs if len(run.words) > 1)",
        FOLDED + "words_that_ended_at_once_count",
    ),
    Mutant(
        "the idle cycles of a read do not end a run",
        FOLDING + "trace.py",
        "if at and wait != period]",
        "if at and wait < 0]",
        FOLDED + "other_idle_cycles_begin_another_run",
    ),
    Mutant(
        "the first limit is taken, not the roundest",
        FOLDING + "counters.py",
        "return Limit(found, low, high)",
        "return Limit(low, low, high)",
        FOLDED + "a_wait_for_a_counter_is_an_until",
    ),
    Mutant(
        "a counter does not wrap",
        FOLDING + "waits.py",
        "word - base & mask for word",
        "word - base for word",
        FOLDED + "a_counter_may_wrap",
    ),
    Mutant(
        "a word that is kept is compared all the same",
        FOLDING + "fold.py",
        "step = replace(step, data=None)",
        "step = replace(step, lanes=step.lanes)",
        FOLDED + "a_wait_for_a_counter_is_an_until",
    ),
    Mutant(
        "the proof takes a poll for met at the end of the traffic",
        FOLDING + "proof.py",
        "return found if len(found) == step.limit else found[:-1]",
        "return found",
        FOLDED + "the_proof_finds_every_difference",
    ),
)

MUTANTS = (*READER, *EMITTERS, *QUIESCENCE, *LOOPS, *CPU, *STRANGE, *UNTILS)
