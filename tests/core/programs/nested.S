/* The timer's handler lets the external line in, whose handler lets the software line in. */
#include "board.h"
    .section .text.start, "ax"
    .globl start, done, results, at_timer
start:
    la t0, handler
    csrw mtvec, t0
    la sp, stack_top
    la s0, results
    li s1, BOARD
    li t0, SOFTWARE | TIMER | EXTERNAL
    csrw mie, t0
    csrsi mstatus, MIE
    li t0, TIMER
    sw t0, RAISE(s1)
at_timer:
    csrr t0, mstatus
    sw t0, 0(s0)
    csrr t0, mie
    sw t0, 4(s0)
done:
    j done

    .balign 4
handler:
    addi sp, sp, -16
    csrr t0, mepc
    csrr t1, mstatus
    csrr t2, mie
    csrr t3, mcause
    sw t0, 0(sp)
    sw t1, 4(sp)
    sw t2, 8(sp)
    sw t3, 12(sp)
    sw t3, 0(s0)        /* entered */
    sw t1, 4(s0)
    addi s0, s0, 8
    andi t3, t3, 31
    li t0, 1
    sll t0, t0, t3
    sw t0, LOWER(s1)
    li t1, 3
    beq t3, t1, leave
    csrc mie, t0        /* not again while it is served */
    li t2, EXTERNAL
    li t1, 7
    beq t3, t1, 1f
    li t2, SOFTWARE
1:  sw t2, RAISE(s1)
    csrsi mstatus, MIE  /* the next one comes here */
    nop
    csrci mstatus, MIE
leave:
    lw t0, 0(sp)
    lw t1, 4(sp)
    lw t2, 8(sp)
    lw t3, 12(sp)
    addi sp, sp, 16
    csrw mepc, t0
    csrw mstatus, t1
    csrw mie, t2
    sw t3, 0(s0)        /* left */
    addi s0, s0, 4
    mret

    .bss
    .balign 4
results:
    .space 64
