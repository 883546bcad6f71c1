"""ELF files with their debug tables, and C headers."""
