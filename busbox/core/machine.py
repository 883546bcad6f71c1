"""The loop around the instructions, in the small language of :mod:`busbox.engines.loop`.

It is made into Python (:mod:`busbox.core.interpreter`) and into text for LLVM
(:mod:`busbox.engines.native_core`). Beside what that language has, it knows ``//`` and ``%`` of numbers
that are not negative, and ``>>`` keeps the sign. ``x`` are the registers, ``m8``, ``m16`` and ``m32``
the same bytes of the core's own memories in three widths, ``code`` the decoded instructions,
``journal`` what stores have overwritten.

``return`` leaves with the reason in ``kind``; the core is called again with the cycle in ``now`` and,
after an access, with ``result`` and ``failed``.

Source: RISC-V Instruction Set Manual, volume II, machine-level ISA, version 1.12: chapter 3.
"""

from __future__ import annotations

from textwrap import indent

from busbox.core.decoding import NOWHERE
from busbox.core.instructions import ILLEGAL, INSTRUCTIONS, UNFETCHED
from busbox.core.machine_registers import csr_text

#: Why the text returns: an access is due; nothing is until a cycle; the core sleeps, or has stopped;
#: the instruction at ``pc`` is to be decoded.
ACCESS, IDLE, STOPPED, DECODE = range(4)
#: Values of ``sleeping``: by ``wfi``, or in a jump to itself. Values of ``ended``: a trap that nothing
#: handles, ``ebreak``.
WAITING, JUMPING = 1, 2
UNHANDLED, BREAK = 1, 2
#: Memories at most.
MEMORIES = 6
#: Numbers of a decoded instruction in ``code``: its address + 1, its fields, its immediate, its clocks.
CODED = 4
#: Words in ``journal`` for each store, and stores after which a checkpoint is needed.
NOTED, ROOM = 2, 1 << 12
#: What a run changes.
CHANGING = (
    "now", "result", "failed", "until",
    "kind", "out_write", "out_address", "out_data", "out_lanes", "out_start",
    "pc", "cycle", "instret", "mie_bit", "mpie", "mie", "lines", "mtvec", "mscratch", "mepc", "mcause",
    "mtval", "cycle_off", "instret_off", "sleeping", "spin_cost", "fresh", "ended", "cause", "tval",
    "pending", "p_store", "p_rd", "p_at", "p_size", "p_more", "p_next", "p_left", "p_value", "p_shift",
    "p_cost", "noted", "answered",
)  # fmt: skip
#: What is given once.
GIVEN = (
    "align", "epc_mask", "misa", "hart", "split", "faults", "break_traps", "access_at", "taken",
    "c_trap", "code_mask", "journal_on",
    *(f"{what}_{number}" for number in range(MEMORIES)
      for what in ("base", "size", "from", "clocks", "rom")),
)  # fmt: skip
STATE = CHANGING + GIVEN
#: Names that mean nothing from one instruction to the next.
PASSING = (
    "at", "fields", "imm", "cost", "op", "rd", "rs1", "rs2", "size", "more", "a", "b", "d", "next", "p",
    "q", "place", "clk", "rom", "slow", "old", "new", "write", "word", "value",
)  # fmt: skip
ARRAYS = ("x", "m8", "m16", "m32", "code", "journal")
CONSTANTS = {
    "M": 0xFFFFFFFF, "S": 0x80000000, "ACCESS": ACCESS, "IDLE": IDLE, "STOPPED": STOPPED,
    "DECODE": DECODE,
}  # fmt: skip


def _regions() -> str:
    """Return text that puts into ``place`` where the byte at ``at`` is, or -1."""
    lines = ["place = -1", "clk = 0", "rom = 0"]
    for number in range(MEMORIES):
        word = "if" if number == 0 else "elif"
        lines += [
            f"{word} at >= base_{number} and at - base_{number} < size_{number}:",
            f"    place = at - base_{number} + from_{number}",
            f"    clk = clocks_{number}",
            f"    rom = rom_{number}",
        ]
    return "\n".join(lines)


