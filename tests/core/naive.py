"""An independent model of a RISC-V core: RV32I, M, C, Zicsr, Zifencei, machine mode; slow and plain.

Written only from the text of the standard (unprivileged ISA manual, volume I; privileged architecture,
volume II, chapter "Machine-Level ISA") and from the time model below, by an author who had not seen the
core of Busbox. It decodes every instruction anew, from memory, each time.

Time. `cycle` is the first cycle of the next instruction. An instruction takes the clocks of its class.
A load or store raises its access `access_at` cycles after its first cycle, and the rest of its clocks
come after the access. A trap or an interrupt takes `trap` clocks, and what trapped takes none, except
the cycles up to the end of an access that has been on the bus.

Where the time model or the standard leaves a choice:

* The half of mcycle that a write does not name reads, in the next instruction's first cycle, what it
  would have read without the write. The half of minstret that a write does not name stays unchanged.
* wfi retires when its sleep ends: until then pc and minstret stay.
* Without C every instruction is 32 bits long, so an illegal one leaves 32 bits in mtval (unprivileged
  ISA, "Expanded Instruction-Length Encoding": the minimal length is 16 bits only if there is a 16-bit
  extension).
* A piece of a split access that faults without an access, after pieces that had one, traps in the cycle
  in which it would have been raised.
"""

from collections.abc import Callable

from tests.core.encoding import (
    AUIPC,
    BRANCH,
    JAL,
    JALR,
    LOAD,
    LUI,
    MISC_MEM,
    OP,
    OP_IMM,
    STORE,
    SYSTEM,
    b_format,
    i_format,
    j_format,
    r_format,
    s_format,
    u_format,
)

WORD = 0xFFFF_FFFF
DOUBLE_WORD = 0xFFFF_FFFF_FFFF_FFFF

# Privileged architecture, table "Machine cause register (mcause) values after trap".
INSTRUCTION_MISALIGNED, INSTRUCTION_FAULT, ILLEGAL, BREAKPOINT = 0, 1, 2, 3
LOAD_MISALIGNED, LOAD_FAULT, STORE_MISALIGNED, STORE_FAULT, ECALL_FROM_M = 4, 5, 6, 7, 11
INTERRUPT = 0x8000_0000
SOFTWARE_LINE, TIMER_LINE, EXTERNAL_LINE = 3, 7, 11
PRIORITY = [EXTERNAL_LINE, SOFTWARE_LINE, TIMER_LINE, *range(16, 32)]
LINES = sum(1 << line for line in PRIORITY)

MSTATUS_MIE, MSTATUS_MPIE, MSTATUS_MPP = 1 << 3, 1 << 7, 0b11 << 11

ECALL, EBREAK, MRET, WFI = 0x0000_0073, 0x0010_0073, 0x3020_0073, 0x1050_0073

# Privileged architecture, chapter "Control and Status Registers", tables of addresses.
CSR_NAMES = {
    0x300: "mstatus",
    0x301: "misa",
    0x304: "mie",
    0x305: "mtvec",
    0x310: "mstatush",
    0x320: "mcountinhibit",
    0x340: "mscratch",
    0x341: "mepc",
    0x342: "mcause",
    0x343: "mtval",
    0x344: "mip",
    0xB00: "mcycle",
    0xB02: "minstret",
    0xB80: "mcycleh",
    0xB82: "minstreth",
    0xC00: "cycle",
    0xC02: "instret",
    0xC80: "cycleh",
    0xC82: "instreth",
    0xF11: "mvendorid",
    0xF12: "marchid",
    0xF13: "mimpid",
    0xF14: "mhartid",
    0xF15: "mconfigptr",
}
for counter in range(3, 32):
    CSR_NAMES[0x320 + counter] = f"mhpmevent{counter}"
    CSR_NAMES[0xB00 + counter] = f"mhpmcounter{counter}"
    CSR_NAMES[0xB80 + counter] = f"mhpmcounter{counter}h"

