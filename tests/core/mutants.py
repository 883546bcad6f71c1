"""Mistakes put into the core, one at a time: a test of this folder must find each.

``check`` names the tests, from the folder of the tests; most mistakes are found where the core is
compared with the interpreter of another author. Those in blocks concern Python alone, those in
``native_core`` machine code alone; all others concern both.
"""

from __future__ import annotations

from tests.mutant_runs import Mutant

NAIVE = "core/test_against_naive.py"
BLOCK_TESTS = "core/test_blocks.py"
LOCKSTEP = BLOCK_TESTS + "::test_drawn_programs_in_lockstep"
HALVES = NAIVE + "::test_every_half_word_is_decoded_alike"
SHARP_FILE = "core/test_core_sharp.py"
SHARP = SHARP_FILE + "::"

INSTRUCTIONS = "core/instructions.py"
COMPRESSED = "core/compressed.py"
DECODING = "core/decoding.py"
LAYOUT = "core/layout.py"
MACHINE = "core/machine.py"
REGISTERS = "core/machine_registers.py"
CORE = "core/core.py"
INTERPRETER = "core/interpreter.py"
BLOCKS = "core/blocks.py"
MEMORY = "core/block_memory.py"
SOURCE = "core/block_source.py"
TREE = "core/block_tree.py"
NATIVE = "engines/native_core.py"


def _one(
    file: str, mistake: str, old: str, new: str, check: str = NAIVE, *, quick: bool = False,
    unchanged: str = "",
) -> Mutant:  # fmt: skip
    return Mutant(mistake, file, old, new, check, quick=quick, unchanged=unchanged)


ARITHMETIC = tuple(
    _one(INSTRUCTIONS, *texts, quick=texts[0].startswith("jalr"))
    for texts in (
        ("jalr keeps the lowest bit of its target", "a + imm & 0xFFFFFFFE", "a + imm & M"),
        (
            "mulh takes its first word without its sign",
            'f"{_SIGNED_A} * {_SIGNED_B} >> 32 & M"',
            'f"a * {_SIGNED_B} >> 32 & M"',
        ),
        (
            "mulhsu takes its second word with its sign",
            'f"{_SIGNED_A} * b >> 32 & M"',
            'f"{_SIGNED_A} * {_SIGNED_B} >> 32 & M"',
        ),
        (
            "mulhu takes its first word with its sign",
            '"a * b >> 32 & M"',
            'f"{_SIGNED_A} * b >> 32 & M"',
        ),
        ("div by 0 gives 0", '"div", 4, by_zero="M"', '"div", 4, by_zero="0"'),
        ("divu by 0 gives 0", '"divu", 5, by_zero="M"', '"divu", 5, by_zero="0"'),
        ("rem by 0 gives all ones", '"rem", 6, by_zero="a"', '"rem", 6, by_zero="M"'),
        ("remu by 0 gives 0", '"remu", 7, by_zero="a"', '"remu", 7, by_zero="0"'),
        (
            "the lowest number overflows to 0 in a division",
            "        p = 0 - p\n",
            "        p = 0 - p & 0x7FFFFFFF\n",
            SHARP + "test_divisions_overflow_as_the_standard_says",
        ),
        ("a remainder has the sign of the divisor", 'negative="a")', 'negative="b")'),
        ("a quotient has the sign of the dividend", 'negative="(a ^ b)")', 'negative="a")'),
        ("slti compares without signs", "(a ^ S) - (imm + S) >> 63 & 1", "a - (imm & M) >> 63 & 1"),
        ("sltiu does not extend its sign", "a - (imm & M) >> 63", "a - (imm & 0xFFF) >> 63"),
        ("srai shifts zeros in", 'f"{_SIGNED_A} >> imm & M"', '"a >> imm"'),
        ("sra shifts zeros in", 'f"{_SIGNED_A} >> (b & 31) & M"', '"a >> (b & 31)"'),
        ("sll shifts by 6 bits", "a << (b & 31) & M", "a << (b & 63) & M"),
        ("blt compares without signs", "(a ^ S) < (b ^ S)", "a < b"),
        ("bge compares without signs", "(a ^ S) >= (b ^ S)", "a >= b"),
        ("bltu compares with signs", '"bltu", 6, "a < b"', '"bltu", 6, "(a ^ S) < (b ^ S)"'),
        ("bgeu compares with signs", '"bgeu", 7, "a >= b"', '"bgeu", 7, "(a ^ S) >= (b ^ S)"'),
        (
            "auipc counts from the next instruction",
            '"d = pc + imm & M"',
            '"d = pc + size + imm & M"',
        ),
        ("a taken branch costs as one that is not", "\\n    cost = taken", ""),
    )
)

