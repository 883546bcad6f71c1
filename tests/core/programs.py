"""Random programs for a core, each from a seed, and the world they run in.

A program starts at its base and ends in a jump to itself (`Program.end`); it always gets there. Its
trap handler skips the instruction that trapped; after an interrupt it clears the line's bit of mie,
except bit 31, whose line pulses for one cycle again and again and so ends every wfi.

Registers: x1 links, x2 and x8 point to data, x9 to the bus, x23 and x24 count loops, x26 is where the
handler goes after a fetch fault, x27 sums up what trapped, x29 points to the memory that cannot be
written, x30 and x31 belong to the handler. The others are free.
"""

import random
from collections.abc import Callable
from dataclasses import dataclass, field

from tests.core import assembler as asm
from tests.core.assembler import Assembly
from tests.core.encoding import BRANCH, JALR, LOAD, MISC_MEM, OP, OP_IMM, STORE, SYSTEM, r_format

ISAS = ("rv32i", "rv32im", "rv32ic", "rv32imc")
LINK, STACK, DATA, BUS, COUNTERS, RESUME, SUM = 1, 2, 8, 9, (23, 24), 26, 27
FIXED, SCRATCH, CAUSE = 29, 30, 31
FREE = [3, 4, 5, 6, 7, *range(10, 23)]
FREE_SHORT = [10, 11, 12, 13, 14, 15]

CODE_SIZE, DATA_SIZE, FIXED_SIZE = 0x4000, 0x400, 0x100
BUS_BASE, BUS_SIZE = 0x4000_0000, 0x100
MIE_ALL = 0xFFFF_0888
MSTATUS, MIE, MTVEC, MEPC, MCAUSE, MTVAL = 0x300, 0x304, 0x305, 0x341, 0x342, 0x343
CSRS = [
    *(0x300, 0x301, 0x304, 0x310, 0x320, 0x340, 0x341, 0x342, 0x343, 0x344),
    *(0xB00, 0xB02, 0xB80, 0xB82, 0xC00, 0xC02, 0xC80, 0xC82, 0xF11, 0xF12, 0xF13, 0xF14, 0xF15),
    *(0xB03, 0xB1F, 0xB83, 0xB9F, 0x323, 0x33F),
]
ABSENT_CSRS = [
    *(0x000, 0x001, 0x100, 0x180, 0x302, 0x303, 0x306, 0x30A, 0x321, 0x322, 0x34A, 0x3A0, 0x3B0),
    *(0x723, 0x7A0, 0x7B0, 0xB01, 0xB81, 0xC01, 0xC03, 0xC81, 0xC83, 0xF10, 0xF16, 0xFFF),
]
# Reserved, or of an absent extension: unprivileged ISA manual, chapter C, tables of the quadrants.
ILLEGAL_HALVES = [
    0x0000,  # defined illegal
    0x0004,  # c.addi4spn of 0
    *(0x2108, 0x6108, 0xA108, 0xE108, 0x2502, 0x6502, 0xA02A, 0xE02A),  # F, D loads and stores
    0x8108,  # reserved row of quadrant 0
    *(0x6501, 0x6101, 0x6001),  # c.lui, c.addi16sp of 0
    *(0x9105, 0x9505, 0x1506),  # shifts by more than 31
    *(0x9D09, 0x9D29, 0x9D49, 0x9D69),  # c.subw, c.addw, reserved
    *(0x4002, 0x400A),  # c.lwsp to x0
    0x8002,  # c.jr x0
]
ILLEGAL_SYSTEM = [
    *(0x0020_0073, 0x1020_0073, 0x7020_0073, 0x1200_0073, 0x0000_80F3, 0x0010_8073),
    *(0x3020_8073, 0x3020_00F3, 0x1050_8073, 0x1050_00F3, 0x0000_4073, 0x3000_4573, 0xFFF0_0073),
]
EDGE_VALUES = [0, 1, 2, 31, 32, 0x7F, 0x80, 0xFF, 0x7FFF, 0x8000, 0xFFFF]
EDGE_VALUES += [0x7FFF_FFFF, 0x8000_0000, 0x8000_0001, 0xFFFF_8000, 0xFFFF_FFFE, 0xFFFF_FFFF]