Memory = tuple[int, bytearray, int, bool]
Bus = Callable[[int, bool, int, int, int], tuple[int, int, bool]]


def signed(value: int, bits: int = 32) -> int:
    """The two's complement number in the lowest bits of value."""
    value &= (1 << bits) - 1
    return value - (1 << bits) if value >> (bits - 1) else value


def field(value: int, high: int, low: int) -> int:
    """Bits high..low of value."""
    return value >> low & ((1 << (high - low + 1)) - 1)


class Trap(Exception):
    """An exception: its cause, mtval, and the cycle from which the clocks of the trap count."""

    def __init__(self, cause: int, value: int, from_cycle: int | None = None):
        self.cause, self.value, self.from_cycle = cause, value, from_cycle


class NaiveCore:
    """One hart. Memories: (base address, contents, clocks of one access, writable)."""

    def __init__(
        self,
        isa: str,
        memories: list[Memory],
        start: int,
        clocks: dict[str, int],
        access_at: int = 0,
        misaligned: str = "trap",
        bus_error: str = "fault",
        mhartid: int = 0,
    ):
        if isa not in ("rv32i", "rv32im", "rv32ic", "rv32imc"):
            raise ValueError(isa)
        if misaligned not in ("trap", "split"):
            raise ValueError(misaligned)
        if bus_error not in ("fault", "ignore"):
            raise ValueError(bus_error)
        self.has_m = "m" in isa[5:]
        self.has_c = "c" in isa[5:]
        self.memories = memories
        self.clocks = clocks
        self.access_at = access_at
        self.misaligned = misaligned
        self.bus_error = bus_error
        self.x = [0] * 32
        self.pc = start
        self.cycle = 1
        self.instructions = 0
        self.asleep = False
        self.lines = 0
        self.mcycle_offset = 0
        self.stored = {
            "mstatus": MSTATUS_MPP,
            "mie": 0,
            "mtvec": 0,
            "mscratch": 0,
            "mepc": 0,
            "mcause": 0,
            "mtval": 0,
            "mhartid": mhartid,
        }
        # What the instruction that is being executed leaves:
        self.next_pc = start
        self.next_cycle = 1
        self.next_instructions = 0
        self.written_mcycle: tuple[str, int] | None = None

    # One step

    def step(self, lines: int, bus: Bus) -> str:
        """Execute one instruction, take one interrupt, or sleep for one cycle ("asleep")."""
        self.lines = lines & LINES
        wanted = self.lines & self.stored["mie"]
        if self.asleep:
            if not wanted:
                self.cycle += 1
                return "asleep"
            self.asleep = False
            self.pc = (self.pc + 4) & WORD
            self.instructions = (self.instructions + 1) & DOUBLE_WORD
        if wanted and self.stored["mstatus"] & MSTATUS_MIE:
            for line in PRIORITY:
                if wanted >> line & 1:
                    self._enter_handler(INTERRUPT | line, 0, self.cycle)
                    return ""
        try:
            self._execute_one(bus)
        except Trap as trap:
            from_cycle = self.cycle if trap.from_cycle is None else trap.from_cycle
            self._enter_handler(trap.cause, trap.value, from_cycle)
        return ""

    def _enter_handler(self, cause: int, value: int, from_cycle: int) -> None:
        status = self.stored["mstatus"]
        enabled = status & MSTATUS_MIE
        self.stored["mstatus"] = MSTATUS_MPP | (MSTATUS_MPIE if enabled else 0)
        self.stored["mepc"] = self.pc
        self.stored["mcause"] = cause
        self.stored["mtval"] = value
        base, vectored = self.stored["mtvec"] & ~0b11, self.stored["mtvec"] & 1
        if vectored and cause & INTERRUPT:
            self.pc = (base + 4 * (cause & ~INTERRUPT)) & WORD
        else:
            self.pc = base
        self.cycle = from_cycle + self._clocks("trap")

    def _clocks(self, kind: str) -> int:
        return self.clocks.get(kind, self.clocks["base"])

    def _execute_one(self, bus: Bus) -> None:
        """Do all or, where a Trap is raised, only what memory and bus have seen already."""
        raw, length = self._fetch()
        if length == 2:
            expanded = decode16(raw)
            if expanded is None:
                raise Trap(ILLEGAL, raw)
            word = expanded
        else:
            word = raw
        self.next_pc = (self.pc + length) & WORD
        self.next_cycle = self.cycle + self._clocks("base")
        self.next_instructions = (self.instructions + 1) & DOUBLE_WORD
        self.written_mcycle = None
        if word == WFI:
            self.asleep = True
            self.cycle = self.next_cycle
            return
        self._execute(word, raw, length, bus)
        self.pc = self.next_pc
        self.cycle = self.next_cycle
        self.instructions = self.next_instructions
        if self.written_mcycle is not None:
            self._set_mcycle(*self.written_mcycle)

    # Fetch

    def _fetch(self) -> tuple[int, int]:
        """The instruction at pc and its length in bytes."""
        low = self._fetch_half(self.pc)
        if self.has_c and low & 0b11 != 0b11:
            return low, 2
        return self._fetch_half((self.pc + 2) & WORD) << 16 | low, 4

    def _fetch_half(self, address: int) -> int:
        memory = self._memory(address, 2)
        if memory is None:
            raise Trap(INSTRUCTION_FAULT, address)
        base, contents, _, _ = memory
        return int.from_bytes(contents[address - base : address - base + 2], "little")

    def _memory(self, address: int, size: int) -> Memory | None:
        """The memory that holds all of these bytes."""
        for memory in self.memories:
            base, contents, _, _ = memory
            if base <= address and address + size <= base + len(contents):
                return memory
        return None

    # Execution

    def _write(self, rd: int, value: int) -> None:
        if rd != 0:
            self.x[rd] = value & WORD

    def _execute(self, word: int, raw: int, length: int, bus: Bus) -> None:
        opcode = field(word, 6, 0)
        rd, rs1, rs2 = field(word, 11, 7), field(word, 19, 15), field(word, 24, 20)
        funct3, funct7 = field(word, 14, 12), field(word, 31, 25)
        i_immediate = signed(field(word, 31, 20), 12)
        a, b = self.x[rs1], self.x[rs2]
        if opcode == LUI:
            self._write(rd, word & 0xFFFF_F000)
        elif opcode == AUIPC:
            self._write(rd, self.pc + (word & 0xFFFF_F000))
        elif opcode == JAL:
            self._jump(rd, self.pc + j_immediate(word), length)
        elif opcode == JALR and funct3 == 0:
            self._jump(rd, (a + i_immediate) & ~1, length)
        elif opcode == BRANCH and funct3 not in (2, 3):
            self._branch(funct3, a, b, self.pc + b_immediate(word))
        elif opcode == LOAD and funct3 in (0, 1, 2, 4, 5):
            self._load(funct3, rd, (a + i_immediate) & WORD, bus)
        elif opcode == STORE and funct3 in (0, 1, 2):
            offset = signed(funct7 << 5 | rd, 12)
            self._store(1 << funct3, b, (a + offset) & WORD, bus)
        elif opcode == OP_IMM:
            self._op_immediate(funct3, funct7, rd, a, i_immediate, rs2, raw)
        elif opcode == OP and funct7 == 1 and self.has_m:
            self._write(rd, multiply_or_divide(funct3, a, b))
            self.next_cycle = self.cycle + self._clocks("multiply" if funct3 < 4 else "divide")
        elif opcode == OP and (funct7 == 0 or (funct7 == 0x20 and funct3 in (0, 5))):
            self._write(rd, arithmetic(funct3, funct7 == 0x20, a, b))
        elif opcode == MISC_MEM and funct3 in (0, 1):
            self.next_cycle = self.cycle + self._clocks("fence")
        elif opcode == SYSTEM:
            self._system(word, raw, funct3, rd, rs1)
        else:
            raise Trap(ILLEGAL, raw)

    def _op_immediate(
        self, funct3: int, funct7: int, rd: int, a: int, immediate: int, amount: int, raw: int
    ) -> None:
        if funct3 == 1:
            if funct7 != 0:
                raise Trap(ILLEGAL, raw)
            result = arithmetic(funct3, False, a, amount)
        elif funct3 == 5:
            if funct7 not in (0, 0x20):
                raise Trap(ILLEGAL, raw)
            result = arithmetic(funct3, funct7 == 0x20, a, amount)
        else:
            result = arithmetic(funct3, False, a, immediate & WORD)
        self._write(rd, result)

    def _jump(self, rd: int, target: int, length: int) -> None:
        target &= WORD
        self._check_target(target)
        self._write(rd, self.pc + length)
        self.next_pc = target
        self.next_cycle = self.cycle + self._clocks("jump")

    def _branch(self, funct3: int, a: int, b: int, target: int) -> None:
        taken = {
            0: a == b,
            1: a != b,
            4: signed(a) < signed(b),
            5: signed(a) >= signed(b),
            6: a < b,
            7: a >= b,
        }[funct3]
        if taken:
            target &= WORD
            self._check_target(target)
            self.next_pc = target
        kind = "branch_taken" if taken else "branch_not_taken"
        self.next_cycle = self.cycle + self._clocks(kind)

    def _check_target(self, target: int) -> None:
        if target & 0b10 and not self.has_c:
            raise Trap(INSTRUCTION_MISALIGNED, target)

    # Loads and stores

    def _load(self, funct3: int, rd: int, address: int, bus: Bus) -> None:
        size = 1 << (funct3 & 0b11)
        data = self._access(False, address, bytes(size), bus)
        value = int.from_bytes(data, "little")
        self._write(rd, value if funct3 & 0b100 else signed(value, 8 * size))

    def _store(self, size: int, value: int, address: int, bus: Bus) -> None:
        data = (value & ((1 << 8 * size) - 1)).to_bytes(size, "little")
        self._access(True, address, data, bus)

    def _access(self, write: bool, address: int, data: bytes, bus: Bus) -> bytes:
        """Make the access, in pieces if it must be split; return the bytes read."""
        if address % len(data) and self.misaligned == "trap":
            raise Trap(STORE_MISALIGNED if write else LOAD_MISALIGNED, address)
        cycle = self.cycle + self.access_at
        result = b""
        done = 0
        while done < len(data):
            at = (address + done) & WORD
            size = next(n for n in (4, 2, 1) if at % n == 0 and n <= len(data) - done)
            refused_at = self.cycle if done == 0 else cycle
            piece = data[done : done + size]
            got, cycle = self._access_piece(write, at, piece, cycle, refused_at, bus)
            result += got
            done += size
        kind = "store" if write else "load"
        self.next_cycle = cycle + self._clocks(kind) - self.access_at
        return result

    def _access_piece(
        self, write: bool, address: int, data: bytes, cycle: int, refused_at: int, bus: Bus
    ) -> tuple[bytes, int]:
        """One aligned access raised in cycle; return the bytes read and the cycle after its end."""
        fault = STORE_FAULT if write else LOAD_FAULT
        size = len(data)
        memory = self._memory(address, size)
        if memory is not None:
            base, contents, clocks, writable = memory
            place = slice(address - base, address - base + size)
            if write and not writable:
                raise Trap(fault, address, refused_at)
            if write:
                contents[place] = data
            return bytes(contents[place]), cycle + clocks
        first = address & 0b11
        lanes = ((1 << size) - 1) << first
        lane_data = int.from_bytes(data, "little") << 8 * first if write else 0
        end, word, error = bus(cycle, write, address & ~0b11, lane_data, lanes)
        if error and self.bus_error == "fault":
            raise Trap(fault, address, end + 1)
        if error:
            word = 0
        return (word & WORD).to_bytes(4, "little")[first : first + size], end + 1

    # System instructions

    def _system(self, word: int, raw: int, funct3: int, rd: int, rs1: int) -> None:
        if word == ECALL:
            raise Trap(ECALL_FROM_M, 0)
        if word == EBREAK:
            raise Trap(BREAKPOINT, self.pc)
        if word == MRET:
            self._return_from_handler()
        elif funct3 in (1, 2, 3, 5, 6, 7):
            operand = rs1 if funct3 & 0b100 else self.x[rs1]
            self._csr_instruction(field(word, 31, 20), funct3 & 0b11, rd, operand, rs1 == 0, raw)
        else:
            raise Trap(ILLEGAL, raw)

    def _return_from_handler(self) -> None:
        was_enabled = self.stored["mstatus"] & MSTATUS_MPIE
        self.stored["mstatus"] = MSTATUS_MPP | MSTATUS_MPIE | (MSTATUS_MIE if was_enabled else 0)
        self.next_pc = self.stored["mepc"]
        self.next_cycle = self.cycle + self._clocks("return")

    def _csr_instruction(
        self, address: int, kind: int, rd: int, operand: int, operand_is_zero: bool, raw: int
    ) -> None:
        """Kind 1 writes (csrrw), 2 sets bits (csrrs), 3 clears bits (csrrc).

        operand_is_zero: the register is x0, or the immediate is 0.
        """
        writes = kind == 1 or not operand_is_zero
        read_only = address >> 10 == 0b11
        if address not in CSR_NAMES or (writes and read_only):
            raise Trap(ILLEGAL, raw)
        name = CSR_NAMES[address]
        old = self.csr_value(name)
        if writes:
            self._write_csr(name, {1: operand, 2: old | operand, 3: old & ~operand}[kind])
        self._write(rd, old)
        self.next_cycle = self.cycle + self._clocks("csr")

    def csr_value(self, name: str) -> int:
        """What a csrr that begins in cycle `cycle` reads; mip shows the lines of the last step."""
        if name not in CSR_NAMES.values():
            raise KeyError(name)
        mcycle = (self.cycle + self.mcycle_offset) & DOUBLE_WORD
        if name == "misa":
            extensions = "i" + ("m" if self.has_m else "") + ("c" if self.has_c else "")
            return 1 << 30 | sum(1 << (ord(letter) - ord("a")) for letter in extensions)
        if name == "mip":
            return self.lines
        if name in ("mcycle", "cycle"):
            return mcycle & WORD
        if name in ("mcycleh", "cycleh"):
            return mcycle >> 32
        if name in ("minstret", "instret"):
            return self.instructions & WORD
        if name in ("minstreth", "instreth"):
            return self.instructions >> 32
        return self.stored.get(name, 0)

    def _write_csr(self, name: str, value: int) -> None:
        """The registers that are not named here ignore writes."""
        value &= WORD
        if name == "mstatus":
            self.stored[name] = MSTATUS_MPP | (value & (MSTATUS_MIE | MSTATUS_MPIE))
        elif name == "mie":
            self.stored[name] = value & LINES
        elif name == "mtvec":
            self.stored[name] = value & ~0b10
        elif name == "mepc":
            self.stored[name] = value & (~0b01 if self.has_c else ~0b11)
        elif name in ("mscratch", "mcause", "mtval"):
            self.stored[name] = value
        elif name in ("mcycle", "mcycleh"):
            self.written_mcycle = (name, value)
        elif name == "minstret":
            self.next_instructions = self.instructions >> 32 << 32 | value
        elif name == "minstreth":
            self.next_instructions = value << 32 | self.instructions & WORD

    def _set_mcycle(self, name: str, value: int) -> None:
        """Let mcycle read the value in the present cycle, the first of the next instruction."""
        unwritten = (self.cycle + self.mcycle_offset) & DOUBLE_WORD
        high, low = unwritten >> 32, unwritten & WORD
        wanted = high << 32 | value if name == "mcycle" else value << 32 | low
        self.mcycle_offset = wanted - self.cycle


