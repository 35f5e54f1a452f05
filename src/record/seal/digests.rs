//! The manifest of a run's folder, `digests.sha256`: one line a file, digest and name, in the form that `sha256sum --check`
//! reads; sorted by name. It is what the bench signs and what the next seal names, so that standard tools prove all of it.

use super::super::writer::is_inside;
use sha2::{Digest, Sha256};
use std::collections::BTreeMap;
use std::io::{self, Read};

/// The manifest's name in a run's folder.
pub const DIGESTS: &str = "digests.sha256";

/// Digests in hexadecimal by name.
pub type Digests = BTreeMap<String, String>;

/// The manifest's text.
pub fn to_text(digests: &Digests) -> String {
    digests.iter().map(|(name, digest)| format!("{digest}  {name}\n")).collect()
}

/// The lines of a manifest that can be understood. That it is what was written is for its reader to prove.
pub fn from_bytes(bytes: &[u8]) -> Digests {
    let text = String::from_utf8_lossy(bytes);
    let line = |line: &str| {
        let (digest, name) = line.split_once("  ")?;
        let is_right = is_digest(digest) && is_inside(name);
        is_right.then(|| (name.to_owned(), digest.to_owned()))
    };
    text.lines().filter_map(line).collect()
}

/// Whether a text is a SHA-256 as it is written here.
pub fn is_digest(text: &str) -> bool {
    text.len() == 64 && text.bytes().all(|byte| matches!(byte, b'0'..=b'9' | b'a'..=b'f'))
}

/// SHA-256 in hexadecimal (FIPS 180-4), as `sha256sum` prints it.
pub fn digest(bytes: &[u8]) -> String {
    hexadecimal(&Sha256::digest(bytes))
}

/// The same of what can be read, with its length. Captures may be larger than memory, so it is taken in pieces.
///
/// # Errors
/// What the reader says.
pub fn digest_of(mut from: impl Read) -> io::Result<(String, u64)> {
    let mut sha = Sha256::new();
    let mut piece = vec![0; 64 * 1024];
    let mut length = 0;
    loop {
        match from.read(&mut piece) {
            Ok(0) => return Ok((hexadecimal(&sha.finalize()), length)),
            Ok(read) => {
                sha.update(&piece[..read]);
                length += read as u64;
            }
            Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
            Err(error) => return Err(error),
        }
    }
}

pub fn hexadecimal(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The messages of the standard's examples: three letters, 448 bits, 896 bits, a million letters, and nothing.
    // Outside: SHA-256 of "abc" and of the two- and many-block messages, FIPS 180-4; how: package OpenSSL (Python's hashlib gives the same)
    #[test]
    fn the_standards_digests() {
        let million = "a".repeat(1_000_000);
        for (message, expected) in [
            ("abc", "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"),
            (
                "abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq",
                "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1",
            ),
            (
                "abcdefghbcdefghicdefghijdefghijkefghijklfghijklmghijklmnhijklmnoijklmnopjklmnopqklmnopqrlmnopqrsmnopqrstnopqrstu",
                "cf5b16a778af8380036ce59e7b0492370b249b11e8f07a51afac45037afee9d1",
            ),
            (&million, "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0"),
            ("", "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"),
        ] {
            assert_eq!(digest(message.as_bytes()), expected);
            let read = digest_of(message.as_bytes()).expect("memory can be read");
            assert_eq!(read, (expected.to_owned(), message.len() as u64));
        }
    }

    /// Messages of 24 and 512 bits.
    // Outside: SHA-256 of short messages, NIST's cryptographic algorithm validation programme; how: package cryptography_vectors 44.0.0, SHA256ShortMsg.rsp
    #[test]
    fn digests_of_the_validation_programme() {
        let bytes = |text: &str| -> Vec<u8> {
            let pair = |at: usize| u8::from_str_radix(&text[at..at + 2], 16).expect("hexadecimal");
            (0..text.len()).step_by(2).map(pair).collect()
        };
        for (message, expected) in [
            ("b4190e", "dff2e73091f6c05e528896c4c831b9448653dc2ff043528f6769437bc7b975c2"),
            (
                "5a86b737eaea8ee976a0a24da63e7ed7eefad18a101c1211e2b3650c5187c2a8a650547208251f6d4237e661c7bf4c77f335390394c37fa1\
                 a9f9be836ac28509",
                "42e61e174fbb3897d6dd6cef3dd2802fe67b331953b06114a65c772859dfc1aa",
            ),
        ] {
            assert_eq!(digest(&bytes(message)), expected);
        }
    }

    #[test]
    fn a_manifest_comes_back_without_the_lines_that_lead_elsewhere() {
        let digests: Digests =
            [("record.json", digest(b"a")), ("captures/run.capture", digest(b"b"))].map(|(n, d)| (n.into(), d)).into();
        let text = to_text(&digests);
        assert!(text.lines().next().is_some_and(|line| line.ends_with("  captures/run.capture")));
        assert_eq!(from_bytes(text.as_bytes()), digests);
        let strange =
            format!("{text}{0}  ../../etc/passwd\n{0}  /etc/passwd\n{0} one-space\nABC  short\n\n", digest(b"c"));
        assert_eq!(from_bytes(strange.as_bytes()), digests);
    }
}
