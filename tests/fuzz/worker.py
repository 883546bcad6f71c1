"""The process that runs cases: it has loaded Busbox, and a child of it runs each of them.

It reads a line of JSON for each case, and answers with one: ``{"ended": exit code or None, "signal",
"seconds" of processor time, "bytes" of memory}``.
"""

from __future__ import annotations

import contextlib
import gc
import json
import os
import resource
import signal
import sys
import time
from pathlib import Path
from typing import Any


def main() -> None:
    """Load what the verbs load, then run cases until there is no further line."""
    _warm_up()
    gc.collect()
    gc.freeze()
    print("ready", flush=True)
    for line in sys.stdin:
        print(json.dumps(_run(json.loads(line))), flush=True)


def _warm_up() -> None:
    from busbox.cli import main as command

    os.chdir(os.environ["TMPDIR"])
    for args in (
        ["run", "first_light", "--engine", "python", "--vcd", "x.vcd", "--json"],
        ["where", "first_light", "0x44000008"],
        ["explain", "framing"],
        ["run", "night_watch", "--engine", "python", "--until", "100", "--brief"],
        ["state", "first_light"],
        ["draw", "first_light", "map"],
        ["sweep", "first_light", "--vary", "slot.lamps.wait=1,2", "--jobs", "1"],
    ):
        with (
            open(os.devnull, "w", encoding="utf-8") as nowhere,
            contextlib.redirect_stdout(nowhere),
            contextlib.redirect_stderr(nowhere),
            contextlib.suppress(SystemExit),
        ):
            command(args)
    os.remove("x.vcd")


def _run(case: dict[str, Any]) -> dict[str, Any]:
    child = os.fork()
    if child == 0:
        _be_the_child(case)
    deadline = time.monotonic() + case["patience"]
    while True:
        found, status, usage = os.wait4(child, os.WNOHANG)
        if found:
            break
        if time.monotonic() > deadline:
            os.kill(child, signal.SIGKILL)
            _, status, usage = os.wait4(child, 0)
            break
        time.sleep(0.002)
    return {
        "ended": os.WEXITSTATUS(status) if os.WIFEXITED(status) else None,
        "signal": os.WTERMSIG(status) if os.WIFSIGNALED(status) else None,
        "seconds": usage.ru_utime + usage.ru_stime,
        "bytes": usage.ru_maxrss * 1024,
    }


def _be_the_child(case: dict[str, Any]) -> None:
    """Run a case as a command would be run, and end this process."""
    code = 70
    try:
        os.chdir(case["folder"])
        for number, name in ((1, case["out"]), (2, case["err"])):
            opened = os.open(name, os.O_WRONLY | os.O_CREAT | os.O_TRUNC)
            os.dup2(opened, number)
            os.close(opened)
        nowhere = os.open(os.devnull, os.O_RDONLY)
        os.dup2(nowhere, 0)
        used = int(Path("/proc/self/statm").read_text("ascii").split()[0]) * 4096
        limit = used + case["memory"]
        resource.setrlimit(resource.RLIMIT_AS, (limit, limit))
        resource.setrlimit(resource.RLIMIT_CPU, (case["seconds"], case["seconds"] + 2))
        resource.setrlimit(resource.RLIMIT_FSIZE, (1 << 30, 1 << 30))
        sys.stdout = os.fdopen(1, "w", encoding="utf-8", closefd=False)
        sys.stderr = os.fdopen(2, "w", encoding="utf-8", closefd=False)
        from busbox.cli import main as command

        try:
            command(case["args"])
        except SystemExit as end:
            code = end.code if isinstance(end.code, int) else int(end.code is not None)
        except BaseException:
            import traceback

            traceback.print_exc()
            code = 1
        sys.stdout.flush()
        sys.stderr.flush()
    finally:
        os._exit(code)


if __name__ == "__main__":
    main()
