"""The constants of C headers: values, and which of them are addresses."""

from __future__ import annotations

import re
import time

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from busbox.bench.find import find_bench
from busbox.firmware.c_header import HeaderConstants, read_header
from busbox.map.slots import AddressMap, Slot

CABIN = AddressMap(
    [
        Slot(name, 0x4000_0000 + 0x1000 * number, 0x1000)
        for number, name in enumerate(("levers", "telegraph", "lamps", "clock"))
    ]
)
LOW = AddressMap([Slot("levers", 0, 0x1000), Slot("lamps", 0x1000, 0x1000)])
REG = "#define REG(a) (*(volatile u32 *)(a))\n"

FIRMWARE = find_bench("signal_cabin").with_name("signal_cabin.c").read_text(encoding="utf-8")

FIRMWARE_ADDRESSES = {
    "LEVERS": 0x4000_0000,
    "TELEGRAPH": 0x4000_1000,
    "LAMPS": 0x4000_2000,
    "CLOCK": 0x4000_3000,
    "GPIO_OUT": 0x4000_0000,
    "GPIO_SET": 0x4000_0004,
    "GPIO_CLEAR": 0x4000_0008,
    "GPIO_OUT_B1": 0x4000_0001,
    "GPIO_IN": 0x4000_0010,
    "UART_DATA": 0x4000_1000,
    "UART_STATUS": 0x4000_1004,
    "LED_CONTROL": 0x4000_2000,
    "LED_STATUS": 0x4000_2004,
    "LED_COUNT": 0x4000_2008,
    "LED_HIGH": 0x4000_200C,
    "LED_PERIOD": 0x4000_2010,
    "LED_COLOUR(n)": 0x4000_2100,
    "TIMER_NOW": 0x4000_3000,
}


def rows(found: HeaderConstants) -> str:
    """Return the result as text: ``A name=value how | O name=value | U name why``."""
    hows = {
        "used through a pointer": "ptr",
        "base of other addresses": "base",
        "looks like an address in the map": "looks",
        "named like an address": "named",
        "added to a base": "sum",
    }
    listed = [f"A {row.name}={row.value:#x} {hows[row.how]}" for row in found.addresses]
    listed += [f"O {row.name}={row.value:#x}" for row in found.others]
    listed += [f"U {row.name} {row.why}" for row in found.unresolved]
    return " | ".join(listed)


def test_the_firmware_s_addresses_are_found_and_nothing_else_is_one() -> None:
    """Of a whole firmware, exactly the bases and the registers are addresses."""
    found = read_header(FIRMWARE, CABIN)
    assert {row.name: row.value for row in found.addresses} == FIRMWARE_ADDRESSES
    assert len(found.addresses) == len(FIRMWARE_ADDRESSES)
    assert [(row.name, row.value) for row in found.others] == [
        ("RED", 0x400000),
        ("YELLOW", 0x302000),
        ("GREEN", 0x4000),
        ("0x1", 1),
        ("0x10u", 0x10),
        ("0x2", 2),
        ("0x3", 3),
    ]
    assert found.unresolved == ()


def test_width_step_and_line_of_the_firmware() -> None:
    """The width comes from the pointer, the step from the argument, the line from the file."""
    by_name = {row.name: row for row in read_header(FIRMWARE, CABIN).addresses}
    lines = FIRMWARE.split("\n")
    for name, row in by_name.items():
        assert lines[row.line - 1].startswith(f"#define {name}")
    colour, byte, base = by_name["LED_COLOUR(n)"], by_name["GPIO_OUT_B1"], by_name["LAMPS"]
    assert (colour.width, colour.step, colour.how) == (4, 4, "used through a pointer")
    assert (byte.width, byte.step) == (1, None)
    assert (base.width, base.step, base.how) == (None, None, "base of other addresses")


