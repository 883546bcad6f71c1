"""The manual: every topic, what stands in it, and that it says what the code does."""

from __future__ import annotations

import io
import re
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import pytest

import busbox
from busbox.basics.errors import InputError
from busbox.bench.keys import HEADS, bench_keys
from busbox.bench.schema import check_keys
from busbox.cli import main
from busbox.cpu.table import AccessTable
from busbox.findings import expectations
from busbox.formats.csv import HEADER, read_csv
from busbox.formats.text import FIRST_WORDS, read_text
from busbox.guide.bench_keys import ELSEWHERE, TOP
from busbox.guide.inserts import INSERTS
from busbox.guide.listing import contents
from busbox.guide.markdown import code, escaped, keywords, table, tree
from busbox.guide.terminal import lines
from busbox.guide.topics import WRITTEN, find_topic, topics
from busbox.plugins import ATTACHMENTS, DEVICES, RULES, VERBS
from tests.test_documents import PAGES, blocks

pytestmark = pytest.mark.quick

TOPICS = topics()


def printed(text: str, width: int) -> list[str]:
    """Return a page as a terminal shows it."""
    return ["".join(word for word, _ in line) for line in lines(tree(text), width)]


def test_every_page_every_model_attachment_and_rule_is_a_topic() -> None:
    """No two topics share a name, and no page stands beside the manual."""
    written = [name for names in WRITTEN.values() for name in names]
    made = [*DEVICES.built_in, *ATTACHMENTS.built_in, *RULES.built_in]
    assert sorted(written) == sorted(file.stem for file in PAGES.glob("*.md"))
    assert list(TOPICS) == written + made


@pytest.mark.parametrize("name", TOPICS)
@pytest.mark.parametrize("width", [40, 60, 80])
def test_a_page_has_a_title_and_fits_the_terminal(name: str, width: int) -> None:
    """A page begins with its title and its summary; nothing in it is wider than the terminal."""
    page = TOPICS[name].make()
    assert page.startswith("# ")
    assert "{{" not in page
    shown = printed(page, width)
    assert not shown[0].startswith(" ")
    assert max(map(len, shown)) <= width


@pytest.mark.parametrize("name", TOPICS)
def test_nothing_of_a_page_is_lost_on_paper(name: str) -> None:
    """A narrow terminal shows the same characters as a very wide one."""

    def characters(width: int) -> list[str]:
        text = "".join(printed(TOPICS[name].make(), width))
        return sorted(re.sub(r"[\s:]", "", text))

    page = TOPICS[name].make()
    if "|" not in page:  # a table that is stacked repeats its titles
        assert characters(60) == characters(2000)


def test_the_list_names_every_topic(capsys: pytest.CaptureFixture[str]) -> None:
    """``busbox guide`` shows each topic's name; each written one with its line."""
    with pytest.raises(SystemExit) as ended:
        main(["guide"])
    assert ended.value.code == 0
    shown = capsys.readouterr().out
    assert set(TOPICS) <= set(re.findall(r"[\w-]+", shown))
    for names in WRITTEN.values():
        for name in names:
            assert TOPICS[name].summary in contents()


