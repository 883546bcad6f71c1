"""Runs cases in a worker, and says what they broke."""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import sys
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from types import TracebackType
from typing import Any

from busbox.verilog.front_end import prepare
from tests.cli.saying import plain_environment

#: What a case may use: bytes beyond those of an idle worker, and seconds of processor time.
MEMORY, SECONDS = 1 << 30, 10
#: Seconds on the clock: others may use the same cores.
PATIENCE = 90
#: Characters of a line of a message, and lines.
LONGEST, MOST = 4200, 210
#: What checks of lessons write: an answer that is not readable is noted too.
NOTES = "lesson_progress.txt"
_ODD = re.compile("[\0-\x09\x0b-\x1f\x7f-\x9f\u2028-\u202e\u2066-\u2069]")


@dataclass(frozen=True)
class Case:
    """A command in a folder.

    Attributes
    ----------
    args : of the command
    files : name to contents, beside each other
    makes : what the names begin with of files that the command may make or change
    why : why the case is kept
    memory : bytes that it may use beyond those of an idle worker
    """

    args: tuple[str, ...]
    files: Mapping[str, bytes] = field(default_factory=dict)
    makes: tuple[str, ...] = ()
    why: str = ""
    memory: int = MEMORY

    def as_json(self) -> str:
        """Return the text of a file of a case: contents as parts of Latin-1, each with a count."""
        files = {name: [[data.decode("latin-1"), 1]] for name, data in self.files.items()}
        kept = {"why": self.why, "args": self.args, "files": files, "makes": self.makes}
        kept |= {"memory": self.memory} if self.memory != MEMORY else {}
        return json.dumps(kept, indent=1) + "\n"

    @classmethod
    def of_json(cls, text: str) -> Case:
        """Return the case in such a file."""
        kept = json.loads(text)
        files = {
            name: b"".join(part.encode("latin-1") * times for part, times in parts)
            for name, parts in kept["files"].items()
        }
        return cls(tuple(kept["args"]), files, tuple(kept["makes"]), kept["why"],
                   kept.get("memory", MEMORY))  # fmt: skip


class Runner:
    """A worker with its folder; use it in a ``with`` statement."""

    def __init__(self, folder: Path) -> None:
        self._root = folder
        self._temporary = folder / "temporary"
        self._worker: subprocess.Popen[str] | None = None

    def __enter__(self) -> Runner:
        self._temporary.mkdir(exist_ok=True)
        self._start()
        return self

    def _start(self) -> None:
        prepare()  # a case has no time for it
        own = Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache")
        environment = {"YOWASP_CACHE_DIR": str(own / "YoWASP")} | plain_environment() | {
            "TMPDIR": str(self._temporary), "HOME": str(self._root), "COLUMNS": "100",
            "XDG_CACHE_HOME": str(self._root / "cache"), "OPENBLAS_NUM_THREADS": "1",
            "PIP_NO_INDEX": "1",  # no case asks a package index
        }  # fmt: skip
        self._worker = subprocess.Popen(
            [sys.executable, "-m", "tests.fuzz.worker"], stdin=subprocess.PIPE,
            stdout=subprocess.PIPE, encoding="utf-8", env=environment,
            cwd=Path(__file__).parent.parent.parent,
        )  # fmt: skip
        assert self._worker.stdout is not None
        assert self._worker.stdout.readline() == "ready\n"

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        worker = self._worker
        if worker is not None:
            assert worker.stdin is not None
            assert worker.stdout is not None
            worker.stdin.close()
            worker.stdout.close()
            worker.kill()
            worker.wait()

    def broken(self, case: Case) -> str | None:
        """Run a case; return what it broke, or None."""
        place = self._root / "place"
        shutil.rmtree(place, ignore_errors=True)
        folder = place / "in"
        folder.mkdir(parents=True)
        for name, contents in case.files.items():
            (folder / name).write_bytes(contents)
        said = self._ask({
            "args": case.args, "folder": str(folder), "out": str(place / "out"),
            "err": str(place / "err"), "memory": case.memory, "seconds": SECONDS, "patience": PATIENCE,
        })  # fmt: skip
        out = (place / "out").read_bytes() if (place / "out").exists() else b""
        err = (place / "err").read_bytes() if (place / "err").exists() else b""
        return self._judged(case, place, said, out.decode("utf-8", "replace"),
                            err.decode("utf-8", "replace"))  # fmt: skip

    def _ask(self, request: Mapping[str, Any]) -> dict[str, Any]:
        assert self._worker is not None
        assert self._worker.stdin is not None
        assert self._worker.stdout is not None
        self._worker.stdin.write(json.dumps(request) + "\n")
        self._worker.stdin.flush()
        answer: dict[str, Any] = json.loads(self._worker.stdout.readline())
        return answer

    def _judged(
        self, case: Case, place: Path, said: Mapping[str, Any], out: str, err: str
    ) -> str | None:
        if said["signal"]:
            return f"ended by signal {said['signal']} after {said['seconds']:.0f} s"
        for name, text in (("output", out), ("error output", err)):
            if "Traceback (most recent" in text:
                last = text.strip().splitlines()[-1][:200]
                inner = re.findall(r'File ".*?(busbox/.*?|models/.*?)", line (\d+)', text)
                return f"traceback: {last} at {inner[-1] if inner else '?'}"
            if _ODD.search(text) and not {"-", "--raw"} & set(case.args):
                return f"control characters in {name}"
        if said["ended"] not in (0, 1, 2):
            return f"exit code {said['ended']}"
        lines = err.splitlines()
        if said["ended"] == 2:
            if not lines or any(not line.startswith("busbox: ") for line in lines):
                return f"no message, or one of another form: {err[:200]!r}"
            if len(lines) > MOST or max(map(len, lines)) > LONGEST:
                return "a message without end"
        if "not enough memory" in err or "MemoryError" in err:
            return "uses more than its memory"
        left = self._left(case, place, said["ended"])
        if left:
            return f"left or changed {left}"
        return None

    def _left(self, case: Case, place: Path, ended: int) -> list[str]:
        """Return what is there that was not, or is another, and was not asked for."""
        folder = place / "in"
        wrong = [name for name in os.listdir(place) if name not in ("in", "out", "err")]
        for name in os.listdir(folder):
            written = " ".join(case.args)  # a drawn command may name another file to write
            asked = ended != 2 and (
                (name in written and name not in case.files)
                or any(name.startswith(one) for one in case.makes)
            )
            same = name in case.files and (folder / name).read_bytes() == case.files[name]
            if name.endswith(".part") or not (asked or same or name == NOTES):
                wrong.append(name)
        wrong += [
            name
            for name in case.files
            if not os.path.lexists(folder / name)
            and (ended == 2 or not name.startswith(case.makes))
        ]
        for name in os.listdir(self._temporary):
            wrong.append(f"temporary {name}")
            left = self._temporary / name
            shutil.rmtree(left) if left.is_dir() else left.unlink()
        return wrong
