"""Every page of ``busbox explain``: what it holds, and that its example does what it says."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import pytest

from busbox.basics.pages import first_paragraph
from busbox.bench.bench import Bench
from busbox.bench.find import benches_of
from busbox.cli import main
from busbox.cli.common import plain
from busbox.cpu.steps import Step
from busbox.formats.files import read_traffic
from busbox.formats.text import FIRST_WORDS, read_text
from busbox.plugins import RULES, find
from busbox.recording.judged import Finding

pytestmark = pytest.mark.quick

#: Rules that traffic cannot break; the example on their page is hardware.
OF_HARDWARE = ("wishbone-rule",)
#: Rules about firmware that a core executes; the example on their page is a program.
OF_PROGRAMS = ("core-trap", "stack-outside", "spin")
OF_TRAFFIC = [rule for rule in RULES.built_in if rule not in (*OF_HARDWARE, *OF_PROGRAMS)]
SECTIONS = ("Example", "Finding", "What to do")


@dataclass(frozen=True)
class Page:
    """What a page holds.

    Attributes
    ----------
    text : all of it, as printed
    example, finding, advice : its sections, with each run of white space as one space
    bench : file of the bench that the example is from
    code : the code of the example, one string for each block
    """

    text: str
    example: str
    finding: str
    advice: str
    bench: Path
    code: tuple[str, ...]

    @property
    def steps(self) -> list[Step]:
        """The example's traffic."""
        lines = [block for block in self.code if block.split()[0] in FIRST_WORDS]
        return list(read_text("\n".join(lines).splitlines(), "page"))  # type: ignore[arg-type]

    @property
    def keys(self) -> dict[str, Any]:
        """The example's keys of the bench."""
        lines = [block for block in self.code if block.split()[0] not in FIRST_WORDS]
        return tomllib.loads("\n".join(lines))


def page_of(rule: str, capsys: pytest.CaptureFixture[str]) -> Page:
    """Read the page that ``busbox explain RULE`` prints."""
    with pytest.raises(SystemExit) as ended:
        main(["explain", rule])
    assert ended.value.code == 0
    text = capsys.readouterr().out
    parts = re.split(rf"^  ({'|'.join(SECTIONS)})$", text, flags=re.MULTILINE)
    assert tuple(parts[1::2]) == SECTIONS, rule
    example, finding, advice = parts[2::2]
    code = re.findall(r"(?:^ {8}.*\n)+", example, re.MULTILINE)
    (name,) = re.findall(r"\(set mistakes, bench (\w+)\)", " ".join(example.split()))
    (bench,) = (file for file in benches_of("mistakes") or () if file.parent.name == name)
    flat = (" ".join(part.split()) for part in (example, finding, advice))
    return Page(text, *flat, bench, tuple(re.sub(r"^ {8}", "", one, flags=re.M) for one in code))


def found(rule: str, bench: Path, **how: Any) -> list[Finding]:
    """Run a bench; return the findings of a rule."""
    return [one for one in Bench.load(bench).run(**how).findings if one.rule == rule]


def lacking(part: Any, whole: Any) -> Iterator[object]:
    """Yield what of ``part`` is not in ``whole``: tables key by key, lists item by item."""
    if isinstance(part, dict) and isinstance(whole, dict):
        for key, value in part.items():
            yield from lacking(value, whole.get(key))
    elif isinstance(part, list) and isinstance(whole, list):
        yield from (item for item in part if item not in whole)
    elif part != whole:
        yield part


def test_explain_alone_lists_the_rules(capsys: pytest.CaptureFixture[str]) -> None:
    """Every rule is listed with the first sentence of its page."""
    with pytest.raises(SystemExit) as ended:
        main(["explain"])
    assert ended.value.code == 0
    entries = re.split(r"^  (?=\S)", capsys.readouterr().out.split("\n\n")[0], flags=re.MULTILINE)
    words = [entry.split() for entry in entries if entry]
    assert [entry[0] for entry in words] == list(RULES.built_in)
    for rule, *sentence in words:
        assert " ".join(sentence) == plain(first_paragraph(find(RULES, rule).__doc__))