@dataclass
class Program:
    """Bytes to run, and where."""

    isa: str
    base: int
    code: bytes
    fixed: bytes
    end: int

    def memories(
        self, clocks: tuple[int, int, int] = (0, 1, 2)
    ) -> list[tuple[int, bytearray, int, bool]]:
        """Fresh memories: code, data, and one that cannot be written, each after the other."""
        code = bytearray(self.code.ljust(CODE_SIZE, b"\0"))
        data_base = self.base + CODE_SIZE
        return [
            (self.base, code, clocks[0], True),
            (data_base, bytearray(DATA_SIZE), clocks[1], True),
            (data_base + DATA_SIZE, bytearray(self.fixed), clocks[2], False),
        ]


@dataclass
class DrawnBus:
    """A bus with a window of words; accesses elsewhere end in an error. Each takes 1 to 4 cycles."""

    seed: int
    words: dict[int, int] = field(default_factory=dict)
    log: list[tuple[int, bool, int, int, int]] = field(default_factory=list)

    def __call__(
        self, cycle: int, write: bool, address: int, data: int, lanes: int
    ) -> tuple[int, int, bool]:
        self.log.append((cycle, write, address, data, lanes))
        drawn = (address // 4 * 2654435761 + self.seed + len(self.log) * 40503) >> 4
        end = cycle + drawn % 4
        if not BUS_BASE <= address < BUS_BASE + BUS_SIZE:
            return end, 0, True
        word = self.words.get(address, address * 2654435761 & 0xFFFF_FFFF)
        if not write:
            return end, word, False
        mask = sum(0xFF << 8 * lane for lane in range(4) if lanes >> lane & 1)
        self.words[address] = word & ~mask | data & mask
        return end, 0, False


def drawn_lines(seed: int) -> Callable[[int], int]:
    """Interrupt lines as a function of the cycle: a few with a period and a width, and bit 31."""
    drawn = random.Random(seed)
    pulses = [(31, 257, 1, 0)]
    for line in drawn.sample([3, 7, 11, 16, 17, 23, 30], 4):
        period = drawn.randrange(20, 400)
        pulses.append((line, period, drawn.randrange(1, 12), drawn.randrange(period)))

    def lines(cycle: int) -> int:
        return sum(
            1 << line for line, period, width, start in pulses if (cycle - start) % period < width
        )

    return lines


def drawn_clocks(seed: int) -> dict[str, int]:
    """Clocks of each class of instructions; some are missing, and so as base."""
    drawn = random.Random(seed)
    clocks = {"base": drawn.choice([1, 1, 2, 3])}
    kinds = ["multiply", "divide", "branch_taken", "branch_not_taken", "jump"]
    kinds += ["csr", "trap", "return", "fence"]
    for kind in kinds:
        if drawn.random() < 0.7:
            clocks[kind] = drawn.choice([1, 2, 3, 4, 5, 12, 34])
    for kind in ("load", "store"):
        if drawn.random() < 0.7:
            clocks[kind] = drawn.choice([2, 3, 5])
        else:
            clocks[kind] = 2
    return clocks


def drawn_program(seed: int, isa: str, blocks: int = 40) -> Program:
    """A program of so many blocks; the same for the same seed."""
    return _Drawer(random.Random(f"{seed} {isa}"), isa).program(blocks)


class _Drawer:
    def __init__(self, drawn: random.Random, isa: str):
        self.drawn = drawn
        self.isa = isa
        self.m = "m" in isa[5:]
        self.c = "c" in isa[5:]
        self.base = drawn.choice([0, 0x1000_0000, 0x8000_0000])
        self.code = Assembly(self.base)

    def program(self, blocks: int) -> Program:
        data = self.base + CODE_SIZE
        fixed = bytearray(self.drawn.randbytes(FIXED_SIZE))
        fixed[-2:] = b"\x13\x05"  # the first half of an addi whose second half is missing
        code = self.code
        code.word_to("start", lambda offset: asm.jal(0, offset))
        self._handler()
        code.label("start")
        code.address_of(RESUME, "handler")
        code.words(asm.csrrw(0, MTVEC, RESUME))
        for register, value in ((DATA, data), (STACK, data + 0x80), (BUS, BUS_BASE)):
            code.words(*asm.li(register, value))
        code.words(*asm.li(FIXED, data + DATA_SIZE))
        for register in FREE:
            code.words(*asm.li(register, self._value()))
        for _ in range(blocks):
            self._block(depth=0, may_call=True)
        self._align()
        end = code.here
        code.label("end")
        if self.c and self.drawn.random() < 0.5:
            code.halves(asm.c_j(0), asm.C_NOP)
        else:
            code.words(asm.jal(0, 0))
        return Program(self.isa, self.base, code.image(), bytes(fixed), end)

    # Registers and values

    def _value(self) -> int:
        drawn = self.drawn
        if drawn.random() < 0.4:
            return drawn.choice(EDGE_VALUES)
        return drawn.getrandbits(32)

    def _source(self) -> int:
        return self.drawn.choice([0, *FREE, *FREE])

    def _target(self) -> int:
        return self.drawn.choice([0, *FREE, *FREE])

    def _free(self) -> int:
        return self.drawn.choice(FREE)

    def _short(self) -> int:
        return self.drawn.choice(FREE_SHORT)

    def _align(self) -> None:
        """Without C every address is aligned already."""
        if self.code.here % 4:
            self.code.halves(asm.C_NOP)

    # The handler

    def _handler(self) -> None:
        """A table of 32 jumps, for vectored interrupts, and what they go to."""
        code = self.code
        code.label("handler")
        for _ in range(32):
            code.word_to("any", lambda offset: asm.jal(0, offset))
        code.label("any")
        code.words(asm.csrrs(CAUSE, MCAUSE, 0), asm.add(SUM, SUM, CAUSE))
        code.words(asm.csrrs(SCRATCH, MTVAL, 0), asm.xor(SUM, SUM, SCRATCH))
        code.word_to("interrupt", lambda offset: asm.blt(CAUSE, 0, offset))
        code.words(asm.addi(CAUSE, CAUSE, -1))
        code.word_to("fetch fault", lambda offset: asm.beq(CAUSE, 0, offset))
        code.words(asm.csrrs(CAUSE, MEPC, 0), asm.add(SUM, SUM, CAUSE))
        if self.c:
            code.words(asm.lhu(SCRATCH, CAUSE, 0), asm.andi(SCRATCH, SCRATCH, 3))
            code.words(asm.addi(SCRATCH, SCRATCH, -3), asm.addi(CAUSE, CAUSE, 2))
            code.word_to("short", lambda offset: asm.bne(SCRATCH, 0, offset))
            code.words(asm.addi(CAUSE, CAUSE, 2))
            code.label("short")
        else:
            code.words(asm.addi(CAUSE, CAUSE, 4))
        code.words(asm.csrrw(0, MEPC, CAUSE), asm.MRET)
        code.label("fetch fault")
        code.words(asm.csrrw(0, MEPC, RESUME), asm.MRET)
        code.label("interrupt")
        code.words(asm.addi(SCRATCH, 0, 1), asm.sll(SCRATCH, SCRATCH, CAUSE))
        code.word_to("keep", lambda offset: asm.blt(SCRATCH, 0, offset))
        code.words(asm.csrrc(0, MIE, SCRATCH))
        code.label("keep")
        code.words(asm.MRET)

    # Blocks

    def _block(self, depth: int, may_call: bool) -> None:
        kinds: list[tuple[Callable[[], None], int]] = [
            (self._arithmetic, 30),
            (self._memory, 14),
            (self._bus, 8),
            (self._csr, 10),
            (self._illegal, 5),
            (self._environment, 3),
            (self._enable_interrupts, 3),
            (self._wait_for_interrupt, 1),
            (self._return, 1),
            (self._vector, 1),
            (self._fence, 2),
            (self._wild_jump, 1),
            (self._misaligned_jump, 2),
            (lambda: self._branch(depth, may_call), 8),
            (lambda: self._skip(depth, may_call), 3),
        ]
        if depth < len(COUNTERS):
            kinds.append((lambda: self._loop(depth, may_call), 6))
        if may_call:
            kinds += [(lambda: self._call(depth), 3), (self._self_modifying, 2)]
        makers, weights = zip(*kinds, strict=True)
        self.drawn.choices(makers, weights)[0]()

    def _blocks(self, depth: int, may_call: bool) -> None:
        for _ in range(self.drawn.randrange(1, 5)):
            self._block(depth, may_call)

    def _arithmetic(self) -> None:
        for _ in range(self.drawn.randrange(1, 6)):
            if self.c and self.drawn.random() < 0.5:
                self.code.halves(self._compressed_arithmetic())
            else:
                self.code.words(self._arithmetic_word())

    def _arithmetic_word(self) -> int:
        drawn = self.drawn
        rd, rs1, rs2 = self._target(), self._source(), self._source()
        registers = [asm.add, asm.sub, asm.sll, asm.slt, asm.sltu, asm.xor, asm.srl, asm.sra]
        registers += [asm.or_, asm.and_]
        products = [asm.mul, asm.mulh, asm.mulhsu, asm.mulhu, asm.div, asm.divu, asm.rem, asm.remu]
        immediates = [asm.addi, asm.slti, asm.sltiu, asm.xori, asm.ori, asm.andi]
        shifts = [asm.slli, asm.srli, asm.srai]
        kind = drawn.randrange(6)
        if kind == 0:
            return drawn.choice(immediates)(rd, rs1, drawn.randrange(-2048, 2048))
        if kind == 1:
            return drawn.choice(shifts)(rd, rs1, drawn.randrange(32))
        if kind == 2:
            return drawn.choice([asm.lui, asm.auipc])(rd, drawn.getrandbits(20))
        if kind == 3 and self.m:
            return drawn.choice(products)(rd, rs1, rs2)
        return drawn.choice(registers)(rd, rs1, rs2)

    def _compressed_arithmetic(self) -> int:
        drawn = self.drawn
        small, amount = drawn.randrange(-32, 32), drawn.randrange(32)
        makers: list[Callable[[], int]] = [
            lambda: asm.c_addi(self._target(), small),
            lambda: asm.c_li(self._target(), small),
            lambda: asm.c_lui(self._target(), small or 1),
            lambda: asm.c_slli(self._target(), amount),
            lambda: asm.c_srli(self._short(), amount),
            lambda: asm.c_srai(self._short(), amount),
            lambda: asm.c_andi(self._short(), small),
            lambda: asm.c_addi4spn(self._short(), 4 * drawn.randrange(1, 256)),
            lambda: asm.c_mv(self._target(), self._free()),
            lambda: asm.c_add(self._target(), self._free()),
        ]
        operations = [asm.c_sub, asm.c_xor, asm.c_or, asm.c_and]
        makers += [lambda: drawn.choice(operations)(self._short(), self._short())] * 3
        return drawn.choice(makers)()

    def _memory(self) -> None:
        """Loads and stores in own memory, some across its ends, some misaligned."""
        drawn = self.drawn
        for _ in range(drawn.randrange(1, 4)):
            near_an_end = drawn.choice([-2, 0, DATA_SIZE - 4, DATA_SIZE - 1, DATA_SIZE])
            offset = drawn.choice([drawn.randrange(DATA_SIZE), near_an_end])
            if drawn.random() < 0.7:
                offset &= ~3
            if self.c and drawn.random() < 0.3:
                self._compressed_memory(DATA)
            elif drawn.random() < 0.5:
                load = drawn.choice([asm.lb, asm.lh, asm.lw, asm.lbu, asm.lhu])
                self.code.words(load(self._target(), DATA, offset))
            elif drawn.random() < 0.9:
                store = drawn.choice([asm.sb, asm.sh, asm.sw])
                self.code.words(store(self._source(), DATA, max(offset, 0)))
            else:
                store = drawn.choice([asm.sb, asm.sh, asm.sw])
                self.code.words(store(self._source(), FIXED, drawn.randrange(FIXED_SIZE + 4)))
        if self.c and drawn.random() < 0.1:
            step = drawn.choice([-512, -16, 16, 32, 240, 496])
            self.code.halves(asm.c_addi16sp(step))
            self.code.words(asm.add(self._target(), STACK, 0), asm.addi(STACK, STACK, -step))

    def _compressed_memory(self, base: int) -> None:
        drawn = self.drawn
        offset = 4 * drawn.randrange(32)
        self.code.halves(
            drawn.choice(
                [
                    asm.c_lw(self._short(), base, offset),
                    asm.c_sw(self._short(), base, offset),
                    asm.c_lwsp(self._free(), 2 * offset),
                    asm.c_swsp(self._source(), 2 * offset),
                ]
            )
        )

    def _bus(self) -> None:
        drawn = self.drawn
        for _ in range(drawn.randrange(1, 4)):
            offset = drawn.choice([drawn.randrange(BUS_SIZE), BUS_SIZE - 2, BUS_SIZE, 0, -4])
            if drawn.random() < 0.7:
                offset &= ~3
            if self.c and drawn.random() < 0.2:
                self._compressed_memory(BUS)
            elif drawn.random() < 0.5:
                load = drawn.choice([asm.lb, asm.lh, asm.lw, asm.lbu, asm.lhu])
                self.code.words(load(self._target(), BUS, offset))
            else:
                store = drawn.choice([asm.sb, asm.sh, asm.sw])
                self.code.words(store(self._source(), BUS, offset))

    def _csr(self) -> None:
        drawn = self.drawn
        address = drawn.choice([*CSRS, *CSRS, *ABSENT_CSRS, drawn.randrange(4096)])
        if address == MTVEC:
            address = MEPC
        if drawn.random() < 0.5:
            make = drawn.choice([asm.csrrw, asm.csrrs, asm.csrrc])
            self.code.words(make(self._target(), address, self._source()))
        else:
            make = drawn.choice([asm.csrrwi, asm.csrrsi, asm.csrrci])
            operand = drawn.choice([0, drawn.randrange(32)])
            self.code.words(make(self._target(), address, operand))

    def _illegal(self) -> None:
        drawn = self.drawn
        if self.c and drawn.random() < 0.5:
            self.code.halves(drawn.choice(ILLEGAL_HALVES))
        else:
            self.code.words(self._illegal_word())

    def _illegal_word(self) -> int:
        """Mostly illegal; otherwise arithmetic with a free target."""
        drawn = self.drawn
        rd, rs1, rs2 = self._free(), self._source(), self._source()

        def word(opcode: int, funct3: int, funct7: int) -> int:
            return r_format(opcode, funct3, funct7, rd, rs1, rs2)

        drawn7 = drawn.randrange(128)
        known = {0x03, 0x0F, 0x13, 0x17, 0x23, 0x33, 0x37, 0x63, 0x67, 0x6F, 0x73}
        unknown = [opcode for opcode in range(3, 128, 4) if opcode not in known]
        return drawn.choice(
            [
                0x0000_0000,
                0xFFFF_FFFF,
                drawn.choice(ILLEGAL_SYSTEM),
                word(drawn.choice(unknown), drawn.randrange(8), drawn7),
                word(OP, drawn.randrange(8), drawn7),
                word(OP, drawn.choice([1, 2, 3, 4, 6, 7]), 0x20),
                word(OP, drawn.randrange(8), 1),
                word(OP_IMM, drawn.choice([1, 5]), drawn7),
                word(OP_IMM, 1, 0x20),
                word(OP_IMM, drawn.choice([1, 5]), 1),
                word(LOAD, drawn.choice([3, 6, 7]), drawn7),
                word(STORE, drawn.randrange(3, 8), drawn7),
                word(BRANCH, drawn.choice([2, 3]), drawn7),
                word(JALR, drawn.randrange(1, 8), drawn7),
                word(MISC_MEM, drawn.randrange(2, 8), drawn7),
                word(SYSTEM, 4, drawn7),
            ]
        )

    def _environment(self) -> None:
        if self.c and self.drawn.random() < 0.3:
            self.code.halves(asm.C_EBREAK)
        else:
            self.code.words(self.drawn.choice([asm.ECALL, asm.EBREAK]))

    def _enable_interrupts(self) -> None:
        register = self._free()
        self.code.words(*asm.li(register, self.drawn.choice([MIE_ALL, self._value()])))
        self.code.words(asm.csrrs(self._target(), MIE, register))
        self.code.words(asm.csrrsi(self._target(), MSTATUS, 8))

    def _wait_for_interrupt(self) -> None:
        """Nothing that ends the sleep can be lost: bit 31 of mie stays set."""
        register = self._free()
        self.code.words(*asm.li(register, self.drawn.choice([1 << 31, MIE_ALL])))
        self.code.words(asm.csrrci(0, MSTATUS, 8), asm.csrrs(0, MIE, register))
        if self.drawn.random() < 0.5:
            self.code.words(asm.csrrsi(0, MSTATUS, 8))
        self.code.words(asm.WFI)

    def _return(self) -> None:
        """An mret to the next instruction; no interrupt can come in between."""
        register, label = self._free(), self.code.new_label()
        self.code.words(asm.csrrci(0, MSTATUS, 8))
        self.code.address_of(register, label, plus=self.drawn.choice([0, 1]))
        self.code.words(asm.csrrw(0, MEPC, register))
        if self.drawn.random() < 0.5:
            self.code.words(*asm.li(register, 1 << 7), asm.csrrs(0, MSTATUS, register))
        self.code.words(asm.MRET)
        if self.c and self.drawn.random() < 0.5:
            self.code.halves(0x0000)
        else:
            self.code.words(asm.EBREAK)
        self.code.label(label)

    def _vector(self) -> None:
        """The same handler, direct or vectored; written modes 2 and 3 stand for 0 and 1."""
        register = self._free()
        self.code.address_of(register, "handler", plus=self.drawn.randrange(4))
        self.code.words(asm.csrrw(self._target(), MTVEC, register))
        self.code.words(asm.csrrs(self._target(), MTVEC, 0))

    def _fence(self) -> None:
        drawn = self.drawn
        upper = drawn.getrandbits(20) & ~0b111
        word = drawn.choice(
            [asm.fence(), asm.FENCE_I, upper << 12 | drawn.randrange(32) << 7 | 0x0F]
        )
        self.code.words(word | drawn.choice([0, 0x1000]))

    def _wild_jump(self) -> None:
        """To where no memory is; the handler resumes after it."""
        drawn, label = self.drawn, self.code.new_label()
        self.code.address_of(RESUME, label)
        link = drawn.choice([0, self._free()])
        if self.c and drawn.random() < 0.5:
            self.code.words(asm.jalr(link, FIXED, FIXED_SIZE - 2))
        else:
            self.code.words(asm.jalr(link, BUS, 4 * drawn.randrange(4)))
        self.code.label(label)

    def _misaligned_jump(self) -> None:
        """With C, over a 16-bit instruction; without it, a trap."""
        drawn = self.drawn
        self.code.words(
            drawn.choice([asm.jal(self._target(), 6), asm.beq(0, 0, 6), asm.bne(0, 0, 6)])
        )
        if self.c:
            self.code.halves(asm.c_addi(self._free(), 1))
        else:
            register = self._free()
            self.code.words(asm.addi(register, register, 1))
            self.code.words(asm.auipc(register, 0), asm.jalr(self._target(), register, 6))

    # Blocks around blocks

    def _branch(self, depth: int, may_call: bool) -> None:
        """Forward over some blocks, or not."""
        drawn, label = self.drawn, self.code.new_label()
        make = drawn.choice([asm.beq, asm.bne, asm.blt, asm.bge, asm.bltu, asm.bgeu])
        rs1, rs2, short = self._source(), self._source(), self._short()
        compressed = drawn.choice([asm.c_beqz, asm.c_bnez])
        if self.c and drawn.random() < 0.5:  # it reaches 254 bytes: over one block of arithmetic
            self.code.half_to(label, lambda offset: compressed(short, offset))
            self._arithmetic()
        else:
            self.code.word_to(label, lambda offset: make(rs1, rs2, offset))
            self._blocks(depth + 1, may_call)
        self.code.label(label)

    def _skip(self, depth: int, may_call: bool) -> None:
        """A jump over some blocks."""
        label, link = self.code.new_label(), self._target()
        if self.c and self.drawn.random() < 0.5:
            self.code.half_to(label, asm.c_j)
            self._arithmetic()
        else:
            self.code.word_to(label, lambda offset: asm.jal(link, offset))
            self._blocks(depth + 1, may_call)
        self.code.label(label)

    def _loop(self, depth: int, may_call: bool) -> None:
        counter, label = COUNTERS[depth], self.code.new_label()
        self.code.words(asm.addi(counter, 0, self.drawn.randrange(1, 6)))
        self.code.label(label)
        self._blocks(depth + 1, may_call)
        self.code.words(asm.addi(counter, counter, -1))
        self.code.word_to(label, lambda offset: asm.bne(counter, 0, offset))

    def _call(self, depth: int) -> None:
        drawn = self.drawn
        routine, after = self.code.new_label(), self.code.new_label()
        compressed = self.c and drawn.random() < 0.5
        register = self._free()
        if drawn.random() < 0.5:
            self.code.address_of(register, routine, plus=drawn.choice([0, 1]))
            if compressed:
                self.code.halves(asm.c_jalr(register))
            else:
                self.code.words(asm.jalr(LINK, register, 0))
        elif compressed:
            self.code.half_to(routine, asm.c_jal)
        else:
            self.code.word_to(routine, lambda offset: asm.jal(LINK, offset))
        self.code.word_to(after, lambda offset: asm.jal(0, offset))
        self.code.label(routine)
        self._blocks(depth + 1, may_call=False)
        if compressed:
            self.code.halves(asm.c_jr(LINK))
        else:
            self.code.words(asm.jalr(0, LINK, 0))
        self.code.label(after)

    def _self_modifying(self) -> None:
        """A routine of one instruction, called after each of two changes to it."""
        routine, after = self.code.new_label(), self.code.new_label()
        pointer, value = self.drawn.sample(FREE, 2)
        self.code.word_to(after, lambda offset: asm.jal(0, offset))
        self.code.label(routine)
        aligned = self.code.here % 4 == 0
        self.code.words(asm.NOP, asm.jalr(0, LINK, 0))
        self.code.label(after)
        for _ in range(2):
            self.code.address_of(pointer, routine)
            self.code.words(*asm.li(value, self._arithmetic_word()))
            if aligned:
                self.code.words(asm.sw(value, pointer, 0))
            else:
                self.code.words(asm.sh(value, pointer, 0), asm.srli(value, value, 16))
                self.code.words(asm.sh(value, pointer, 2))
            self.code.words(asm.FENCE_I)
            self.code.word_to(routine, lambda offset: asm.jal(LINK, offset))
