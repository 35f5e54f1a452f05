#!/bin/sh
# Builds the Dunlin 600's firmware and tries it on simavr: unit_check.sh [--required]
# Exit status 0: as it should be, or nothing to try it with; 1: not; 2: with --required, nothing to try it with.
set -eu
cd "$(dirname "$0")/../.."
out=$PWD/target/emulated
mkdir -p "$out"
headers=/usr/include/simavr
[ -f "$headers/sim_avr.h" ] || headers=/usr/local/include/simavr

can_be_tried() {
    command -v make && echo '#include <avr/io.h>' | avr-gcc -mmcu=atmega328p -E - &&
        printf '#include <simavr/sim_avr.h>\nint main(void) { return !avr_make_mcu_by_name("atmega328p"); }\n' |
        cc -I"$headers" -I"$headers/.." -x c - -o "$out/probe" -lsimavr -lelf
}

if ! can_be_tried >"$out/probe.log" 2>&1; then
    echo "SKIPPED: unit firmware on simavr (no avr-gcc/simavr)"
    [ "${1:-}" = --required ] && exit 2
    exit 0
fi
for version in 1.4.0 1.5.0; do
    if ! make --no-print-directory -C fixtures/units/dunlin-600/firmware FIRMWARE=$version BUILD="$out/dunlin-600-$version" \
        >"$out/make.log" 2>&1; then
        cat "$out/make.log"
        exit 1
    fi
    tail -n 1 "$out/make.log"
done
cc -std=gnu11 -O2 -Wall -Wextra -Werror -I"$headers" -I"$headers/.." tests/emulated/unit_*.c -o "$out/unit_check" \
    -lsimavr -lelf -lm
exec "$out/unit_check" "$out/dunlin-600-1.4.0/firmware.elf" "$out/dunlin-600-1.5.0/firmware.elf"
