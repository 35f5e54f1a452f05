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

# screen UNIT: the bench screen as a service. What it starts is looked for here, since nothing is installed.
screen() {
    local unit=$inside/railproof-screen.service said
    sed "s|=/usr/bin/railproof |=/bin/true |" "$1" >"$unit"
    # Outside: form of the service, and what it is kept away from (0 is all, 10 nothing); how: package systemd
    said=$(systemd-analyze verify --man=no "$unit" 2>&1) || fail "$said"
    [ -z "$said" ] || fail "$said"
    said=$(systemd-analyze security --offline=true --threshold=20 "$unit" 2>&1) || fail "$said"
    [ "$(sed -n 's/^User=//p' "$unit")" = railproof ] || fail "the screen does not run as its own user"
}

check() {
    local architecture=$1 machine=$2 package bytes page warned
    package=$(bash .ci/deb/build.sh "$architecture" | tail -n 1)
    if [ "$architecture" = arm64 ]; then
        bytes=$(sha256sum <"$package")
        bash .ci/deb/build.sh "$architecture" >/dev/null
        [ "$bytes" = "$(sha256sum <"$package")" ] || fail "$package came out otherwise the second time"
    fi
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
    screen "$inside/usr/lib/systemd/system/railproof-screen.service"
    dpkg-deb -f "$package" Package Version Architecture Depends
}

check arm64 AArch64
check amd64 X86-64
"$inside/usr/bin/railproof" lint "$inside"/usr/share/railproof/test-plans/*.yaml >/dev/null

# The service's own command with the names that its example has, for the shipped files: the screen answers this computer alone,
# and ends well by the signal that ends the service.
share=$inside/usr/share/railproof
start=$(sed -n 's|^ExecStart=/usr/bin/railproof ||p' "$inside/usr/lib/systemd/system/railproof-screen.service")
. "$inside/usr/share/doc/railproof/examples/screen.conf"
start=${start//'$PLANS'/${PLANS//\/etc\/railproof/$share\/test-plans}}
start=${start//'${UNIT}'/${UNIT/\/etc\/railproof\/unit/$share\/fixtures\/units\/dunlin-600}}
start=${start//'${JIG}'/${JIG/\/etc\/railproof\/jig/$share\/fixtures\/jigs\/simulated}}
# shellcheck disable=SC2086 # the service divides it in the same way
"$inside/usr/bin/railproof" ${start//\/var\/lib\/railproof/$inside} --listen 127.0.0.1:0 --format json >"$inside/address" 2>"$inside/said" &
screen=$!
for _ in $(seq 100); do
    [ -s "$inside/address" ] && break
    sleep 0.1
done
port=$(sed -n 's|.*http://127.0.0.1:\([0-9]*\).*|\1|p' "$inside/address")
[ -n "$port" ] || fail "the screen does not start: $(cat "$inside/said")"
exec 3<>"/dev/tcp/127.0.0.1/$port"
printf 'GET / HTTP/1.1\r\nHost: 127.0.0.1:%s\r\nConnection: close\r\n\r\n' "$port" >&3
read -r answer <&3
exec 3>&-
[[ $answer == "HTTP/1.1 "[23]* ]] || fail "the screen answers $answer"
kill -TERM $screen
wait $screen || fail "the screen ended with $?: $(cat "$inside/said")"
