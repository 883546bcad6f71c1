    .section .text.start
    .globl _start
_start:
    .cfi_startproc
    .cfi_undefined ra
    la   sp, __stack_top
    la   t0, __bss_start
    la   t1, __bss_end
clear:
    bgeu t0, t1, enter
    sw   zero, 0(t0)
    addi t0, t0, 4
    j    clear
enter:
    la   t0, pulled
    csrw mtvec, t0
    li   t0, 1 << 11
    csrw mie, t0
    csrsi mstatus, 8
    call main
    csrci mstatus, 8
    ebreak
    .cfi_endproc
