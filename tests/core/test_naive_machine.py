"""The naive core against the standard: traps, interrupts, registers of machine mode."""

import pytest

from tests.core import assembler as asm
from tests.core.programs import DrawnBus
from tests.core.small import BASE, HANDLER, MINUS_1, TOP, core_of, is_illegal, run, trapped

# Traps


@pytest.mark.quick
@pytest.mark.parametrize(
    ("word", "cause", "value"),
    [
        (asm.ECALL, 11, 0),
        (asm.EBREAK, 3, BASE),
        (0xFFFF_FFFF, 2, 0xFFFF_FFFF),
        (0x0002_0000, 2, 0x0000),  # 16 bits long: zero-extended
        (asm.lw(7, 5, 1), 4, 0x4000_0001),
        (asm.lhu(7, 5, 3), 4, 0x4000_0003),
        (asm.sh(6, 5, 1), 6, 0x4000_0001),
        (asm.sw(6, 5, 0x102), 6, 0x4000_0102),  # misaligned comes before the error of the bus
        (asm.lb(7, 5, 0x101), 5, 0x4000_0101),
        (asm.sw(6, 5, 0x100), 7, 0x4000_0100),
    ],
)
def test_causes_and_values(word: int, cause: int, value: int) -> None:
    """mcause, mtval and mepc of each exception; nothing else has changed.

    Source: privileged architecture, table of mcause values, sections on mepc and mtval.
    """
    core = core_of(word)
    core.x[5], core.x[6], core.x[7] = 0x4000_0000, 6, 7
    assert trapped(core) == (cause, value, BASE)


@pytest.mark.parametrize(
    ("word", "target"),
    [
        (asm.jal(1, 6), BASE + 6),
        (asm.jalr(1, 5, 7), BASE + 6),
        (asm.beq(0, 0, -6), BASE - 6),
    ],
)
def test_without_c_a_jump_to_half_a_word_traps(word: int, target: int) -> None:
    """The trap is on the jump; its link is not written. With C the jump is made.

    Source: unprivileged ISA manual, RV32I: an instruction-address-misaligned "exception is reported
    on the branch or jump instruction"; JALR: "setting the least-significant bit of the result to zero".
    """
    core = core_of(word, isa="rv32im")
    core.x[5] = BASE
    assert trapped(core) == (0, target, BASE)
    core = core_of(word)
    core.x[5] = BASE
    assert run(core).pc == target


def test_a_branch_that_is_not_taken_does_not_trap() -> None:
    """Source: unprivileged ISA manual, RV32I: no such exception for a branch that is not taken."""
    assert run(core_of(asm.bne(0, 0, 6), isa="rv32i")).pc == BASE + 4


def test_a_fetch_outside_the_memories_is_a_fault() -> None:
    """mtval is the missing address; of half an instruction, that of the missing half.

    Source: privileged architecture, mtval: "the portion of the instruction that caused the fault".
    """
    core = core_of()
    core.pc = TOP
    assert trapped(core) == (1, TOP, TOP)
    core = core_of()
    core.memories[0][1][-2:] = b"\x13\x00"
    core.pc = TOP - 2
    assert trapped(core) == (1, TOP, TOP - 2)


def test_a_store_to_a_fixed_memory_is_a_fault() -> None:
    """Nothing changes; loads from it work. Source: privileged architecture, store access fault."""
    core = core_of(asm.sw(6, 5, 0))
    fixed = bytearray(b"\1\2\3\4")
    core.memories.append((0x100, fixed, 0, False))
    core.x[5] = 0x100
    assert trapped(core) == (7, 0x100, BASE)
    assert fixed == b"\1\2\3\4"


def test_ignored_bus_errors_read_zero() -> None:
    """With bus_error = "ignore" a load gives 0, a store nothing, and no trap is taken."""
    core = core_of(asm.lw(7, 5, 0x100), asm.sw(6, 5, 0x100), bus_error="ignore")
    core.x[5], core.x[7] = 0x4000_0000, 1
    run(core, 2)
    assert (core.pc, core.x[7]) == (BASE + 8, 0)


# Interrupts


