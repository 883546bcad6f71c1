"""Drawn register tables and maps, and layouts of the benches that come with Busbox."""

from __future__ import annotations

from hypothesis import strategies as st

from busbox.bench.bench import Bench
from busbox.map.registers import ACCESS_TYPES, Field, Register, RegisterTable
from busbox.map.slots import Slot
from busbox.registers.layout import Layout, layout_of

#: Benches that together have every model, arrays, partial decoding and a slot that yields.
SHIPPED = ("signal_cabin", "first_light", "edges", "night_watch", "word_lamps", "mistakes/memories")

#: Names that collide when they are joined, and words of the languages that we write.
WORDS = ("A", "B", "A_B", "B_C", "C", "AT", "A_AT", "GET", "GET_A", "BASE", "BITS", "IF", "REG", "int",
         "IN", "COUNT", "COUNT_2", "reset", "X1")  # fmt: skip
NAMES = st.sampled_from(WORDS)
TEXTS = st.sampled_from(
    ["", "Lamps to send.", "ends */ here", "begins /* here", 'a "quoted" word', "a \\ and `code`",
     "two  spaces", "a|b <i>c</i> & *d* _e_", "µ and é", "trailing \\"]
)  # fmt: skip
ACCESS = st.sampled_from(tuple(ACCESS_TYPES))


@st.composite
def fields(draw: st.DrawFn) -> tuple[Field, ...]:
    """Draw fields of one register, with gaps between them; none at times."""
    found: list[Field] = []
    at = 0
    for name in draw(st.lists(NAMES, max_size=4, unique=True)):
        low = at + draw(st.integers(0, 3))
        high = low + draw(st.sampled_from((0, 0, 3, 7, 11)))
        if high > 31:
            break
        access = draw(st.one_of(st.just(""), ACCESS))
        reset = draw(st.integers(0, (1 << high - low + 1) - 1))
        found.append(Field(name, high, low, access, reset, draw(TEXTS)))
        at = high + 1
    return tuple(found)


@st.composite
def tables(draw: st.DrawFn, names: st.SearchStrategy[str] = NAMES) -> RegisterTable:
    """Draw a table: single registers and arrays, with holes between them."""
    found, offset = [], 0
    for name in draw(st.lists(names, max_size=6, unique=True)):
        offset += 4 * draw(st.integers(0, 2))
        inner, count = draw(fields()), draw(st.sampled_from((0, 0, 0, 1, 2, 5)))
        width = 32 if inner else draw(st.sampled_from((1, 8, 31, 32)))
        reset = 0 if inner else draw(st.integers(0, (1 << width) - 1))
        found.append(
            Register(
                name, offset, draw(ACCESS), draw(TEXTS), inner, width, reset, count,
                draw(st.sampled_from((0, 0, 1, 15))), draw(st.booleans()),
            )
        )  # fmt: skip
        offset += 4 * max(1, count)
    return RegisterTable(*found)


@st.composite
def devices(draw: st.DrawFn) -> list[tuple[Slot, str]]:
    """Draw slots with their tables and models; no two names differ in their case alone."""
    names = draw(st.lists(NAMES, min_size=1, max_size=4, unique_by=lambda name: name.lower()))
    first = draw(st.sampled_from((0x4000_0000, 0, 0xFFFF_0000)))
    return [
        (Slot(name, first + 0x1000 * at, 0x1000, table=draw(tables())), draw(NAMES))
        for at, name in enumerate(names)
    ]


def layouts() -> st.SearchStrategy[Layout]:
    """Draw layouts of a bench called A."""
    return devices().map(lambda found: layout_of("A", "", found))


def shipped(name: str, *changes: str) -> Layout:
    """Return the layout of a bench that comes with Busbox."""
    return layout_of(
        name,
        "",
        [(one.slot, one.kind) for one in Bench.load(name).with_values(changes).devices()],
    )


def facts(table: RegisterTable) -> list[object]:
    """Return everything that a table says, with the access type of each field written out."""
    return [
        (one.name, one.offset, one.access, one.text, one.count, one.whole, one.kept,
         sorted((field.low, field.high, field.name, field.access or one.access, field.reset, field.text)
                for field in one.fields))
        for one in table
    ]  # fmt: skip
