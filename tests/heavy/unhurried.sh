#!/usr/bin/env bash
# The part of the heavier suites that needs one core and no haste: packages, the emulated Raspberry Pi, exports.
# Called by run.sh, beside what does not need both cores. What it has to tell are the lines that begin with a dash.
set -euo pipefail
cd "$(dirname "$0")/../.."

railproof=target/release/railproof
folder=$(mktemp -d)
trap 'rm -rf "$folder"' EXIT

# Here it has to work, not to be fast.
export RAILPROOF_PI_OPT_LEVEL=0
bash tests/heavy/packages.sh
bash tests/emulated/pi_check.sh --required | tee "$folder/pi"
echo "- packed for Debian; packed for a Raspberry Pi: $(tail -n 1 "$folder/pi")"

for serial in 1 2 3; do
    "$railproof" run test-plans/outgoing.yaml --unit fixtures/units/dunlin-600.yaml --jig fixtures/jigs/simulated.yaml \
        --results "$folder/records" --serial "SM-000$serial" --seed "$serial" >/dev/null 2>&1
done
cargo run --quiet --release --example fleet -- "$folder/fleet" 100000
python3 tests/heavy/export.py "$railproof" "$folder/fleet" 100000 "$folder/records" | tee "$folder/export"
echo "- an export read by DuckDB, pandas and Spark: $(tail -n 1 "$folder/export")"
