#!/usr/bin/env bash
# Packs railproof for Debian and its kin: build.sh amd64|arm64. The last line names what it made, under target/deb.
# The same sources and tools give the same bytes.
set -euo pipefail
cd "$(dirname "$0")/../.."

architecture=${1:-}
case $architecture in
amd64)
    target=x86_64-unknown-linux-gnu tools='' binary=target/release/railproof
    cargo build --release --locked --bin railproof
    ;;
arm64)
    target=aarch64-unknown-linux-gnu tools=aarch64-linux-gnu- binary=target/pi/aarch64-unknown-linux-gnu/release/railproof
    bash .ci/deb/cross.sh
    ;;
*)
    echo "build.sh amd64|arm64" >&2
    exit 2
    ;;
esac
version=$(sed -n 's/^version = "\(.*\)"/\1/p' Cargo.toml)
# Not exported: Cargo builds C code anew where this changes.
made=${SOURCE_DATE_EPOCH:-$(git log -1 --format=%ct)}
name=railproof_${version}_$architecture
documents=target/deb/documents
tree=target/deb/$name
doc=$tree/usr/share/doc/railproof
umask 022

rm -rf "$documents" "$tree"
cargo run --release --locked --quiet --example documents -- "$documents" "$(date -ud "@$made" +%F)"
mkdir -p "$tree/DEBIAN" "$doc" "$tree/usr/bin" "$tree/usr/share/railproof"
"${tools}strip" --strip-unneeded -o "$tree/usr/bin/railproof" "$binary"
cp -r test-plans fixtures "$tree/usr/share/railproof"
install -Dm644 -t "$tree/usr/share/man/man1" "$documents"/*.1
install -Dm644 "$documents/railproof.bash" "$tree/usr/share/bash-completion/completions/railproof"
install -Dm644 -t "$tree/usr/share/zsh/vendor-completions" "$documents/_railproof"
install -Dm644 -t "$tree/usr/share/fish/vendor_completions.d" "$documents/railproof.fish"
install -Dm644 -t "$tree/usr/lib/udev/rules.d" .ci/deb/70-railproof.rules
install -Dm644 -t "$tree/usr/lib/systemd/system" .ci/deb/railproof-screen.service
install -Dm644 -t "$doc/examples" .ci/deb/screen.conf
install -Dm644 .ci/deb/lintian-overrides "$tree/usr/share/lintian/overrides/railproof"
install -Dm644 -t "$doc" README.md

# paragraph FILE: a text as the copyright file wants it.
paragraph() {
    sed -e 's/[[:space:]]*$//' -e 's/^$/./' -e 's/^/ /' "$1"
}

{
    cat .ci/deb/copyright
    printf '\nLicense: OFL-1.1\n'
    paragraph src/report/fonts/OFL.txt
    printf '\nLicense: MIT\n'
    paragraph LICENSE-MIT
} >"$doc/copyright"

# Every package that the binary holds, its terms, and each text of them once.
licences() {
    local -A holders
    local texts name number terms text digest fetched=${CARGO_HOME:-$HOME/.cargo}/registry/src
    texts=$(mktemp -d)
    while read -r name number terms; do
        printf '%s %s: %s\n' "$name" "${number#v}" "$terms"
        for text in "$fetched"/*/"$name-${number#v}"/{LICEN[CS]E,COPYING,COPYRIGHT,NOTICE,UNLICENSE}*; do
            [ -f "$text" ] || continue
            digest=$(sha256sum <"$text" | cut -d " " -f 1)
            cp "$text" "$texts/$digest"
            holders[$digest]+=" $name"
        done
    done < <(cargo tree --locked --edges normal,no-proc-macro --target $target --prefix none --format '{p} {l}' |
        sed -e 's/ (\*)$//' -e '/^railproof /d' | LC_ALL=C sort -u)
    for digest in $(printf '%s\n' "${!holders[@]}" | LC_ALL=C sort); do
        printf '\n\n== %s\n\n' "$(tr ' ' '\n' <<<"${holders[$digest]}" | sort -u | xargs)"
        cat "$texts/$digest"
    done
    rm -r "$texts"
}
licences | gzip -9n >"$doc/licences-of-packages.gz"

printf 'railproof (%s) stable; urgency=medium\n\n  * What changed is in the history of the sources.\n\n -- %s  %s\n' \
    "$version" "$(sed -n 's/^Maintainer: //p' .ci/deb/control)" "$(date -uRd "@$made")" |
    gzip -9n >"$doc/changelog.gz"
gzip -9n "$tree"/usr/share/man/man1/*.1

libc=$("${tools}objdump" -T "$tree/usr/bin/railproof" | grep -o 'GLIBC_[0-9.]*' | sed 's/GLIBC_//' | sort -Vu | tail -n 1)
size=$(du -sk --apparent-size --exclude=DEBIAN "$tree" | cut -f 1)
sed -e "s/@version@/$version/" -e "s/@architecture@/$architecture/" -e "s/@libc@/$libc/" -e "s/@size@/$size/" \
    .ci/deb/control >"$tree/DEBIAN/control"
install -m 755 .ci/deb/postinst .ci/deb/prerm .ci/deb/postrm "$tree/DEBIAN"
(cd "$tree" && find usr -type f | LC_ALL=C sort | xargs -d '\n' md5sum) >"$tree/DEBIAN/md5sums"
find "$tree" -exec touch -hd "@$made" {} +
SOURCE_DATE_EPOCH=$made dpkg-deb --root-owner-group -Zxz --build "$tree" target/deb >/dev/null
echo "target/deb/$name.deb"
