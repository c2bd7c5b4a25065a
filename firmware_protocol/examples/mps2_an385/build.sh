#!/bin/sh
# Builds firmware.elf into a folder: build.sh FOLDER. Needs gcc-arm-none-eabi, and a Python that has quiethand.
set -eu
here=$(cd "$(dirname "$0")" && pwd)
out=$1
"${PYTHON:-python3}" "$here/make_table.py" "$out"
arm-none-eabi-gcc -std=c99 -Os -mcpu=cortex-m3 -mthumb -ffreestanding -nostdlib -nostartfiles -fno-tree-loop-distribute-patterns \
    -ffunction-sections -fdata-sections -Wl,--gc-sections -Wall -Wextra -Wpedantic -Werror -Wconversion \
    -DRING_SLOTS=64u -T "$here/mps2.ld" -I"$here" -I"$here/../common" -I"$here/../../c" -I"$out" -Wa,-I"$out" \
    "$here"/main.c "$here"/board.c "$here"/startup.c "$here"/table_data.S \
    "$here"/../common/sample_ring.c "$here"/../../c/qh_*.c -lgcc -o "$out/firmware.elf"
