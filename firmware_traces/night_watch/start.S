    .section .text.start
    .globl _start
_start:
    la   sp, __stack_top
    la   t0, __bss_start
    la   t1, __bss_end
clear:
    bgeu t0, t1, enter
    sw   zero, 0(t0)
    addi t0, t0, 4
    j    clear
enter:
    call main
done:
    j    done
