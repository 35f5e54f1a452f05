//! The file of a bench's key: OpenSSH's own private key format (PROTOCOL.key of its sources), without a passphrase, since a
//! bench signs while nobody is there. Only its owner may read it.

use super::check_bench;
use super::key::{BenchKey, KIND};
use super::wire::{Wire, armoured, bared, put};
use rustix::rand::{GetRandomFlags, getrandom};
use std::fs::{DirBuilder, File, OpenOptions};
use std::io::{self, Read, Write};
use std::os::unix::fs::{DirBuilderExt, MetadataExt, OpenOptionsExt};
use std::path::{Path, PathBuf};

const ARMOUR: &str = "OPENSSH PRIVATE KEY";
const MAGIC: &[u8] = b"openssh-key-v1\0";
/// The private part is filled up to whole blocks of the cipher, here of none.
const BLOCK: usize = 8;
/// No key of this kind is longer.
const BYTES_MAX: u64 = 16_384;
/// What others must not have.
const OTHERS: u32 = 0o077;

/// Why a key cannot be had.
#[derive(Debug, thiserror::Error)]
pub enum KeyError {
    #[error("{}: this key cannot be read: {said}", path.display())]
    Unreadable { path: PathBuf, said: io::Error },
    #[error("{}: others than its owner can reach this key; if nobody did, give it to its owner alone with `chmod 600`", path.display())]
    Exposed { path: PathBuf },
    #[error("{}: {why}", path.display())]
    Wrong { path: PathBuf, why: String },
    #[error("{}: this key cannot be written: {said}", path.display())]
    Unwritable { path: PathBuf, said: io::Error },
}

/// Makes a key and its file, which must not be there.
///
/// # Errors
/// Where something stands there, or the disk refuses.
pub fn make(path: &Path, bench: &str) -> Result<BenchKey, KeyError> {
    let unwritable = |said: io::Error| KeyError::Unwritable { path: path.to_owned(), said };
    check_bench(bench).map_err(|why| KeyError::Wrong { path: path.to_owned(), why })?;
    let key = BenchKey::new(bench, &chance().map_err(unwritable)?);
    let check = chance().map_err(unwritable)?;
    if let Some(folder) = path.parent().filter(|folder| !folder.as_os_str().is_empty()) {
        DirBuilder::new().recursive(true).mode(0o700).create(folder).map_err(unwritable)?;
    }
    let mut file = OpenOptions::new().write(true).create_new(true).mode(0o600).open(path).map_err(unwritable)?;
    let text = to_text(&key, [check[0], check[1], check[2], check[3]]);
    file.write_all(text.as_bytes()).and_then(|()| file.sync_all()).map_err(unwritable)?;
    Ok(key)
}

/// Reads a key that its owner alone can read.
///
/// # Errors
/// Where others can read it, or it is no such key.
pub fn load(path: &Path) -> Result<BenchKey, KeyError> {
    let unreadable = |said: io::Error| KeyError::Unreadable { path: path.to_owned(), said };
    let file = File::open(path).map_err(unreadable)?;
    if file.metadata().map_err(unreadable)?.mode() & OTHERS != 0 {
        return Err(KeyError::Exposed { path: path.to_owned() });
    }
    let mut text = Vec::new();
    file.take(BYTES_MAX).read_to_end(&mut text).map_err(unreadable)?;
    from_text(&text).map_err(|why| KeyError::Wrong { path: path.to_owned(), why })
}

/// Bytes that nobody can guess.
fn chance() -> io::Result<[u8; 32]> {
    let mut bytes = [0; 32];
    let mut filled = 0;
    while filled < bytes.len() {
        filled += getrandom(&mut bytes[filled..], GetRandomFlags::empty())?;
    }
    Ok(bytes)
}

/// `check` stands twice in the private part, for a passphrase to be told as wrong; it is any number.
fn to_text(key: &BenchKey, check: [u8; 4]) -> String {
    let public = key.public();
    let mut private = [check, check].concat();
    put(&mut private, KIND.as_bytes());
    put(&mut private, &public.to_bytes());
    put(&mut private, &[key.secret(), public.to_bytes()].concat());
    put(&mut private, key.bench().as_bytes());
    private.extend((1..).take(private.len().next_multiple_of(BLOCK) - private.len()));
    let mut whole = MAGIC.to_vec();
    for part in [b"none".as_slice(), b"none", b""] {
        put(&mut whole, part);
    }
    whole.extend(1_u32.to_be_bytes());
    put(&mut whole, &public.to_wire());
    put(&mut whole, &private);
    armoured(ARMOUR, &whole)
}

