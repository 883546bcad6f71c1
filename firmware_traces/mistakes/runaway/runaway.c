/* Three mistakes: a wait that takes too long, a stack that is too small, and no handler of traps. */
typedef unsigned int u32;
#define LEVERS_OUT (*(volatile u32 *)0x40000000u)
#define LEVERS_IN  (*(volatile u32 *)0x40000010u)

/* Calls itself for every signal of the line; each call needs 16 bytes of the stack. */
static u32 __attribute__((noinline)) deeper(u32 signals)
{
    if (signals == 0)
        return 0;
    return 1 + deeper(signals - 1);
}

int main(void)
{
    while (!(LEVERS_IN & 0x10u)) { }     /* the signalman pulls lever 4 */
    LEVERS_OUT = deeper(100);
    return 0;
}
