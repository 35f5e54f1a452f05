//! One block: what stands before a payload, and how it is found again behind damage.

/// What every block begins with.
pub(super) const SYNC: [u8; 4] = *b"\xF5blk";
/// Bytes before the payload.
pub(super) const HEADER_LENGTH: usize = 36;
/// The most bytes of a payload that has been unpacked. A journal is closed long before.
pub(super) const PAYLOAD_LENGTH_MAX: usize = 64 << 20;
/// The most bytes of a column's payload: no transform needs more for its entries.
const COLUMN_PACKED_MAX: usize = 2 << 20;
/// The most bytes of a journal's payload.
const JOURNAL_PACKED_MAX: usize = 16 << 20;

pub(super) const EDGES: u8 = 1;
pub(super) const SAMPLES: u8 = 2;
pub(super) const JOURNAL: u8 = 3;
pub(super) const END: u8 = 4;

/// A block without its payload's bytes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(super) struct Header {
    pub kind: u8,
    pub channel: u8,
    pub encoding: u8,
    pub stretch: u32,
    pub count: u32,
    pub first_tick: u64,
    pub raw_length: u32,
}

/// Appends a whole block.
pub(super) fn write(header: &Header, payload: &[u8], into: &mut Vec<u8>) {
    let start = into.len();
    into.extend_from_slice(&SYNC);
    into.extend_from_slice(&[header.kind, header.channel, header.encoding, 0]);
    into.extend_from_slice(&header.stretch.to_le_bytes());
    into.extend_from_slice(&header.count.to_le_bytes());
    into.extend_from_slice(&header.first_tick.to_le_bytes());
    into.extend_from_slice(&header.raw_length.to_le_bytes());
    into.extend_from_slice(&(payload.len() as u32).to_le_bytes());
    let mut sum = crc32fast::Hasher::new();
    sum.update(&into[start..]);
    sum.update(payload);
    into.extend_from_slice(&sum.finalize().to_le_bytes());
    into.extend_from_slice(payload);
}

/// The header that may stand at the start of `bytes`, and the length of its block; `None` where none can.
pub(super) fn begin(bytes: &[u8]) -> Option<(Header, usize)> {
    let fixed: &[u8; HEADER_LENGTH] = bytes.first_chunk()?;
    if fixed[..4] != SYNC || fixed[7] != 0 {
        return None;
    }
    let header = Header {
        kind: fixed[4],
        channel: fixed[5],
        encoding: fixed[6],
        stretch: u32_at(fixed, 8),
        count: u32_at(fixed, 12),
        first_tick: u64::from(u32_at(fixed, 16)) | u64::from(u32_at(fixed, 20)) << 32,
        raw_length: u32_at(fixed, 24),
    };
    let payload_length = u32_at(fixed, 28) as usize;
    // A damaged length must not make the reader wait for what never comes.
    let longest = match header.kind {
        EDGES | SAMPLES => COLUMN_PACKED_MAX,
        JOURNAL => JOURNAL_PACKED_MAX,
        _ => 0,
    };
    (payload_length <= longest).then_some((header, HEADER_LENGTH + payload_length))
}

/// The payload of a whole block; `None` where its check sum does not hold.
pub(super) fn payload(block: &[u8]) -> Option<&[u8]> {
    let (fixed, payload) = block.split_first_chunk::<HEADER_LENGTH>()?;
    let mut sum = crc32fast::Hasher::new();
    sum.update(&fixed[..32]);
    sum.update(payload);
    (sum.finalize() == u32_at(fixed, 32)).then_some(payload)
}

/// How many bytes to skip to where the next block may begin, at least one.
pub(super) fn distance_to_sync(bytes: &[u8]) -> usize {
    let starts = |at: &usize| bytes[*at..].iter().zip(&SYNC).all(|(byte, sync)| byte == sync);
    (1..bytes.len()).filter(|at| bytes[*at] == SYNC[0]).find(starts).unwrap_or(bytes.len())
}

fn u32_at(bytes: &[u8; HEADER_LENGTH], at: usize) -> u32 {
    u32::from_le_bytes([bytes[at], bytes[at + 1], bytes[at + 2], bytes[at + 3]])
}

#[cfg(test)]
mod tests {
    use super::*;

    /// CRC-32/ISO-HDLC: check value of the ASCII digits 1 to 9. Source: Greg Cook, "Catalogue of parametrised CRC
    /// algorithms" (reveng), entry CRC-32/ISO-HDLC; the same sum as in ISO 3309 and ITU-T V.42, 8.1.1.6.2.
    // Outside: catalogue of parametrised CRC algorithms, CRC-32/ISO-HDLC; how: package zlib (Python's binascii.crc32 gives the same)
    #[test]
    fn the_check_sum_is_the_usual_crc32() {
        assert_eq!(crc32fast::hash(b"123456789"), 0xCBF4_3926);
    }

    #[test]
    fn a_block_is_found_behind_rubbish() {
        let header = Header { kind: EDGES, channel: 3, count: 7, first_tick: 1 << 40, ..Header::default() };
        let mut bytes = b"rubbish \xF5blk and half a sync \xF5b".to_vec();
        let at = bytes.len();
        write(&header, b"payload", &mut bytes);
        let mut found = 0;
        while begin(&bytes[found..]).is_none() {
            found += distance_to_sync(&bytes[found..]);
        }
        assert_eq!((found, begin(&bytes[at..])), (at, Some((header, HEADER_LENGTH + 7))));
        assert_eq!(payload(&bytes[at..]), Some(&b"payload"[..]));
        bytes[at + 20] ^= 1;
        assert_eq!(payload(&bytes[at..]), None);
    }

    #[test]
    fn half_a_sync_at_the_end_is_kept() {
        assert_eq!(distance_to_sync(b"\xF5blk and \xF5b"), 9);
        assert_eq!(distance_to_sync(b"\xF5blk and more"), 13);
    }
}
