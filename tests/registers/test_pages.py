"""The reference as Markdown and as an HTML page, and the map as JSON: everything that is declared."""

from __future__ import annotations

import json
import re
from html.parser import HTMLParser

import pytest
from hypothesis import given, settings

from busbox.guide.markdown import parser, tree
from busbox.guide.terminal import lines
from busbox.map.slots import SPACE, Slot
from busbox.registers.html_page import html_page
from busbox.registers.json_map import json_map
from busbox.registers.layout import Layout, layout_of
from busbox.registers.markdown import markdown
from tests.registers.drawn import SHIPPED, layouts, shipped

pytestmark = pytest.mark.quick

_VOID = frozenset(("meta", "link", "br", "img", "input", "hr"))


class Page(HTMLParser):
    """Reads a page strictly: every element is closed in order, every id is there once."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.ids: list[str] = []
        self.links: list[str] = []
        self.styles: list[tuple[str, str]] = []
        self.loads: list[str] = []
        self.text = ""
        self.feed(text)
        self.close()
        assert self.open == []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        if tag not in _VOID:
            self.open.append(tag)
        self.ids += [given["id"] or ""] if "id" in given else []
        self.links += [given["href"] or ""] if "href" in given else []
        self.loads += [key for key in ("src", "srcset", "onclick") if key in given]
        if tag == "a" and "style" in given:
            self.styles.append((given.get("aria-label") or "", given["style"] or ""))

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if not set(self.open) & {"style", "title"}:
            self.text += data


def squeezed(text: str) -> str:
    return " ".join(text.split())


@pytest.mark.parametrize("bench", SHIPPED)
def test_the_page_is_one_file_and_says_everything(bench: str) -> None:
    """No script, nothing from a network; every link has its target; every name and text is there."""
    layout = shipped(bench)
    text = html_page(layout)
    page = Page(text)
    assert "<script" not in text
    assert not page.loads
    assert not re.findall("https?:", text)
    assert len(page.ids) == len(set(page.ids))
    assert {link.removeprefix("#") for link in page.links} <= set(page.ids)
    assert all(link.startswith("#") for link in page.links)
    shown = squeezed(page.text)
    for slot in layout.slots:
        for named in slot.registers:
            assert squeezed(f"{slot.slot.name}.{named.register.name}") in shown
            assert squeezed(named.register.text) in shown
            for field in named.fields:
                assert squeezed(field.field.name) in shown
                assert squeezed(field.field.text) in shown


@given(layouts())
@settings(max_examples=40, deadline=None)
def test_drawn_pages_are_well_formed(layout: Layout) -> None:
    """Whatever names and texts a table has, they are text and not mark-up, and ids are unique."""
    page = Page(html_page(layout))
    assert len(page.ids) == len(set(page.ids))
    assert {link.removeprefix("#") for link in page.links} <= set(page.ids)
    for slot in layout.slots:
        for named in slot.registers:
            assert squeezed(named.register.text) in squeezed(page.text)


def test_the_map_is_to_scale() -> None:
    """Left and width of a slot are its base and size in percent of what the bar shows."""
    slots = [Slot("east", 0x4000_0000, 0x4000_0000), Slot("west", 0xC000_0000, 0x1000_0000)]
    page = Page(html_page(layout_of("b", "", [(slot, "m") for slot in slots])))
    on_bars = [style for label, style in page.styles if label.startswith(("east, ", "west, "))]
    found = [
        tuple(float(part) for part in re.findall(r"([\d.]+)%", style.replace("100% - 3px", "")))
        for style in on_bars
    ]
    whole = [(100 * one.base / SPACE, 100 * one.size / SPACE) for one in slots]
    shown = 0x9000_0000
    part = [(100 * (one.base - 0x4000_0000) / shown, 100 * one.size / shown) for one in slots]
    assert found == [pytest.approx(pair, abs=1e-5) for pair in (*whole, *part)]


@pytest.mark.parametrize("bench", SHIPPED)
def test_the_strip_has_every_bit_once(bench: str) -> None:
    """The parts of a strip are as wide as two halves of 16 bits, and name the field of each bit."""
    layout = shipped(bench)
    strips = html_page(layout).split('<div class="strip">')[1:]
    registers = [named for slot in layout.slots for named in slot.registers]
    assert len(strips) == len(registers)
    for strip, named in zip(strips, registers, strict=True):
        halves = strip.split('<div class="half">')[1:]
        bits: list[str] = []
        for half in halves:
            parts = re.findall(r'<(?:a|span) class="part[^>]*span (\d+)"[^>]*title="([^",]*)', half)
            bits += [name for width, name in parts for _ in range(int(width))]
        expected = ["no field"] * 32
        for field in named.register.fields:
            expected[31 - field.high : 32 - field.low] = [field.name] * (field.high - field.low + 1)
        assert bits == expected


@pytest.mark.parametrize("bench", SHIPPED)
def test_the_markdown_holds_every_register_and_reads_in_a_terminal(bench: str) -> None:
    """Parsed, its tables have a row for each register and field; the terminal shows the same page."""
    layout = shipped(bench)
    text = markdown(layout)
    rendered = squeezed(re.sub("<[^>]+>", " ", parser().render(text)))
    printed = "".join(word for line in lines(tree(text), 100) for word, _ in line)
    for slot in layout.slots:
        for named in slot.registers:
            assert f"{named.address:#010x}" in rendered
            assert f"{named.address:#010x}" in printed
            for field in named.fields:
                assert field.field.name in rendered


@given(layouts())
@settings(max_examples=40, deadline=None)
def test_drawn_markdown_shows_the_texts_as_they_are(layout: Layout) -> None:
    """Marks in a text are escaped: a reader of Markdown gets the words that were declared."""
    page = Page(f"<body>{parser().render(markdown(layout))}</body>")
    for slot in layout.slots:
        for named in slot.registers:
            assert squeezed(named.register.text) in squeezed(page.text)


@given(layouts())
@settings(max_examples=40, deadline=None)
def test_the_json_holds_every_number(layout: Layout) -> None:
    """Slots, registers and fields are there with their numbers, in ASCII."""
    text = json_map(layout)
    assert text.isascii()
    for found, slot in zip(json.loads(text)["slots"], layout.slots, strict=True):
        assert (found["base"], found["size"]) == (slot.slot.base, slot.slot.size)
        for row, named in zip(found["registers"], slot.registers, strict=True):
            register = named.register
            assert row["address"] == named.address == slot.slot.base + row["offset"]
            assert (row["name"], row["access"], row["text"]) == (
                register.name, register.access, register.text,
            )  # fmt: skip
            assert sum(one["mask"] for one in row["fields"]) == register.mask()
            assert row["reset"] == (None if register.kept else register.reset_value)
