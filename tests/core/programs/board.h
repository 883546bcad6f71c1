/* The interrupt lines, as the program drives them itself: tests/core/board.py. */
#define BOARD 0x40000000
#define RAISE 0  /* written: these lines go high, DELAY cycles after the access has ended */
#define LOWER 4  /* written: these lines go low */
#define DELAY 8  /* written: for the writes of RAISE that follow; 1 is the next cycle */
#define LINES 12 /* read: the lines that are high */

#define SOFTWARE (1 << 3)
#define TIMER (1 << 7)
#define EXTERNAL (1 << 11)
#define MIE (1 << 3)