DECODED = (
    _one(
        COMPRESSED,
        "c.addi16sp exchanges two bits",
        "(12, 9), (6, 4), (5, 6), (4, 8), (3, 7), (2, 5)",
        "(12, 9), (6, 4), (5, 6), (4, 7), (3, 8), (2, 5)",
        HALVES,
        quick=True,
    ),
    *(
        _one(COMPRESSED, *texts, HALVES)
        for texts in (
            ("c.lui of 0 is legal", "    if not imm:\n", "    if not imm and rd == 2:\n"),
            ("c.addi16sp of 0 is legal", "    if not imm:\n", "    if not imm and rd != 2:\n"),
            (
                "c.jr with x0 is legal",
                "return 0x00100073 if second else None",
                "return 0x00100073 if second else _i(0x67, 0, 0, 0, 0)",
            ),
            ("c.ebreak is illegal", "return 0x00100073 if second else None", "return None"),
            ("c.slli by bit 5 is legal", "return None if half >> 12 & 1 else _i(", "return _i("),
            ("c.srli and c.srai by bit 5 are legal", "if imm < 0:  #", "if False:  #"),
            ("c.addi4spn of 0 is legal", "number) if number else None", "number)"),
            ("c.lwsp to x0 is legal", "2, offset) if rd else None", "2, offset)"),
            ("c.jal links nothing", "_jal(int(funct3 == 1),", "_jal(0,"),
            ("c.subw is c.sub", "    if half >> 12 & 1:\n        return None\n", ""),
        )
    ),
    *(
        _one(DECODING, *texts)
        for texts in (
            ("a fence writes a register", 'one.form in "SBN" or rd == 0', 'one.form in "SB" or rd == 0'),
            ("x0 is written", ' or rd == 0 else rd,', " else rd,"),
            ("M is there without M", " or known[1].extension not in isa[4:]", ""),
            ("C is there without C", 'if "c" in isa[5:] else None', "if True else None"),
            ("mtval has 16 bits without C", "size, bits = 4, word\n", "size, bits = 4, bits\n"),
            ("mtval has the long form of a short one", "imm=bits, size=size)\n    number", "imm=whole, size=size)\n    number"),
            ("an immediate of S has no sign", "sign << 12 | (word >> 25) << 5", "(word >> 25) << 5"),
        )
    ),
    _one(
        LAYOUT,
        "a fetch across the end of a memory faults at its first half",
        "return unfetched(pc + 2 & 0xFFFFFFFF)",
        "return unfetched(pc)",
    ),
    _one(
        LAYOUT,
        "a short instruction at the end of a memory needs the half behind it",
        'if low & 3 != 3 and "c" in setup.isa[5:]:',
        "if False:", SHARP_FILE,
    ),
)  # fmt: skip

_HALF = "q = ({} >> 1 & code_mask) * 4\nif code[q] == p {}:\n    code[q] = 0\n"
_FORGOTTEN = "for pc in (address - 2, address, address + 2):"
STALE = (
    *(
        _one(MACHINE, f"a store leaves the decoded instruction {where}", _HALF.format(*part), "", SHARP_FILE)
        for where, part in (
            ("that begins in its word", ("p", "+ 1")),
            ("that ends in its word", ("p - 2", "- 1")),
            ("at the upper half of its word", ("p + 2", "+ 3")),
        )
    ),
    *(
        _one(LAYOUT, f"a rewind leaves the decoded instruction {where}", _FORGOTTEN, f"for pc in ({left}):", SHARP_FILE)
        for where, left in (
            ("that begins in a word", "address - 2, address + 2"),
            ("that ends in a word", "address, address + 2"),
            ("at the upper half of a word", "address - 2, address"),
        )
    ),
)  # fmt: skip

