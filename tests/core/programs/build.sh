#!/bin/sh
# Builds every program of this folder anew: NAME.ISA.elf. The files in the repository were made by
# riscv64-unknown-elf-gcc 12.2.0 with its own run-time library; the tests need no compiler.
set -eu
cd "$(dirname "$0")"
CC="riscv64-unknown-elf-gcc -mabi=ilp32"

build() { # march, output, sources and options
    march=$1
    output=$2
    shift 2
    $CC -march="$march" -ffreestanding -nostdlib -fno-builtin -fno-tree-loop-distribute-patterns \
        -ffunction-sections -Wall -Wextra -Werror -T program.ld \
        -Wl,--nmagic,--build-id=none,--no-warn-rwx-segments,--gc-sections,--no-relax \
        "$@" -o "$output"
    riscv64-unknown-elf-strip --strip-debug "$output"
    chmod -x "$output"
}

library() { # march: the run-time library without compressed instructions, which suits with them too
    $CC -march="$1" -print-libgcc-file-name
}

for source in sorting.c checksums.c sha256.c strings.c division.c recursion.c switches.c; do
    name=${source%.c}
    build rv32i "$name.rv32i.elf" -O2 start.S "$source" memory.c "$(library rv32i)"
    build rv32im "$name.rv32im.elf" -O0 start.S "$source" memory.c "$(library rv32im)"
    build rv32ic "$name.rv32ic.elf" -Os start.S "$source" memory.c "$(library rv32i)"
    build rv32imc "$name.rv32imc.elf" -O2 start.S "$source" memory.c "$(library rv32im)"
done

for source in traps.S vectored.S nested.S sleep.S; do
    name=${source%.S}
    build rv32i_zicsr "$name.rv32i.elf" "$source"
    build rv32imc_zicsr "$name.rv32imc.elf" "$source"
done
