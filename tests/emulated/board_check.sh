#!/bin/sh
# Builds the capture board's firmware and tries it on an emulated controller: board_check.sh [--required]
# Exit status 0: as it should be, or nothing to try it with; 1: not; 2: with --required, nothing to try it with.
tried="capture board firmware on simavr"
. "$(dirname "$0")/tools.sh"

build_board
build_host board_check tests/emulated/board_*.c
exec "$out/board_check" "$out/capture-board/capture-board.elf"
