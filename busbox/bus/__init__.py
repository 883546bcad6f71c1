"""The bus fabric in Amaranth, and the one page that says what a cycle means.

The cycle semantics
===================

Bus: Wishbone B4 classic, single cycles, 32-bit data, 8-bit granularity, little-endian lanes
(SEL(k) is data bits 8k+7..8k and byte address k of the word). *In cycle t* means the state of
all signals just before the rising clock edge that ends it. There is no second master, no burst, no
pipelined fabric and no other width.

One access, one event
---------------------
1. An access is raised in cycle s and ends in the cycle e in which its terminator (ACK or ERR) is
   seen. It acts at one moment only: the rising edge that ends cycle e.
2. A read shows the state of cycle e. A write, and any side effect of a read, shows from cycle
   e + 1. A pin driven from a register changes in e + 1.
3. Two changes at the end of the same cycle both start from the state of that cycle. Where the
   hardware sets a bit that a write clears in the same cycle, the set wins.

This is a write without a wait state (w = 0), a pause of one cycle, and a read with one (w = 1)::

    cycle     |  0  |  1  |  2  |  3  |  4  |  5  |
    CYC, STB  |_____|#####|_____|#####|#####|_____|
    ACK       |_____|#####|_____|_____|#####|_____|
    register  | old | old | new | new | new | new |
    the pin   | old | old | new | new | new | new |
                 ^     ^           ^     ^
                 |     s = e = 1   s = 3 e = 4: the read shows cycle 4
                 RST is low: the first cycle

When an access ends
-------------------
4. A slot has w wait states (``wait``, default 1), and a device may hold an access k cycles more:
   e = s + w + k. The fabric shows the access to the device from cycle s + w on.
5. An address that no slot decodes is ended by ERR in e = s + 1 (``unanswered = "error"``), whatever
   any slot's w; with ``unanswered = "silence"`` nothing ends it.
6. ``registered_decode = true`` puts a register after the decoder: one cycle more for every access,
   the unmapped error too (e = s + 1 + w + k, or s + 2).
7. ``watchdog = W`` ends with ERR, in cycle s + W, any access still unanswered in that cycle. If the
   device or the unmapped error answers in that very cycle, that answer counts. An access that the
   watchdog cuts off changes nothing. W is at least 1 and counts from s, whatever the decoder.
8. ERR comes only from 5, from 7 and from a device that requests it. Its read data is 0 and is never
   compared; the CPU continues with the next step.
9. An access unanswered in cycle s + ``hang_after`` (default 1,000,000) ends the run: that cycle is the
   last, even if an engine can prove earlier that nothing will change any more.

The steps of the CPU
--------------------
Let F be the first cycle that the next step may use: F = 1 at the start (as if an access had ended in
cycle 0), F = e + 1 after an access.

10. An access with wait n (``+n``) is raised in s = F + n.
11. ``pause n`` makes F larger by n. A mark takes no time.
12. A poll is a read; while (data & mask) != value, it is read again after ``every`` idle cycles:
    s' = e + 1 + every. An ERR never matches. After ``limit`` reads (default 10,000,000) the CPU gives
    up the poll, with a finding, and continues. F = e + 1 after its last read. The whole word is
    compared, whatever the lanes.

Pins, handlers, resets by the CPU
---------------------------------
12a. ``await PIN LEVEL limit N`` samples the pin in the cycles t = F, F + 1, ...; after the first
     cycle with that level, F = t + 1. If none of the cycles F to F + N - 1 has it, the await is
     given up, with a finding, and F grows by N. A released pin has neither level.
12b. The step ``reset`` with wait n drives RST high in the one cycle r = F + n, and the CPU continues
     with the next step: F = r + 2. A reset of the bench in the same cycle takes its place; one in the
     next cycle is a separate reset.
12c. A handler is taken in the first cycle t >= F with no open access, RST low and no handler running in
     which its pin is high: in an idle cycle of a wait, a pause, an await, between two reads of a poll,
     or after the last step while the run goes on (rule 19 is checked first). Of several, the first
     in the traffic is taken. Its first step may use cycle t + 1 + enter. After its last step, which
     leaves F, come ``leave`` idle cycles; b = F + leave is the first cycle of what was going on: what
     was d cycles away in cycle t is d cycles away in cycle b, and an await has sampled no cycle
     from t to b - 1. Cycle b may take a handler again. A handler does not interrupt another.
12d. A reset of the bench abandons a running handler; with ``continue`` the interrupted step counts
     as not begun, unless it is a poll that has read at least once, a pause or an await: those are cut
     off, even if the handler took their first cycle. The step ``reset`` in a handler abandons
     nothing.
12e. Where handlers follow one another for ``hang_after`` cycles, each taken in the cycle b of the one
     before, the main program never resumes: the run ends with the first such cycle b that is
     ``hang_after`` or more cycles after the one in which the first was taken, and in which another
     would be taken. Ended: ``hang``.
12f. A wire gives an input pin in cycle t the level that an output pin has in cycle t; a released output
     gives the level that the input has while nothing drives it.

12g. ``until TARGET - WORD & MASK >= VALUE`` is a poll (rule 12) that ends with the first read whose
     (data - word) modulo 2^32, masked, is VALUE or more. The word is a number, or a name: that of the
     word kept last under it. A read, poll or until with ``keep NAME`` keeps the word of its last
     read, 0 after an ERR; one that is cut off keeps nothing. Before any word is kept under a name, it
     is 0; resets do not change it.

Reset
-----
13. Cycle 0 is the first cycle with RST low; in it every register has its reset value.
14. RST is high in the cycles r to r + L - 1. Registers show their reset values from cycle r + 1 to
    cycle r + L; from cycle r + L on they change again. Memories keep their contents (including lamp
    colours). Input pins keep the level that the board drives; synchronisers are registers.
15. STB and the terminators are masked by RST: an access that is open in cycle r, that would be raised
    in it, or that would end in it, does not happen, and counts as cut off. It is recorded once:
    terminator ``reset``, end r.
16. Cycle r + L takes the role of cycle 0: F = r + L + 1, and a cycle counter reads 0 in r + L.
    The cycle numbers of the recording continue.
17. ``after_reset = "restart"``: the CPU starts again at its first step. ``"continue"``: it continues
    with the step after the one that was cut off; a poll that has begun or a pause that is running
    in cycle r is cut off too; a step that has not begun is played from its start, wait included.
    A poll has begun when its first read was raised in a cycle s <= r. A pause that began when F was
    f runs in the cycles f to f + n - 1.
18. A reset that hits after the last step, before the run has ended, is a reset like any other: with
    ``restart`` the steps are played again, with ``continue`` none is left. Two resets need at least
    one cycle with RST low between them, and none may start in cycle 0.

The end
-------
19. The last cycle is the first one with RST low, no open access, no step left (the cycle is at least F;
    traffic without any step, not even a mark, has none left in cycle 0) and every device at rest (each
    device defines what rest is). A reset that starts in that very cycle counts as reached: the
    run goes on. So ``cycles`` of a recording is that cycle + 1. Ended: ``done``.
20. The run waits for busy devices until cycle e + ``settle`` (default 1 s, or 1,000,000 cycles if
    that is less), where e is the last cycle of the last step (F - 1; a pause is a step) and settle
    is at least 1; here too, a reset that starts in that cycle counts as reached. Not while a handler
    runs. Ended: ``settle``, and a note names the devices.
21. ``until T``: the cycles 0 to T - 1 are run, if the run does not end earlier. Ended: ``until``. If
    several ends fall in one cycle, the first of hang, done, settle, until counts. An
    access that is still open in the last cycle is recorded with terminator ``none`` and
    that cycle as its end (so is one that hangs).
22. Inputs and resets that are not reached do not prolong a run; a note names them.

Time
----
23. Cycle t spans t/f to (t + 1)/f for a clock of f hertz. Seconds in a bench are rounded up to a
    whole cycle.
24. A level that the board drives on an input pin from cycle c on is already there in cycle c.
25. Whatever a device reports belongs to a cycle; what would belong to a cycle after the last one, or
    after cycle r of a reset, did not happen. Within a cycle, devices come in the order of the bench.

Decoding
--------
26. ``full``: all address bits above the size are compared; ``compare``: only those named, which
    creates images (aliases); ``range``: base <= address < base + size.
    A device sees the offset inside its slot: (address - base) modulo size.

Source of the bus rules: Wishbone B4, OpenCores, 2010, rules 3.00 to 3.65.

What the modules hold
=====================
``transfers``: how an access can end, whatever the protocol; in ``wishbone``, ``port``: its signature,
``fabric``: decoder, wait states, error responder and watchdog, ``master``: the CPU's side, ``outlet``:
the way out to a model in Python, ``rules``: the rule checker, ``guard``: detects broken rules in the
hardware itself; ``hardware``: the base of devices in Amaranth, ``view``: what an engine sees of one,
``design``: the complete design.
"""
