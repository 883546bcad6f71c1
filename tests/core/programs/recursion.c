/* Deep and wide calls: Fibonacci numbers, the Ackermann function, the towers of Hanoi, queens on a board. */
#include "results.h"

volatile uint32_t results[16];
static uint32_t moves;

static uint32_t fibonacci(uint32_t n)
{
    return n < 2 ? n : fibonacci(n - 1) + fibonacci(n - 2);
}

static uint32_t ackermann(uint32_t m, uint32_t n)
{
    if (m == 0)
        return n + 1;
    return ackermann(m - 1, n == 0 ? 1 : ackermann(m, n - 1));
}

static void hanoi(int discs, int from, int to, int over)
{
    if (discs == 0)
        return;
    hanoi(discs - 1, from, over, to);
    moves++;
    hanoi(discs - 1, over, to, from);
}

static uint32_t queens(uint32_t columns, uint32_t left, uint32_t right, uint32_t all)
{
    uint32_t found = columns == all;
    for (uint32_t free = all & ~(columns | left | right); free; free &= free - 1) {
        uint32_t queen = free & -free;
        found += queens(columns | queen, (left | queen) << 1, (right | queen) >> 1, all);
    }
    return found;
}

int main(void)
{
    results[0] = fibonacci(13);
    results[1] = ackermann(2, 4);
    hanoi(7, 0, 2, 1);
    results[2] = moves;
    results[3] = queens(0, 0, 0, (1u << 6) - 1);
    return 0;
}
