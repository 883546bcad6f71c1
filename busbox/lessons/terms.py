"""The words that the lessons use, for the page; ``busbox guide words`` has those of all Busbox."""

from __future__ import annotations

#: (word, meaning), each explained by those before it.
TERMS: tuple[tuple[str, str], ...] = (
    ("slot", "the range of addresses, its window, in which one device answers"),
    ("base, size", "the first address of a window, and how many bytes it has"),
    ("offset", "how far an address is from the base"),
    ("register", "a word of a device, at a fixed offset, with a meaning"),
    ("word, lane", "32 bits at a multiple of 4; lane k is data bits 8k+7..8k of it"),
    ("SEL", "four bits of an access that say which lanes count"),
    ("ACK, ERR", "how the bus ends an access: answered, or with an error"),
    ("decoder", "compares upper address bits with the base of each slot"),
    ("inside", "said of the lower bits, which select a byte of the window"),
    ("fully decoded", "all bits above those inside are compared"),
    ("image", "a further place where a window appears, because some bits are not compared"),
    ("gap", "addresses of no slot"),
    ("hole", "an offset inside a window that has no register"),
    ("wait state", "a cycle that the bus adds to an access"),
    ("watchdog", "ends an access that nobody answers"),
    ("bench", "the system that Busbox runs: slots, and what the CPU does"),
)
