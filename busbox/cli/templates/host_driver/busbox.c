/* What busbox.h declares: passes the accesses of a driver on to Busbox, which connects itself here.
   It is the same for every driver. */
#include "busbox.h"

#include <stdio.h>

#ifdef _WIN32
#define VISIBLE __declspec(dllexport)
#else
#define VISIBLE __attribute__((visibility("default")))
#endif

/* The address behind the call: its line in the debug information is that of the access. */
#if defined(_MSC_VER) && !defined(__clang__)
#include <intrin.h>
#define CALLER ((uint64_t)(uintptr_t)_ReturnAddress())
#else
#define CALLER ((uint64_t)(uintptr_t)__builtin_return_address(0))
#endif

typedef uint64_t ask_function(uint32_t kind, uint32_t size, uint64_t address, uint32_t data,
                              uint64_t caller);

static ask_function *ask;
static int failed;

VISIBLE void busbox_connect_1(ask_function *given)
{
    ask = given;
    setvbuf(stdout, NULL, _IONBF, 0);   /* what is printed before a crash is seen */
}

static uint32_t pass_on(uint32_t kind, uint32_t size, uint64_t address, uint32_t data,
                        uint64_t caller)
{
    uint64_t answer = ask(kind, size, address, data, caller);
    failed = (int)(answer >> 32 & 1u);
    return (uint32_t)answer;
}

VISIBLE uint32_t bus_read32(uintptr_t address) { return pass_on('R', 4, address, 0, CALLER); }
VISIBLE uint16_t bus_read16(uintptr_t address)
{
    return (uint16_t)pass_on('R', 2, address, 0, CALLER);
}
VISIBLE uint8_t bus_read8(uintptr_t address) { return (uint8_t)pass_on('R', 1, address, 0, CALLER); }
VISIBLE void bus_write32(uintptr_t address, uint32_t value) { pass_on('W', 4, address, value, CALLER); }
VISIBLE void bus_write16(uintptr_t address, uint16_t value) { pass_on('W', 2, address, value, CALLER); }
VISIBLE void bus_write8(uintptr_t address, uint8_t value) { pass_on('W', 1, address, value, CALLER); }
VISIBLE int bus_error(void) { return failed; }
VISIBLE void bus_idle(uint32_t cycles) { ask('I', 0, 0, cycles, CALLER); }
