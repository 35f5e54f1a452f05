#!/bin/sh
# Builds the capture board's firmware and the host that checks it on an emulated controller, and runs it.
# Exit status 0: all right, or skipped; with --required skipping is a failure. Everything built goes to target/emulated/.
set -eu
root=$(cd "$(dirname "$0")/../.." && pwd)
build="$root/target/emulated/capture-board"
required=${1:-}

skip() {
    echo "SKIPPED: capture board firmware on simavr (no avr-gcc/simavr)"
    if [ "$required" = --required ]; then exit 1; else exit 0; fi
}

for tool in avr-gcc avr-objcopy avr-size make pkg-config; do
    command -v "$tool" >/dev/null 2>&1 || skip
done
CC=${CC:-cc}
command -v "$CC" >/dev/null 2>&1 || skip
pkg-config --exists simavr || skip

mkdir -p "$build"
make -s -C "$root/fixtures/jigs/capture-board" BUILD="$build"
cd "$root/tests/emulated"
# shellcheck disable=SC2046
"$CC" -std=c11 -D_DEFAULT_SOURCE -O2 -Wall -Wextra -Werror $(pkg-config --cflags simavr) -o "$build/board_check" \
    board_check.c board_link.c board_outputs.c board_samples.c board_stamps.c board_talk.c board_wire.c board_world.c \
    $(pkg-config --libs simavr) -lelf -lm
exec "$build/board_check" "$build/capture-board.elf"
