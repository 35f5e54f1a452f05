#!/usr/bin/env bash
# Packs railproof for a 64-bit Raspberry Pi and tries the package on an emulated one: pi_check.sh [--required]
# Exit status 0: as it should be, or nothing to try it with; 1: not; 2: with --required, nothing to try it with.
# .ci/deb/parts.sh fetches what is not installed. pi_init.sh is what the Pi does.
set -euo pipefail
cd "$(dirname "$0")/../.."

parts=target/pi/parts
missing=
for tool in qemu-system-aarch64 aarch64-linux-gnu-gcc /usr/bin/rustc cpio; do
    command -v $tool >/dev/null || missing+=" $tool"
done
[ -e $parts/bin/busybox ] || missing+=" $parts"
if [ -n "$missing" ]; then
    echo "SKIPPED: emulated Raspberry Pi (no$missing)"
    [ -z "${1:-}" ] || exit 2
    exit 0
fi

package=$(bash .ci/deb/build.sh arm64 | tail -n 1)

root=target/pi/root
rm -rf $root
mkdir -p $root/{bin,lib,dev,proc,sys,tmp}
dpkg-deb -x "$package" $root
cp $parts/bin/busybox $root/bin
cp /usr/aarch64-linux-gnu/lib/{ld-linux-aarch64.so.1,libc.so.6,libm.so.6,libgcc_s.so.1} $root/lib
cp $(find $parts/lib/modules -name i2c-dev.ko -o -name i2c-bcm2835.ko -o -name bcm2835_wdt.ko) $root/lib
cp tests/data/units/dipper-300.yaml tests/emulated/pi-pins.yaml $root
cp tests/emulated/pi_init.sh $root/init
# The shipped jig, without the chips that are not there.
sed -e '/^samples:/,/^# `light flicker`/d' -e '/^lit above/d' -e '/^references:/,$d' \
    fixtures/jigs/raspberry-pi.yaml >$root/pins-alone.yaml
echo 'samples: {}' >>$root/pins-alone.yaml
(cd $root && find . | cpio --quiet -o -H newc | gzip -1) >target/pi/root.cpio.gz

console=target/pi/console
version=$(sed -n 's/^version = "\(.*\)"/railproof \1/p' Cargo.toml)
# The pins are reached through the whole memory where the kernel is not a Raspberry Pi's own: iomem=relaxed allows it.
timeout 600 qemu-system-aarch64 -M raspi3b -kernel $parts/boot/vmlinuz-* -initrd target/pi/root.cpio.gz \
    -dtb "$(find $parts/usr/lib -name bcm2837-rpi-3-b.dtb)" \
    -append "console=ttyAMA0 loglevel=1 panic=-1 iomem=relaxed version=\"$version\"" \
    -display none -monitor none -serial stdio -no-reboot </dev/null >$console 2>&1 || true
# Only what the Pi says last counts, and it says so after all else went well.
if [ "$(tr -d '\r' <$console | grep -c '^emulated Raspberry Pi: all right$')" -ne 1 ]; then
    tail -n 50 $console
    exit 1
fi
tr -d '\r' <$console | grep -E '^(- |emulated Raspberry Pi: )'
