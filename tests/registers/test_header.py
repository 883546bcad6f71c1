"""The C header: it compiles without a warning, makes the accesses that it says, and reads back."""

from __future__ import annotations

import re
import shutil
import subprocess
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from busbox.bench.bench import Bench
from busbox.cli.where_header import check_header
from busbox.firmware.c_names import words_of
from busbox.map.slots import AddressMap
from busbox.registers.calls import calls_of
from busbox.registers.header import comment, header
from busbox.registers.layout import Layout, layout_of
from tests.cpu.host_libraries import compiled as library
from tests.cpu.host_libraries import needs_compiler
from tests.registers.drawn import SHIPPED, devices, layouts, shipped
from tests.test_documents import blocks

pytestmark = pytest.mark.quick

STRICT = ("-Wall", "-Wextra", "-pedantic", "-Wconversion", "-Werror")
#: Compilers and the standards that the header keeps.
LANGUAGES = (("gcc", "-std=c99", "c"), ("g++", "-std=c++17", "c++"))


def compiled(folder: Path, layout: Layout, compiler: str, standard: str, language: str) -> None:
    """Compile a file that includes the header twice and uses nothing of it."""
    (folder / "registers.h").write_text(header(layout), encoding="utf-8")
    unit = folder / "unit.c"
    unit.write_text('#include "registers.h"\n#include "registers.h"\nextern int unit;\n', "utf-8")
    words = [compiler, standard, *STRICT, "-x", language, "-c", str(unit), "-o", "unit.o"]
    done = subprocess.run(
        words, cwd=folder, capture_output=True, text=True, check=False, encoding="utf-8"
    )
    assert done.returncode == 0, done.stderr


@pytest.mark.parametrize(("compiler", "standard", "language"), LANGUAGES)
@pytest.mark.parametrize("bench", SHIPPED)
def test_headers_compile_without_a_warning(
    bench: str, compiler: str, standard: str, language: str, tmp_path: Path
) -> None:
    """The header of a bench is clean C99 and C++17 under strict warnings (gcc is the judge)."""
    if shutil.which(compiler) is None:
        pytest.skip(f"there is no {compiler}")
    compiled(tmp_path, shipped(bench), compiler, standard, language)


@given(layouts())
@settings(max_examples=15, deadline=None)
@pytest.mark.parametrize(("compiler", "standard", "language"), LANGUAGES)
def test_drawn_headers_compile_without_a_warning(
    tmp_path_factory: pytest.TempPathFactory,
    compiler: str,
    standard: str,
    language: str,
    layout: Layout,
) -> None:
    """Whatever names and texts a table has, no two collide and the header compiles."""
    if shutil.which(compiler) is None:
        pytest.skip(f"there is no {compiler}")
    compiled(tmp_path_factory.mktemp("header"), layout, compiler, standard, language)


@given(layouts())
@settings(max_examples=100, deadline=None)
def test_no_name_is_given_twice(layout: Layout) -> None:
    """Every constant and every function of a header is defined once."""
    text = header(layout)
    names = re.findall(r"^#define (\w+)", text, re.MULTILINE)
    names += re.findall(r"^static inline \w+ (\w+)\(", text, re.MULTILINE)
    assert len(names) == len(set(names))
    assert not [name for name in names if "__" in name or name.startswith("_")]


def amiss(layout: Layout, address_map: AddressMap, folder: Path) -> list[str]:
    """Return what ``where`` finds amiss in the header of a layout."""
    (folder / "registers.h").write_text(header(layout), encoding="utf-8")
    kinds = {slot.slot.name: slot.kind for slot in layout.slots}
    checked = check_header(folder / "registers.h", address_map, kinds)
    assert not checked.constants.unresolved
    assert not checked.decimals
    reached = {one.constant.name for one in checked.of("reached", "base")}
    for slot in layout.slots:
        for named in slot.registers:
            index = "(index)" if named.register.count else ""
            assert f"{layout.prefix}_{named.stem}_AT{index}" in reached
    others = {one.name for one in checked.constants.others}
    assert not [name for name in reached if not re.search(r"_(AT|BASE)(\(index\))?$", name)]
    assert not [name for name in others if not re.search("_(BITS|SIZE)$", name)]
    return [one.constant.name for one in checked.of("hole", "another", "nowhere")]


@pytest.mark.parametrize("bench", SHIPPED)
def test_where_finds_nothing_amiss_in_the_header_of_a_bench(bench: str, tmp_path: Path) -> None:
    """Every address of the header reaches its register, and no other constant is an address."""
    layout = shipped(bench)
    assert amiss(layout, AddressMap([slot.slot for slot in layout.slots]), tmp_path) == []


@given(devices())
@settings(max_examples=100, deadline=None)
def test_where_finds_nothing_amiss_in_drawn_headers(
    tmp_path_factory: pytest.TempPathFactory, drawn: list
) -> None:
    """Names that are alike do not make ``where`` doubt the header that we write."""
    layout = layout_of("A", "", drawn)
    address_map = AddressMap([slot for slot, _ in drawn])
    assert amiss(layout, address_map, tmp_path_factory.mktemp("where")) == []


def test_what_reads_0_has_no_get_and_what_ignores_writes_no_put() -> None:
    """Access rights decide which functions there are."""
    text = header(shipped("signal_cabin"))
    names = set(re.findall(r"^static inline \w+ (\w+)\(", text, re.MULTILINE))
    assert {"lamps_get_count", "lamps_put_count", "lamps_get_colour", "lamps_put_colour"} <= names
    assert {"levers_get_in", "levers_act_set", "levers_get_events", "levers_clear_events"} <= names
    assert {"lamps_get_status_busy", "lamps_clear_status", "lamps_place_high_one"} <= names
    assert not names & {"levers_put_in", "levers_get_set", "levers_put_set", "levers_put_events"}
    assert not names & {"lamps_put_status", "lamps_act_control", "lamps_get_control_send"}