def test_explain_tells_the_nearest_rule(capsys: pytest.CaptureFixture[str]) -> None:
    """A misspelt rule: exit code 2 and the nearest name."""
    with pytest.raises(SystemExit) as ended:
        main(["explain", "byte-loss"])
    assert ended.value.code == 2
    assert "there is no rule 'byte-loss'; did you mean 'byte-lost'?" in capsys.readouterr().err


@pytest.mark.parametrize("rule", list(RULES.built_in))
def test_each_page_has_its_parts_and_fits_a_screen(
    rule: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """Meaning, harm, example, finding, advice, in 32 lines of 80 columns, without marks of mark-up."""
    page = page_of(rule, capsys)
    lines = page.text.splitlines()
    assert lines[0].split("  (to learn it: busbox lesson ")[0] == rule
    assert "Why it matters:" in " ".join(page.text.split())
    assert page.code
    assert " try: " in page.finding
    assert page.advice.endswith(".")
    assert len(lines) <= 32
    assert max(map(len, lines)) <= 80
    assert "`" not in page.text


@pytest.mark.parametrize("rule", OF_TRAFFIC)
def test_each_example_stands_in_the_bench_that_it_names(
    rule: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """Its traffic is a run of steps of that bench, its keys are that bench's keys."""
    page = page_of(rule, capsys)
    keys = tomllib.loads(page.bench.read_text(encoding="utf-8"))
    assert list(lacking(page.keys, keys)) == []
    (finding,) = found(rule, page.bench)
    steps = list(read_traffic(page.bench.parent / keys["traffic"]["file"]))
    wanted = [replace(step, line=None) for step in page.steps]
    bare = [replace(step, line=None) for step in steps]
    (first,) = (place for place in range(len(bare)) if bare[place : place + len(wanted)] == wanted)
    of_page = [step.line for step in steps[first : first + len(wanted)]]
    assert finding.line in of_page or finding.access == -1


@pytest.mark.parametrize("rule", OF_PROGRAMS)
def test_each_example_of_a_program_stands_in_its_bench(
    rule: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """Its keys are that bench's keys, and the program there makes the mistake once."""
    page = page_of(rule, capsys)
    keys = tomllib.loads(page.bench.read_text(encoding="utf-8"))
    assert keys["traffic"]["file"].endswith(".elf")
    assert list(lacking(page.keys, keys)) == []
    assert len(found(rule, page.bench)) == 1


@pytest.mark.parametrize("rule", [*OF_TRAFFIC, *OF_PROGRAMS])
def test_each_page_shows_the_finding_of_its_bench(
    rule: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """Message and hint are, word for word, what the run says."""
    page = page_of(rule, capsys)
    (finding,) = found(rule, page.bench, engine="python")  # which can prove a hang
    assert page.finding == f"{finding.message} try: {finding.hint}"


@pytest.mark.parametrize("rule", OF_TRAFFIC)
def test_each_example_alone_makes_its_mistake(
    rule: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The lines of the page are enough: played alone on that bench, they are found once."""
    page = page_of(rule, capsys)
    lines = [block for block in page.code if block.split()[0] in FIRST_WORDS]
    file = tmp_path / "page.steps"
    file.write_text("\n".join(lines), encoding="utf-8")
    assert len(found(rule, page.bench, traffic=str(file))) == 1


@pytest.mark.parametrize("rule", OF_HARDWARE)
def test_the_example_in_hardware_is_that_of_its_bench(
    rule: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """The page's lines stand in the device of that bench, and the finding is the one of its run."""
    page = page_of(rule, capsys)
    (device,) = page.bench.parent.glob("*.py")
    for line in "\n".join(page.code).splitlines():
        assert line.strip() in device.read_text(encoding="utf-8")
    (finding,) = found(rule, page.bench)
    assert page.finding == f"{finding.message} try: {finding.hint}"
