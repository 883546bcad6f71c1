"""The manual as one page for a browser, read with the parser of the standard library."""

from __future__ import annotations

import re
from collections.abc import Iterator
from html.parser import HTMLParser
from pathlib import Path

import pytest

from busbox.cli import main
from busbox.guide.page import html_page
from busbox.guide.topics import FIRST, find_topic, topics

pytestmark = pytest.mark.quick

#: Elements without an end.
VOID = {"meta", "input", "br", "hr", "img", "link"}


class Page(HTMLParser):
    """What the tests look at: elements with their attributes, open elements, text by topic."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.open: list[str] = []
        self.headings: list[int] = []
        self.texts: dict[str, str] = {}
        self._topic = ""
        self.feed(text)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note an element."""
        self.elements.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)
        if re.fullmatch("h[1-6]", tag):
            self.headings.append(int(tag[1]))
        if tag == "section":
            self._topic = dict(attrs)["id"] or ""

    def handle_endtag(self, tag: str) -> None:
        """An element ends, the one that began last."""
        if tag not in VOID:
            assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        """Collect the text of a topic."""
        self.texts[self._topic] = self.texts.get(self._topic, "") + data

    def all(self, attribute: str) -> Iterator[str]:
        """Yield the values of an attribute."""
        yield from (found for _, attrs in self.elements if (found := attrs.get(attribute)))


@pytest.fixture(scope="module")
def text() -> str:
    """Return the document."""
    return html_page()


@pytest.fixture(scope="module")
def page(text: str) -> Page:
    """Return what is in the document."""
    return Page(text)


def test_every_topic_is_a_section_and_a_link(page: Page) -> None:
    """The topics to read first are linked, then contents and text name the same topics in order."""
    sections = [attrs["id"] for tag, attrs in page.elements if tag == "section"]
    links = [attrs["href"] for tag, attrs in page.elements if tag == "a"]
    assert sections == list(topics())
    assert links[0] == "#text"
    assert links[1 : len(FIRST) + len(sections) + 1] == [f"#{name}" for name in [*FIRST, *sections]]


def test_elements_are_closed_in_order(page: Page) -> None:
    """Nothing is left open, nothing is closed twice."""
    assert page.open == []


def test_ids_are_unique_and_links_lead_somewhere(page: Page) -> None:
    """Each id stands once; each link, label and description names one of them."""
    ids = list(page.all("id"))
    assert len(ids) == len(set(ids))
    for target in page.all("href"):
        assert target[0] == "#"
        assert target[1:] in ids
    for attribute in ("for", "aria-describedby"):
        assert set(page.all(attribute)) <= set(ids)


def test_nothing_comes_from_elsewhere(page: Page, text: str) -> None:
    """No source, no address of a network in markup, style or script."""
    assert not list(page.all("src"))
    assert not [tag for tag, _ in page.elements if tag in ("link", "img", "iframe", "object")]
    style, script = (
        text.partition("<style>")[2].partition("</style>")[0],
        text.rpartition("<script>")[2],
    )
    for part in (style, script):
        assert not re.search(r"https?:|//\w|@import|url\(|fetch|XMLHttp|import\(", part)


def test_it_can_be_read_without_a_mouse_and_by_a_screen_reader(page: Page) -> None:
    """It has a language, a title, headings in order, a label, a status, a way past the contents."""
    tags = [tag for tag, _ in page.elements]
    assert dict(page.elements)["html"] == {"lang": "en"}
    assert tags.count("h1") == tags.count("main") == tags.count("title") == 1
    assert {"header", "nav", "main"} <= set(tags)
    for before, level in zip(page.headings, page.headings[1:], strict=False):
        assert level <= before + 1
    first = next(attrs for tag, attrs in page.elements if tag == "a")
    assert first == {"class": "skip", "href": "#text"}
    assert "search" in page.all("for")
    assert "status" in page.all("role")
    for tag, attrs in page.elements:
        if tag == "pre" or "table" in (attrs.get("class") or ""):
            assert attrs["tabindex"] == "0"


def _luminance(colour: str) -> float:
    """Return the relative luminance. Source: WCAG 2.2, definition of relative luminance."""
    channels = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return sum(w * c for w, c in zip((0.2126, 0.7152, 0.0722), linear, strict=True))


def test_colours_contrast(text: str) -> None:
    """Text 4.5 to 1 and edges 3 to 1, on paper and plates, by day and night.

    Source: WCAG 2.2, success criteria 1.4.3 and 1.4.11.
    """
    palettes = [dict(re.findall(r"--(\w+): (#\w{6})", part)) for part in text.split(":root")[1:3]]
    assert [len(palette) for palette in palettes] == [8, 8]
    for palette in palettes:
        light = {name: _luminance(colour) + 0.05 for name, colour in palette.items()}

        def contrast(one: str, other: str, light: dict[str, float] = light) -> float:
            return max(light[one], light[other]) / min(light[one], light[other])

        for ink in ("ink", "quiet", "link"):
            for ground in ("paper", "plate"):
                assert contrast(ink, ground) >= 4.5, (ink, ground)
        assert contrast("ink", "mark") >= 4.5
        assert contrast("edge", "paper") >= 3


def test_fields_are_indented_below_their_register(page: Page, text: str) -> None:
    """The mark that a terminal shows before the name of a field is an indent in a browser."""
    assert '<td role="cell" class="field" data-head="Name">TX_ROOM</td>' in text
    assert "- TX_ROOM" not in page.texts["uart"]


def test_short_code_is_not_divided(text: str) -> None:
    """Code as long as a terminal keeps in one line stays in one line; longer code wraps."""
    assert '<code class="tied">busbox guide device</code>' in text
    assert "<code>rules = [&quot;rules.py:same_word_again&quot;]</code>" in text


def test_lines_of_help_keep_their_breaks() -> None:
    """Help that a terminal must not wrap is code on the page of the verbs."""
    page = find_topic("verbs").make()
    assert "\b" not in page
    assert re.search(r"```text\nbash, ~/.bashrc:\n  source", page)


def test_text_is_escaped(page: Page) -> None:
    """What looks like markup in the text is text."""
    assert "CYC, STB  |_____|#####|_____|" in page.texts["cycles"]
    assert "base <= address < base + size" in page.texts["cycles"]


def test_the_verb_writes_the_page(
    tmp_path: Path, text: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """``busbox guide --html FILE`` writes it, in UTF-8, and says so."""
    file = tmp_path / "guide.html"
    with pytest.raises(SystemExit) as ended:
        main(["guide", "--html", str(file)])
    assert ended.value.code == 0
    assert file.read_bytes() == text.encode("utf-8")
    assert capsys.readouterr().out == f"{file}: the guide\n"