#: After ``place`` was found: stores ``value`` of ``size`` bytes.
_PUT = """
if journal_on:
    journal[noted * 2] = place >> 2
    journal[noted * 2 + 1] = m32[place >> 2]
    noted = noted + 1
    if noted >= {last}:
        until = 0
if size == 4:
    m32[place >> 2] = value
elif size == 2:
    m16[place >> 1] = value & 0xFFFF
else:
    m8[place] = value & 0xFF
p = at & 0xFFFFFFFC
q = (p >> 1 & code_mask) * 4
if code[q] == p + 1:
    code[q] = 0
q = (p - 2 >> 1 & code_mask) * 4
if code[q] == p - 1:
    code[q] = 0
q = (p + 2 >> 1 & code_mask) * 4
if code[q] == p + 3:
    code[q] = 0
""".replace("{last}", str(ROOM - 1))

#: Retires a load or store in pieces.
_FINISH = """
if p_left == 0:
    if p_store == 0:
        if p_more == 0:
            p_value = (p_value ^ 0x80) - 0x80 & M
        elif p_more == 1:
            p_value = (p_value ^ 0x8000) - 0x8000 & M
        x[p_rd] = p_value
    pc = p_next
    cycle = cycle + p_cost
    instret = instret + 1
    fresh = 0
"""

_NEXT_PIECE = """
p_at = p_at + p_size & M
p_left = p_left - p_size
p_shift = p_shift + p_size * 8
"""

_INTERRUPT = "\n".join(
    f"{'if' if place == 0 else 'elif'} p >> {number} & 1:\n    cause = {0x80000000 + number}"
    for place, number in enumerate((11, 3, 7, *range(16, 32)))
)

TOP = f"""
if cause >= 0:
    if mtvec >> 2 == 0 or fresh and cause < S:
        ended = {UNHANDLED}
        kind = STOPPED
        return
    mepc = pc & epc_mask
    mcause = cause
    mtval = tval
    mpie = mie_bit
    mie_bit = 0
    pc = mtvec & 0xFFFFFFFC
    if mtvec & 1 and cause >= S:
        pc = pc + (cause - S) * 4 & M
    cycle = cycle + c_trap
    fresh = 1
    cause = -1
    continue
if pending:
    pending = 0
    cycle = now
    if failed and faults:
        cause = 5 + p_store * 2
        tval = p_at
        p_left = 0
        continue
    if p_store == 0 and failed == 0:
        word = result >> (p_at & 3) * 8
        p_value = p_value | (word & (1 << p_size * 8) - 1) << p_shift
{indent(_NEXT_PIECE.strip(), "    ")}
{indent(_FINISH.strip(), "    ")}
    continue
if p_left:
    p_size = 1
    if (p_at & 3) == 0 and p_left >= 4:
        p_size = 4
    elif (p_at & 1) == 0 and p_left >= 2:
        p_size = 2
    at = p_at
{indent(_regions(), "    ")}
    if place < 0:
        out_write = p_store
        out_address = p_at & 0xFFFFFFFC
        out_lanes = (1 << p_size) - 1 << (p_at & 3)
        out_data = 0
        if p_store:
            value = p_value >> p_shift & (1 << p_size * 8) - 1
            out_data = value << (p_at & 3) * 8
        out_start = cycle
        pending = 1
        kind = ACCESS
        return
    if p_store and rom:
        cause = 7
        tval = p_at
        p_left = 0
        if p_shift == 0:
            cycle = cycle - access_at
        continue
    size = p_size
    if p_store:
        value = p_value >> p_shift
{indent(_PUT.replace("= value", "= value & M", 1).strip(), "        ")}
    elif size == 4:
        p_value = p_value | m32[place >> 2] << p_shift
    elif size == 2:
        p_value = p_value | m16[place >> 1] << p_shift
    else:
        p_value = p_value | m8[place] << p_shift
    cycle = cycle + clk
{indent(_NEXT_PIECE.strip(), "    ")}
{indent(_FINISH.strip(), "    ")}
    continue
if sleeping:
    if now > cycle:
        if sleeping == {JUMPING}:
            p = (now - cycle + spin_cost - 1) // spin_cost
            cycle = cycle + p * spin_cost
            instret = instret + p
        else:
            cycle = now
    if cycle >= until:
        kind = IDLE
        return
    if lines & mie and (sleeping == {WAITING} or mie_bit):
        sleeping = 0
        continue
    kind = STOPPED
    return
if cycle >= until:
    kind = IDLE
    return
if mie_bit and lines & mie:
    p = lines & mie
    tval = 0
{indent(_INTERRUPT, "    ")}
    continue
"""

