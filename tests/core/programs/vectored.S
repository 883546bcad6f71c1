/* Five lines go high at once while interrupts are off; then they are served, each by its own vector. */
#include "board.h"
    .section .text.start, "ax"
    .globl start, done, results
start:
    la t0, vectors
    ori t0, t0, 1
    csrw mtvec, t0
    la s0, results
    li s1, BOARD
    li t0, SOFTWARE | TIMER | EXTERNAL | 1 << 16 | 1 << 31
    csrw mie, t0
    sw t0, RAISE(s1)
    lw t1, LINES(s1)
    csrr t2, mip
    sw t1, 0(s0)
    sw t2, 4(s0)
    addi s0, s0, 8
    csrsi mstatus, MIE
    nop
    csrr t1, mip
    sw t1, 0(s0)
    ecall               /* an exception goes to the base */
done:
    j done

    .balign 4
    .option push
    .option norvc
vectors:
    j exception
    .rept 2
    j wrong
    .endr
    j software
    .rept 3
    j wrong
    .endr
    j timer
    .rept 3
    j wrong
    .endr
    j external
    .rept 4
    j wrong
    .endr
    j platform_16
    .rept 14
    j wrong
    .endr
    j platform_31
    .option pop

software:
    li t3, SOFTWARE
    j note
timer:
    li t3, TIMER
    j note
external:
    li t3, EXTERNAL
    j note
platform_16:
    li t3, 1 << 16
    j note
platform_31:
    li t3, 1 << 31
note:
    csrr t4, mcause
    sw t4, 0(s0)
    addi s0, s0, 4
    sw t3, LOWER(s1)
    mret
exception:
    csrr t4, mcause
    sw t4, 4(s0)
    csrr t4, mepc
    addi t4, t4, 4
    csrw mepc, t4
    mret
wrong:
    j wrong

    .bss
    .balign 4
results:
    .space 64
