"""The command at its edges: streams that are closed or full, signals, devices, strangers."""

from __future__ import annotations

import os
import signal
import stat
import subprocess
import sys
import threading
import time
from dataclasses import replace
from pathlib import Path

import pytest

from busbox import InputError, judge, load_bench
from busbox.cli import main

BUSBOX = [sys.executable, "-m", "busbox"]
POSIX = pytest.mark.skipif(os.name != "posix", reason="devices and signals of POSIX")
BENCH = """clock = "1 MHz"
[slot.a]
model = "gpio"
base = 0
size = 4096
[traffic]
file = "t.steps"
"""


def ended(args: list[str]) -> int:
    """Return the exit code of a command, run in this process."""
    with pytest.raises(SystemExit) as end:
        main(args)
    assert isinstance(end.value.code, int)
    return end.value.code


def shell(command: str, folder: Path, **more: str) -> subprocess.CompletedProcess[str]:
    """Run a command line; ``$B`` is Busbox."""
    words = " ".join(BUSBOX)
    return subprocess.run(
        ["sh", "-c", command.replace("$B", words)], capture_output=True, text=True, cwd=folder,
        timeout=100, env=os.environ | more, encoding="utf-8",
    )  # fmt: skip


@POSIX
@pytest.mark.parametrize(
    ("command", "code", "said"),
    [
        (
            "$B baud '16 MHz' 9600 > /dev/full",
            2,
            "standard output: cannot be written: No space left",
        ),
        (
            "$B baud '16 MHz' 9600 --json > /dev/full",
            2,
            "standard output: cannot be written: No space",
        ),
        ("$B baud '16 MHz' 9600 >&-", 2, "standard output: cannot be written: Bad file descriptor"),
        ("$B baud '16 MHz' 9600 2>&-", 0, ""),
        ("$B baud '16 MHz' 9600 <&-", 0, ""),
        ("$B baud 'no clock' 9600 2>&-", 2, ""),
        ("$B baud 'no clock' 9600 2>/dev/full", 2, ""),
        ("$B baud '16 MHz' 9600 <&- >&- 2>&-", 2, ""),
        ("$B run first_light --vcd ''", 2, "--vcd: must name a file such as run.vcd, not ''"),
        ("$B run first_light --out ''", 2, "--out: must name a folder, not ''"),
        ("$B run t.toml --set \"clock='$(printf '\\033[31m')'\"", 2, "'\\x1b[31m'"),
    ],
)
def test_streams(command: str, code: int, said: str, tmp_path: Path) -> None:
    """A stream that is full or closed is an error with one sentence, or none if nobody reads it."""
    (tmp_path / "t.toml").write_text(BENCH, encoding="utf-8")
    (tmp_path / "t.steps").write_text("read 0\n", encoding="utf-8")
    done = shell(command, tmp_path)
    assert done.returncode == code
    assert said in done.stderr
    assert "Traceback" not in done.stderr + done.stdout
    assert len(done.stderr.splitlines()) <= 1
    assert "\x1b" not in done.stderr
    assert sorted(os.listdir(tmp_path)) == ["t.steps", "t.toml"]


