#!/bin/sh
# Builds both firmwares and the host of the emulated bench, and runs the shipped binary on it, in real time, about three
# minutes: bench_check.sh [--required|--build]. With --build it only builds, for tests/emulated/serve.rs.
# Exit status 0: as it should be, or nothing to try it with; 1: not; 2: with --required or --build, nothing to try it with.
tried="emulated bench"
. "$(dirname "$0")/tools.sh"

build_unit
build_board
build_host bench_host tests/emulated/bench_*.c
[ "${1:-}" = --build ] && exit 0
cargo test --release --test emulated_bench -- --ignored --nocapture --test-threads=1
echo "emulated bench: all right"
