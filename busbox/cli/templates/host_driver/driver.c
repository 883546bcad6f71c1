/* The evening shift of a signal cabin: lights a lever lamp, waits for the signalman, telegraphs. */
#ifdef ON_BUSBOX                        /* this machine: Busbox plays the accesses */
#include "busbox.h"
#define GET(address) bus_read32(address)
#define PUT(address, value) bus_write32(address, value)
#define PUT_BYTE(address, value) bus_write8(address, value)
#else                                   /* the core of the board */
#include <stdint.h>
#define GET(address) (*(volatile uint32_t *)(address))
#define PUT(address, value) (*(volatile uint32_t *)(address) = (value))
#define PUT_BYTE(address, value) (*(volatile uint8_t *)(address) = (value))
#endif

#define LEVERS    0x40000000u           /* gpio */
#define TELEGRAPH 0x40001000u           /* uart */

#define LEVERS_OUT       (LEVERS + 0x00)
#define LEVERS_IN        (LEVERS + 0x10)
#define TELEGRAPH_DATA   (TELEGRAPH + 0x00)
#define TELEGRAPH_STATUS (TELEGRAPH + 0x04)

static void put(char letter)
{
    while (!(GET(TELEGRAPH_STATUS) & 1u)) { }   /* until there is room */
    PUT(TELEGRAPH_DATA, (uint8_t)letter);
}

static void say(const char *text)
{
    while (*text) put(*text++);
}

int main(void)
{
    PUT(LEVERS_OUT, 0x1);               /* the lamp of lever 0 */
    PUT_BYTE(LEVERS_OUT + 1, 0x1);      /* of lever 8: byte 1 of the same register */
    say("cabin open\n");
    while (!(GET(LEVERS_IN) & 0x10u)) { }       /* the signalman pulls lever 4 */
    say("line clear\n");
    return 0;
}