def j_immediate(word: int) -> int:
    """The offset in a J format."""
    bits = field(word, 31, 31) << 20 | field(word, 19, 12) << 12
    bits |= field(word, 20, 20) << 11 | field(word, 30, 21) << 1
    return signed(bits, 21)


def b_immediate(word: int) -> int:
    """The offset in a B format."""
    bits = field(word, 31, 31) << 12 | field(word, 7, 7) << 11
    bits |= field(word, 30, 25) << 5 | field(word, 11, 8) << 1
    return signed(bits, 13)


def arithmetic(funct3: int, alternative: bool, a: int, b: int) -> int:
    """OP and OP-IMM. Alternative: subtraction, arithmetic shift."""
    amount = b & 31
    if funct3 == 0:
        return a - b if alternative else a + b
    if funct3 == 1:
        return a << amount
    if funct3 == 2:
        return int(signed(a) < signed(b))
    if funct3 == 3:
        return int(a < b)
    if funct3 == 4:
        return a ^ b
    if funct3 == 5:
        return signed(a) >> amount if alternative else a >> amount
    if funct3 == 6:
        return a | b
    return a & b


def multiply_or_divide(funct3: int, a: int, b: int) -> int:
    """The eight instructions of M: mul, mulh, mulhsu, mulhu, div, divu, rem, remu."""
    if funct3 == 0:
        return a * b
    if funct3 == 1:
        return signed(a) * signed(b) >> 32
    if funct3 == 2:
        return signed(a) * b >> 32
    if funct3 == 3:
        return a * b >> 32
    if funct3 == 4:
        return -1 if b == 0 else quotient(signed(a), signed(b))
    if funct3 == 5:
        return WORD if b == 0 else a // b
    if funct3 == 6:
        return a if b == 0 else signed(a) - signed(b) * quotient(signed(a), signed(b))
    return a if b == 0 else a % b


