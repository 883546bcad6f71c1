"""The GNU assembler and disassembler for RISC-V, where they are installed."""

import re
import shutil
import subprocess
from pathlib import Path

import pytest

PREFIX = "riscv64-unknown-elf-"
NEEDS_GNU = pytest.mark.skipif(
    not shutil.which(f"{PREFIX}as") or not shutil.which(f"{PREFIX}objdump"),
    reason=f"{PREFIX}as is not installed",
)
MARCH = "rv32imc_zicsr_zifencei"


def _run(*command: str) -> str:
    return subprocess.run(
        [PREFIX + command[0], *command[1:]],
        check=True,
        capture_output=True,
        encoding="utf-8",
        timeout=60,
    ).stdout


def assemble(source: str, folder: Path, march: str = MARCH) -> bytes:
    """The bytes of .text."""
    text, built, image = folder / "source.s", folder / "built.o", folder / "image.bin"
    text.write_text(source, encoding="utf-8")
    _run("as", f"-march={march}", "-mabi=ilp32", str(text), "-o", str(built))
    _run("objcopy", "-O", "binary", "-j", ".text", str(built), str(image))
    return image.read_bytes()


def disassemble(source: str, folder: Path, march: str = MARCH) -> dict[int, str]:
    """What stands at each address of .text, whether it is marked as data or not."""
    text, built = folder / "source.s", folder / "built.o"
    text.write_text(source, encoding="utf-8")
    _run("as", f"-march={march}", "-mabi=ilp32", str(text), "-o", str(built))
    _run("strip", "--strip-all", str(built))
    lines = _run("objdump", "-d", str(built)).splitlines()
    found = [re.match(r"\s*([0-9a-f]+):\s+[0-9a-f]+\s+(.*)", line) for line in lines]
    listing = [(line[1], line[2].split("#")[0]) for line in found if line]
    return {int(address, 16): " ".join(text.split()) for address, text in listing}
