"""The declaration of a memory: its words and settings."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from busbox.device import Declaration, Register, RegisterTable, Setting


class MemoryRegisters(Declaration):
    """The words and settings of a memory; model and twin share them."""

    settings = (
        Setting("kind", "ram", "text", choices=("ram", "rom"), text="kind of memory"),
        Setting(
            "file",
            None,
            "path",
            text="initial contents: binary, Intel HEX or ELF",
            example="NAME.bin",
        ),
    )

    @classmethod
    def table_for(cls, settings: Mapping[str, Any], size: int) -> RegisterTable:
        """Return one row of words that fills the slot."""
        return RegisterTable(Register("WORD", 0, "rw", "A word of memory.", count=size // 4))
