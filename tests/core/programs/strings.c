/* String functions on their own, without a library. */
#include "results.h"

volatile uint32_t results[16];

static const char station[] = "Upper Junction signal cabin";

static uint32_t length(const char *text)
{
    const char *end = text;
    while (*end)
        end++;
    return (uint32_t)(end - text);
}

static int compare(const char *one, const char *two)
{
    while (*one && *one == *two)
        one++, two++;
    return (uint8_t)*one - (uint8_t)*two;
}

static int find(const char *text, const char *part)
{
    for (int at = 0; text[at]; at++) {
        int i = 0;
        while (part[i] && text[at + i] == part[i])
            i++;
        if (!part[i])
            return at;
    }
    return -1;
}

static void reverse(char *text)
{
    for (uint32_t low = 0, high = length(text); low + 1 < high; low++) {
        char kept = text[low];
        text[low] = text[--high];
        text[high] = kept;
    }
}

static int32_t parsed(const char *text)
{
    int negative = *text == '-';
    int32_t value = 0;
    for (text += negative; *text >= '0' && *text <= '9'; text++)
        value = value * 10 + (*text - '0');
    return negative ? -value : value;
}

static char *decimal(char *to, uint32_t value)
{
    char digits[10];
    int count = 0;
    do
        digits[count++] = (char)('0' + value % 10);
    while (value /= 10);
    while (count)
        *to++ = digits[--count];
    *to = 0;
    return to;
}

int main(void)
{
    char copy[32], number[12];
    for (uint32_t i = 0; i <= length(station); i++)
        copy[i] = station[i];
    reverse(copy);
    results[0] = length(station);
    results[1] = (uint32_t)compare("semaphore", "semaphone");
    results[2] = (uint32_t)compare("block", "block");
    results[3] = (uint32_t)find(station, "signal");
    results[4] = (uint32_t)find(station, "tram");
    results[5] = (uint8_t)copy[0] | (uint32_t)(uint8_t)copy[1] << 8;
    results[6] = (uint32_t)parsed("-2147483648");
    results[7] = (uint32_t)parsed("1825x");
    results[8] = (uint32_t)(decimal(number, 4294967295u) - number);
    results[9] = (uint32_t)compare(number, "4294967295");
    return 0;
}