TABLE = [
    # a base that misses the map is the mistake to find
    ("#define LAMPS_BASE 0x44002000", "A LAMPS_BASE=0x44002000 looks"),
    ("#define LAMPS 0x44002000u", "A LAMPS=0x44002000 looks"),
    ("#define LAMPS_BASE 0x54002000", "A LAMPS_BASE=0x54002000 named"),
    ("#define LAMPS 0x54002000", "O LAMPS=0x54002000"),
    (
        "#define LAMPS 0x54002000\n#define LAMP_COUNT (LAMPS + 8)",
        "A LAMPS=0x54002000 base | A LAMP_COUNT=0x54002008 sum",
    ),
    (
        "#define LAMPS 0x54002000\n#define LAMPS_END (LAMPS + 0x1000)",
        "A LAMPS=0x54002000 base | O LAMPS_END=0x54003000",
    ),
    (
        "#define LAMPS_BASE 0x40002000\n#define LAMPS_LONG (0x40002100 - LAMPS_BASE)",
        "A LAMPS_BASE=0x40002000 looks | O LAMPS_LONG=0x100",
    ),
    ("static const uint32_t lamps = 0x40002000;", "A lamps=0x40002000 looks"),
    ("enum { LAMPS = 0x40002000, RED = 0x400000 };", "A LAMPS=0x40002000 looks | O RED=0x400000"),
    # numbers that are no addresses
    ("#define LEVER_MASK 0x10u", "O LEVER_MASK=0x10"),
    ("#define COLOUR_RED 0xFF0000", "O COLOUR_RED=0xff0000"),
    ("#define LED_COUNT_OFFSET 0x08", "O LED_COUNT_OFFSET=0x8"),
    ("#define STATUS_READY 0x1", "O STATUS_READY=0x1"),
    ("#define LEVER_ADDR 0x4", "O LEVER_ADDR=0x4"),
    ("#define BUSY_MASK 0x40000000", "O BUSY_MASK=0x40000000"),
    ("#define BUSY 0x40000000\nint f(u32 s) { return s & BUSY; }", "O BUSY=0x40000000"),
    ("#define BUSY 0x40000000\nvoid f(void) { g(&BUSY); }", "A BUSY=0x40000000 looks"),
    ("#define BOTH (0x40000000 | 0x1)", "O BOTH=0x40000001"),
    (
        "#define ALL 0x4FFFFFFF\n#define HIGH 0x40000000",
        "A ALL=0x4fffffff looks | A HIGH=0x40000000 looks",
    ),
    ("#define LANE(x) ((x) & 0xff)", "O 0xff=0xff"),
    ("#define NO_LEVER ((void *)0)", ""),
    # through a pointer, at whatever address
    (REG + "#define LAMP REG(0x00000004)", "A LAMP=0x4 ptr"),
    (
        REG + "#define LAMPS 0x100\n#define LAMP REG(LAMPS + 0x4)",
        "A LAMPS=0x100 base | A LAMP=0x104 ptr",
    ),
    (
        REG + "#define PARTS 0x40000000\n#define LAMPS (PARTS + 0x2000)\n#define LAMP REG(LAMPS+4)",
        "A PARTS=0x40000000 base | A LAMPS=0x40002000 base | A LAMP=0x40002004 ptr",
    ),
    (
        REG + "#define LAMPS 0x40002000\n#define OFF 0x2004\n#define LAMP REG(LAMPS + OFF)",
        "A LAMPS=0x40002000 base | A LAMP=0x40004004 ptr",
    ),
    (
        REG + "#define WHERE 0x54000000\n#define LAMP REG(WHERE)",
        "A WHERE=0x54000000 ptr | A LAMP=0x54000000 ptr",
    ),
    (
        "#define LAMPS ((volatile unsigned short *)0x40002000)\n#define LAMP LAMPS[3]",
        "A LAMPS=0x40002000 ptr | A LAMP=0x40002006 ptr",
    ),
    ("#define LAMP (*((volatile u32 *)0x40002000 + 2))", "A LAMP=0x40002008 ptr"),
    ("#define LAMP (*(&*(volatile u32 *)0x40002000 + 1))", "A LAMP=0x40002004 ptr"),
    (
        "typedef volatile unsigned char *lane;\n#define LAMP (*((lane)0x40002000 + 2))",
        "A LAMP=0x40002002 ptr",
    ),
    ("static volatile u32 *const lamps = (volatile u32 *)0x40002000;", "A lamps=0x40002000 ptr"),
    ("#define LAMPS ((struct lamps *)0x40002000)", "A LAMPS=0x40002000 ptr"),
    # macros with an argument
    ("#define LANE(base) (*(volatile u32 *)((base) + 0x04))", "O 0x04=0x4"),
    ("#define LANE(n) (*(volatile u8 *)(0x40000000 + (n)))", "A LANE(n)=0x40000000 ptr"),
    ("#define LAMP_AT(n) (0x40002000 + 4 * (n))", "A LAMP_AT(n)=0x40002000 looks"),
    (
        REG + "#define LAMP(r, c) REG(0x40002000 + 64 * (r) + 4 * (c))",
        "U LAMP(r, c) takes 2 arguments",
    ),
    (
        REG + "#define LAMP(n) REG(0x40002000 + (4 << (n)))",
        "U LAMP(n) is not linear in its argument",
    ),
    (
        "#define LAMPS 0x54002000\n#define REST (LAMPS - 0x54001000)",
        "O LAMPS=0x54002000 | O REST=0x1000",
    ),
    (
        "#define LAMPS_BASE 0x54002000\n#define REST (LAMPS_BASE - 0x54001000)",
        "A LAMPS_BASE=0x54002000 named | O REST=0x1000",
    ),
    (
        "#define LAMPS 0x54002000\n#define REST (0x1000 - LAMPS)",
        "O LAMPS=0x54002000 | O REST=0xabfff000",
    ),
    (
        "typedef unsigned char lane;\ntypedef volatile lane *lanes;\n"
        "#define LAMP (*((lanes)0x40002000 + 2))",
        "A LAMP=0x40002002 ptr",
    ),
    (
        "enum { A = 0x10, B, C };\n" + REG + "#define LAMP REG(0x40002000 + 4 * C)",
        "A LAMP=0x40002048 ptr | O A=0x10",
    ),
    ("volatile u16 *const lamps = 0x40002000;", "A lamps=0x40002000 ptr"),
    ("#define LAMP (0x40002000 & 0xFFFFF000 + 0x1000)", "O LAMP=0x0"),
    (
        REG + "#define LAMP (0x40002000 + i)\nvoid f(void) { REG(LAMP) = 0; }",
        "A REG(LAMP)=0x40002000 ptr",
    ),
    ("#define ZERO 0\nvoid f(void) { g((void *)ZERO); }", ""),
    # code
    ("void f(void) { *(volatile uint32_t *)0x40000010 = 1; }", "A 0x40000010=0x40000010 ptr"),
    (
        REG + "void f(void) { REG(0x40002000 + 4 * i) = x & 0x40u; }",
        "A REG(0x40002000 + 4 * i)=0x40002000 ptr | O 0x40u=0x40",
    ),
    (REG + "void f(void) { REG(p + 0x18) = 0; }", "U REG(p + 0x18) unknown name p"),
    ("void f(void) { put(0x40001000, 0x5); }", "A 0x40001000=0x40001000 looks | O 0x5=0x5"),
    (
        REG + "#define ON() do { REG(0x40000004) = 0x8; } while (0)",
        "A REG(0x40000004)=0x40000004 ptr | O 0x8=0x8",
    ),
    (REG + "#define READY (REG(0x40001004) & 0x1)", "A REG(0x40001004)=0x40001004 ptr | O 0x1=0x1"),
    ("#if BENCH == 0x2\n#endif", "O 0x2=0x2"),
    # no value
    ("#define LAMP lamp(0x40002000)", "U LAMP calls lamp()"),
    (REG + "#define LAMP REG(LAMPS_BASE)", "U LAMP unknown name LAMPS_BASE"),
    ("#define LAMP (0x100 / (2 - 2))", "U LAMP divides by 0"),
    (
        "#define LAMP LEVER\n#define LEVER LAMP",
        "U LAMP refers to itself | U LEVER refers to itself",
    ),
    ("#define LAMP (0x1 << 4000000000)", "U LAMP shifts by 4000000000 bits"),
    ("#define LAMP 0x1234567890", "U LAMP 0x1234567890 is wider than 32 bits"),
    ("#define LAMP 0x1.8", "U LAMP 0x1.8 is not an integer"),
    ("#define LAMP LAMP_##0x1", "U LAMP pastes tokens with ##"),
    (
        "#define LAMP ((struct lamps *)0x40002000 + 1)",
        "U LAMP adds to a pointer to a type of unknown size",
    ),
    (REG + "#define LAMP REG(0x40000000, 1)", "U LAMP passes 2 arguments to REG(), not 1"),
    (REG + "#define LAMP REG(0x40000000", "U LAMP unclosed parenthesis"),
    (
        "#define LAMPS 0x40002000\n/* and 0x40003000",
        "A LAMPS=0x40002000 looks | U /* unterminated comment",
    ),
    (
        "#ifdef A\n#define LAMPS 0x50002000\n#else\n#define LAMPS 0x40002000\n#endif",
        "A LAMPS=0x40002000 looks | U LAMPS redefined on line 4",
    ),
    ("#define LAMPS 0x40002000\n#define LAMPS 0x40002000", "A LAMPS=0x40002000 looks"),
    # spelling
    ("\ufeff#define LAMPS \\\r\n  0x40002000UL // 0x1\r\n", "A LAMPS=0x40002000 looks"),
    ("#define LAMPS /* two\nlines 0x1 */ 0x40002000", "A LAMPS=0x40002000 looks"),
    ("#define /* \ufffd \udce4 */ LAMPS 0x4000'2000", "A LAMPS=0x40002000 looks"),
    ('const char *s = "0x40002000 /*";\n#define LAMPS 0X40002000', "A LAMPS=0x40002000 looks"),
    ("#define TWO 1 + 1\n#define LAMPS_BASE (0x20001000 * TWO)", "A LAMPS_BASE=0x20001001 named"),
    (
        "#define LAMPS_BASE ((uint8_t)0x1ff + 010 - '\\'' + 0x40002000)",
        "U LAMPS_BASE '\\'' is not an integer",
    ),
    (
        "#define LAMPS_BASE ((uint8_t)0x1ff + 010 - 'A' + 0x40002000)",
        "A LAMPS_BASE=0x400020c6 looks",
    ),
    ("#define LAMPS_BASE (~0xBFFFDFFF % 0x50000000 ^ 0x0)", "A LAMPS_BASE=0x40002000 looks"),
]