def test_a_topic_is_printed(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """``busbox guide TOPIC`` prints the page at the width of the terminal."""
    monkeypatch.setenv("COLUMNS", "60")
    with pytest.raises(SystemExit) as ended:
        main(["guide", "byte-lost"])
    assert ended.value.code == 0
    assert capsys.readouterr().out.splitlines() == [
        line.rstrip() for line in printed(find_topic("byte-lost").make(), 60)
    ]


def test_an_unknown_topic_names_the_nearest(capsys: pytest.CaptureFixture[str]) -> None:
    """One line, and exit code 2."""
    with pytest.raises(SystemExit) as ended:
        main(["guide", "step"])
    assert ended.value.code == 2
    seen = capsys.readouterr()
    assert seen.out == ""
    assert seen.err == (
        "busbox: guide: there is no topic 'step'; did you mean 'steps'? (busbox guide lists them)\n"
    )


def test_pages_name_only_what_there_is() -> None:
    """Each topic, verb and insert that a page names exists; each insert is used."""
    used = set()
    for file in PAGES.glob("*.md"):
        text = file.read_text(encoding="utf-8")
        used |= set(re.findall(r"^\{\{([a-z-]+)\}\}$", text, re.MULTILINE))
    assert used == set(INSERTS)
    for topic in TOPICS.values():
        page = topic.make()
        for name in re.findall(r"`busbox (?:guide|explain) ([a-z][\w-]*)`", page):
            assert name in TOPICS, (topic.name, name)
        for name in re.findall(r"\]\(#([^)]+)\)", page):
            assert name in TOPICS, (topic.name, name)
        for verb in re.findall(r"`(?:\$ )?busbox ([a-z]+)", page):
            assert verb in VERBS.built_in, (topic.name, verb)


def test_every_verb_is_shown_with_every_option() -> None:
    """``guide verbs`` comes from the declarations that parse them."""
    page = find_topic("verbs").make()
    for verb in VERBS.built_in:
        assert f"## busbox {verb}\n" in page
    for option in ("--strict", "--until TIME", "--check-engines", "--set KEY=VALUE", "--html FILE"):
        assert f"`{option}`: " in page


def test_keywords_cannot_drift() -> None:
    """A dataclass whose docstring names other keywords than its fields makes no page."""

    @dataclass
    class Drifted:
        """A thing.

        Attributes
        ----------
        name : what it is called
        """

        name: str
        colour: str = "red"

    with pytest.raises(LookupError):
        list(keywords(Drifted))


def test_text_of_declarations_is_shown_as_it_stands() -> None:
    """What means something in Markdown is text where a declaration has it; code stays code."""
    texts = ["a * b * c | d", "[[input]] <x> [slot.NAME]", r"C:\new *", "``[[a]] | *b*`` and `c`"]
    page = table(("Text", "Code"), [(escaped(text), code("RULE|ADDRESS")) for text in texts])
    shown = [line.rstrip() for line in printed(page, 80)]
    assert shown == [
        "  Text                       Code",
        "  a * b * c | d              RULE|ADDRESS",
        "  [[input]] <x> [slot.NAME]  RULE|ADDRESS",
        "  C:\\new *                   RULE|ADDRESS",
        "  [[a]] | *b* and c          RULE|ADDRESS",
    ]


def test_the_grammar_of_steps_names_every_word() -> None:
    """What a line may begin with stands in the grammar and has a heading; the example is read."""
    page, (example, grammar, _) = find_topic("steps").make(), blocks("guide/steps")
    headings = set(" ".join(re.findall(r"^## (.*)$", page, re.MULTILINE)).split())
    for word in FIRST_WORDS:
        assert f'"{word}"' in grammar.text
        assert word in headings
    steps = list(read_text(example.text.splitlines(), "steps"))
    names = {type(step).__name__ for step in steps}
    assert names == {
        "Mark",
        "AccessStep",
        "Poll",
        "Until",
        "Pause",
        "Await",
        "ResetStep",
        "Handler",
    }
    quoted = re.findall(r"`((?:write|read|poll|until|pause|await|mark) [^`]*)`", page)
    assert len(quoted) >= 6
    for line in quoted:
        assert len(list(read_text([line.partition(" (")[0]], "page"))) == 1


@pytest.mark.parametrize("option", ["lanes", "pc", "every", "limit", "enter", "leave"])
def test_the_grammar_of_steps_names_every_option(option: str) -> None:
    """Options of a step that the reader takes stand in the grammar."""
    assert f'"{option}"' in blocks("guide/steps")[1].text


def test_the_example_of_csv_is_read_and_every_column_explained() -> None:
    """The columns on the page are those of the reader."""
    page, example = find_topic("csv").make(), blocks("guide/csv")[0]
    (rows,) = read_csv(io.BytesIO(example.text.encode()), "page")
    assert isinstance(rows, AccessTable)
    assert rows["wait"].tolist() == [0, 12, 3]
    for column in [*HEADER, "pc"]:
        assert f"\n- `{column}`: " in page


def test_every_kind_of_expectation_has_its_heading_and_example() -> None:
    """``guide expectations`` lists the kinds that are checked, and the ways of each."""
    page = find_topic("expectations").make()
    headings = re.findall(r"^## (\w+)$", page, re.MULTILINE)
    assert headings == [*expectations.KEYS, "Example"]
    for way in [*expectations.COUNTS, *expectations.TEXTS]:
        assert f"`{way}`" in page


def test_every_key_of_a_bench_stands_on_one_page() -> None:
    """Each key that is declared is listed, under its table, with its meaning and an example."""
    page_of = cache(lambda topic: find_topic(topic).make())
    for key in bench_keys():
        topic, heading = "bench", key.table or TOP
        if key.table in ELSEWHERE:
            topic, heading = ELSEWHERE[key.table], key.owner or "A profile of your own"
        elif key.owner:
            topic, heading = key.owner, "Settings"
        page = page_of(topic)
        if key.table == HEADS["expect"] and not key.owner:
            assert f"\n## {key.name}\n" in page
            continue
        part = page.partition(f"\n## {heading}\n")[2].partition("\n## ")[0]
        item = re.search(rf"^- `{key.name}`: .*\n  .*$", part, re.MULTILINE)
        assert item is not None, key
        assert key.text.rstrip(".")[1:] in item[0].replace("\\", "")
        assert item[0].endswith(f"Example: `{key.name} = {key.example}`")


def tables() -> Iterator[tuple[str, str]]:
    """Yield (document, text) of every block of TOML that is no file of an example."""
    for document in ["README.md", *(f"guide/{file.stem}" for file in sorted(PAGES.glob("*.md")))]:
        yield from (
            (document, block.text)
            for block in blocks(document)
            if block.language == "toml" and not block.file
        )


CABIN: dict[str, Any] = {
    "clock": "16 MHz",
    "slot": {
        "levers": {"model": "gpio", "base": 0x4000_0000, "size": 0x1000},
        "telegraph": {"model": "uart", "base": 0x4000_1000, "size": 0x1000},
        "clock": {"model": "timer", "base": 0x4000_2000, "size": 0x1000},
        "lamps": {"model": "pulse_led", "base": 0x4400_0000, "size": 0x1000, "lamps": 12},
    },
    "attach": {"string": {"kind": "lamp_string", "pin": "lamps.line", "count": 12}},
    "traffic": [],
}


@pytest.mark.parametrize(("document", "text"), [*tables()])
def test_every_table_shown_is_one_that_a_bench_takes(
    document: str, text: str, tmp_path: Path
) -> None:
    """Put into a bench of a signal cabin, each block of TOML has no mistake."""
    (tmp_path / "line.csv").write_text("time_us,tx,rx\n0,1,1\n5,0,1\n9,1,1\n", encoding="utf-8")
    keys = tomllib.loads(text)
    for name in ("slot", "attach"):
        keys[name] = CABIN[name] | keys.get(name, {})
    keys.pop("traffic", None)
    assert check_keys(keys | {"clock": "16 MHz"}).mistakes == ()
    busbox.Bench(CABIN | keys, folder=tmp_path).system()


def test_html_stands_without_a_topic(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """``--html`` writes all topics: with one beside it, nothing is written."""
    file = tmp_path / "guide.html"
    with pytest.raises(SystemExit) as ended:
        main(["guide", "bench", "--html", str(file)])
    assert ended.value.code == 2
    assert capsys.readouterr().err == (
        "busbox: --html: writes all topics and cannot be combined with one\n"
    )
    assert not file.exists()


def test_a_page_that_cannot_be_written_is_an_error(tmp_path: Path) -> None:
    """A folder that is not there is one message."""
    with pytest.raises(SystemExit) as ended:
        main(["guide", "--html", str(tmp_path / "none" / "guide.html")])
    assert ended.value.code == 2


def test_unknown_topics_are_input_errors() -> None:
    """From Python, too."""
    with pytest.raises(InputError):
        find_topic("nothing")