_LINES = "(11, 3, 7, *range(16, 32))"
_READ_SLOW = '_found(4, 0, "0")'
TRAPS = tuple(
    _one(MACHINE, *texts)
    for texts in (
        ("the timer goes before the software interrupt", _LINES, "(11, 7, 3, *range(16, 32))", SHARP_FILE),
        ("the timer goes before the external interrupt", _LINES, "(7, 11, 3, *range(16, 32))", SHARP_FILE),
        ("the external interrupt goes last of three", _LINES, "(3, 7, 11, *range(16, 32))", SHARP_FILE),
        ("the highest platform interrupt goes first", _LINES, "(11, 3, 7, *range(31, 15, -1))"),
        ("platform interrupts go before the others", _LINES, "(*range(16, 32), 11, 3, 7)"),
        ("wfi wakes only with MIE", "(sleeping == {WAITING} or mie_bit)", "mie_bit"),
        (
            "wfi wakes by a line that is not enabled",
            "if lines & mie and (sleeping ==",
            "if lines and (sleeping ==", SHARP_FILE,
        ),
        ("wfi wakes a cycle late", "            cycle = now\n    if", "            cycle = now + 1\n    if", SHARP_FILE),
        ("a jump to itself misses its last round", "(now - cycle + spin_cost - 1)", "(now - cycle)", SHARP_FILE),
        ("a jump to itself is no instruction", "            instret = instret + p\n", "", SHARP_FILE),
        ("an exception is vectored", "if mtvec & 1 and cause >= S:", "if mtvec & 1:", SHARP_FILE),
        ("an interrupt is not vectored", "if mtvec & 1 and cause >= S:", "if 0:", SHARP_FILE),
        ("a trap sets MPIE", "    mpie = mie_bit\n", "    mpie = 1\n"),
        ("a trap leaves MIE", "    mie_bit = 0\n", "", SHARP_FILE),
        ("mret clears MPIE", "mie_bit = mpie\nmpie = 1\n", "mie_bit = mpie\nmpie = 0\n"),
        ("mret sets MIE", "mie_bit = mpie\n", "mie_bit = 1\n"),
        ("a trap takes no clocks", "    cycle = cycle + c_trap\n", "", SHARP_FILE),
        ("a trap in a handler's first instruction goes on", "== 0 or fresh and cause < S:", "== 0:"),
        ("an interrupt leaves mtval", "    p = lines & mie\n    tval = 0\n", "    p = lines & mie\n"),
        ("ecall is an instruction that retires", "tval = 0\\ncontinue", "tval = 0\\ninstret = instret + 1\\ncontinue", SHARP_FILE),
        ("mtval of ecall is its address", "cause = 11\\ntval = 0", "cause = 11\\ntval = pc", SHARP_FILE),
        ("mtval of ebreak is 0", "cause = 3\n    tval = pc", "cause = 3\n    tval = 0"),
        ("a jump that is misaligned traps at itself", "    tval = next\n", "    tval = pc\n"),
        (
            "an interrupt is taken at the end of a run",
            "if cycle >= until:\n    kind = IDLE\n    return\nif mie_bit and lines & mie:",
            "if cycle >= until and (lines & mie == 0 or mie_bit == 0):\n    kind = IDLE\n    return\n"
            "if mie_bit and lines & mie:",
        ),
    )
)  # fmt: skip

