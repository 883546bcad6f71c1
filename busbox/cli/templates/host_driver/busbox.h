/* The bus of Busbox, for a driver that is compiled for this machine.

   A driver reaches the registers of the simulated devices through these functions alone: swap the
   macros with which your firmware accesses registers for them. Compile busbox.c into the library,
   with -g, so that Busbox finds the line of each access. */
#ifndef BUSBOX_H
#define BUSBOX_H

#include <stdint.h>

#ifdef __cplusplus
extern "C" {
#endif

/* One access of a word, a half-word or a byte, at its address on the bus. A half-word and a byte
   select their lanes of the word. The address is a multiple of the size. */
uint32_t bus_read32(uintptr_t address);
uint16_t bus_read16(uintptr_t address);
uint8_t bus_read8(uintptr_t address);
void bus_write32(uintptr_t address, uint32_t value);
void bus_write16(uintptr_t address, uint16_t value);
void bus_write8(uintptr_t address, uint8_t value);

/* 1 if the last access ended with ERR (a read has returned 0 then), else 0. */
int bus_error(void);

/* Lets cycles of the bus pass. C code itself takes no cycle. */
void bus_idle(uint32_t cycles);

#ifdef __cplusplus
}
#endif
#endif
