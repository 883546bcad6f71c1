/* The night watch of a model-railway signal cabin: the core sleeps, and the clock wakes it for every
   round; then it moves the lamp of the levers on by one and telegraphs a dot. */
typedef unsigned int u32;
#define REG(a) (*(volatile u32 *)(a))

#define LEVERS_OUT       REG(0x40000000u)
#define TELEGRAPH_DATA   REG(0x40001000u)
#define CLOCK_NOW        REG(0x40003000u)
#define CLOCK_ALARM      REG(0x40003008u)
#define CLOCK_CONTROL    REG(0x4000300cu)
#define CLOCK_STATUS     REG(0x40003010u)

enum { ROUND = 4000, ROUNDS = 5 };       /* cycles from one round to the next */

static volatile u32 rounds;

static void __attribute__((interrupt("machine"))) clock_rang(void)
{
    CLOCK_STATUS = 1;                    /* clears RANG, and with it the interrupt */
    CLOCK_ALARM = CLOCK_NOW + ROUND;
    LEVERS_OUT = 1u << rounds++;
}

int main(void)
{
    __asm__ volatile("csrw mtvec, %0" : : "r"(clock_rang));
    __asm__ volatile("csrs mie, %0" : : "r"(1u << 7));       /* the timer's line */
    __asm__ volatile("csrsi mstatus, 8");                    /* interrupts on */
    CLOCK_ALARM = CLOCK_NOW + ROUND;
    CLOCK_CONTROL = 1;
    for (u32 seen = 0; seen < ROUNDS; seen++) {
        while (rounds == seen)
            __asm__ volatile("wfi");
        TELEGRAPH_DATA = '.';
    }
    __asm__ volatile("csrci mstatus, 8");
    return 0;
}