_STORE = '_STORE = f"""\n'
LOADS = tuple(
    _one(MACHINE, *texts)
    for texts in (
        ("a load to x0 makes no access", _READ_SLOW, _READ_SLOW + '.replace("slow:", "slow and rd != 32:")'),
        ("lb has no sign in an own memory", "d = (m8[place] ^ 0x80) - 0x80 & M", "d = m8[place]"),
        ("lh has no sign in an own memory", "d = (m16[place >> 1] ^ 0x8000) - 0x8000 & M", "d = m16[place >> 1]"),
        ("lbu has a sign in an own memory", "    d = m8[place]\n", "    d = (m8[place] ^ 128) - 128 & M\n"),
        ("lhu has a sign in an own memory", "else:\n    d = m16[place >> 1]\n", "else:\n    d = (m16[place >> 1] ^ 32768) - 32768 & M\n"),
        ("lb has no sign on the bus", "p_value = (p_value ^ 0x80) - 0x80 & M", "p_value = p_value & M"),
        ("lh has no sign on the bus", "p_value = (p_value ^ 0x8000) - 0x8000 & M", "p_value = p_value & M"),
        ("a load takes the lowest lanes", "word = result >> (p_at & 3) * 8", "word = result"),
        ("sb and sh have the lowest lanes", "out_lanes = (1 << p_size) - 1 << (p_at & 3)", "out_lanes = (1 << p_size) - 1"),
        ("sb and sh send on the lowest lanes", "out_data = value << (p_at & 3) * 8", "out_data = value"),
        ("a load's piece does not move up", "(1 << p_size * 8) - 1) << p_shift", "(1 << p_size * 8) - 1)"),
        ("a split store repeats its first piece", "value = p_value >> p_shift & (1", "value = p_value & (1"),
        ("mtval of a later piece is the first address", "cause = 5 + p_store * 2\n        tval = p_at", "cause = 5 + p_store * 2\n        tval = p_at - (p_shift >> 3)"),
        ("a store that fails is a load fault", "cause = 5 + p_store * 2", "cause = 5"),
        ("a fault goes on with the next piece", "        tval = p_at\n        p_left = 0\n        continue\n    if p_store == 0 and", "        tval = p_at\n        continue\n    if p_store == 0 and"),
        ("a first piece that is refused takes access_at", "        if p_shift == 0:\n            cycle = cycle - access_at\n", ""),
        ("a later piece that is refused gives access_at back", "        if p_shift == 0:\n            cycle", "        if 1:\n            cycle"),
        ("a split takes no word in the middle", "elif (p_at & 1) == 0 and p_left >= 2:", "elif (p_at & 1) == 0 and p_left == 2:"),
        ("a split of a word ignores alignment", "elif (p_at & 1) == 0 and p_left >= 2:", "elif p_left >= 2:"),
        ("a store to a ROM goes before its misalignment", _STORE, _STORE + 'at = a + imm & M\n{_regions()}\nif rom:\n    cause = 7\n    tval = at\n    continue\n'),
        ("a store to a ROM is made", "\nif rom:\n", "\nif rom > 1:\n"),
        ("a piece of a store to a ROM is made", "    if p_store and rom:\n", "    if p_store and rom > 1:\n"),
        ("a misaligned load is a load fault", "_found(4, 0", "_found(5, 0"),
        ("a misaligned store is a misaligned load", "_found(6, 1", "_found(4, 1"),
        ("an access is raised in the first cycle", "\ncycle = cycle + access_at\n", "\n"),
        ("cycles before an access count twice", "p_cost = cost - access_at", "p_cost = cost"),
        ("an own memory answers at once in a split", "    cycle = cycle + clk\n", ""),
        ("an own memory's load takes no clocks", "cost = cost + clk\nif more == 2:", "if more == 2:"),
        ("an error of the bus is ignored always", "if failed and faults:", "if failed and faults > 1:"),
        ("a load that an error ends gives data", "if p_store == 0 and failed == 0:", "if p_store == 0:"),
        ("a memory has a byte more", "- base_{number} < size_{number}:", "- base_{number} <= size_{number}:"),
    )
)  # fmt: skip

MACHINE_REGISTERS = (
    *(
        _one(REGISTERS, *texts)
        for texts in (
            ("csrrw with x0 writes nothing", "if (more & 3) != 1 and rs1 == 0:", "if rs1 == 0:"),
            ("csrrc with x0 writes", "if (more & 3) != 1 and rs1 == 0:", "if (more & 3) == 2 and rs1 == 0:"),
            ("csrrs with x0 writes", "if (more & 3) != 1 and rs1 == 0:", "if (more & 3) == 3 and rs1 == 0:"),
            ("a write to a read-only register is ignored", " or write and imm >> 10 == 3:", ":"),
            ("an absent register is 0", '["old = -1"]', '["old = 0"]'),
            ("the last counter is absent", "(0xB03, 0xB1F)", "(0xB03, 0xB1E)"),
            ("csrrsi takes a register", '"if more & 4:",', '"if more & 8:",'),
            ("csrrs toggles", "new = old | value", "new = old ^ value"),
            ("csrrc toggles", "new = old & (M ^ value)", "new = old ^ value"),
            ("mtvec keeps bit 1", "mtvec = new & 0xFFFFFFFD", "mtvec = new"),
            ("mtvec has no mode", "mtvec = new & 0xFFFFFFFD", "mtvec = new & 0xFFFFFFFC"),
            ("mie keeps every bit", "mie = new & 0xFFFF0888", "mie = new"),
            ("mepc keeps bits that are 0", "mepc = new & epc_mask", "mepc = new"),
            ("mstatus writes no MPIE", "\\nmpie = new >> 7 & 1", ""),
            ("mstatus has no MPP", "| mpie << 7 | 0x1800", "| mpie << 7"),
            ("mip shows only what is enabled", '"lines", ""', '"lines & mie", ""'),
            ("mcycle is written in the cycle before", "(p << 32) + new - cycle - cost", "(p << 32) + new - cycle"),
            ("mcycleh is written in the cycle before", "(new << 32) + p - cycle - cost", "(new << 32) + p - cycle"),
            ("minstret counts the write", "(p << 32) + new - instret - 1", "(p << 32) + new - instret"),
            ("minstreth counts the write", "(new << 32) + p - instret - 1", "(new << 32) + p - instret"),
            ("mcycle's other half stands while it is written", "p = cycle + cost + cycle_off >> 32", "p = cycle + cycle_off >> 32", SHARP + "test_the_other_half_of_mcycle_counts_on"),
            ("mtval of a csr instruction has no register", "| (rd & 31) << 7 |", "|"),
        )
    ),
    _one(LAYOUT, "mepc has bit 1 without C", "else 0xFFFFFFFC", "else 0xFFFFFFFE", SHARP + "test_mepc_has_bit_1_with_c_alone"),
    _one(LAYOUT, "mepc has no bit 1 with C", "0xFFFFFFFE if", "0xFFFFFFFC if"),
)  # fmt: skip

