#!/bin/sh
# Builds the Dunlin 600's firmware and tries it on an emulated controller: unit_check.sh [--required]
# Exit status 0: as it should be, or nothing to try it with; 1: not; 2: with --required, nothing to try it with.
tried="unit firmware on simavr"
. "$(dirname "$0")/tools.sh"

build_unit
build_host unit_check tests/emulated/unit_*.c
exec "$out/unit_check" "$out/dunlin-600-1.4.0/firmware.elf" "$out/dunlin-600-1.5.0/firmware.elf"