@pytest.mark.parametrize(("text", "expected"), TABLE)
def test_small_headers(text: str, expected: str) -> None:
    """Each small header is judged as the table says, and lists nothing else."""
    assert rows(read_header(text, CABIN)) == expected


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("#define STATUS_READY 0x1\n#define LEVER 0x10u", "O STATUS_READY=0x1 | O LEVER=0x10"),
        ("#define LEVERS_BASE 0x0", "A LEVERS_BASE=0x0 named"),
        ("#define OUT_AT 0x4\n#define OUT 0x4", "A OUT_AT=0x4 named | O OUT=0x4"),
        ("#define BROKEN_AT 0x20000", "O BROKEN_AT=0x20000"),
        (
            "#define LEVERS 0x0\n#define LEVER (LEVERS + 0x04)",
            "A LEVERS=0x0 base | A LEVER=0x4 sum",
        ),
        (
            REG + "#define LEVERS 0x0\n#define SET 0x4\n#define LEVER REG(LEVERS + SET)",
            "A LEVERS=0x0 base | A LEVER=0x4 ptr",
        ),
        (
            "#define LAMPS 0x1000\n#define LAMP 0x1004\n#define COUNT 0x2004",
            "A LAMPS=0x1000 looks | A LAMP=0x1004 looks | O COUNT=0x2004",
        ),
        (
            "#define COLOUR_RED 0xFF0000\n#define RED 0x400000",
            "O COLOUR_RED=0xff0000 | O RED=0x400000",
        ),
        (REG + "#define FAR 0x1004\n#define LEVER REG(0x40000000 + FAR)", "A LEVER=0x40001004 ptr"),
        (
            REG
            + "#define A_BASE 0x10\n#define B_OFFSET 0x20\n#define LEVER REG(A_BASE + B_OFFSET)",
            "A A_BASE=0x10 base | A LEVER=0x30 ptr",
        ),
        (
            REG + "#define B_OFFSET 0x20\n#define A 0x10\n#define LEVER REG(A + B_OFFSET)",
            "A A=0x10 base | A LEVER=0x30 ptr",
        ),
    ],
)
def test_a_slot_at_zero(text: str, expected: str) -> None:
    """A slot at 0 makes no address of a small number that nothing else points to."""
    assert rows(read_header(text, LOW)) == expected


