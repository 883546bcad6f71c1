/* Checksums of "123456789": CRC-32, CRC-16 (CCITT, false), CRC-8, Adler-32, Fletcher-16, FNV-1a. */
#include "results.h"

volatile uint32_t results[16];
static const char text[] = "123456789";

static uint32_t crc32_bitwise(const char *byte)
{
    uint32_t crc = 0xFFFFFFFFu;
    for (; *byte; byte++) {
        crc ^= (uint8_t)*byte;
        for (int bit = 0; bit < 8; bit++)
            crc = crc & 1 ? crc >> 1 ^ 0xEDB88320u : crc >> 1;
    }
    return ~crc;
}

static uint32_t table[16];

static uint32_t crc32_by_table(const char *byte)
{
    for (uint32_t i = 0; i < 16; i++) {
        uint32_t crc = i;
        for (int bit = 0; bit < 4; bit++)
            crc = crc >> 1 ^ (0xEDB88320u & -(crc & 1));
        table[i] = crc;
    }
    uint32_t crc = 0xFFFFFFFFu;
    for (; *byte; byte++) {
        crc ^= (uint8_t)*byte;
        crc = crc >> 4 ^ table[crc & 15];
        crc = crc >> 4 ^ table[crc & 15];
    }
    return ~crc;
}

static uint16_t crc16(const char *byte)
{
    uint16_t crc = 0xFFFF;
    for (; *byte; byte++) {
        crc ^= (uint16_t)((uint8_t)*byte << 8);
        for (int bit = 0; bit < 8; bit++)
            crc = crc & 0x8000 ? (uint16_t)(crc << 1 ^ 0x1021) : (uint16_t)(crc << 1);
    }
    return crc;
}

static uint8_t crc8(const char *byte)
{
    uint8_t crc = 0;
    for (; *byte; byte++) {
        crc ^= (uint8_t)*byte;
        for (int bit = 0; bit < 8; bit++)
            crc = crc & 0x80 ? (uint8_t)(crc << 1 ^ 0x07) : (uint8_t)(crc << 1);
    }
    return crc;
}

static uint32_t adler32(const char *byte)
{
    uint32_t low = 1, high = 0;
    for (; *byte; byte++) {
        low = (low + (uint8_t)*byte) % 65521;
        high = (high + low) % 65521;
    }
    return high << 16 | low;
}

static uint32_t fnv1a(const char *byte)
{
    uint32_t hash = 2166136261u;
    for (; *byte; byte++)
        hash = (hash ^ (uint8_t)*byte) * 16777619u;
    return hash;
}

int main(void)
{
    results[0] = crc32_bitwise(text);
    results[1] = crc32_by_table(text);
    results[2] = crc16(text);
    results[3] = crc8(text);
    results[4] = adler32(text);
    results[5] = fnv1a(text);
    return 0;
}
