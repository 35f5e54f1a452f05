#!/usr/bin/env bash
# Builds railproof for a 64-bit Raspberry Pi with the C library of Debian 12 or newer:
# target/pi/aarch64-unknown-linux-gnu/release/railproof. The compiler is Debian's (rustc-web), since no other comes with a
# standard library for arm64 as a package; parts.sh fetches that.
set -euo pipefail
cd "$(dirname "$0")/../.."

export RUSTC=/usr/bin/rustc
# Where it was built is nobody's business, and would make the bytes depend on it.
export CARGO_TARGET_AARCH64_UNKNOWN_LINUX_GNU_RUSTFLAGS="--sysroot=$PWD/target/pi/parts/usr
    --remap-path-prefix=${CARGO_HOME:-$HOME/.cargo}=/cargo --remap-path-prefix=$PWD=/railproof"
export CARGO_TARGET_AARCH64_UNKNOWN_LINUX_GNU_LINKER=aarch64-linux-gnu-gcc CC_aarch64_unknown_linux_gnu=aarch64-linux-gnu-gcc
# What is shipped has no line tables, so none are made. The heavier suites, where it has to work but not to be fast, ask
# for less optimisation.
export CARGO_PROFILE_RELEASE_DEBUG=false CARGO_PROFILE_RELEASE_STRIP=symbols
export CARGO_PROFILE_RELEASE_OPT_LEVEL=${RAILPROOF_PI_OPT_LEVEL:-3}
cargo build --release --locked --bin railproof --target aarch64-unknown-linux-gnu --target-dir target/pi
