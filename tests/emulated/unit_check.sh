#!/bin/sh
# Builds the Dunlin 600's firmware and tries it on simavr: unit_check.sh [--required]
# Exit status 0: as it should be, or nothing to try it with; 1: not; with --required 2 where there is nothing.
set -eu
cd "$(dirname "$0")/../.."
out=$PWD/target/emulated
mkdir -p "$out"
headers=
for folder in /usr/include /usr/local/include; do
    [ -f "$folder/simavr/sim_avr.h" ] && headers=$folder/simavr
done
if ! command -v avr-gcc >/dev/null || ! command -v cc >/dev/null || [ -z "$headers" ]; then
    echo "SKIPPED: unit firmware on simavr (no avr-gcc/simavr)"
    [ "${1:-}" = --required ] && exit 2
    exit 0
fi
for version in 1.4.0 1.5.0; do
    make -C fixtures/units/dunlin-600/firmware FIRMWARE=$version BUILD="$out/dunlin-600-$version" >"$out/make.log" 2>&1 || {
        cat "$out/make.log"
        exit 1
    }
    tail -n 1 "$out/make.log"
done
cc -std=gnu11 -O2 -Wall -Wextra -Werror -I"$headers" -I"$headers/.." tests/emulated/unit_*.c -o "$out/unit_check" -lsimavr -lelf -lm
exec "$out/unit_check" "$out/dunlin-600-1.4.0/firmware.elf" "$out/dunlin-600-1.5.0/firmware.elf"