FETCH = """
at = (pc >> 1 & code_mask) * 4
if code[at] != pc + 1:
    kind = DECODE
    return
fields = code[at + 1]
imm = code[at + 2]
cost = code[at + 3]
op = fields & 255
rd = fields >> 8 & 63
rs1 = fields >> 14 & 31
rs2 = fields >> 19 & 31
size = fields >> 24 & 7
more = fields >> 27 & 7
a = x[rs1]
b = x[rs2]
d = 0
next = pc + size & M
"""

#: An access that the bus answers, or that is made in pieces, or both.
_SLOW = """
cycle = cycle + access_at
p_store = {store}
p_rd = rd
p_at = at
p_more = more
p_next = next
p_left = 1 << (more & 3)
p_shift = 0
p_value = {value}
p_cost = cost - access_at
continue
"""


def _found(cause: int, store: int, value: str) -> str:
    """Return text that finds where in the memories a load or store is; the bus is ``_SLOW``.

    Parameters
    ----------
    cause : mcause if it is misaligned
    store, value : whether it is a store, and of what
    """
    slow = _SLOW.format(store=store, value=value).strip()
    return f"""
at = a + imm & M
slow = 0
place = -1
if at & (1 << (more & 3)) - 1:
    if split == 0:
        cause = {cause}
        tval = at
        continue
    slow = 1
else:
{indent(_regions(), "    ")}
    if place < 0:
        slow = 1
if slow:
{indent(slow, "    ")}
""".strip()


_LOAD = f"""
{_found(4, 0, "0")}
cost = cost + clk
if more == 2:
    d = m32[place >> 2]
elif more == 4:
    d = m8[place]
elif more == 0:
    d = (m8[place] ^ 0x80) - 0x80 & M
elif more == 1:
    d = (m16[place >> 1] ^ 0x8000) - 0x8000 & M
else:
    d = m16[place >> 1]
"""

_STORE = f"""
{_found(6, 1, "b")}
if rom:
    cause = 7
    tval = at
    continue
cost = cost + clk
value = b
size = 1 << (more & 3)
{_PUT.strip()}
"""

_MRET = """
pc = mepc
mie_bit = mpie
mpie = 1
cycle = cycle + cost
instret = instret + 1
fresh = 0
continue
"""

_EBREAK = f"""
if break_traps:
    cause = 3
    tval = pc
    continue
ended = {BREAK}
kind = STOPPED
return
"""

_SPECIAL = {
    "load": _LOAD,
    "store": _STORE,
    "csr": csr_text(),
    "ecall": "cause = 11\ntval = 0\ncontinue",
    "ebreak": _EBREAK,
    "mret": _MRET,
    "wfi": f"sleeping = {WAITING}",
}

TAIL = f"""
if next & align:
    cause = 0
    tval = next
    continue
if next == pc and rd == {NOWHERE}:
    sleeping = {JUMPING}
    spin_cost = cost
    continue
x[rd] = d
pc = next
cycle = cycle + cost
instret = instret + 1
fresh = 0
continue
"""

_REFUSED = {
    ILLEGAL: "cause = 2\ntval = imm & M\ncontinue",
    UNFETCHED: "cause = 1\ntval = imm & M\ncontinue",
}


def cases() -> list[tuple[int, int, str]]:
    """Return what is done: the first and the last number of an instruction, and text."""
    found: list[tuple[int, int, str]] = []
    for number, one in enumerate(INSTRUCTIONS):
        text = one.text or _SPECIAL.get(one.kind) or _SPECIAL[one.name]
        if found and found[-1][2] == text:
            found[-1] = (found[-1][0], number, text)
        else:
            found.append((number, number, text))
    return found + [(number, number, text) for number, text in _REFUSED.items()]


def text(dispatch: str) -> str:
    """Return the text of the core; ``dispatch`` does what the instruction ``op`` says."""
    return "\n".join((TOP.strip(), FETCH.strip(), dispatch, TAIL.strip()))
