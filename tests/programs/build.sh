#!/bin/sh
# Builds the programs with GNU's compiler for RISC-V; the tests use what it has built.
set -e
cd "$(dirname "$0")"
riscv64-unknown-elf-gcc -march=rv32im -misa-spec=2.2 -mabi=ilp32 -Os -g \
    -fdebug-prefix-map="$PWD"=. -nostdlib -ffreestanding -T link.ld start.S ring.c -lgcc -o ring.elf
