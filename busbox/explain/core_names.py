"""Names of the registers of a core.

Source: RISC-V ELF psABI specification, "Register Convention", integer registers.
"""

from __future__ import annotations

#: x0 to x31 by the names of the calling convention.
ABI = (
    "zero", "ra", "sp", "gp", "tp", "t0", "t1", "t2", "s0", "s1",
    *(f"a{number}" for number in range(8)), *(f"s{number}" for number in range(2, 12)),
    *(f"t{number}" for number in range(3, 7)),
)  # fmt: skip
#: Numbers of the registers by which a stack is followed.
RA, SP = ABI.index("ra"), ABI.index("sp")
