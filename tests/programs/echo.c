/* Says hello, and sends back in capitals what it receives, up to a q. */
typedef unsigned int u32;
#define TELEGRAPH(n) (*(volatile u32 *)(0x40001000u + (n)))

__attribute__((aligned(4))) void pulled(void) {}

static void put(u32 byte)
{
    while (!(TELEGRAPH(4) & 1u)) {
    }
    TELEGRAPH(0) = byte;
}

static u32 get(void)
{
    while (!(TELEGRAPH(4) & 4u)) {
    }
    return TELEGRAPH(0) & 0xFFu;
}

int main(void)
{
    for (const char *at = "hello\n"; *at; at++)
        put((u32)*at);
    for (;;) {
        u32 byte = get();
        if (byte == 'q')
            break;
        put(byte >= 'a' && byte <= 'z' ? byte - 32 : byte);
    }
    put('.');
    return 0;
}
