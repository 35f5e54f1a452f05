#!/usr/bin/env bash
# The heavier suites: the release binary as its users run it, and what it leaves read by tools that are not ours.
# Called by .ci/run, which installs what they need. Nothing is skipped silently: what is missing fails.
set -euo pipefail
cd "$(dirname "$0")/../.."
export PATH="$PWD/target/heavy/bin:$PATH"

railproof=target/release/railproof
results=$(mktemp -d)
leave() {
    kill $(jobs -p) 2>/dev/null || true
    rm -rf "$results"
}
trap leave EXIT
bench=(--unit fixtures/units/dunlin-600.yaml --jig fixtures/jigs/simulated.yaml --results "$results")

# quietly COMMAND...: what it says is left in a file, and shown where it fails.
quietly() {
    "$@" >"$results/said" 2>&1 || { cat "$results/said"; exit 1; }
}

# expect STATUS COMMAND...: the command has to end with that status.
expect() {
    local wanted=$1 status=0
    shift
    "$@" >/dev/null 2>"$results/said" || status=$?
    if [ "$status" -ne "$wanted" ]; then
        printf 'ended with %s, not %s: %s\n' "$status" "$wanted" "$*" >&2
        cat "$results/said" >&2
        exit 1
    fi
}

# Much of what follows keeps one core busy at most.
nice bash tests/heavy/unhurried.sh >"$results/unhurried" 2>&1 &
unhurried=$!

echo "- every plan on a healthy unit, and every fault"
for plan in test-plans/*.yaml; do
    expect 0 "$railproof" run "$plan" "${bench[@]}" --serial SM-0001
done
faults=$("$railproof" run --help | grep -oE '^ {10,}[a-z]+(-[a-z]+)+  ' | tr -d ' ')
[ "$(wc -w <<<"$faults")" -ge 33 ] || { echo "the help lists too few faults" >&2; exit 1; }
serial=100
for fault in $faults; do
    serial=$((serial + 1))
    status=1
    plan=outgoing
    case $fault in
    garbled-link) status=4 ;;
    # Seen by channels that not every jig has.
    flickering-light | worn-control) plan=front-panel ;;
    late-compare) plan=firmware ;;
    # What is wrong with the jig is for its own check to see.
    drifted-gain | fast-jig-clock | stretched-encoder | deaf-input | sticking-switch)
        expect 1 "$railproof" jig check "${bench[@]}" --reference-unit "SM-0$serial" --fault "$fault"
        continue
        ;;
    esac
    expect "$status" "$railproof" run "test-plans/$plan.yaml" "${bench[@]}" --serial "SM-0$serial" --fault "$fault"
done

echo "- reports, sheets and histograms read by others"
quietly bash tests/heavy/junit_readers.sh "$results"
quietly bash tests/heavy/sheets.sh "$results"
tail -n 1 "$results/said"
python3 tests/heavy/histograms.py "$results"
python3 tests/heavy/uncertainty.py "$results"
python3 tests/heavy/step_clock.py "$railproof" fixtures/units/dunlin-600.yaml
# Outside: densities, peaks and tones of a step clock and a carriage; how: package scipy 1.17.1
python3 tests/heavy/spectrum.py "$railproof" fixtures/units/dunlin-600.yaml
python3 tests/heavy/pack.py "$railproof" fixtures/units/dunlin-600.yaml
python3 tests/heavy/calibration.py "$railproof"
python3 tests/heavy/studies.py "$railproof"
for sheet in $(find "$results" -name '*.pdf'); do
    # Outside: structure of every PDF sheet; how: package qpdf
    quietly qpdf --check "$sheet"
done

echo "- seals with ssh-keygen, tamperings, killed runs"
RAILPROOF_ALL=1 quietly cargo test --release --quiet --test seals
RAILPROOF_DRAWS=300 quietly cargo test --release --quiet --test tampering
RAILPROOF_DRAWS=300 quietly cargo test --release --quiet --test rough_use killed -- --nocapture
grep "were killed" "$results/said"
quietly "$railproof" verify "$results"
tail -n 1 "$results/said"

echo "- the shared store on PostgreSQL, 16 benches at once"
RAILPROOF_ALL=1 RAILPROOF_RUNS=150 quietly cargo test --release --quiet --test shared_store --test shared_store_crowd -- --nocapture
grep "a second" "$results/said"

echo "- coverage of every measurand, by draws with known truth: measurand, what lay inside, mean expanded uncertainty"
RAILPROOF_DRAWS=1000 quietly cargo test --quiet --release --test measure honesty -- --nocapture
grep -oE '[A-Za-z][A-Za-z0-9 .-]+ +[0-9.]+ % inside, U.*' "$results/said" | sort -u

echo "- changed captures against every reader"
bash tests/fuzz/run.sh 20

echo "- runs over links that flip bits, and pulled cables"
RAILPROOF_DRAWS=100 quietly cargo test --release --quiet --test noisy_links --test unplugged

# What follows runs in real time and has the computer to itself.
wait $unhurried || { cat "$results/unhurried"; exit 1; }
grep '^- ' "$results/unhurried"

echo "- 200,000 edges a second over a serial port, for a minute"
RAILPROOF_RATE_S=60 quietly cargo test --release --quiet --test board_rate -- --nocapture
grep "of a core" "$results/said"

echo "- the bench screen in a real browser"
quietly node tests/heavy/screen.mjs "$railproof" target/heavy/screen
tail -n 1 "$results/said"

echo "- firmware of unit and capture board, instruction by instruction, alone and with each other"
for check in unit_check board_check bench_check; do
    quietly bash "tests/emulated/$check.sh" --required
    tail -n 1 "$results/said"
done

echo "heavier suites: all passed"
