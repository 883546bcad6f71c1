/* Every exception once. The handler notes mcause, mtval and mepc of each, and skips the instruction. */
#include "board.h"
    .section .text.start, "ax"
    .globl start, done, results
start:
    la t0, handler
    csrw mtvec, t0
    la s0, results
    li s1, BOARD
    li a0, 20
    li a7, 1
    .globl at_ecall, at_ebreak, at_illegal, at_csr, at_load, at_store, at_bus_load, at_bus_store, at_fetch
at_ecall:
    ecall               /* the handler returns a0 + 1 */
at_ebreak:
    ebreak
at_illegal:
    .4byte 0xFFFFFFFF
at_csr:
    csrw mhartid, zero
at_load:
    lw t0, 1(s1)
at_store:
    sh t0, 3(s1)
at_bus_load:
    lbu t0, 0x102(s1)
at_bus_store:
    sw t0, 0x100(s1)
    la s2, after_fetch
at_fetch:
    jr s1               /* nothing can be fetched there: the handler goes on at s2 */
after_fetch:
#ifdef __riscv_compressed
    .globl at_short
at_short:
    .2byte 0
    c.nop
#endif
    sw a0, 0(s0)
    sw s0, 4(s0)
done:
    j done

    .balign 4
handler:
    csrr t0, mcause
    csrr t1, mtval
    csrr t2, mepc
    sw t0, 0(s0)
    sw t1, 4(s0)
    sw t2, 8(s0)
    addi s0, s0, 12
    li t3, 11
    bne t0, t3, 1f
    addi a0, a0, 1
1:  li t3, 1
    bne t0, t3, 2f
    csrw mepc, s2
    mret
2:  lhu t3, 0(t2)
    andi t3, t3, 3
    addi t3, t3, -3
    addi t2, t2, 2
    bnez t3, 3f
    addi t2, t2, 2
3:  csrw mepc, t2
    mret

    .bss
    .balign 4
results:
    .space 160
