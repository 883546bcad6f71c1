"""A core that executes firmware: RV32I, M, C and Zicsr, machine mode (the open RISC-V standard).

``instructions``: every instruction, defined once, in the small language of the engines' loop;
``compressed``: the 32-bit instruction that a 16-bit one stands for; ``decoding``: from a word to what
is executed; ``machine``: the loop around the instructions, in the same language: fetches, loads and
stores, traps, interrupts; ``machine_registers``: the registers of machine mode; ``dispatch``: how
an instruction is chosen; ``layout``: the numbers that the text works on; ``interpreter``: the text as a
Python function; ``blocks`` with ``block_tree``, ``block_source`` and ``block_memory``: instructions
that follow each other as Python functions; ``setup``: what a core is; ``core``: the core of a run;
``program``: what a file loads; ``image``: memories and their contents.

How the core and the bus meet
=============================
1. A core is asked in cycle F, the first one that its next access may use (``consult``). It executes
   until an access is due and gives that, with the cycle in which it is raised; nothing that it does
   in between reaches the bus. It takes the levels of its interrupt lines as of cycle F.
2. If a line changes in a later cycle t, in which no access is up, the core is rewound (``line``): it is
   put back to cycle F, executes what begins before cycle t, and sees the line from its first
   instruction on that begins in cycle t or later. So every instruction sees the lines of its first
   cycle.
3. An instruction that begins in cycle c and is no load or store ends in c + n - 1, n being the clocks
   of its class. A load or store raises its access in c + access_at; if the access ends in cycle e,
   the next instruction begins in e + 1 + n - access_at. Its own memories answer in their number of
   clocks.
4. What has no slot, or is refused, is an access fault: the trap is precise, the first instruction of
   the handler begins in e + 1 + n of class ``trap``.

Source of all rules of instructions: The RISC-V Instruction Set Manual, volume I (unprivileged),
chapters RV32I, M, C, Zicsr and Zifencei; volume II (privileged), chapter machine-level ISA.
"""