@pytest.mark.parametrize(
    ("lines", "number"),
    [
        (0xFFFF_0888, 11),
        (0xFFFF_0088, 3),
        (0xFFFF_0080, 7),
        (0xFFFF_0000, 16),
        (0xC000_0000, 30),
        (0x8000_0000, 31),
    ],
)
def test_order_of_interrupts(lines: int, number: int) -> None:
    """External before software before timer, then the platform's, the lowest number first.

    Source: privileged architecture, mip and mie: "MEI, MSI, MTI"; bits 16 and up are the platform's.
    """
    core = core_of(asm.NOP)
    core.stored["mie"], core.stored["mstatus"] = 0xFFFF_0888, 0x1808
    run(core, 1, lines)
    assert core.csr_value("mcause") == 0x8000_0000 | number
    assert (core.csr_value("mtval"), core.csr_value("mepc"), core.instructions) == (0, BASE, 0)


def test_vectored_interrupts_go_to_the_table_and_exceptions_to_its_base() -> None:
    """Source: privileged architecture, table "Encoding of mtvec MODE field": BASE + 4 x cause."""
    core = core_of(asm.ECALL)
    core.stored.update(mtvec=HANDLER | 1, mie=1 << 7, mstatus=0x1808)
    assert run(core, 1, 1 << 7).pc == HANDLER + 4 * 7
    core = core_of(asm.ECALL)
    core.stored["mtvec"] = HANDLER | 1
    assert run(core).pc == HANDLER


def test_trap_and_mret_stack_the_interrupt_enable() -> None:
    """A trap moves MIE to MPIE and clears MIE; mret moves it back and sets MPIE.

    Source: privileged architecture, "Privilege and Global Interrupt-Enable Stack in mstatus register".
    """
    core = core_of(asm.ECALL)
    core.memories[0][1][0x100:0x104] = asm.MRET.to_bytes(4, "little")
    core.stored["mstatus"] = 0x1808
    assert run(core).csr_value("mstatus") == 0x1880
    assert run(core).csr_value("mstatus") == 0x1888
    assert core.pc == BASE


def test_a_line_waits_while_interrupts_are_off() -> None:
    """Neither mie alone nor MIE alone lets an interrupt in.

    Source: privileged architecture, mip and mie: the conditions (a), (b) and (c).
    """
    for mie, mstatus in ((1 << 11, 0x1800), (0, 0x1808)):
        core = core_of(asm.csrrs(7, 0x344, 0))
        core.stored["mie"], core.stored["mstatus"] = mie, mstatus
        run(core, 1, 1 << 11)
        assert (core.pc, core.x[7]) == (BASE + 4, 1 << 11)


@pytest.mark.parametrize("mie_bit", [0, 8])
def test_wfi_ends_with_an_enabled_line_whatever_mie_is(mie_bit: int) -> None:
    """It sleeps through other lines, and the interrupt, if any, returns to the next instruction.

    Source: privileged architecture, wfi: "must be unaffected by the global interrupt bits"; "mepc = pc
    + 4".
    """
    core = core_of(asm.WFI, asm.NOP)
    core.stored["mie"], core.stored["mstatus"] = 1 << 7, 0x1800 | mie_bit
    bus = DrawnBus(1)
    assert [core.step(1 << 11, bus) for _ in range(4)] == ["", "asleep", "asleep", "asleep"]
    assert (core.cycle, core.pc, core.instructions) == (5, BASE, 0)
    assert core.step(1 << 7, bus) == ""
    if mie_bit:
        assert (core.pc, core.csr_value("mepc"), core.instructions) == (HANDLER, BASE + 4, 1)
    else:
        assert (core.pc, core.instructions) == (BASE + 8, 2)
    assert core.cycle == 6


# Control and status registers


def csr_after(address: int, value: int, isa: str = "rv32imc") -> int:
    """What csrr reads after csrrw has written."""
    core = core_of(asm.csrrw(0, address, 5), asm.csrrs(7, address, 0), isa=isa)
    core.x[5] = value
    run(core, 2)
    assert core.csr_value("mcause") in (0, value)
    return core.x[7]


@pytest.mark.parametrize(
    ("address", "written", "read"),
    [
        (0x300, MINUS_1, 0x1888),  # mstatus: MPP is 11 where there is machine mode only
        (0x300, 0, 0x1800),
        (0x301, 0, 0x4000_1104),  # misa: MXL = 1, letters C, I, M
        (0x304, MINUS_1, 0xFFFF_0888),
        (0x305, MINUS_1, 0xFFFF_FFFD),
        (0x305, 0x102, 0x100),
        (0x310, MINUS_1, 0),
        (0x320, MINUS_1, 0),
        (0x340, 0x1234_5678, 0x1234_5678),
        (0x341, MINUS_1, 0xFFFF_FFFE),
        (0x342, MINUS_1, MINUS_1),
        (0x343, MINUS_1, MINUS_1),
        (0x344, MINUS_1, 0),
        (0xB03, MINUS_1, 0),
        (0xB9F, MINUS_1, 0),
        (0x33F, MINUS_1, 0),
    ],
)
def test_fields_that_can_be_written(address: int, written: int, read: int) -> None:
    """Source: privileged architecture, chapter "Machine-Level ISA", each register's section."""
    assert csr_after(address, written) == read