def test_a_run_of_ones_is_a_mask() -> None:
    """Eight ones or more in one run are a mask, even with the top digit of a slot."""
    high = AddressMap([Slot("lamps", 0xF000_0000, 0x1000)])
    assert rows(read_header("#define A 0xFFFF0000\n#define B 0xF1230000", high)) == (
        "A B=0xf1230000 looks | O A=0xffff0000"
    )


def test_between_slots_and_below_them() -> None:
    """A number is an address in or between slots, not below them, nor in a slot at 0."""
    text = "#define A 0x20000\n#define B 0x8000\n#define C 0x404\n#define D 0x400"
    two = AddressMap(
        [
            Slot("levers", 0x10000, 0x1000),
            Slot("lamps", 0x30000, 0x1000),
            Slot("clock", 0x400, 0x400),
        ]
    )
    assert rows(read_header(text, two)) == (
        "A A=0x20000 looks | A D=0x400 looks | O B=0x8000 | O C=0x404"
    )
    memory = AddressMap([Slot("memory", 0, 0x100_0000)])
    assert rows(read_header("#define RED 0xFF0000\nint a[] = {0x9000, 1};", memory)) == (
        "O RED=0xff0000 | O 0x9000=0x9000"
    )


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("#define LAMPS 40002000", "LAMPS=40002000"),
        ("#define LAMPS (40002000u)", "LAMPS=40002000"),
        ("enum { LAMPS = 40002000 };", "LAMPS=40002000"),
        ("static const unsigned lamps = 40002000UL;", "lamps=40002000"),
        ("void f(void) { put(40002000, 1); }", "40002000=40002000"),
        ("int a[] = {1, 40002000};", "40002000=40002000"),
        ("#define LAMPS_COUNT 40002000", ""),  # it counts something
        ("#define LAMPS 48002000", ""),  # in no slot as hexadecimal
        ("#define LAMPS 0x40002000", ""),
        ("#define LAMPS (40002000 + 1)", ""),
        ("void f(void) { x = 40002000; }", ""),
    ],
)
def test_decimal_numbers_that_would_be_addresses(text: str, expected: str) -> None:
    """Named ones, arguments and list items are listed if their digits are an address in a slot."""
    found = read_header(text, CABIN).decimals
    assert " | ".join(f"{row.name}={row.value}" for row in found) == expected


