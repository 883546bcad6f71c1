"""The bench inside a recording: files where they are named from, Python by its name, nothing stray."""

from __future__ import annotations

import shutil
import sys
import tempfile
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import busbox
import busbox.bench.carrying
from busbox import Bench, InputError, Recording, load_bench
from busbox.basics.units import Span
from busbox.bench.find import packaged_benches
from busbox.bench.opening import opened
from busbox.board.attachment import Decoder, LineReport
from busbox.cpu import Bus, Moment
from busbox.cpu.steps import AccessStep, Named
from busbox.device import RegisterModel, Setting
from busbox.explain.why import Stories
from busbox.lines.wave import Wave
from busbox.map.registers import Register, RegisterTable
from tests.recording.test_judging import unjudged
from tests.recording.test_recording import same

#: What a listed source does not look at.
MOMENT = Moment(0, None, lambda pin: None)

BELL = """\
from busbox.bus.hardware import Hardware
from busbox.device import Declaration, Pin, Register, RegisterModel, RegisterTable


class Registers(Declaration):
    table = RegisterTable(Register("STRIKE", 0x00, "rw", "Rings."))
    pins = (Pin("hammer"),)


class Bell(Registers, RegisterModel):
    twin = "{twin}:Gong"
"""
GONG = """\
from busbox.bus.hardware import Hardware
from busbox.device import Declaration, Pin, Register, RegisterTable


class Gong(Hardware):
    table = RegisterTable(Register("STRIKE", 0x00, "rw", "Rings."))
    pins = (Pin("hammer"),)

    def build(self, m, registers):
        m.d.comb += [self.pin_hammer.eq(0), self.at_rest.eq(1)]
"""
EAR = """\
from busbox.board.attachment import LineReport, Decoder


class Ear(Decoder):
    def decode(self, wave):
        return LineReport(rows=[("edges", str(len(wave.times)))])
"""


class Drum(RegisterModel):
    """A model that can be imported by its name."""

    table = RegisterTable(Register("STRIKE", 0x00, "rw", "Rings."))


class AnySetting(Setting):
    """A setting that takes whatever it is given."""

    def problem(self, value: object) -> str | None:
        """Return None."""
        return None


class Tuned(Drum):
    """A model with a setting of a kind of its own."""

    settings = (AnySetting("pitch", text="Of the drum."),)


class Ear(Decoder):
    """An attachment that can be imported by its name."""

    def decode(self, wave: Wave) -> LineReport:
        """Return how many edges there are."""
        return LineReport(facts={"edges": len(wave.times)})


def strike(bus: Bus) -> None:
    """Strike once."""
    bus.write("bell.STRIKE", 1)
    bus.write(0x6000_0000, 1)


def keys(model: object, **other: object) -> dict[str, Any]:
    """Return the keys of a bench of one bell."""
    slot = {"model": model, "base": 0x1000, "size": 8, **other}
    return {"clock": "1 MHz", "slot": {"bell": slot}, "traffic": strike}


def again(recording: Recording, tmp_path: Path) -> Recording:
    """Return a recording after the file, judged by the bench that it carries."""
    recording.save(tmp_path / "again.recording.npz")
    return busbox.judge(unjudged(Recording.load(tmp_path / "again.recording.npz")))


def test_files_keep_their_places_to_one_another(tmp_path: Path) -> None:
    """Of a bench that names a file above its folder, both are carried where they stand."""
    recording = load_bench("bit_banging/interrupted").run("python")
    carried = recording.carried
    assert carried is not None
    assert carried.folder == "0/interrupted"
    assert list(carried.files) == ["0/alone/by_hand.steps"]
    assert carried.tables["traffic"] == {"file": "../alone/by_hand.steps"}
    source = packaged_benches()["first_light"].parent.parent / "bit_banging/alone/by_hand.steps"
    assert carried.files["0/alone/by_hand.steps"] == source.read_bytes()


def test_nothing_of_the_machine_is_in_the_file(tmp_path: Path) -> None:
    """The folder where a bench was run is not to be found in its recording."""
    folder = tmp_path / "platform_nine" / "cabin"
    shutil.copytree(packaged_benches()["signal_cabin_recorded"].parent, folder)
    load_bench(folder).with_values(["traffic.file='signal_cabin.csv.gz'"]).run(
        "python", "1 ms"
    ).save(tmp_path / "cabin.recording.npz")
    with np.load(tmp_path / "cabin.recording.npz") as stored:
        names, text = list(stored), bytes(stored["facts"]).decode("utf-8")
    assert "signal_cabin.csv.gz" in text
    for told in (text, *names):
        assert "platform_nine" not in told
        assert tmp_path.name not in told


