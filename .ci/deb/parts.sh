#!/usr/bin/env bash
# Fetches what building for a Raspberry Pi and emulating one take of Debian's arm64 packages, and unpacks it into
# target/pi/parts. Nothing of it is installed; arm64 has to be among dpkg's architectures, and its lists up to date.
set -euo pipefail
cd "$(dirname "$0")/../.."

kernel=$(apt-cache depends linux-image-arm64:arm64 | grep -om 1 'linux-image-[0-9].*')
rm -rf target/pi/parts
mkdir -p target/pi/parts
cd target/pi/parts
apt-get download -qq -o APT::Sandbox::User=root libstd-rust-web-dev:arm64 busybox-static:arm64 "$kernel"
for package in *.deb; do
    dpkg-deb -x "$package" .
    rm "$package"
done