def quotient(a: int, b: int) -> int:
    """The quotient rounded towards zero."""
    size = abs(a) // abs(b)
    return size if (a < 0) == (b < 0) else -size


def decode16(halfword: int) -> int | None:
    """The 32-bit instruction that a compressed one stands for; None if it is illegal on RV32C.

    Source: unprivileged ISA manual, chapter "C", tables of the RVC quadrants. F and D are absent, so
    their loads and stores are illegal. Hints are the instructions that they are.
    """
    decode = {0: _quadrant_0, 1: _quadrant_1, 2: _quadrant_2}.get(halfword & 0b11)
    return None if decode is None else decode(halfword, field(halfword, 15, 13))


def _short_register(bits: int) -> int:
    return 8 + bits


def _quadrant_0(half: int, funct3: int) -> int | None:
    upper, lower = _short_register(field(half, 9, 7)), _short_register(field(half, 4, 2))
    word_offset = field(half, 12, 10) << 3 | field(half, 6, 6) << 2 | field(half, 5, 5) << 6
    if funct3 == 0b000:  # c.addi4spn
        offset = field(half, 12, 11) << 4 | field(half, 10, 7) << 6
        offset |= field(half, 6, 6) << 2 | field(half, 5, 5) << 3
        return None if offset == 0 else i_format(OP_IMM, 0, lower, 2, offset)
    if funct3 == 0b010:  # c.lw
        return i_format(LOAD, 2, lower, upper, word_offset)
    if funct3 == 0b110:  # c.sw
        return s_format(STORE, 2, upper, lower, word_offset)
    return None


