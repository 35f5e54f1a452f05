#!/usr/bin/env bash
# run.sh SECONDS [SEED]: throws changed captures at every reader for so long. Seeds go up from SEED (1 where none is
# given).
set -euo pipefail
cd "$(dirname "$0")/../.."
cargo build --quiet --manifest-path tests/fuzz/Cargo.toml --target-dir target
exec target/debug/railproof-fuzz "${1:-30}" "${2:-1}"