def test_the_source_of_firmware_is_carried_for_the_instructions_recorded(tmp_path: Path) -> None:
    """Why tells the line of source with its text, where there is neither ELF file nor source."""
    folder = tmp_path / "cabin"
    shutil.copytree(packaged_benches()["signal_cabin_recorded"].parent, folder)
    load_bench(folder).run("python", "1 ms").save(tmp_path / "cabin.recording.npz")
    shutil.rmtree(folder)
    loaded = Recording.load(tmp_path / "cabin.recording.npz")
    assert loaded.carried is not None
    assert sorted(loaded.carried.files) == [
        "0/signal_cabin.c", "0/signal_cabin.csv.gz", "0/signal_cabin.elf",
    ]  # fmt: skip
    with opened(loaded) as system:
        story = Stories(system, loaded).tell("access.0")
    assert story.parts[0].facts["file"] == "signal_cabin.c"
    assert story.parts[0].facts["source"]


def test_source_files_in_other_folders_are_found_again(tmp_path: Path) -> None:
    """A firmware above the bench: its source is carried beside it, and the bench finds both."""
    shutil.copytree(packaged_benches()["signal_cabin_recorded"].parent, tmp_path / "cabin")
    (tmp_path / "built").mkdir()
    for name in ("signal_cabin.elf", "signal_cabin.c"):
        shutil.move(tmp_path / "cabin" / name, tmp_path / "built" / name)
    for named in ("../built/signal_cabin.elf", str(tmp_path / "built" / "signal_cabin.elf")):
        bench = load_bench(tmp_path / "cabin").with_values([f"firmware='{named}'"])
        recording = bench.run("python", "1 ms")
        told = Stories(bench.system(), recording).tell("access.0")
        with opened(recording) as system:
            assert Stories(system, recording).tell("access.0") == told
            assert str(tmp_path) not in system.firmware
        assert "source" in told.parts[0].facts


@pytest.mark.parametrize("absolute", [False, True])
@pytest.mark.parametrize("twin", ["bell.py", "gong.py", "../gong.py"])
@pytest.mark.parametrize("built", ["model", "hardware"])
def test_models_and_twins_of_files_are_carried(
    absolute: bool, twin: str, built: str, tmp_path: Path
) -> None:
    """A twin stands where the model names it, in its file, beside it or above; under its own name."""
    folder = tmp_path / "sounds" / "loud"
    folder.mkdir(parents=True)
    (folder / "bell.py").write_text(BELL.format(twin=twin) + "\n\n" + GONG, encoding="utf-8")
    (folder / twin).write_text((folder / "bell.py").read_text(encoding="utf-8"), encoding="utf-8")
    (folder / "ear.py").write_text(EAR, encoding="utf-8")
    start = f"{folder}/" if absolute else "loud/"
    tables = keys(f"{start}bell.py:Bell", **{"as": built})
    tables["attach"] = {"ear": {"kind": f"{start}ear.py:Ear", "pin": "bell.hammer"}}
    recording = Bench(tables, folder=tmp_path / "sounds").run("python")
    assert recording.carried is not None
    assert recording.carried.lacks == ""
    shutil.rmtree(folder)
    same(again(recording, tmp_path), recording)
    assert recording.seen["ear"].kind == f"{start}ear.py:Ear"
    assert recording.counts == {"unmapped-access": {"0x60000000": 1}}


