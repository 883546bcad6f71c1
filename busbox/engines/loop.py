"""The loop of the netlist engines: cycles, accesses, polls and pauses, in one small language.

It is written here once, and is made into Python (:mod:`busbox.engines.python_kernel`) and into text for
LLVM (:mod:`busbox.engines.llvm_kernel`). The language is a part of Python:

* all numbers have 64 bits and a sign; names are numbers, ``commands``, ``log``, ``cached`` and ``kept``
  rows of numbers; ``in_request`` and the like are inputs of the design, ``out_status`` and the like
  outputs
* assignments, ``if``, ``elif``, ``else``; ``and`` and ``or`` look at both sides; ``>>`` only for what
  is not negative
* ``continue`` goes on at the top, as the end does; ``return`` leaves, to go on at the top later
* ``quiet_cycle()`` does all of a cycle in which nothing is on the bus and nothing is watched, for
  the parts of the design that are awake (see :mod:`busbox.engines.netlist.parts`), and lets those
  sleep in which nothing changed; ``changed`` and ``told`` are those of all parts
* ``settle()``, ``settle_reply()`` and ``edge()`` do what the contract of the netlist says; ``edge``
  puts whether anything changed into ``changed``. ``settle`` puts into ``moved`` whether a pin that is
  watched differs. ``observe()`` keeps what is seen of hardware devices in the cycle, and puts into
  ``told`` whether one has notes, or broke a rule; into ``stop``, if they are watched; and into
  ``full``, if there is no more room.
* ``consult()`` asks the core for its next access (:mod:`busbox.core`), and puts into ``left`` why it
  was left; ``core_numbers`` are its numbers
"""

from __future__ import annotations

import re
from typing import Final

from busbox.core.machine import ACCESS, IDLE
from busbox.core.machine import DECODE as DECODE_CORE
from busbox.core.machine import STATE as STATE_OF_CORE

#: Why the loop returns: it needs a command, has come to its limit, asks a model, has come to the last
#: cycle that an access may wait for, or past it; there is no more room for what is recorded; or the
#: core's next instruction is to be decoded.
STARVED, LIMIT, CALL, LAST, HANG, FULL, DECODE = range(7)
REASONS = {
    "STARVED": STARVED, "LIMIT": LIMIT, "CALL": CALL, "LAST": LAST, "HANG": HANG, "FULL": FULL,
    "DECODE": DECODE,
}  # fmt: skip
#: Later than any cycle.
FOREVER: Final = 1 << 62
#: Numbers of a command, as in :class:`busbox.cpu.commands.Command`, and of an access in the log.
COMMAND, LOGGED = 17, 9
#: Parts of the design at most, each a bit of ``awake``.
PARTS = 60
#: Numbers of each slot in ``cached``: the cycle until which a word stays, its word address, the reply.
CACHED = 3

#: What the loop knows between two calls. Cycles are those of the run.
STATE = (
    "cycle",  # the first one that has not been run
    "slot", "inner", "write", "data", "lanes", "logged",  # with a call: see below
    "limit", "entered", "rest", "called", "idle",  # of this call: see the contract of engines
    "budget",  # cycles that may still be run; of those that a jump or a core passes, few count
    "free",  # the first cycle for the next command
    "reset_until", "reset_cycle",  # RST is high before this cycle, or -1; its first cycle
    "kind", "number", "address", "start",  # of the command, kind -1: none
    "poll", "mask", "value", "every", "most", "reads",
    "keep", "since", "less", "at_least",
    "up", "asked",  # an access is up; a model has been asked in this cycle
    "request", "written", "rst", "reply",  # what the inputs of the design are to be
    "hold_until",  # the model that is called is not to be asked before
    "hang_after", "stopped_at", "quiet_from",  # nothing moves from this cycle on, or -1
    "taken", "fed",  # commands taken, and there
    "log_room",
    "result", "failed",  # of the last command; failed -1: none
    "core",  # a core gives commands, and has not stopped
    "watching",  # something of hardware devices is watched
    "awake",  # a bit for each part of the design of which an edge may change something
    "told", "stop", "fresh", "full", "moved",
)  # fmt: skip

#: The first numbers: what a model is asked. Slot, word address in it, the access and its place.
CALLED = STATE[:7]

#: What is not 0 at the start: RST is high in the cycle before the first, which is run and forgotten.
INITIAL = {
    "cycle": -1, "entered": -1, "rst": 1, "reset_until": 0, "reset_cycle": -1, "free": 1,
    "budget": 1, "kind": -1, "stopped_at": -1, "quiet_from": -1, "failed": -1, "awake": -1,
}  # fmt: skip

#: Names that mean nothing from one cycle to the next.
TEMPORARY = ("active", "at", "end", "caller", "status", "word", "terminator", "matched", "changed",
             "left", "distance")  # fmt: skip

LOOK = """
in_rst = rst
in_request = request
in_data = written
settle()
"""

