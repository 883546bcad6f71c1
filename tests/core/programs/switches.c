/* Jump tables and calls through pointers: a small calculator and the days of months. */
#include "results.h"

volatile uint32_t results[16];

static int days(int month, int year)
{
    switch (month) {
    case 1: case 3: case 5: case 7: case 8: case 10: case 12: return 31;
    case 4: case 6: case 9: case 11: return 30;
    case 2: return year % 4 == 0 && (year % 100 != 0 || year % 400 == 0) ? 29 : 28;
    default: return 0;
    }
}

/* The number of days from 1 January of one year to 1 January of another. */
static uint32_t days_between(int from, int to)
{
    uint32_t sum = 0;
    for (int year = from; year < to; year++)
        for (int month = 0; month <= 13; month++)
            sum += (uint32_t)days(month, year);
    return sum;
}

/* Postfix: digits push; + - * / % & | ^ ~ < > take what is on top. */
static int32_t calculated(const char *text)
{
    int32_t stack[8], *top = stack;
    for (; *text; text++) {
        int32_t last = top > stack ? top[-1] : 0;
        switch (*text) {
        case '0': case '1': case '2': case '3': case '4':
        case '5': case '6': case '7': case '8': case '9': *top++ = *text - '0'; break;
        case '+': top--; top[-1] += last; break;
        case '-': top--; top[-1] -= last; break;
        case '*': top--; top[-1] *= last; break;
        case '/': top--; top[-1] /= last; break;
        case '%': top--; top[-1] %= last; break;
        case '&': top--; top[-1] &= last; break;
        case '|': top--; top[-1] |= last; break;
        case '^': top--; top[-1] ^= last; break;
        case '<': top--; top[-1] <<= last; break;
        case '>': top--; top[-1] >>= last; break;
        case '~': top[-1] = ~last; break;
        }
    }
    return stack[0];
}

static uint32_t twice(uint32_t value) { return value * 2; }
static uint32_t squared(uint32_t value) { return value * value; }
static uint32_t less_one(uint32_t value) { return value - 1; }
static uint32_t (*const steps[])(uint32_t) = {twice, squared, less_one, twice};

int main(void)
{
    uint32_t value = 7;
    for (int i = 0; i < 8; i++)
        value = steps[i & 3](value);
    results[0] = days_between(1896, 1905);
    results[1] = (uint32_t)calculated("97*8-5/");
    results[2] = (uint32_t)calculated("09-3/~6^");
    results[3] = (uint32_t)calculated("95<36|>7%");
    results[4] = value;
    return 0;
}