def test_memory_images_and_captures_are_carried(tmp_path: Path) -> None:
    """Files that settings and inputs name are found again; a replay reads them."""
    (tmp_path / "page.bin").write_bytes(bytes(range(16)))
    (tmp_path / "line.csv").write_text("time_us,lever\n0,0\n5,1\n9,0\n", encoding="utf-8")
    (tmp_path / "noon.steps").write_text("pause 12\nread page.WORD.1\n", encoding="utf-8")
    bench = Bench(
        {
            "clock": "1 MHz",
            "slot": {
                "page": {"model": "memory", "base": 0, "size": 16, "file": "page.bin"},
                "levers": {"model": "gpio", "base": 0x1000, "size": 64},
            },
            "input": [{"at": 0, "pin": "levers.in.0", "capture": "line.csv"}],
            "traffic": "noon.steps",
        },
        folder=tmp_path,
    )
    recording = bench.run("python")
    for name in ("page.bin", "line.csv", "noon.steps"):
        (tmp_path / name).unlink()
    same(again(recording, tmp_path), recording)
    from busbox.engines import engine_class
    from busbox.run.loop import replay

    with opened(recording, to_replay=True) as system:
        replayed = replay(system, engine_class("python"))
    assert replayed.accesses.data.tolist() == [0x07060504]
    assert replayed.edges("levers.in.0")[0].tolist() == [0, 5, 9]


