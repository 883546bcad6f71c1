"""Traffic files of a sweep: each is parsed once, and again as soon as anything of it is different."""

from __future__ import annotations

import io
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

import pytest

import busbox
import busbox.bench.traffic
from busbox.bench import kept_traffic
from busbox.bench.bench import Bench
from busbox.bench.kept_traffic import KeptTraffic
from busbox.cpu.listed import ListedSource
from busbox.formats.contract import Format
from busbox.formats.files import format_of, read_pieces
from tests.variants.small import write_bench

pytestmark = pytest.mark.quick


@pytest.fixture
def parsed(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Return the names of the files that benches parse from now on."""
    names: list[str] = []

    def noted(path: Path, found: Format) -> Any:
        names.append(path.name)
        return read_pieces(path, found)

    monkeypatch.setattr(busbox.bench.traffic, "read_pieces", noted)
    return names


def test_a_sweep_parses_its_traffic_once(tmp_path: Path, parsed: list[str]) -> None:
    """Six variants parse as often as one; each row is that of a bench that parses the file itself."""
    bench = write_bench(tmp_path)
    numbers = []
    vary: dict[str, list[int]]
    for vary in (
        {"slot.levers.wait": [0], "slot.lamps.wait": [1]},
        {"slot.levers.wait": [0, 1, 2], "slot.lamps.wait": [1, 4]},
    ):
        parsed.clear()
        found = busbox.sweep(bench, vary, ["cycles", "accesses"], engine="python", jobs=1)
        numbers.append(len(parsed))
    assert numbers[0] == numbers[1]
    for row in found.rows:
        alone = bench.with_values({key: row[key] for key in vary}).run("python")
        assert (row["cycles"], row["accesses"]) == (alone.cycles, len(alone.accesses))


def test_a_sweep_of_traffic_files_plays_each(tmp_path: Path, parsed: list[str]) -> None:
    """Files that take turns are not parsed again, and each variant plays its own."""
    bench = write_bench(tmp_path)
    (tmp_path / "one.steps").write_text("read levers.IN\n", encoding="utf-8")
    (tmp_path / "two.steps").write_text("read levers.IN\nread levers.IN\n", encoding="utf-8")
    vary = {"slot.levers.wait": [0, 1], "traffic.file": ["one.steps", "two.steps"]}
    found = busbox.sweep(bench, vary, ["accesses"], engine="python", jobs=1)
    assert found.column("accesses").tolist() == [1, 2, 1, 2]
    assert parsed.count("two.steps") == 1


def asked(kept: KeptTraffic, path: Path, found: Format | None = None) -> ListedSource:
    """Return the source of a file."""
    found = found or format_of(path)
    return kept.source(path, found, partial(ListedSource, partial(read_pieces, path, found)))


def steps(path: Path, *registers: str) -> Path:
    """Write a file of reads."""
    path.write_text("".join(f"read levers.{one}\n" for one in registers), encoding="utf-8")
    return path


Change = Callable[[Path], tuple[Path, Format | None]]
CHANGES: dict[str, Change] = {
    "its content": lambda path: (steps(path, "OUT"), None),
    "its path": lambda path: (steps(path.with_name("other.steps"), "IN"), None),
    "its format": lambda path: (path, Format.of_lines("", lambda lines, name: iter(()))),
}


@pytest.mark.parametrize("what", CHANGES)
def test_a_file_is_parsed_again_if_anything_is_different(what: str, tmp_path: Path) -> None:
    """The same file gives the same steps; another content, path or format is parsed."""
    kept, path = KeptTraffic(), steps(tmp_path / "a.steps", "IN")
    first = asked(kept, path)
    assert asked(kept, path) is first
    changed, found = CHANGES[what](path)
    again = asked(kept, changed, found)
    assert again is not first
    expected = list(read_pieces(changed, found or format_of(changed)))
    assert list(again.pieces()) == expected


def test_a_file_that_changes_while_it_is_parsed_is_not_kept(tmp_path: Path) -> None:
    """What was read then may be of either content: it is parsed again."""
    kept, path = KeptTraffic(), steps(tmp_path / "a.steps", "IN")

    def parse() -> ListedSource:
        steps(path, "OUT")
        return ListedSource(partial(read_pieces, path))

    kept.source(path, format_of(path), parse)
    steps(path, "IN")
    (piece,) = asked(kept, path).pieces()
    assert str(piece.target) == "levers.IN"  # type: ignore[union-attr]


def test_a_format_of_ones_own_is_always_parsed(tmp_path: Path) -> None:
    """Such a format may read more than the bytes of its file."""
    own = Format("", lambda file, name: iter(()))
    assert own.read is not None
    assert not list(own.read(io.BytesIO(), ""))
    kept, path = KeptTraffic(), steps(tmp_path / "a.steps", "IN")
    assert asked(kept, path, own) is not asked(kept, path, own)


def test_few_files_are_kept(tmp_path: Path) -> None:
    """Of more files than are kept, those that were used last are."""
    kept = KeptTraffic()
    paths = [steps(tmp_path / f"{number}.steps", "IN") for number in range(kept_traffic.FILES + 1)]
    sources = [asked(kept, path) for path in paths]
    assert asked(kept, paths[-1]) is sources[-1]
    assert asked(kept, paths[0]) is not sources[0]


def test_a_mistake_is_told_of_every_variant(tmp_path: Path) -> None:
    """A register that a variant's traffic names in vain is a message of each row that plays it."""
    bench = write_bench(tmp_path)
    steps(tmp_path / "wrong.steps", "NOTHING")
    vary = {"slot.levers.wait": [0, 1], "traffic.file": ["evening.steps", "wrong.steps"]}
    found = busbox.sweep(Bench(bench.keys, folder=tmp_path), vary, ["cycles"], jobs=1)
    told = [row["message"] is not None for row in found.rows]
    assert told == [False, True] * 2
    assert len({row["message"] for row in found.rows}) == 2