REWINDS = (
    _one(
        CORE,
        "a rewind forgets the journal",
        "executor.m32[word] = executor.journal[place + 1]",
        "pass",
        quick=True,
    ),
    _one(
        CORE,
        "an access that is up is withdrawn",
        "withdrawn = not up and",
        "withdrawn =",
        unchanged="While an access is up, the cycle of the core is the one in which it was raised, before "
        "that of the line: nothing would be withdrawn anyway.",
    ),
    *(
        _one(CORE, *texts)
        for texts in (
            (
                "a rewind plays the journal forwards",
                'range(2 * self.get("noted") - 2, -1, -2)',
                'range(0, 2 * self.get("noted"), 2)',
            ),
            (
                "a rewind forgets the registers",
                "executor.x[:REGISTERS] = executor.saved_x[:]",
                "pass",
            ),
            ("a rewind decodes nothing anew", "executor.forget(self._address(4 * word))", "pass"),
            ("a rewind goes a cycle too far", "return self.run(cycle) != ACCESS", "return self.run(cycle + 1) != ACCESS"),
            ("an access due as a line changes is made", 'self.get("out_start") >= cycle', 'self.get("out_start") > cycle'),
            ("a line is seen a cycle late", "due or self.cycle > cycle)", "due or self.cycle > cycle + 1)"),
            ("lines that change take no checkpoint", '        self.set("lines", lines)\n        self.save()\n        return', '        self.set("lines", lines)\n        return'),
            ("a rewind behind an access begins before it", 'executor.saved[AT["pending"]] and not executor.saved[AT["answered"]]', 'executor.saved[AT["pending"]]'),
            ("a rewind before an access has ended takes it as ended", '        if executor.saved[AT["pending"]] and not executor.saved[AT["answered"]]:\n            return False\n', "", SHARP_FILE),
        )
    ),
)  # fmt: skip

