/* Calls itself three times, and comes to ebreak. */
typedef unsigned int u32;
#define LEVERS(n) (*(volatile u32 *)(0x40000000u + (n)))

__attribute__((aligned(4))) void pulled(void) {}

__attribute__((noinline)) u32 fall(u32 steps)
{
    LEVERS(0) = steps;
    if (steps == 0)
        __asm__ volatile("ebreak");
    else
        steps += fall(steps - 1);
    return steps + LEVERS(0);
}

int main(void)
{
    return (int)fall(3) + 1;
}
