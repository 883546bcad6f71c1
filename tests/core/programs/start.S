/* The first instructions: a stack, main, and a jump to itself. Zeroed data needs no loop: the memory is. */
    .section .text.start, "ax"
    .globl start, done
start:
    .option push
    .option norelax
    la gp, __global_pointer$
    .option pop
    la sp, stack_top
    jal main
done:
    j done
