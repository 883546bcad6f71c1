"""Runs cases of the walk, each in a child of its own: ``python -m tests.faults.walk FOLDER CASES``.

CASES is a JSON list of (hook, rubbish, scene). A child is this process forked once everything is
imported, so that a case costs milliseconds; it runs the command line as a shell would, with its own
standard output and error. One JSON line a case: exit code, output, errors.
"""

from __future__ import annotations

import gc
import json
import os
import signal
import sys
import tempfile
import time
from contextlib import suppress
from pathlib import Path
from typing import Any

#: Seconds after which a case counts as endless.
ENDLESS = 8
#: What is run for the hooks of a kind, by its scene.
SCENES = {
    "model": ["run", ".", "--engine", "{engine}", "--json", "--strict"],
    "out": ["run", ".", "--engine", "{engine}", "--out", "kept"],
    "hardware": [
        "run", ".", "--engine", "{engine}", "--json", "--set", 'slot.bell.as="hardware"',
        "--set", "attach.ear.pin='bell.hammer'",
    ],
    "driven": ["run", "driven.toml", "--engine", "{engine}", "--json"],
    "why": ["why", ".", "bell.hammer@4"],
    "capture": ["run", ".", "--engine", "{engine}"],
    "source": ["run", "source.toml", "--engine", "{engine}", "--json"],
    "firmware": ["run", ".", "--engine", "{engine}", "--json", "--traffic", "faulty.py:firmware"],
    "format": ["run", ".", "--engine", "{engine}", "--json", "--traffic", "day.faulty"],
    "written": ["convert", "day.steps", "out.faulty"],
    "export": ["run", ".", "--engine", "{engine}", "--write", "faulty.py:export=kept.txt"],
    "sweep": ["sweep", ".", "--vary", "clock=1MHz", "--measure", "faulty.py:measure"],
    "twin": ["twin", ".", "bell", "--random", "20"],
    "check": ["check", "faulty.py:Hard"],
}  # fmt: skip


def main() -> None:
    """Run the cases, and print what came of each."""
    folder, cases = Path(sys.argv[1]), json.loads(sys.argv[2])
    os.chdir(folder)
    sys.path.insert(0, str(folder / "installed"))
    from busbox.cli import main as busbox

    _warm(busbox, {(scene, engine) for _, _, scene, engine in cases})
    for hook, rubbish, scene, engine in cases:
        found = _case(busbox, hook, rubbish, scene, engine)
        print(json.dumps(found), flush=True)


def _warm(run: Any, scenes: set[tuple[str, str]]) -> None:
    """Import and build what cases use, so that no child does: run each scene once without a fault."""
    import amaranth.hdl  # noqa: F401

    import busbox.bench.bench
    import busbox.bench.building
    import busbox.bench.carrying
    import busbox.engines
    import busbox.engines.llvm_kernel
    import busbox.engines.python_kernel
    import busbox.engines.reference
    import busbox.exports.json_report
    import busbox.exports.summary
    import busbox.findings.judging
    import busbox.run.undefined

    made: dict[str, Any] = {}
    find = busbox.engines.engine_class

    def keeping(name: str = "python") -> Any:
        name = "python" if name == "auto" else name
        if name not in made:
            made[name] = busbox.engines.for_many_runs(find(name))
        return made[name]

    busbox.engines.engine_class = keeping
    output = os.dup(1)
    os.dup2(2, 1)
    for scene, engine in sorted(scenes):
        with suppress(SystemExit):
            run([word.format(engine=engine) for word in SCENES[scene]])
    sys.stdout.flush()
    os.dup2(output, 1)
    gc.freeze()


def _case(busbox: Any, hook: str, rubbish: str, scene: str, engine: str) -> dict[str, Any]:
    with tempfile.TemporaryFile() as out, tempfile.TemporaryFile() as err:
        begun = time.monotonic()
        child = os.fork()
        if child == 0:
            os.setpgid(0, 0)
            os.dup2(out.fileno(), 1)
            os.dup2(err.fileno(), 2)
            os.environ |= {"FAULT": hook, "RUBBISH": rubbish}
            busbox([word.format(engine=engine) for word in SCENES[scene]])
            os._exit(99)
        code = _waited(child)
        out.seek(0)
        err.seek(0)
        return {
            "case": [hook, rubbish, scene, engine],
            "code": code,
            "seconds": time.monotonic() - begun,
            "out": out.read().decode("utf-8", "replace"),
            "err": err.read().decode("utf-8", "replace"),
        }


def _waited(child: int) -> int | str:
    """Return the exit code of a child; what is endless is ended, with what it has forked."""
    until = time.monotonic() + ENDLESS
    code: int | str = "endless"
    while time.monotonic() < until:
        pid, status = os.waitpid(child, os.WNOHANG)
        if pid:
            code = os.waitstatus_to_exitcode(status)
            break
        time.sleep(0.002)
    try:
        os.killpg(child, signal.SIGKILL)
    except ProcessLookupError:
        return code
    if code == "endless":
        os.waitpid(child, 0)
    return code


if __name__ == "__main__":
    main()
