#!/usr/bin/env bash
# The packages for Debian: what is in them, what Debian's checker says of them, and that the same sources give the same bytes.
set -euo pipefail
cd "$(dirname "$0")/../.."

inside=$(mktemp -d)
trap 'rm -rf "$inside"' EXIT

fail() {
    echo "$*" >&2
    exit 1
}

check() {
    local architecture=$1 machine=$2 package bytes page warned
    package=$(bash .ci/deb/build.sh "$architecture" | tail -n 1)
    bytes=$(sha256sum <"$package")
    bash .ci/deb/build.sh "$architecture" >/dev/null
    [ "$bytes" = "$(sha256sum <"$package")" ] || fail "$package came out otherwise the second time"
    # Outside: form of the packages, Debian Policy; how: package lintian
    lintian --allow-root --fail-on error,warning "$package"

    rm -rf "$inside"
    dpkg-deb -x "$package" "$inside"
    readelf -h "$inside/usr/bin/railproof" | grep -q "Machine:.*$machine" || fail "the binary is not for $machine"
    # That for amd64 is the ordinary one.
    [ "$architecture" = amd64 ] || ! grep -qF -e "$PWD" -e "$HOME" "$inside/usr/bin/railproof" ||
        fail "the binary tells where it was built"
    diff -r test-plans "$inside/usr/share/railproof/test-plans"
    diff -r fixtures "$inside/usr/share/railproof/fixtures"
    for command in $(target/release/railproof --help | sed -n '/^Commands:/,/^$/s/^  \([a-z]\+\)  .*/\1/p'); do
        [ "$command" = help ] || [ -e "$inside/usr/share/man/man1/railproof-$command.1.gz" ] || fail "no manual page of $command"
        grep -q "$command" "$inside/usr/share/bash-completion/completions/railproof" || fail "$command is not completed"
    done
    for page in "$inside"/usr/share/man/man1/*.gz; do
        # Outside: form of the manual pages; how: package man-db
        warned=$(MANWIDTH=80 man --warnings -E UTF-8 -l "$page" 2>&1 >/dev/null)
        [ -z "$warned" ] || fail "$page: $warned"
    done
    bash -n "$inside/usr/share/bash-completion/completions/railproof"
    dpkg-deb -f "$package" Package Version Architecture Depends
}

check arm64 AArch64
check amd64 X86-64
"$inside/usr/bin/railproof" lint "$inside"/usr/share/railproof/test-plans/*.yaml >/dev/null
