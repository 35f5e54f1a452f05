# The beginning of unit_check.sh, board_check.sh and bench_check.sh, sourced by them: what they need, and how their parts are
# built. `tried` names what cannot be tried where avr-gcc or simavr are missing: the script then ends with exit status 0, or
# with 2 where it was given an argument. Everything built goes to target/emulated/.
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
    echo "SKIPPED: $tried (no avr-gcc/simavr)"
    [ -z "${1:-}" ] || exit 2
    exit 0
fi

build_unit() {
    for version in 1.4.0 1.5.0; do
        make -s -C fixtures/units/dunlin-600/firmware FIRMWARE=$version BUILD="$out/dunlin-600-$version"
    done
}

build_board() {
    make -s -C fixtures/jigs/capture-board BUILD="$out/capture-board"
}

# build_host NAME SOURCE...: a program in which emulated controllers run.
build_host() {
    host=$out/$1
    shift
    cc -std=c11 -D_DEFAULT_SOURCE -D_XOPEN_SOURCE=700 -O2 -Wall -Wextra -Werror -I"$headers" tests/emulated/controller.c "$@" \
        -o "$host" -lsimavr -lelf -lm -lpthread
}