def test_traffic_that_was_given_is_carried(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A file, or a function of one, that is named from where the run was started."""
    from busbox.engines import engine_class
    from busbox.run.loop import replay

    (tmp_path / "here").mkdir()
    monkeypatch.chdir(tmp_path / "here")
    Path("noon.steps").write_text("write 0x6000000c 1\n", encoding="utf-8")
    Path("noon.py").write_text("def noon(bus):\n    bus.write(0x6000000c, 1)\n", encoding="utf-8")
    for given in ("noon.steps", Path("noon.steps"), "noon.py:noon"):
        recording = load_bench("first_light").run("python", traffic=given)
        assert recording.carried is not None
        assert len(recording.carried.files) == 1
        monkeypatch.chdir(tmp_path)
        with opened(recording, to_replay=True) as system:
            replayed = replay(system, engine_class("python"))
        assert replayed.accesses.address.tolist() == [0x6000_000C]
        assert replayed.traffic == recording.traffic == str(given).partition(":")[0]
        monkeypatch.chdir(tmp_path / "here")


def test_a_source_in_a_file_is_carried_with_the_files_of_its_settings(tmp_path: Path) -> None:
    """The class is found again, and so is what its setting names, where the bench is gone."""
    home = tmp_path / "home"
    home.mkdir()
    (home / "peal.py").write_text(
        "from pathlib import Path\n"
        "from busbox.cpu import ListedSource\n"
        "from busbox.cpu.source_kind import SourceKind\n"
        "from busbox.cpu.steps import AccessStep\n"
        "from busbox.device import Setting\n\n\n"
        "class Peal(SourceKind, ListedSource):\n"
        "    settings = (Setting('notes', kind='path', text='Words to write.'),)\n\n"
        "    def __init__(self, notes):\n"
        "        words = Path(notes).read_text(encoding='utf-8').split()\n"
        "        super().__init__(lambda: [AccessStep(True, 0, int(word)) for word in words])\n",
        encoding="utf-8",
    )
    (home / "notes.txt").write_text("3 1 2", encoding="utf-8")
    keys = {
        "clock": "1 MHz",
        "slot": {"levers": {"model": "gpio", "base": 0, "size": 0x40}},
        "traffic": {"source": "peal.py:Peal", "notes": "notes.txt"},
    }
    recording = Bench(keys, folder=home).run("python")
    recording.save(tmp_path / "day.recording.npz")
    shutil.rmtree(home)
    with opened(Recording.load(tmp_path / "day.recording.npz"), to_replay=True) as system:
        steps = system.new_source()
        assert [step.data for step in iter(lambda: steps.next(MOMENT), None)] == [3, 1, 2]


def test_python_that_can_be_imported_is_carried_by_its_name(tmp_path: Path) -> None:
    """A model, an attachment and a function of a module: their names stand in the file."""
    tables = keys(Drum)
    tables["slot"]["levers"] = {"model": "gpio", "base": 0x2000, "size": 64}
    tables["attach"] = {"ear": {"kind": Ear, "pin": "levers.out.0"}}
    recording = Bench(tables).run("python")
    carried = recording.carried
    assert carried is not None
    assert carried.objects == {
        "slot.bell.model": f"{__name__}:Drum",
        "attach.ear.kind": f"{__name__}:Ear",
        "traffic": f"{__name__}:strike",
    }
    same(again(recording, tmp_path), recording)


def test_a_name_that_cannot_be_imported_here_is_told(tmp_path: Path) -> None:
    """Where the module is not installed, the key and its name are told."""
    recording = Bench(keys(Drum)).run("python")
    assert recording.carried is not None
    elsewhere = replace(recording.carried, objects={"slot.bell.model": "no.such:Drum"})
    with pytest.raises(InputError) as told:
        busbox.judge(replace(recording, carried=elsewhere))
    assert str(told.value) == (
        "slot.bell.model: 'no.such:Drum', which the recording names, cannot be imported: "
        "ModuleNotFoundError: No module named 'no'"
    )


def test_a_class_without_a_name_to_import_is_told_when_it_is_needed(tmp_path: Path) -> None:
    """The run and its file are as ever; to judge the recording alone is refused, in one sentence."""

    class Bell(Drum):
        pass

    bench = Bench(keys(Bell), name="noon")
    recording = bench.run("python")
    recording.save(tmp_path / "noon.recording.npz")
    loaded = Recording.load(tmp_path / "noon.recording.npz")
    with pytest.raises(InputError) as told:
        busbox.judge(loaded)
    assert str(told.value) == (
        "noon: the recording does not carry its bench: slot.bell.model is the Python class "
        f"{Bell.__qualname__}, which cannot be imported by its name"
    )
    same(busbox.judge(unjudged(loaded), bench.system()), recording)


@pytest.mark.parametrize(
    "traffic", [[AccessStep(True, Named("bell", "STRIKE"), 1)], lambda bus: None]
)
def test_traffic_without_a_name_is_missed_by_a_replay_only(traffic: object, tmp_path: Path) -> None:
    """Steps and nameless functions are not carried: judging needs none, a replay is refused."""
    recording = Bench(keys(Drum) | {"traffic": traffic}, name="noon").run("python")
    same(again(recording, tmp_path), recording)
    with pytest.raises(InputError) as told, opened(recording, to_replay=True):
        pass
    assert str(told.value) == (
        "noon: the recording cannot be replayed: its traffic came from Python, and only files and "
        "functions that can be imported by their names are carried"
    )


def test_files_that_are_too_large_are_not_carried(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """How much there is, and how much a recording carries at most, are told."""
    monkeypatch.setattr(busbox.bench.carrying, "MOST_BYTES", 1000)
    recording = load_bench("first_light").run("python", 100)
    assert recording.carried is not None
    assert recording.carried.files == {}
    size = packaged_benches()["first_light"].with_name("first_light.steps").stat().st_size
    assert recording.carried.lacks == (
        f"it names files of {size:,} bytes in all; a recording carries 1,000 at most"
    )


def test_nothing_is_left_behind(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Unpacked files and the modules made of them are gone afterwards, also after an error."""
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    recording = load_bench("word_lamps").run("python", "1 us")
    before = set(sys.modules)
    with opened(recording) as system:
        assert any(tmp_path.iterdir())
        assert any("busbox_file" in name for name in set(sys.modules) - before)
        assert system.devices
    assert not list(tmp_path.iterdir())
    assert set(sys.modules) == before
    with pytest.raises(RuntimeError), opened(recording):
        raise RuntimeError
    assert not list(tmp_path.iterdir())


def test_a_recording_without_a_bench_says_so() -> None:
    """One that the loop gave, which nobody put a bench into."""
    from busbox.engines import engine_class
    from busbox.run.loop import replay

    bench = load_bench("first_light")
    facts = replay(bench.system(), engine_class("python"), 100)
    assert facts.findings == ()
    with pytest.raises(InputError, match="does not carry its bench: none was put into it"):
        busbox.judge(facts)
    same(unjudged(busbox.judge(facts, bench.system())), facts)


def test_what_no_file_can_hold_is_told(tmp_path: Path) -> None:
    """A value that is none of JSON, and a file's name that not every system takes."""
    recording = Bench(keys(Tuned, pitch=Span(cycles=50))).run("python")
    assert recording.carried is not None
    assert recording.carried.lacks == (
        "it holds what no file can hold (Object of type Span is not JSON serializable)"
    )
    (tmp_path / "noon:1.steps").write_text("write 0x60000000 1\n", encoding="utf-8")
    recording = Bench(keys(Drum) | {"traffic": "noon:1.steps"}, folder=tmp_path).run("python")
    assert recording.carried is not None
    assert recording.carried.lacks == (
        "it names a file that not every system can hold, '0/noon:1.steps'"
    )
