"""The C header: constants, and functions that make one access each.

It is valid C99 and C++17, includes only ``<stdint.h>``, and reaches the bus through one function,
``PREFIX_ACCESS``. Code that defines it before including the header counts, records or answers the
accesses itself. Sources: ISO/IEC 9899:1999 and 14882:2017 for the language; the form of the names is
our own.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from busbox.map.registers import Field
from busbox.registers.calls import Call, calls_of, notes_of
from busbox.registers.layout import Layout, NamedRegister, NamedSlot
from busbox.registers.names import Names

#: Columns of a comment.
WIDTH = 100


def header(layout: Layout) -> str:
    """Return the header."""
    guard = f"{layout.prefix}_REGISTERS_H"
    functions = Names()
    access = functions.give(f"{layout.prefix.lower()}_access")
    lines = [
        *comment(
            f"The registers of {layout.name}, made by busbox registers from their declarations: "
            "change those, not this file."
        ),
        f"#ifndef {guard}",
        f"#define {guard}",
        "",
        "#include <stdint.h>",
        "",
        *_access(layout.prefix, access),
    ]
    for slot in layout.slots:
        lines += ["", *_slot(layout.prefix, slot, functions)]
    return "\n".join([*lines, "", "#endif", ""])


def _access(prefix: str, name: str) -> Iterator[str]:
    yield from comment(
        f"Every access goes through {prefix}_ACCESS: address, 1 for a write, the word to write; it "
        "returns the word that was read. To replace it, define it as the name of such a function "
        "before including this file."
    )
    yield f"#ifndef {prefix}_ACCESS"
    yield f"#define {prefix}_ACCESS {name}"
    yield f"static inline uint32_t {name}(uint32_t address, int write, uint32_t word)"
    yield "{"
    yield "    volatile uint32_t *place = (volatile uint32_t *)(uintptr_t)address;"
    yield "    if (write) {"
    yield "        *place = word;"
    yield "        return 0u;"
    yield "    }"
    yield "    return *place;"
    yield "}"
    yield "#endif"


def _slot(prefix: str, slot: NamedSlot, functions: Names) -> Iterator[str]:
    own = f"{prefix}_{slot.stem}"
    images = f" It also answers at {slot.slot.images - 1:,} images." if slot.slot.images > 1 else ""
    yield from comment(f"{slot.slot.name}: {slot.kind}.{images}")
    yield f"#define {own}_BASE {slot.slot.base:#010x}u"
    yield f"#define {own}_SIZE {slot.slot.size:#x}{'u' if slot.slot.size >> 32 == 0 else 'ull'}"
    for register, other in slot.hidden:
        yield from comment(f"{register.name} cannot be reached: {reached(other)}.")
    for named in slot.registers:
        yield ""
        yield from _register(prefix, slot, named, functions)


def reached(other: str) -> str:
    """Return what answers in place of a hidden register."""
    return f"{other} answers at its address" if other else "nothing answers at its address"


def _register(
    prefix: str, slot: NamedSlot, named: NamedRegister, functions: Names
) -> Iterator[str]:
    register, name = named.register, f"{prefix}_{named.stem}"
    kept = "" if register.kept else f"; after reset {register.reset_value:#010x}"
    text = f" {_sentence(register.text)}" if register.text else ""
    yield from comment(
        " ".join([f"{register.name} ({register.access}{kept}).{text}", *notes_of(named)])
    )
    if register.count:
        yield f"#define {name}_AT(index) ({named.address:#010x}u + 4u * (index))"
        yield f"#define {name}_LENGTH {register.count}u"
    else:
        yield f"#define {name}_AT {named.address:#010x}u"
    if named.value is not None:
        yield from _bits(name, named.value)
    for field in named.fields:
        own = f"{field.field.name}, bits {field.field.bits} ({field.access})"
        yield from comment(f"{own}: {field.field.text}" if field.field.text else f"{own}.")
        yield from _bits(f"{prefix}_{field.stem}", field.field)
    for call in calls_of(named):
        yield from _function(prefix, slot, call, functions)


def _bits(name: str, field: Field) -> Iterator[str]:
    yield f"#define {name}_BITS {field.mask:#010x}u"
    yield f"#define {name}_SHIFT {field.low}u"


def _function(prefix: str, slot: NamedSlot, call: Call, functions: Names) -> Iterator[str]:
    name = functions.give(f"{slot.stem}_{call.verb}_{slot.tail(call.stem)}".lower())
    at = f"{prefix}_{call.register.stem}_AT"
    index = ["uint32_t index"] if call.register.register.count else []
    at += "(index)" if index else ""
    read = f"{prefix}_ACCESS({at}, 0, 0u)"
    bits = f"{prefix}_{call.stem}"
    if call.verb == "get":
        value = f"({read} & {bits}_BITS) >> {bits}_SHIFT" if call.field else read
        yield from _body("uint32_t", name, index, f"return {value};")
    elif call.verb == "take":
        value = f"(word & {bits}_BITS) >> {bits}_SHIFT"
        yield from _body("uint32_t", name, ["uint32_t word"], f"return {value};")
    elif call.verb == "place":
        value = f"(word & ~{bits}_BITS) | ((value << {bits}_SHIFT) & {bits}_BITS)"
        yield from _body("uint32_t", name, ["uint32_t word", "uint32_t value"], f"return {value};")
    else:
        word = "word" if call.verb == "put" else "ones"
        yield from _body(
            "void", name, [*index, f"uint32_t {word}"], f"(void){prefix}_ACCESS({at}, 1, {word});"
        )


def _body(kind: str, name: str, arguments: Iterable[str], line: str) -> Iterator[str]:
    yield f"static inline {kind} {name}({', '.join(arguments) or 'void'})"
    yield "{"
    yield f"    {line}"
    yield "}"


def _sentence(text: str) -> str:
    return text if text.endswith((".", "!", "?")) else f"{text}."


def comment(text: str) -> Iterator[str]:
    """Yield a text as a comment of C, whatever is in it: on lines of at most 100 columns.

    What would end the comment, or begin another, is divided by a space; control characters are escaped.
    """
    words = [
        "".join(
            sign if sign.isprintable() else sign.encode("unicode_escape").decode() for sign in word
        )
        for word in text.split()
    ]
    line = "/*"
    for word in " ".join(words).replace("*/", "* /").replace("/*", "/ *").split(" "):
        if len(line) + 1 + len(word) > WIDTH - 3 and line.strip() not in ("/*", ""):
            yield line
            line = "  "
        line += f" {word}"
    yield f"{line} */"