IN_BLOCKS = (
    *(
        _one(TREE, *texts)
        for texts in (
            ("blocks: costs of a branch are exchanged", "costs = self._setup.cost(found.op), self._taken", "costs = self._taken, self._setup.cost(found.op)"),
            ("blocks: a known store into its own block goes on", 'node.say(f"if marked[{memories.place(own, str(at), 4)}]:")', 'node.say("if 0:")'),
            ("blocks: a store into a block goes on", 'f"{test} and not marked[{memories.place(number, at, 4)}]"', "test", BLOCK_TESTS),
            ("blocks: a jump to itself is a loop", " or (target == node.pc and found.rd == NOWHERE))", ")", BLOCK_TESTS),
            ("blocks: misaligned jumps do not trap", "self._align = 0 if", "self._align = 0 if True or"),
            ("blocks: a register keeps what was known", "node.known.pop(register, None)", "pass"),
            ("blocks: cycles before an access count twice", "rest = self._setup.cost(found.op) - self._setup.access_at", "rest = self._setup.cost(found.op)"),
            ("blocks: a known own memory takes no clocks", "        node.cost += memories.clocks_of(own)\n", "", BLOCK_TESTS),
            ("blocks: own memories with different clocks take none", 'node.say(f"cycle += {memories.clocks_of(number)}", 1)', "pass"),
            ("blocks: a misaligned known address is accessed", "if at & one.width - 1 or (", "if (", LOCKSTEP),
        )
    ),
    *(
        _one(MEMORY, *texts)
        for texts in (
            ("blocks: lb has no sign", '0: f"({{}} ^ 0x80) - 0x80 & {_M}"', '0: "{}"'),
            ("blocks: lh has no sign", '1: f"({{}} ^ 0x8000) - 0x8000 & {_M}"', '1: "{}"'),
            ("blocks: lhu has a sign", '5: "{}",', '5: f"({{}} ^ 0x8000) - 0x8000 & {_M}",', BLOCK_TESTS),
            ("blocks: a store to a ROM is made", "if one.writable or not store]", "]"),
            ("blocks: a store is not noted", "        if noted:\n", "        if False:\n"),
            ("blocks: alignment is not tested in a memory of odd size", 'inside if width == 1 else f"{inside} and not {at} & {width - 1}"', "inside", BLOCK_TESTS),
        )
    ),
    *(
        _one(SOURCE, *texts)
        for texts in (
            ("blocks: a block runs past until", " - {tree.longest}", " - 0"),
            ("blocks: a load of a byte takes the lowest lanes", '"" if width == 4 else " >> (at & 3) * 8"', '""'),
            ("blocks: a load behind an access has no sign", "if found.more < 2:", "if found.more < 0:"),
            ("blocks: a load's cycles after its access are left out", """f"cycle = {_state('now')} + {rest}\"""", """f"cycle = {_state('now')}\""""),
            ("blocks: an access that ended is no instruction", """f"instret = {_state('instret')} + 1\"""", """f"instret = {_state('instret')}\""""),
            ("blocks: a handler's first load leaves it fresh", """, f"{_state('fresh')} = 0")""", ")", SHARP + "test_a_handler_may_trap_after_its_first_instruction"),
        )
    ),
    *(
        _one(BLOCKS, *texts)
        for texts in (
            ("blocks: no interrupt at a block's end", "if state[_FRESH] or (state[_MIE_BIT] and state[_LINES] & state[_MIE]):", "if state[_FRESH]:"),
            ("blocks: no interrupt behind an access", "            and not (state[_MIE_BIT] and state[_LINES] & state[_MIE])\n", ""),
            ("blocks: an error behind an access is data", "            and not state[_FAILED]\n", ""),
            ("blocks: a split access ends with its first piece", "            and state[_P_LEFT] == state[_P_SIZE]\n", ""),
            ("blocks: a split access ends with its last piece alone", "            and not state[_P_SHIFT]\n", "", BLOCK_TESTS),
            ("blocks: forget leaves blocks", "                self._drop(address - memory.base + start >> 2)\n", "                pass\n", BLOCK_TESTS),
            ("blocks: stale blocks stay", "        for word in self._stale:\n            self._drop(word)\n", ""),
            ("blocks: an access is raised in the first cycle", "cycle = state[_CYCLE] + access_at", "cycle = state[_CYCLE]"),
            ("blocks: sb and sh have the lowest lanes", "lanes = (1 << width) - 1 << shift", "lanes = (1 << width) - 1"),
            ("blocks: sb and sh send on the lowest lanes", "(word & (1 << 8 * width) - 1) << 8 * shift if", "(word & (1 << 8 * width) - 1) if"),
            ("blocks: a misaligned access is raised", "        if at & access[2] - 1:\n            return access[6] | ONE\n", ""),
            ("blocks: an instruction's upper half does not cover it", "for part in range(0, size, 2):", "for part in range(0, 2, 2):", BLOCK_TESTS),
        )
    ),
    _one(
        INTERPRETER,
        "blocks: a store of the interpreter drops no block",
        "return [node, *(ast.parse(_STALE).body if stored else [])]",
        "return [node]",
    ),
)  # fmt: skip

_CONSULTS = SHARP + "test_the_loop_asks_machine_code_as_consult_does"
IN_CODE = tuple(
    _one(NATIVE, *texts, _CONSULTS)
    for texts in (
        (
            "machine code: asking takes no checkpoint",
            "label %save, label %go",
            "label %go, label %go",
        ),
        (
            "machine code: asking saves no registers",
            "call void @llvm.memcpy.p0.p0.i64(ptr %to_x, ptr %x, i64 {8 * REGISTERS}, i1 false)",
            "",
        ),
        ("machine code: asking keeps the journal", "  store i64 0, ptr %a4\n", ""),
        ("machine code: asking tells no access as ended", "  store i64 1, ptr %a5\n", ""),
        ("machine code: asking gives no result", "  store i64 %result, ptr %a1\n", ""),
        ("machine code: asking gives no failure", "  store i64 %failed, ptr %a2\n", ""),
    )
)

MUTANTS = (
    *ARITHMETIC, *DECODED, *STALE, *TRAPS, *LOADS, *MACHINE_REGISTERS, *REWINDS, *IN_BLOCKS, *IN_CODE,
)  # fmt: skip
