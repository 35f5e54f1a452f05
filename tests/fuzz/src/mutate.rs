//! What happens to files: bytes change, pieces are cut, doubled, moved and mixed, numbers grow.

use crate::chance::Chance;
use crate::corpus::Kind;

/// Words that readers have to be careful with.
const WORDS: [&[u8]; 24] = [
    b"nan",
    b"inf",
    b"-",
    b"1e300",
    b"-0",
    b"18446744073709551615",
    b"9223372036854775808",
    b"4611686018427387904",
    b"99999999999999999999999",
    b"#",
    b"$end",
    b"$dumpoff",
    b"$dumpon",
    b"$comment ",
    b"b",
    b"bxz01 \"",
    b"r1e400 $",
    b"x!",
    b"\n",
    b"\r\n",
    b"\0",
    b"\xFF\xFE",
    b";;;;",
    b"\"",
];

/// Changes a file a few times; returns whether its check sums were made to hold again, so that no reader can notice.
pub fn mutate(kind: Kind, bytes: &mut Vec<u8>, other: &[u8], chance: &mut Chance) -> bool {
    for _ in 0..=chance.below(4) {
        change(bytes, other, chance);
    }
    // Half of the blocks that were changed get a check sum that holds again, so that what is behind it is reached.
    let seals = kind == Kind::Ours && chance.below(2) == 0;
    if seals {
        seal(bytes);
    }
    seals
}

fn change(bytes: &mut Vec<u8>, other: &[u8], chance: &mut Chance) {
    let from = chance.below(bytes.len());
    let length_max = 1 << chance.below(12);
    let to = (from + chance.below(length_max)).min(bytes.len());
    match chance.below(9) {
        0 => bytes.truncate(from),
        1 => drop(bytes.drain(from..to)),
        2 => {
            let piece = bytes[from..to].to_vec();
            let at = chance.below(bytes.len());
            bytes.splice(at..at, piece);
        }
        3 => {
            let begin = chance.below(other.len());
            let end = (begin + chance.below(2000)).min(other.len());
            bytes.splice(from..to, other[begin..end].iter().copied());
        }
        4 => {
            let word = chance.one(&WORDS);
            bytes.splice(from..from, word.iter().copied());
        }
        5 => {
            // A number in text grows by digits.
            let digits = vec![b'0' + chance.below(10) as u8; 1 + chance.below(20)];
            let at = bytes[from..].iter().position(u8::is_ascii_digit).map_or(from, |found| from + found);
            bytes.splice(at..at, digits);
        }
        6 => bytes[from..to].reverse(),
        _ => {
            if let Some(byte) = bytes.get_mut(from) {
                *byte = if chance.below(2) == 0 { *byte ^ 1 << chance.below(8) } else { chance.below(256) as u8 };
            }
        }
    }
}

/// Gives head and blocks of one of our files check sums that hold.
fn seal(bytes: &mut [u8]) {
    if let Some(head) = bytes.get_mut(..24) {
        let sum = crc32fast::hash(&head[..20]);
        head[20..].copy_from_slice(&sum.to_le_bytes());
    }
    let mut at = 24;
    while at + 36 <= bytes.len() {
        let length = u32::from_le_bytes([bytes[at + 28], bytes[at + 29], bytes[at + 30], bytes[at + 31]]) as usize;
        if !bytes[at..].starts_with(b"\xF5blk") || at + 36 + length > bytes.len() {
            at += 1;
            continue;
        }
        let mut sum = crc32fast::Hasher::new();
        sum.update(&bytes[at..at + 32]);
        sum.update(&bytes[at + 36..at + 36 + length]);
        bytes[at + 32..at + 36].copy_from_slice(&sum.finalize().to_le_bytes());
        at += 36 + length;
    }
}
