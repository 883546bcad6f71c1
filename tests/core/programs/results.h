/* What a program finds out, in words; the test reads them once the program has reached `done`. */
#include <stdint.h>

extern volatile uint32_t results[16];