def test_an_empty_map_and_an_empty_text() -> None:
    """Without slots only pointers, bases and names tell; an empty text has no constants."""
    text = "#define A_BASE 0x40000000\n#define B 0x40001000\n#define C (*(char *)0x4)"
    assert rows(read_header(text, AddressMap([]))) == (
        "A A_BASE=0x40000000 named | A C=0x4 ptr | O B=0x40001000"
    )
    assert rows(read_header("", CABIN)) == ""


@pytest.mark.parametrize(
    ("cast", "width"),
    [
        ("char", 1),
        ("uint8_t", 1),
        ("unsigned short", 2),
        ("volatile u16", 2),
        ("int", 4),
        ("const uint32_t", 4),
        ("unsigned", 4),
        ("long long", 8),
        ("struct lamp", None),
        ("void", None),
        ("lamp_t", None),
    ],
)
def test_width(cast: str, width: int | None) -> None:
    """The pointer's type tells the width, or leaves it open."""
    (row,) = read_header(f"#define LAMP (({cast} *)0x40002000)", CABIN).addresses
    assert row.width == width


@pytest.mark.parametrize(
    "text",
    [
        "#define A " + "(" * 5000 + "0x1" + ")" * 5000,
        "#define A " + "(" * 1500 + "0x1" + ")" * 1500,
        "#define A " + "~" * 3000 + "0x1",
        "#define A " + "9" * 9000 + " + 0x1",
        "".join(f"#define A{n} (A{n + 1} + A{n + 1} + 0x1)\n" for n in range(60)),
        "".join(f"#define A{n} (A{n + 1} + 0x1)\n" for n in range(400)) + "#define A400 0x1",
        "#define F(x) x + x + 0x1\n#define A " + "F(" * 60 + "1" + ")" * 60,
        "void f() { " + "(" * 5000 + "0x1" + ")" * 5000 + "; }",
    ],
)
def test_bombs_end_soon(text: str) -> None:
    """Deep nesting, long numbers and exploding macros are refused within seconds."""
    begin = time.monotonic()
    found = read_header(text, CABIN)
    assert time.monotonic() - begin < 10
    assert not found.addresses
    assert found.unresolved or found.others