@pytest.mark.parametrize(
    ("isa", "misa", "mepc"),
    [
        ("rv32i", 0x4000_0100, 0xFFFF_FFFC),
        ("rv32im", 0x4000_1100, 0xFFFF_FFFC),
        ("rv32ic", 0x4000_0104, 0xFFFF_FFFE),
        ("rv32imc", 0x4000_1104, 0xFFFF_FFFE),
    ],
)
def test_registers_that_follow_from_the_extensions(isa: str, misa: int, mepc: int) -> None:
    """Source: privileged architecture, misa (one bit a letter), mepc (with only
    IALIGN=32 "the two low bits are always zero")."""
    assert csr_after(0x301, 0, isa) == misa
    assert csr_after(0x341, MINUS_1, isa) == mepc


def present_registers(word: int) -> set[int]:
    """The addresses at which this CSR instruction is legal."""
    return {address for address in range(4096) if not is_illegal(word | address << 20)}


def test_which_registers_there_are() -> None:
    """Reading any other register is illegal, and so is writing one whose address begins with 11.

    Source: privileged architecture, CSR listing; of it, what a hart with machine mode only must have.
    Unprivileged ISA, Zicsr: csrrs of x0 does not write; csrrw always does.
    """
    writable = {0x300, 0x301, 0x304, 0x305, 0x310, 0x320, 0x340, 0x341, 0x342, 0x343, 0x344}
    writable |= {*range(0x323, 0x340), *range(0xB02, 0xB20), *range(0xB82, 0xBA0), 0xB00, 0xB80}
    read_only = {0xC00, 0xC02, 0xC80, 0xC82, 0xF11, 0xF12, 0xF13, 0xF14, 0xF15}
    assert present_registers(asm.csrrs(7, 0, 0)) == writable | read_only
    assert present_registers(asm.csrrci(7, 0, 0)) == writable | read_only
    assert present_registers(asm.csrrw(7, 0, 0)) == writable
    assert present_registers(asm.csrrs(7, 0, 6)) == writable


def test_set_and_clear_bits() -> None:
    """csrrs and csrrc read the old value and set or clear bits; so do those with an immediate.

    Source: unprivileged ISA manual, chapter Zicsr.
    """
    words = [
        asm.csrrwi(7, 0x340, 0b11010),
        asm.csrrsi(8, 0x340, 0b00101),
        asm.csrrci(9, 0x340, 0b10001),
    ]
    core = run(core_of(*words, asm.csrrs(10, 0x340, 0)), 4)
    assert core.x[7:11] == [0, 0b11010, 0b11111, 0b01110]


def test_mhartid() -> None:
    """Source: privileged architecture, mhartid."""
    assert run(core_of(asm.csrrs(7, 0xF14, 0), mhartid=3)).x[7] == 3


@pytest.mark.parametrize(("low", "high"), [(0xB00, 0xB80), (0xB02, 0xB82)])
def test_a_written_counter_reads_so_in_the_next_instruction(low: int, high: int) -> None:
    """Its own increment does not spoil what an instruction writes; halves carry.

    Source: privileged architecture and Zicsr, writes of counters: the write takes precedence.
    """
    words = [
        asm.csrrw(0, low, 5),
        asm.csrrs(6, low, 0),
        asm.csrrs(7, low, 0),
        asm.csrrs(8, high, 0),
    ]
    core = core_of(*words)
    core.x[5] = MINUS_1
    run(core, 4)
    assert core.x[6:9] == [MINUS_1, 0, 1]


def test_instret_counts_what_retires() -> None:
    """An ecall and an illegal instruction do not count, mret and wfi do.

    Source: unprivileged ISA manual, Zicntr: instret counts "instructions retired".
    """
    core = core_of(asm.NOP, asm.ECALL)
    core.memories[0][1][0x100:0x10C] = b"".join(
        word.to_bytes(4, "little") for word in (asm.csrrs(7, 0xC02, 0), 0, asm.MRET)
    )
    run(core, 3)
    assert (core.x[7], core.instructions) == (1, 2)
    run(core)
    assert core.instructions == 2
    core.pc = HANDLER + 8
    assert run(core).instructions == 3
