#!/bin/sh
# Builds both firmwares and the host of the emulated bench, and runs the shipped binary on it: bench_check.sh [--required]
# In real time, about three minutes. Exit status 0: as it should be, or nothing to try it with; 1: not; 2: with --required or
# --build, nothing to try it with. With --build it only builds, for tests/emulated/serve.rs. Everything built goes to target/emulated/.
set -eu
cd "$(dirname "$0")/../.."
out=$PWD/target/emulated
mkdir -p "$out"
headers=/usr/include/simavr
[ -f "$headers/sim_avr.h" ] || headers=/usr/local/include/simavr

can_be_tried() {
    command -v make && echo '#include <avr/io.h>' | avr-gcc -mmcu=atmega328p -E - &&
        printf '#include <sim_avr.h>\nint main(void) { return !avr_make_mcu_by_name("atmega328p"); }\n' |
        cc -I"$headers" -x c - -o "$out/probe" -lsimavr -lelf
}

if ! can_be_tried >"$out/probe.log" 2>&1; then
    echo "SKIPPED: emulated bench (no avr-gcc/simavr)"
    [ -n "${1:-}" ] && exit 2
    exit 0
fi
make -s -C fixtures/jigs/capture-board BUILD="$out/capture-board"
for version in 1.4.0 1.5.0; do
    make -s -C fixtures/units/dunlin-600/firmware FIRMWARE=$version BUILD="$out/dunlin-600-$version"
done
cc -std=c11 -D_DEFAULT_SOURCE -D_XOPEN_SOURCE=700 -O2 -Wall -Wextra -Werror -I"$headers" tests/emulated/bench_*.c \
    -o "$out/bench_host" -lsimavr -lelf -lpthread
[ "${1:-}" = --build ] && exit 0
cargo test --release --test emulated_bench -- --ignored --nocapture --test-threads=1
echo "emulated bench: all right"