PIECES = st.sampled_from(
    [
        "#define ",
        "A",
        "B",
        " ",
        "\n",
        "(",
        ")",
        "0x40000000",
        "0x1",
        "*",
        "+",
        "volatile u32 *",
        "REG",
        "/*",
        "*/",
        "//",
        "\\\n",
        "enum {",
        "}",
        ";",
        "=",
        ",",
        "const int ",
        "&",
        "[",
        "]",
        "'",
        '"',
        "#",
        "##",
        "typedef ",
        "<<",
        "@",
        "\ufffd",
        "?",
        "REG(A + 0x4)",
        "->",
    ]
)


@given(st.lists(PIECES, max_size=40))
@settings(max_examples=300, deadline=None)
def test_no_text_crashes(pieces: list[str]) -> None:
    """Whatever the text, the reader returns, in order of line and with lines of the file."""
    text = REG + "".join(pieces)
    found = read_header(text, CABIN)
    for listed in (found.addresses, found.others, found.unresolved):
        lines = [row.line for row in listed]
        assert lines == sorted(lines)
        assert all(1 <= line <= text.count("\n") + 1 for line in lines)


SPACES = st.sampled_from([" ", "\t", "  ", " /* 0x99 */ ", " \\\n ", "/*\n*/", " \\\r\n"])
CASTS = st.sampled_from(["", "(u32)", "(uint32_t) ", "(unsigned int)", "(const unsigned long)"])
FORMS = st.sampled_from(["{:#x}", "{:#X}u", "{}", "{}UL", "0{:o}", "({:#x})", "0x{:08x}L"])


@st.composite
def chains(draw: st.DrawFn) -> tuple[str, dict[str, int]]:
    """Draw defines in any order, each a sum of numbers and of one other; and their values."""
    values: dict[str, int] = {}
    lines: list[str] = []
    for number in range(draw(st.integers(1, 7))):
        total, text = 0, ""
        for at in range(draw(st.integers(1, 4))):
            sign = draw(st.sampled_from("+-")) if at else "+"
            if number and not at:
                name = draw(st.sampled_from(sorted(values)))
                value, term = values[name], name
            else:
                value = draw(st.integers(0, 2**32 - 1))
                form = draw(FORMS)
                term = form.format(value)
            term = draw(CASTS) + term
            gap = draw(SPACES)
            text += f"{sign}{gap}{term}{draw(SPACES)}" if at else f"{term}{gap}"
            total += value if sign == "+" else -value
        values[f"N{number}"] = total % 2**32
        lines.append(f"#{draw(SPACES)}define{draw(SPACES)} N{number} {draw(SPACES)}({text})")
    return "\n".join(draw(st.permutations(lines))), values


@given(chains())
@settings(max_examples=200, deadline=None)
def test_sums_evaluate_as_in_python(drawn: tuple[str, dict[str, int]]) -> None:
    """A chain of sums comes to the sum that Python computes, however it is spelled."""
    text, values = drawn
    text += "".join(f"\n#define P{name} (*(volatile u8 *)({name} + 0x0))" for name in values)
    found = read_header(text, CABIN)
    listed = {row.name[1:]: row.value for row in found.addresses if row.name.startswith("P")}
    assert listed == values
    assert found.unresolved == ()


@given(st.lists(st.integers(0, 0xFFFF), min_size=1, max_size=6, unique=True), st.integers(0, 3))
def test_every_hexadecimal_constant_is_listed_once(numbers: list[int], kind: int) -> None:
    """Each constant that no address accounts for stands exactly once in the others."""
    wraps = [
        "#define N{0} {0:#x}",
        "void f{0}(void) {{ x &= {0:#x}; }}",
        "enum {{ N{0} = {0:#x} }};",
        "#define N{0}(x) ((x) | {0:#x})",
    ]
    text = "\n".join(wraps[kind].format(number) for number in numbers)
    found = read_header(text, CABIN)
    assert [row.value for row in found.others] == numbers
    assert [row.line for row in found.others] == list(range(1, len(numbers) + 1))
    assert found.addresses == ()
    assert found.unresolved == ()


def test_the_hexadecimal_constants_of_the_firmware_are_all_accounted_for() -> None:
    """A line of the firmware with a hexadecimal constant has an entry on that line."""
    found = read_header(FIRMWARE, CABIN)
    with_hex = {n for n, line in enumerate(FIRMWARE.split("\n"), 1) if re.search("0x", line)}
    assert {row.line for row in (*found.addresses, *found.others)} == with_hex