_LOOP = """
if kind < 0 and reset_until < 0 and cycle >= free:
    if taken < fed:
        at = taken * 17
        taken = taken + 1
        if commands[at]:
            free = cycle + commands[at + 12]
            failed = -1
            continue
        kind = 0
        number = commands[at + 1]
        write = commands[at + 2]
        address = commands[at + 3]
        data = commands[at + 4]
        lanes = commands[at + 5]
        start = cycle + commands[at + 6]
        poll = commands[at + 7]
        mask = commands[at + 8]
        value = commands[at + 9]
        every = commands[at + 10]
        most = commands[at + 11]
        keep = commands[at + 13]
        since = commands[at + 14]
        less = commands[at + 15]
        at_least = commands[at + 16]
        reads = 0
        continue
    if core:
        consult()
        if left == DECODE:
            return DECODE
        if left == IDLE:
            free = core_numbers[CORE_CYCLE]
            # It has computed for that long, which takes time too: the loop must be left for Ctrl-C.
            budget = budget - (free - cycle >> 4)
            continue
        if left == ACCESS:
            kind = 0
            number = 0 - 2 - core_numbers[CORE_PC]
            write = core_numbers[CORE_WRITE]
            address = core_numbers[CORE_ADDRESS]
            data = core_numbers[CORE_DATA]
            lanes = core_numbers[CORE_LANES]
            start = core_numbers[CORE_START]
            budget = budget - (start - cycle >> 4)
            poll = 0
            mask = 0
            value = 0
            every = 0
            most = 1
            keep = 0
            since = 0
            less = 0
            at_least = 0
            reads = 0
            continue
        core = 0
    if idle == 0:
        return STARVED
if cycle >= limit or stop or budget <= 0:
    return LIMIT
if cycle >= called and reset_until < 0:
    if kind < 0 or cycle < start:
        return LIMIT
if full or logged >= log_room:
    return FULL
active = 0
if kind == 0 and reset_until < 0 and cycle >= start:
    active = 1
    if up and cycle == start + hang_after and cycle != stopped_at:
        stopped_at = cycle
        return LAST
    if asked == 0:
        # The access is raised in this cycle, or waits.
        request = 1 | write << 1 | address >> 2 << 2 | lanes << 32
        written = data
else:
    # A cycle without an access; nothing is to be done before cycle ``end``.
    end = limit
    if cycle < called and called < end:
        end = called
    if reset_until >= 0:
        if reset_until < end:
            end = reset_until
    elif kind < 0:
        if cycle < free and free < end:
            end = free
    elif start < end:
        end = start
    if rst == 0 and rest == 0 and watching == 0 and fresh == 0:
        quiet_cycle()
        cycle = cycle + 1
        budget = budget - 1
        if changed == 0 and told == 0 and end > cycle:
            cycle = end
        continue
if asked == 0:
    in_rst = rst
    in_request = request
    in_data = written
    settle()
    awake = -1
    if cycle != entered and (moved or rest and out_resting):
        if up == 0:
            request = 0
            written = 0
        return LIMIT
    if active:
        up = 1
        caller = out_status >> 35
        if caller:
            slot = caller - 1
            inner = out_inner
            at = slot * 3
            if write == 0 and cycle < cached[at] and inner == cached[at + 1]:
                reply = cached[at + 2]
            elif hold_until <= cycle:
                asked = 1
                return CALL
asked = 0
if reply:
    in_reply = reply
    settle_reply()
status = out_status
caller = status >> 35
observe()
edge()
fresh = 0
if cycle == reset_cycle:
    # What follows is new, even if it looks the same.
    fresh = 1
cycle = cycle + 1
budget = budget - 1
if reply:
    reply = 0
    in_reply = 0
if active == 0:
    if changed == 0 and told == 0 and fresh == 0 and end > cycle:
        cycle = end
    if cycle == reset_until:
        reset_until = -1
        rst = 0
    continue
if status & 1:
    # It ended in the cycle before.
    request = 0
    written = 0
    word = status >> 3 & 0xffffffff
    failed = status >> 1 & 1
    terminator = failed
    if status & 4:
        terminator = 2
    at = logged * 9
    log[at] = start
    log[at + 1] = cycle - 1
    log[at + 2] = address
    log[at + 3] = write
    log[at + 4] = lanes
    log[at + 5] = word
    if write:
        log[at + 5] = data
    log[at + 6] = terminator
    log[at + 7] = number
    log[at + 8] = 0
    logged = logged + 1
    up = 0
    hold_until = 0
    quiet_from = -1
    reads = reads + 1
    result = word
    distance = word - kept[since] - less & mask
    matched = 0
    if failed == 0 and distance == value:
        matched = 1
    if failed == 0 and at_least and distance > value:
        matched = 1
    if matched == 0 and reads < most:
        start = cycle + every
        continue
    kind = -1
    free = cycle
    if keep:
        kept[keep] = word
    if poll and matched == 0:
        log[at + 8] = 1
    continue
if changed or told:
    quiet_from = -1
else:
    # Nothing moves before an input comes, a model is asked, or the access has waited too long.
    if quiet_from < 0:
        quiet_from = cycle - 1
    end = limit
    if start + hang_after < end:
        end = start + hang_after
    if caller and hold_until < end:
        end = hold_until
    if end > cycle:
        cycle = end
if cycle > start + hang_after:
    return HANG
continue
"""


def _with_numbers(text: str) -> str:
    """Put numbers in the place of what the core calls its own."""
    names = {"ACCESS": ACCESS, "IDLE": IDLE}
    names |= {f"CORE_{place}": STATE_OF_CORE.index(name) for place, name in _TOLD.items()}
    for name, number in names.items():
        text = re.sub(rf"\b{name}\b", str(number), text)
    return text.replace("left == DECODE", f"left == {DECODE_CORE}")


#: What a core tells of the access that is due, and of itself.
_TOLD = {
    "PC": "pc", "CYCLE": "cycle", "WRITE": "out_write", "ADDRESS": "out_address", "DATA": "out_data",
    "LANES": "out_lanes", "START": "out_start",
}  # fmt: skip
LOOP = _with_numbers(_LOOP)
