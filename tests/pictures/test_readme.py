"""The pictures of README.md."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from tests.pictures.draw_readme import PICTURES, draw
from tests.pictures.geometry import check_geometry, parsed

ROOT = Path(__file__).resolve().parents[2]
FOLDER = Path(__file__).parent / "readme"
#: What README.md says beside a picture, and the file.
SHOWN = re.compile(r"!\[([^\]]+)\]\(tests/pictures/readme/([a-z]+)\.svg\)")


@pytest.mark.parametrize("name", PICTURES)
def test_the_pictures_are_those_of_the_script(name: str, tmp_path: Path) -> None:
    """Drawn again from its run, a picture has the same bytes as the file that README.md shows."""
    again = draw(name, tmp_path).read_bytes()
    assert again == (FOLDER / f"{name}.svg").read_bytes(), (
        "run python -m tests.pictures.draw_readme"
    )
    check_geometry(again.decode("utf-8"))


def test_readme_shows_all_and_says_how_they_are_drawn() -> None:
    """Each picture is there once, with words for those who do not see it and the call that draws it."""
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    shown = {name: said for said, name in SHOWN.findall(text)}
    assert shown.keys() == PICTURES.keys() == {one.stem for one in FOLDER.glob("*.svg")}
    calls = " ".join(text.split())
    for name, words in PICTURES.items():
        assert f"busbox draw {words}" in calls
        assert len(shown[name].split()) > 8


def test_numbers_beside_a_picture_are_those_in_it() -> None:
    """What README.md says of the pulse is what the picture's description says."""
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    said = next(one for one, name in SHOWN.findall(text) if name == "pulse")
    root = parsed((FOLDER / "pulse.svg").read_text(encoding="utf-8"))
    description = root.findtext("{http://www.w3.org/2000/svg}desc") or ""
    numbers = re.findall(r"[0-9.]+ ns", said)
    assert numbers == re.findall(r"[0-9.]+ ns", description)
