/* 64-bit products, quotients and shifts, by the compiler's run-time library where there is no instruction. */
#include "results.h"

volatile uint32_t results[16];
static volatile uint64_t large = 0x123456789ABCDEF0u;
static volatile uint64_t divisor = 0x1000000007u;
static volatile int64_t negative = -1000000000000007;
static volatile int32_t small = -97;
static volatile uint32_t by = 37;

static void put(int place, uint64_t value)
{
    results[place] = (uint32_t)value;
    results[place + 1] = (uint32_t)(value >> 32);
}

int main(void)
{
    put(0, large / divisor);
    put(2, large % divisor);
    put(4, (uint64_t)(negative / small));
    put(6, (uint64_t)(negative % small));
    put(8, large * divisor);
    put(10, (uint64_t)(negative >> by));
    put(12, large << by);
    results[14] = (uint32_t)(1000003 / small);
    results[15] = (uint32_t)(1000003 % small);
    return 0;
}
