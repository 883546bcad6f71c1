/* What the compiler calls by itself to fill and to copy. */
#include <stddef.h>

void *memset(void *to, int value, size_t count)
{
    for (unsigned char *byte = to; count--; byte++)
        *byte = (unsigned char)value;
    return to;
}

void *memcpy(void *to, const void *from, size_t count)
{
    const unsigned char *source = from;
    for (unsigned char *byte = to; count--; byte++)
        *byte = *source++;
    return to;
}
