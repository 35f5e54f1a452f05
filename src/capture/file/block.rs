//! One block: what stands before a payload, and how it is found again behind damage.

/// What every block begins with.
pub(super) const SYNC: [u8; 4] = *b"\xF5blk";
/// Bytes before the payload.
pub(super) const HEADER_LENGTH: usize = 36;
/// The most bytes of a payload, packed or not. A journal is closed long before.
pub(super) const PAYLOAD_LENGTH_MAX: usize = 64 << 20;

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

/// The block at the start of `bytes`, its payload and its whole length; `None` where no undamaged block starts.
pub(super) fn parse(bytes: &[u8]) -> Option<(Header, &[u8], usize)> {
    let fixed: &[u8; HEADER_LENGTH] = bytes.first_chunk()?;
    if fixed[..4] != SYNC || fixed[7] != 0 {
        return None;
    }
    let payload_length = u32_at(fixed, 28) as usize;
    let length = HEADER_LENGTH + payload_length;
    let payload = bytes.get(HEADER_LENGTH..length)?;
    let header = Header {
        kind: fixed[4],
        channel: fixed[5],
        encoding: fixed[6],
        stretch: u32_at(fixed, 8),
        count: u32_at(fixed, 12),
        first_tick: u64::from(u32_at(fixed, 16)) | u64::from(u32_at(fixed, 20)) << 32,
        raw_length: u32_at(fixed, 24),
    };
    let mut sum = crc32fast::Hasher::new();
    sum.update(&fixed[..32]);
    sum.update(payload);
    (sum.finalize() == u32_at(fixed, 32)).then_some((header, payload, length))
}

/// How many bytes to skip to the next undamaged block; all of them where there is none.
pub(super) fn distance_to_next(bytes: &[u8]) -> usize {
    (0..bytes.len())
        .filter(|&at| bytes[at] == SYNC[0] && bytes[at..].starts_with(&SYNC))
        .find(|&at| parse(&bytes[at..]).is_some())
        .unwrap_or(bytes.len())
}

/// The payload without its compression, or what is wrong with it.
pub(super) fn unpack(header: &Header, payload: &[u8]) -> Result<Vec<u8>, String> {
    let length = header.raw_length as usize;
    if length > PAYLOAD_LENGTH_MAX {
        return Err(format!("it claims {length} bytes"));
    }
    let raw = zstd::bulk::decompress(payload, length).map_err(|error| format!("it does not unpack: {error}"))?;
    if raw.len() == length { Ok(raw) } else { Err(format!("it holds {} bytes instead of {length}", raw.len())) }
}

fn u32_at(bytes: &[u8; HEADER_LENGTH], at: usize) -> u32 {
    u32::from_le_bytes([bytes[at], bytes[at + 1], bytes[at + 2], bytes[at + 3]])
}

#[cfg(test)]
mod tests {
    use super::*;

    /// CRC-32/ISO-HDLC: check value of the ASCII digits 1 to 9. Source: Greg Cook, "Catalogue of parametrised CRC
    /// algorithms" (reveng), entry CRC-32/ISO-HDLC; the same sum as in ISO 3309 and ITU-T V.42, 8.1.1.6.2.
    // Outside: catalogue of parametrised CRC algorithms, CRC-32/ISO-HDLC; how: package crc32fast, value from memory
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
        assert_eq!(parse(&bytes), None);
        assert_eq!(distance_to_next(&bytes), at);
        assert_eq!(parse(&bytes[at..]), Some((header, &b"payload"[..], HEADER_LENGTH + 7)));
    }
}