def _quadrant_1(half: int, funct3: int) -> int | None:
    rd, short = field(half, 11, 7), _short_register(field(half, 9, 7))
    immediate = signed(field(half, 12, 12) << 5 | field(half, 6, 2), 6)
    if funct3 == 0b000:  # c.addi, c.nop
        return i_format(OP_IMM, 0, rd, rd, immediate)
    if funct3 == 0b001:  # c.jal
        return j_format(JAL, 1, _jump_offset(half))
    if funct3 == 0b010:  # c.li
        return i_format(OP_IMM, 0, rd, 0, immediate)
    if funct3 == 0b011:
        return _c_lui_or_addi16sp(half, rd, immediate)
    if funct3 == 0b100:
        return _c_arithmetic(half, short, immediate)
    if funct3 == 0b101:  # c.j
        return j_format(JAL, 0, _jump_offset(half))
    offset = field(half, 12, 12) << 8 | field(half, 11, 10) << 3 | field(half, 6, 5) << 6
    offset |= field(half, 4, 3) << 1 | field(half, 2, 2) << 5
    condition = 0 if funct3 == 0b110 else 1  # c.beqz, c.bnez
    return b_format(BRANCH, condition, short, 0, signed(offset, 9))


def _jump_offset(half: int) -> int:
    offset = field(half, 12, 12) << 11 | field(half, 11, 11) << 4 | field(half, 10, 9) << 8
    offset |= field(half, 8, 8) << 10 | field(half, 7, 7) << 6 | field(half, 6, 6) << 7
    offset |= field(half, 5, 3) << 1 | field(half, 2, 2) << 5
    return signed(offset, 12)


