#!/bin/sh
# Builds the programs with GNU's compiler for RISC-V; the tests use what it has built.
# ring.elf has small frames by the stack pointer, framed.elf frames by the frame pointer; fall.elf stops
# three calls deep.
set -e
cd "$(dirname "$0")"
build() {
    riscv64-unknown-elf-gcc -misa-spec=2.2 -mabi=ilp32 -g -fdebug-prefix-map="$PWD"=. \
        -nostdlib -ffreestanding -T link.ld start.S "$@" -lgcc
}
build -march=rv32im -Os -o ring.elf ring.c
build -march=rv32imc -O0 -fno-omit-frame-pointer -o framed.elf ring.c
build -march=rv32im -Os -fno-optimize-sibling-calls -o fall.elf fall.c
build -march=rv32im -Os -o echo.elf echo.c
