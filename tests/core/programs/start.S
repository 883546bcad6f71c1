/* The first instructions: a stack, main, and a jump to itself. Data needs no
   loop that clears it: the file holds its zeros. */
    .section .text.start, "ax"
    .globl start, done
start:
    la sp, stack_top
    jal main
done:
    j done
