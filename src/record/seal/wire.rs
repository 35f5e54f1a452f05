//! The forms that OpenSSH writes keys and signatures in: counted strings, and base64 between two lines.

use base64::Engine;
use base64::engine::general_purpose::STANDARD;

/// Characters of base64 in a line, as OpenSSH writes them.
const WIDTH: usize = 70;

/// Adds a counted string (RFC 4251, 5).
pub fn put(into: &mut Vec<u8>, string: &[u8]) {
    let length = u32::try_from(string.len()).expect("names, keys and digests are short");
    into.extend(length.to_be_bytes());
    into.extend(string);
}

/// What is left to be read.
pub struct Wire<'a>(pub &'a [u8]);

impl<'a> Wire<'a> {
    /// So many bytes.
    pub fn take(&mut self, count: usize) -> Option<&'a [u8]> {
        let (taken, rest) = self.0.split_at_checked(count)?;
        self.0 = rest;
        Some(taken)
    }

    /// A whole number.
    pub fn number(&mut self) -> Option<u32> {
        self.take(4).and_then(|bytes| bytes.try_into().ok()).map(u32::from_be_bytes)
    }

    /// A counted string.
    pub fn string(&mut self) -> Option<&'a [u8]> {
        let length = self.number()?;
        self.take(usize::try_from(length).ok()?)
    }

    /// The end.
    pub fn end(&self) -> Option<()> {
        self.0.is_empty().then_some(())
    }
}

/// Bytes as text between `-----BEGIN KIND-----` and `-----END KIND-----`.
pub fn armoured(kind: &str, bytes: &[u8]) -> String {
    let text = STANDARD.encode(bytes);
    let mut armour = format!("-----BEGIN {kind}-----\n");
    for line in text.as_bytes().chunks(WIDTH) {
        armour.extend(line.iter().map(|byte| char::from(*byte)));
        armour.push('\n');
    }
    armour + "-----END " + kind + "-----\n"
}

/// The bytes in such a text.
pub fn bared(kind: &str, text: &[u8]) -> Option<Vec<u8>> {
    let text = std::str::from_utf8(text).ok()?;
    let inside = text.trim_end().strip_prefix(&format!("-----BEGIN {kind}-----"))?;
    let inside = inside.strip_suffix(&format!("-----END {kind}-----"))?;
    let plain: String = inside.split_ascii_whitespace().collect();
    STANDARD.decode(plain).ok()
}
