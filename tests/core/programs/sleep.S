/* wfi with interrupts off, on, and with a line that is high already. */
#include "board.h"
    .section .text.start, "ax"
    .globl start, done, results, after_sleep
start:
    la t0, handler
    csrw mtvec, t0
    la s0, results
    li s1, BOARD
    li s2, TIMER
    csrw mie, s2
    li t0, 100
    sw t0, DELAY(s1)

    csrr t0, mcycle     /* off: the program goes on */
    sw s2, RAISE(s1)
    wfi
    csrr t1, mcycle
    sub t1, t1, t0
    sw t1, 0(s0)

    csrr t0, mcycle     /* high already: no sleep */
    wfi
    csrr t1, mcycle
    sub t1, t1, t0
    sw t1, 4(s0)
    sw s2, LOWER(s1)

    csrsi mstatus, MIE  /* on: the handler runs, and returns behind the wfi */
    csrr t0, mcycle
    sw s2, RAISE(s1)
    wfi
after_sleep:
    sub t1, t1, t0
    sw t1, 8(s0)
done:
    j done

    .balign 4
handler:
    csrr t1, mcycle
    csrr t2, mepc
    sw t2, 12(s0)
    sw s2, LOWER(s1)
    mret

    .bss
    .balign 4
results:
    .space 64