def _c_lui_or_addi16sp(half: int, rd: int, immediate: int) -> int | None:
    if immediate == 0:
        return None
    if rd != 2:  # c.lui
        return u_format(LUI, rd, immediate)
    offset = field(half, 12, 12) << 9 | field(half, 6, 6) << 4 | field(half, 5, 5) << 6
    offset |= field(half, 4, 3) << 7 | field(half, 2, 2) << 5
    return i_format(OP_IMM, 0, 2, 2, signed(offset, 10))


def _c_arithmetic(half: int, rd: int, immediate: int) -> int | None:
    kind, bit12 = field(half, 11, 10), field(half, 12, 12)
    if kind in (0b00, 0b01):  # c.srli, c.srai
        if bit12 == 1:  # a shift by 32 or more: not on RV32
            return None
        amount = field(half, 6, 2)
        return r_format(OP_IMM, 5, 0x20 if kind == 0b01 else 0, rd, rd, amount)
    if kind == 0b10:  # c.andi
        return i_format(OP_IMM, 7, rd, rd, immediate)
    if bit12 == 1:  # c.subw, c.addw (RV64), reserved
        return None
    rs2 = _short_register(field(half, 4, 2))
    operation = field(half, 6, 5)
    if operation == 0b00:  # c.sub
        return r_format(OP, 0, 0x20, rd, rd, rs2)
    return r_format(OP, {0b01: 4, 0b10: 6, 0b11: 7}[operation], 0, rd, rd, rs2)  # c.xor, or, and


def _quadrant_2(half: int, funct3: int) -> int | None:
    rd, rs2, bit12 = field(half, 11, 7), field(half, 6, 2), field(half, 12, 12)
    if funct3 == 0b000:  # c.slli
        return None if bit12 == 1 else r_format(OP_IMM, 1, 0, rd, rd, rs2)
    if funct3 == 0b010:  # c.lwsp
        offset = bit12 << 5 | field(half, 6, 4) << 2 | field(half, 3, 2) << 6
        return None if rd == 0 else i_format(LOAD, 2, rd, 2, offset)
    if funct3 == 0b100:
        return _c_register(bit12, rd, rs2)
    if funct3 == 0b110:  # c.swsp
        offset = field(half, 12, 9) << 2 | field(half, 8, 7) << 6
        return s_format(STORE, 2, 2, rs2, offset)
    return None


def _c_register(bit12: int, rd: int, rs2: int) -> int | None:
    if rs2 != 0:  # c.mv, c.add
        return r_format(OP, 0, 0, rd, rd if bit12 else 0, rs2)
    if rd != 0:  # c.jr, c.jalr
        return i_format(JALR, 0, bit12, rd, 0)
    return EBREAK if bit12 else None
