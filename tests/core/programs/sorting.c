/* Three ways to sort; the answers are Python's sorted(). */
#include "results.h"

#define COUNT 40
volatile uint32_t results[16];

static uint32_t seed = 1;

/* A linear congruential generator: x -> 1103515245 x + 12345, upper bits. */
static int32_t drawn(void)
{
    seed = seed * 1103515245u + 12345u;
    return (int32_t)(seed >> 8) - (1 << 23);
}

static void fill(int32_t *values)
{
    seed = 1;
    for (int i = 0; i < COUNT; i++)
        values[i] = drawn();
}

static void by_insertion(int32_t *values)
{
    for (int i = 1; i < COUNT; i++) {
        int32_t value = values[i];
        int place = i;
        for (; place > 0 && values[place - 1] > value; place--)
            values[place] = values[place - 1];
        values[place] = value;
    }
}

static void by_parting(int32_t *values, int low, int high)
{
    if (low >= high)
        return;
    int32_t middle = values[(low + high) / 2];
    int left = low, right = high;
    while (left <= right) {
        while (values[left] < middle)
            left++;
        while (values[right] > middle)
            right--;
        if (left <= right) {
            int32_t kept = values[left];
            values[left++] = values[right];
            values[right--] = kept;
        }
    }
    by_parting(values, low, right);
    by_parting(values, left, high);
}

static void bytes_by_counting(uint8_t *bytes, int count)
{
    uint16_t seen[256] = {0};
    for (int i = 0; i < count; i++)
        seen[bytes[i]]++;
    for (int value = 0; value < 256; value++)
        while (seen[value]--)
            *bytes++ = (uint8_t)value;
}

/* A sum in which the order counts. */
static uint32_t ordered_sum(const int32_t *values)
{
    uint32_t sum = 0;
    for (int i = 0; i < COUNT; i++)
        sum = sum * 31 + (uint32_t)values[i];
    return sum;
}

int main(void)
{
    int32_t values[COUNT];
    fill(values);
    results[0] = ordered_sum(values);
    by_insertion(values);
    results[1] = ordered_sum(values);
    fill(values);
    by_parting(values, 0, COUNT - 1);
    results[2] = ordered_sum(values);
    fill(values);
    bytes_by_counting((uint8_t *)values, 4 * COUNT);
    results[3] = ordered_sum(values);
    return 0;
}