@POSIX
@pytest.mark.parametrize(
    "verb",
    [
        ["run", "first_light", "--until", "9", "--brief", "--vcd"],
        ["run", "first_light", "--until", "9", "--write"],
        ["record", "first_light", "-o"], ["draw", "first_light", "map", "-o"],
        ["registers", "first_light", "-o"], ["report", "first_light", "-o"], ["guide", "--html"],
        ["convert", "t.steps"],
        ["sweep", "first_light", "--vary", "slot.lamps.wait=1", "--until", "9", "-o"],
    ],
    ids=" ".join,
)  # fmt: skip
def test_devices_and_links_stay(
    verb: list[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A FIFO that is named as output is still one afterwards, and a link still leads to its file."""
    suffix = {"draw": ".svg", "registers": ".h", "report": ".html"}.get(verb[0], ".csv")
    (tmp_path / "t.steps").write_text("read 0\n", encoding="utf-8")
    fifo, link = tmp_path / f"fifo{suffix}", tmp_path / f"link{suffix}"
    os.mkfifo(fifo)
    link.symlink_to(f"real{suffix}")
    reader = threading.Thread(target=fifo.read_bytes, daemon=True)
    reader.start()
    monkeypatch.chdir(tmp_path)
    for name in (fifo.name, link.name):
        last = f"json={name}" if verb[-1] == "--write" else name
        assert ended([*verb, last]) == 0
    reader.join(20)
    assert not reader.is_alive()
    assert stat.S_ISFIFO(fifo.stat().st_mode)
    assert link.is_symlink()
    assert (tmp_path / f"real{suffix}").stat().st_size
    left = {fifo.name, link.name, f"real{suffix}", "t.steps"}
    assert set(os.listdir(tmp_path)) == left


@pytest.mark.parametrize(
    "args",
    [
        ["run", ".", "--brief", "--vcd", "bench.toml"], ["run", ".", "--vcd", "t.steps"],
        ["run", ".", "--write", "json=t.steps"], ["run", ".", "--vcd", "gate.py"],
        ["run", ".", "--vcd", "link.toml"], ["record", ".", "-o", "t.steps"],
        ["convert", "t.steps", "t.steps"], ["convert", "t.steps", "t.steps", "--to", "csv"],
        ["report", "a.recording.npz", "-o", "a.html"],
    ],
    ids=" ".join,
)  # fmt: skip
def test_what_a_command_reads_it_does_not_write(
    args: list[str],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """An output that is an input would destroy it: it stays as it was, by whatever name it goes."""
    gate = "from busbox.models.gpio import Gpio\nclass Gate(Gpio):\n    pass\n"
    text = BENCH.replace('"gpio"', '"gate.py:Gate"')
    for name, contents in (("bench.toml", text), ("t.steps", "read 0\n"), ("gate.py", gate)):
        (tmp_path / name).write_text(contents, encoding="utf-8")
    (tmp_path / "link.toml").symlink_to("bench.toml")
    monkeypatch.chdir(tmp_path)
    load_bench(".").run("python").save("a.recording.npz")
    (tmp_path / "a.html").hardlink_to("a.recording.npz")
    before = {file.name: file.read_bytes() for file in tmp_path.iterdir()}
    assert ended(args) == 2
    said = capsys.readouterr().err
    assert said.endswith(": cannot be written: this command reads it; name another file\n")
    assert said.count("\n") == 1
    assert {file.name: file.read_bytes() for file in tmp_path.iterdir()} == before


LONG = "a" * 300


@pytest.mark.parametrize(
    "args",
    [
        ["run", LONG], ["run", "first_light", "--traffic", f"{LONG}.csv"], ["compare", LONG, LONG],
        ["run", "first_light", "--until", "9", "--vcd", f"{LONG}.vcd"], ["map", LONG],
        ["run", "first_light", "--until", "9", "--out", LONG], ["where", "first_light", f"{LONG}.h"],
        ["sweep", "first_light", "--vary", "slot.lamps.wait=1", "-o", f"{LONG}.csv"],
        ["new", "bench", LONG], ["convert", f"{LONG}.csv", "x.steps"],
        ["capture", f"{LONG}.csv", "--as", "level"], ["report", f"{LONG}.csv", "-o", "x.html"],
        ["state", f"{LONG}.recording.npz"], ["check", f"{LONG}.py:X"], ["export", LONG, LONG],
        ["explain", LONG], ["registers", "first_light", "-o", f"{LONG}.h"],
    ],
    ids=lambda args: args[0],
)  # fmt: skip
def test_a_name_that_no_file_can_have(
    args: list[str],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """It is refused with exit code 2, by every verb."""
    monkeypatch.chdir(tmp_path)
    assert ended(args) == 2
    assert capsys.readouterr().err.startswith("busbox: ")
    assert not [name for name in os.listdir(tmp_path) if name.endswith((".part", ".vcd", ".h"))]


@POSIX
@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGHUP, signal.SIGINT, signal.SIGKILL])
def test_no_half_file_is_left(number: signal.Signals, tmp_path: Path) -> None:
    """A signal in the middle of writing leaves nothing; after SIGKILL, the next run removes it."""
    code = (
        "import sys, time\n"
        "from busbox.basics.files import replacing\n"
        "from pathlib import Path\n"
        "import click\n"
        "@click.command()\n"
        "@click.argument('name')\n"
        "def slow(name):\n"
        "    with replacing(Path(name)) as file:\n"
        "        file.write(b'x'); file.flush()\n"
        "        print('writing', flush=True)\n"
        "        time.sleep(60)\n"
    )
    (tmp_path / "slow.py").write_text(code, encoding="utf-8")
    with subprocess.Popen(
        [*BUSBOX, "slow.py:slow", "out.csv"], cwd=tmp_path, stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    ) as process:  # fmt: skip
        assert process.stdout is not None
        assert process.stdout.readline() == b"writing\n"
        process.send_signal(number)
        _, err = process.communicate(timeout=60)
    assert b"Traceback" not in err
    if number == signal.SIGKILL:
        assert any(name.startswith(f".out.csv.{process.pid}.") for name in os.listdir(tmp_path))
        (tmp_path / f".out.csv.{os.getpid()}.part").write_bytes(b"of one that lives")
        (tmp_path / "t.steps").write_text("read 0\n", encoding="utf-8")
        assert shell("$B convert t.steps out.csv", tmp_path).returncode == 0
        assert sorted(os.listdir(tmp_path)) == [
            f".out.csv.{os.getpid()}.part", "out.csv", "slow.py", "t.steps"
        ]  # fmt: skip
    else:
        assert os.listdir(tmp_path) == ["slow.py"]


@POSIX
def test_ctrl_c_while_it_is_loaded(tmp_path: Path) -> None:
    """From the first import on, Ctrl-C ends it without a traceback."""
    for wait in (0.05, 0.1, 0.15, 0.2, 0.3):
        code = "import time, busbox.__main__ as m\nprint('here', flush=True)\nm.start()"
        with subprocess.Popen(
            [sys.executable, "-c", code, "run", "first_light", "--engine", "reference"],
            stdout=subprocess.PIPE, stderr=subprocess.PIPE, cwd=tmp_path,
        ) as process:  # fmt: skip
            assert process.stdout is not None
            process.stdout.readline()
            time.sleep(wait)
            process.send_signal(signal.SIGINT)
            _, err = process.communicate(timeout=60)
        assert process.returncode in (-signal.SIGINT, 130, 1, 0)
        assert b"Traceback" not in err


def test_memory_that_is_not_enough_is_one_sentence(tmp_path: Path) -> None:
    """A MemoryError ends with exit code 2."""
    verb = "import click\n@click.command()\ndef big():\n    raise MemoryError\n"
    (tmp_path / "big.py").write_text(verb, encoding="utf-8")
    done = shell("$B big.py:big", tmp_path)
    assert (done.returncode, "memory" in done.stderr.lower()) == (2, True)
    code = "import busbox.cli as c\ndef f(*a, **k): raise MemoryError\nc.cli.main = f\nc.main([])"
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, timeout=60, encoding="utf-8"
    )
    assert (done.returncode, done.stderr) == (2, "busbox: not enough memory\n")


@POSIX
@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() != 0, reason="needs another user")
def test_a_folder_that_cannot_be_read(tmp_path: Path) -> None:
    """For a user who may not read it, it is refused with one sentence."""
    code = (
        "import sys, os, contextlib, io\nfrom busbox.cli import main\n"
        "with contextlib.suppress(SystemExit), contextlib.redirect_stdout(io.StringIO()):\n"
        "    main([sys.argv[1], 'first_light'])  # all that is needed later is loaded\n"
        "os.setgid(65534); os.setuid(65534)\nmain(sys.argv[1:])"
    )
    hidden = tmp_path / "hidden"
    hidden.mkdir(mode=0o700)
    (hidden / "bench.toml").write_text(BENCH, encoding="utf-8")
    for args in (["run", str(hidden)], ["map", str(hidden)], ["run", f"{hidden}/bench.toml"]):
        done = subprocess.run(
            [sys.executable, "-c", code, *args], capture_output=True, text=True, timeout=60,
            encoding="utf-8", cwd="/",
        )  # fmt: skip
        assert done.returncode == 2, done.stderr
        assert "Traceback" not in done.stderr


STRANGER = """clock = "1 MHz"
[slot.a]
model = "m.py:M"
base = 0
size = 4096
[traffic]
file = "t.steps"
"""


@pytest.mark.parametrize(
    ("text", "name"),
    [
        (STRANGER, "m.py:M"),
        (BENCH.replace("t.steps", "m.py:drive"), "m.py:drive"),
        (BENCH.replace("t.steps", "m.so:drive"), "m.so"),
        (BENCH + 'format = "m.py:F"\n', "m.py:F"),
        ('rules = ["m.py:rule"]\n' + BENCH, "m.py:rule"),
        (BENCH + '[attach.x]\nkind = "m.py:K"\npin = "a.out.0"\n', "m.py:K"),
    ],
)
def test_no_plugins(
    text: str,
    name: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Code beside a bench is named and not run, wherever the option stands."""
    (tmp_path / "bench.toml").write_text(text, encoding="utf-8")
    (tmp_path / "t.steps").write_text("read 0\n", encoding="utf-8")
    code = "from pathlib import Path\nPath('ran').touch()\n"
    (tmp_path / "m.py").write_text(code, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    for args in (["run", ".", "--no-plugins"], ["--no-plugins", "run", "."]):
        assert ended(args) == 2
        assert f"{name!r} is code, and --no-plugins refuses" in capsys.readouterr().err
    assert not (tmp_path / "ran").exists()
    assert "BUSBOX_NO_PLUGINS" not in os.environ


def test_a_recording_of_a_stranger(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The code that a recording carries is refused as well; its facts are shown."""
    text = BENCH + '[attach.x]\nkind = "m.py:K"\npin = "a.out.0"\n'
    (tmp_path / "bench.toml").write_text(text, encoding="utf-8")
    (tmp_path / "t.steps").write_text("read 0\n", encoding="utf-8")
    code = (
        "from pathlib import Path\nfrom busbox.board.attachment import Decoder, LineReport\n"
        "Path('ran').touch()\nclass K(Decoder):\n    'x.'\n    def decode(self, wave):\n"
        "        return LineReport(rows=[], facts={}, findings=[])\n"
    )
    (tmp_path / "m.py").write_text(code, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    assert ended(["run", ".", "--out", "."]) == 0
    (tmp_path / "ran").unlink()
    (recording,) = (file.name for file in tmp_path.glob("*.recording.npz"))
    assert ended(["run", recording, "--no-plugins"]) == 0
    assert ended(["why", recording, "access.0", "--no-plugins"]) == 2
    assert "is code, and --no-plugins refuses" in capsys.readouterr().err
    assert not (tmp_path / "ran").exists()


@pytest.mark.parametrize("name", ["../t.steps", "{root}/t.steps", "link.steps"])
def test_files_stay_inside(
    name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """A file outside is refused, by link too, unless it is allowed or the user names it."""
    folder = tmp_path / "bench"
    folder.mkdir()
    (tmp_path / "t.steps").write_text("read 0\n", encoding="utf-8")
    if name.startswith("link"):
        (folder / name).symlink_to("../t.steps")
    named = name.format(root=tmp_path)
    (folder / "bench.toml").write_text(BENCH.replace("t.steps", named), encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    assert ended(["run", "bench"]) == 2
    said = "busbox: bench/bench.toml:7: traffic.file: must be inside the bench's folder, not "
    found = capsys.readouterr().err
    assert found.startswith(said)
    assert found.endswith("; --allow-outside permits it\n")
    for allowed in (
        ["run", "bench", "--allow-outside"], ["--allow-outside", "run", "bench"],
        ["run", "bench", "--set", "traffic.file=../t.steps"],
        ["run", "bench", "--traffic", "t.steps", "--allow-outside"],
    ):  # fmt: skip
        assert ended(allowed) == 0
    assert ended(["run", "bench"]) == 2
    monkeypatch.setenv("BUSBOX_ALLOW_OUTSIDE", "1")
    assert ended(["run", "bench"]) == 0
    monkeypatch.delenv("BUSBOX_ALLOW_OUTSIDE")
    assert load_bench("bench", outside=True).run().ended == "done"


def test_a_recording_cannot_lead_outside(tmp_path: Path) -> None:
    """A bench that a recording carries may name only what it carries."""
    (tmp_path / "t.steps").write_text("read 0\n", encoding="utf-8")
    bench = tmp_path / "bench.toml"
    bench.write_text(BENCH, encoding="utf-8")
    recording = load_bench(bench).run()
    assert recording.carried is not None
    tables = {**recording.carried.tables, "traffic": {"file": str(tmp_path / "t.steps")}}
    stray = replace(recording, carried=replace(recording.carried, tables=tables))
    with pytest.raises(InputError, match=r"must be inside the bench's folder"):
        judge(stray)
