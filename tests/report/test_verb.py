"""``busbox report``."""

from __future__ import annotations

from pathlib import Path

import pytest

from busbox import Bench
from busbox.cli import main
from tests.report.unpacked import unpacked

pytestmark = pytest.mark.quick


def _says(capsys: pytest.CaptureFixture[str], *given: str) -> tuple[int, str, str]:
    with pytest.raises(SystemExit) as ended:
        main(["report", *given])
    seen = capsys.readouterr()
    return int(ended.value.code or 0), seen.out, seen.err


def _data(file: Path) -> str:
    text = file.read_text(encoding="utf-8")
    return text.split('<script type="text/plain" id="data">')[1].split("</script>")[0]


def test_a_recording_gives_the_page_of_its_run(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    """A saved recording is shown without a new run: the page is the same, byte for byte."""
    recording = Bench.load("interrupted").run("python")
    saved = tmp_path / "a.recording.npz"
    recording.save(saved)
    pages = [tmp_path / "one.html", tmp_path / "other.html"]
    edges = sum(len(line.cycles) - 1 for line in recording.lines.values())
    expected = f"{len(recording.accesses)} accesses, {edges} edges\n"
    for page in pages:
        assert _says(capsys, str(saved), "-o", str(page)) == (0, f"{page}: {expected}", "")
    assert pages[0].read_bytes() == pages[1].read_bytes()
    facts, _ = unpacked(_data(pages[0]))
    assert (facts["bench"], facts["cycles"]) == ("interrupted", recording.cycles)
    assert Bench.load("interrupted").folder.as_posix() not in pages[0].read_text(encoding="utf-8")


def test_the_page_names_no_place_in_the_network(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    """No link, style, picture or script comes from elsewhere."""
    page = tmp_path / "run.html"
    assert _says(capsys, "first_light", "-o", str(page))[0] == 0
    text = page.read_text(encoding="utf-8").replace("http://www.w3.org/2000/svg", "")
    assert "://" not in text
    assert "src=" not in text


@pytest.mark.parametrize(
    ("given", "says"),
    [
        (("first_lite", "-o", "{}/a.html"), "there is no bench 'first_lite'; did you mean"),
        (("first_light", "-o", "{}"), "-o: must be a file, not the folder"),
        (("first_light", "-o", "{}/none/a.html"), "-o: there is no folder"),
        (("{}/none.csv", "-o", "{}/a.html"), "cannot be read: No such file or directory"),
        (
            ("{}/none.csv", "--set", "clock=1", "-o", "{}/a.html"),
            "--set: needs a new run and cannot",
        ),
        (("first_light", "-o", "{}/a.txt"), "-o: must end in .html, as it is a page for a browser"),
        (("first_light", "-o", "{}/a"), "-o: must end in .html"),
        (("first_light",), "-o: must be given: where the page goes, such as run.html"),
    ],
)
def test_what_is_wrong_is_one_message(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, given: tuple[str, ...], says: str
) -> None:
    """Exit code 2, what is wrong, and no file."""
    code, out, err = _says(capsys, *(one.format(tmp_path) for one in given))
    assert (code, out) == (2, "")
    assert says.lower() in err.lower()
    assert list(tmp_path.iterdir()) == []
