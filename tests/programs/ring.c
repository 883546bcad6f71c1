/* Calls three deep, an interrupt that comes in the middle of them, divisions, and a wait. */
typedef unsigned int u32;
#define LEVERS(n) (*(volatile u32 *)(0x40000000u + (n)))
#define NOINLINE __attribute__((noinline))

static volatile u32 rings;

NOINLINE void lamp(u32 value)
{
    LEVERS(0x00) = value;
}

NOINLINE u32 bell(u32 strokes)
{
    u32 sum = 0;
    for (u32 n = 1; n <= strokes; n++) {
        lamp(n << 8);
        sum += 1000u / n;
    }
    return sum;
}

NOINLINE u32 station(u32 number)
{
    u32 sum = bell(number) * 3;
    lamp(sum << 8);
    return sum + rings;
}

__attribute__((interrupt, aligned(4))) void pulled(void)
{
    LEVERS(0x20) = LEVERS(0x20); /* EVENTS: writing 1 clears */
    rings++;
    lamp(rings << 16);
}

int main(void)
{
    LEVERS(0x08) = 0xFFu; /* CLEAR */
    LEVERS(0x18) = 1u << 4; /* RISE */
    u32 all = 0;
    for (u32 n = 1; n < 9; n++)
        all += station(n);
    lamp(all);
    return 0;
}
