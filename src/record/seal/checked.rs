//! JSON with its own check sum as its last field: a file that says of itself whether a byte of it was changed by accident.
//!
//! `check` is the SHA-256 of the file with zeros in the place of the check's own digits. It is no proof against somebody who
//! knows this; that is what the bench's signature is for.

use serde::Serialize;
use serde::de::DeserializeOwned;
use sha2::{Digest, Sha256};

const BEFORE: &str = ",\n  \"check\": \"";
const AFTER: &str = "\"\n}\n";
/// Hexadecimal digits of a SHA-256.
const DIGITS: usize = 64;

/// What is wrong with such a file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Damage {
    /// A byte of it was changed, or it is not such a file at all.
    Changed,
    /// It is whole, but this version does not understand it.
    Unknown,
}

/// The file's text.
pub fn to_text(value: &impl Serialize) -> String {
    let mut text = serde_json::to_string_pretty(value).expect("plain fields are JSON");
    assert!(text.ends_with("\n}"), "an object with fields");
    text.truncate(text.len() - 2);
    let check = check(&text);
    text + BEFORE + &check + AFTER
}

/// What the file says.
///
/// # Errors
/// Where it is not what was written.
pub fn from_bytes<T: DeserializeOwned>(bytes: &[u8]) -> Result<T, Damage> {
    let text = std::str::from_utf8(bytes).map_err(|_| Damage::Changed)?;
    let rest = text.strip_suffix(AFTER).ok_or(Damage::Changed)?;
    let (body, said) = rest.rsplit_once(BEFORE).ok_or(Damage::Changed)?;
    if said != check(body) {
        return Err(Damage::Changed);
    }
    serde_json::from_str(&format!("{body}\n}}")).map_err(|_| Damage::Unknown)
}

fn check(body: &str) -> String {
    let mut sha = Sha256::new();
    for piece in [body, BEFORE, &"0".repeat(DIGITS), AFTER] {
        sha.update(piece);
    }
    super::hexadecimal(&sha.finalize())
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::{Value, json};

    #[test]
    fn what_was_written_comes_back_and_is_json() {
        let value = json!({ "bench": "bench-3", "counter": 17 });
        let text = to_text(&value);
        assert_eq!(from_bytes::<Value>(text.as_bytes()), Ok(value));
        let whole: Value = serde_json::from_str(&text).expect("JSON");
        assert_eq!(whole["check"].as_str().map(str::len), Some(DIGITS));
    }

    #[test]
    fn every_changed_bit_and_every_cut_is_found() {
        let text = to_text(&json!({ "bench": "bench-3", "counter": 17 })).into_bytes();
        for at in 0..text.len() {
            assert_eq!(from_bytes::<Value>(&text[..at]), Err(Damage::Changed), "cut at {at}");
            for bit in 0..8 {
                let mut changed = text.clone();
                changed[at] ^= 1 << bit;
                assert_eq!(from_bytes::<Value>(&changed), Err(Damage::Changed), "byte {at}, bit {bit}");
            }
        }
    }
}