@given(layouts())
@settings(max_examples=50, deadline=None)
def test_functions_follow_the_access_types(layout: Layout) -> None:
    """A get reads bits that can be read; a put, clear or act writes bits that take a write."""
    for slot in layout.slots:
        for named in slot.registers:
            verbs = {call.verb for call in calls_of(named) if call.field is None}
            kinds = {one.access or named.register.access for one in named.register.fields}
            assert ("get" in verbs) == bool(kinds & {"rw", "ro", "ones_clear"})
            assert ("put" in verbs) == bool(kinds & {"rw", "wo"})
            assert ("clear" in verbs) == ("ones_clear" in kinds and not kinds & {"rw", "wo"})
            assert ("act" in verbs) == ("ones_act" in kinds and not kinds & {"rw", "wo"})


HOST = r"""
#include <stdint.h>
#include <stdio.h>
static uint32_t note(uint32_t address, int write, uint32_t word)
{
    printf("%s %08lx %lx\n", write ? "write" : "read", (unsigned long)address, (unsigned long)word);
    return address ^ 0xffffffffu;
}
#define CABIN_ACCESS note
#include "registers.h"
int main(void)
{
    printf("%lx\n", (unsigned long)lamps_get_count());
    lamps_put_count(12u);
    lamps_put_colour(3u, 0x402010u);
    levers_act_set(0x2u);
    lamps_clear_status(CABIN_LAMPS_STATUS_MISSED_BITS);
    lamps_put_high(lamps_place_high_one(lamps_place_high_zero(0xffffffffu, 6u), 12u));
    printf("%lx\n", (unsigned long)lamps_get_high_one());
    printf("%lx\n", (unsigned long)lamps_take_high_one(0x000c0006u));
    return 0;
}
"""


def test_a_host_build_replaces_the_access_function(tmp_path: Path) -> None:
    """With PREFIX_ACCESS defined, every function makes one access through it, of a whole word."""
    if shutil.which("gcc") is None:
        pytest.skip("there is no gcc")
    cabin = shipped("signal_cabin")
    (tmp_path / "registers.h").write_text(
        header(Layout(cabin.name, "CABIN", cabin.slots)), encoding="utf-8"
    )
    (tmp_path / "host.c").write_text(HOST, encoding="utf-8")
    words = ["gcc", "-std=c99", *STRICT, "host.c", "-o", "host"]
    subprocess.run(words, cwd=tmp_path, check=True)
    done = subprocess.run(
        [tmp_path / "host"], capture_output=True, text=True, check=True, encoding="utf-8"
    )
    assert done.stdout.splitlines() == [
        "read 40002008 0",
        "bfffdff7",
        "write 40002008 c",
        "write 4000210c 402010",
        "write 40000004 2",
        "write 40002004 2",
        "write 4000200c c0006",
        "read 4000200c 0",
        "bfff",
        "c",
    ]


DRIVER = """
int main(void)
{
    levers_put_out(0x1u);
    levers_act_set(0x6u);
    lamps_put_count(2u);
    lamps_put_colour(1u, 0x402010u);
    if (levers_get_out() == 0x7u) lamps_put_high(lamps_place_high_one(0u, 12u));
    while (!telegraph_get_status_tx_room()) { }
    telegraph_put_data('B');
    return 0;
}
"""
STEPS = """
write levers.OUT 0x1
write levers.SET 0x6
write lamps.COUNT 2
write lamps.COLOUR.1 0x402010
read levers.OUT
write lamps.HIGH 0xc0000
read telegraph.STATUS
write telegraph.DATA 0x42
"""


@needs_compiler
def test_the_guide_s_driver_makes_the_accesses_on_the_simulated_bus(tmp_path: Path) -> None:
    """With the access function that the guide shows, a driver in C plays the same as steps do."""
    (block,) = [one for one in blocks("guide/registers") if "on_busbox" in one.text]
    cabin = shipped("signal_cabin")
    (tmp_path / "cabin.h").write_text(
        header(Layout(cabin.name, "CABIN", cabin.slots)), encoding="utf-8"
    )
    library(tmp_path, block.text + DRIVER)
    (tmp_path / "same.steps").write_text(STEPS, encoding="utf-8")
    bench = Bench.load("signal_cabin")
    keys = {"clock": bench.keys["clock"], "slot": bench.keys["slot"]}
    columns = []
    for file in ("driver.so:main", "same.steps"):
        found = Bench(keys | {"traffic": {"file": file}}, folder=tmp_path).run().accesses
        columns.append(
            [getattr(found, name).tolist() for name in ("write", "address", "data", "lanes")]
        )
    assert columns[0] == columns[1]
    assert len(columns[0][0]) == 8


@given(st.text(max_size=300))
def test_a_comment_ends_where_it_should(text: str) -> None:
    """Whatever the text, a comment of C begins and ends once, on lines that fit."""
    lines = list(comment(text))
    joined = "\n".join(lines)
    assert joined.startswith("/*")
    assert joined.endswith("*/")
    assert joined.count("*/") == 1
    assert joined.count("/*") == 1


def test_words_of_a_name() -> None:
    """Names are cut at underscores and capitals; an argument is no part of them."""
    assert words_of("CABIN_LAMPS_AT(index)") == ("cabin", "lamps", "at")
    assert words_of("lampsCount2") == ("lamps", "count", "2")