fn from_text(text: &[u8]) -> Result<BenchKey, String> {
    let none = || "this is no private key as OpenSSH keeps them; make one with `railproof key new`".to_owned();
    let whole = bared(ARMOUR, text).ok_or_else(none)?;
    let mut wire = Wire(whole.strip_prefix(MAGIC).ok_or_else(none)?);
    let cipher = wire.string().ok_or_else(none)?;
    if cipher != b"none" {
        let why =
            "this key has a passphrase, and a bench signs while nobody is there; make one with `railproof key new`";
        return Err(why.to_owned());
    }
    private_part(&mut wire).ok_or_else(none)?
}

fn private_part(wire: &mut Wire<'_>) -> Option<Result<BenchKey, String>> {
    let (_kdf, _options, count, _public) = (wire.string()?, wire.string()?, wire.number()?, wire.string()?);
    let mut private = Wire(wire.string()?);
    wire.end()?;
    let checks = (private.number()?, private.number()?);
    let kind = private.string()?;
    if kind != KIND.as_bytes() {
        let kind = String::from_utf8_lossy(kind);
        return Some(Err(format!(
            "this is a key of the kind {kind}; a bench's is {KIND}: `railproof key new` makes one"
        )));
    }
    let (public, secret, bench) = (private.string()?, private.string()?, private.string()?);
    let bench = std::str::from_utf8(bench).ok()?;
    if let Err(why) = check_bench(bench) {
        return Some(Err(format!("the comment of this key does not name a bench: {why}")));
    }
    let key = BenchKey::new(bench, secret.get(..32)?.try_into().ok()?);
    let is_sound = count == 1 && checks.0 == checks.1 && key.public().to_bytes() == *public;
    is_sound.then_some(Ok(key))
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::fs::{self, Permissions};
    use std::os::unix::fs::PermissionsExt;

    #[test]
    fn a_key_that_was_made_is_its_owners_alone_and_comes_back() {
        let folder = tempfile::tempdir().expect("a folder for the test");
        let path = folder.path().join("deep/bench.key");
        let made = make(&path, "bench-3").expect("it can be made");
        let mode = |path: &Path| fs::metadata(path).expect("it is there").mode() & 0o777;
        assert_eq!((mode(&path), mode(path.parent().expect("a folder"))), (0o600, 0o700));
        let loaded = load(&path).expect("it can be read");
        assert_eq!((loaded.public(), loaded.bench()), (made.public(), "bench-3"));
        assert_ne!(make(&folder.path().join("other"), "bench-3").expect("it can be made").public(), made.public());
        // Never over another one.
        assert!(matches!(make(&path, "bench-4"), Err(KeyError::Unwritable { .. })));
        for mode in [0o640, 0o604, 0o620, 0o610, 0o666] {
            fs::set_permissions(&path, Permissions::from_mode(mode)).expect("it is the test's own");
            assert!(matches!(load(&path), Err(KeyError::Exposed { .. })), "{mode:o}");
        }
    }

    #[test]
    fn what_is_no_key_is_told_without_its_content() {
        let key = BenchKey::new("bench-3", &[7; 32]);
        let text = to_text(&key, [1, 2, 3, 4]);
        assert_eq!(from_text(text.as_bytes()).expect("a key").public(), key.public());
        for cut in 0..text.len() - 1 {
            assert!(from_text(&text.as_bytes()[..cut]).is_err(), "cut at {cut}");
        }
        let odd = to_text(&BenchKey::new("no name", &[7; 32]), [0; 4]);
        assert!(from_text(odd.as_bytes()).expect_err("no name").contains("does not name a bench"));
        let bent = |change: fn(&mut Vec<u8>)| {
            let mut whole = bared(ARMOUR, text.as_bytes()).expect("armoured");
            change(&mut whole);
            from_text(armoured(ARMOUR, &whole).as_bytes()).expect_err("it was bent")
        };
        assert!(bent(|whole| whole[MAGIC.len() + 4..MAGIC.len() + 8].copy_from_slice(b"aes2")).contains("passphrase"));
        let secret = |whole: &mut Vec<u8>| {
            let at = whole.windows(32).position(|window| window == [7; 32]).expect("the secret");
            whole[at] ^= 1;
        };
        assert!(bent(secret).contains("no private key"));
    }
}
