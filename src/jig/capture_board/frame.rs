//! Frames of the capture board's link: byte stuffing, sequence numbers, check sums.

/// The most bytes of a frame before stuffing.
pub const FRAME_LENGTH_MAX: usize = 250;
/// Bytes of a frame that are not payload: type, sequence number, check sum.
const OVERHEAD: usize = 5;

/// An undamaged frame.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Frame {
    /// What it is.
    pub kind: u8,
    /// Its number among the sender's frames.
    pub sequence: u16,
    /// What it says.
    pub payload: Vec<u8>,
}

impl Frame {
    /// Appends the frame as bytes for the link. The payload has at most 245 bytes.
    pub fn write(&self, into: &mut Vec<u8>) {
        assert!(self.payload.len() + OVERHEAD <= FRAME_LENGTH_MAX, "a frame has at most {FRAME_LENGTH_MAX} bytes");
        let mut body = Vec::with_capacity(FRAME_LENGTH_MAX);
        body.push(self.kind);
        body.extend_from_slice(&self.sequence.to_le_bytes());
        body.extend_from_slice(&self.payload);
        body.extend_from_slice(&check_sum(&body).to_le_bytes());
        into.extend_from_slice(&cobs::encode_vec(&body));
        into.push(0);
    }
}

/// What is wrong with the bytes between two ends of frames.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum Damage {
    /// No sender makes so long a frame.
    #[error("a frame without an end")]
    TooLong,
    /// The stuffing is broken, or there is too little in it.
    #[error("a mangled frame")]
    Mangled,
    /// The check sum does not fit.
    #[error("a frame with a wrong check sum")]
    WrongSum,
}

/// Cuts what arrives into frames.
#[derive(Debug, Default)]
pub struct Splitter {
    pending: Vec<u8>,
    overlong: bool,
}

impl Splitter {
    /// Takes bytes as they arrived and hands every frame, or what was wrong with it, to `found`.
    pub fn take(&mut self, bytes: &[u8], mut found: impl FnMut(Result<Frame, Damage>)) {
        let mut rest = bytes;
        while let Some(end) = rest.iter().position(|&byte| byte == 0) {
            self.keep(&rest[..end]);
            rest = &rest[end + 1..];
            if std::mem::take(&mut self.overlong) {
                found(Err(Damage::TooLong));
            } else if !self.pending.is_empty() {
                found(parse(&self.pending));
            }
            self.pending.clear();
        }
        self.keep(rest);
    }

    fn keep(&mut self, bytes: &[u8]) {
        if self.pending.len() + bytes.len() > FRAME_LENGTH_MAX + 1 {
            self.overlong = true;
            self.pending.clear();
        }
        if !self.overlong {
            self.pending.extend_from_slice(bytes);
        }
    }
}

fn parse(stuffed: &[u8]) -> Result<Frame, Damage> {
    let mut body = [0; FRAME_LENGTH_MAX + 1];
    let length = cobs::decode(stuffed, &mut body).map_err(|_| Damage::Mangled)?.frame_size();
    let Some((content, sum)) = body[..length].split_last_chunk::<2>() else { return Err(Damage::Mangled) };
    let [kind, low, high, payload @ ..] = content else { return Err(Damage::Mangled) };
    if check_sum(content) != u16::from_le_bytes(*sum) {
        return Err(Damage::WrongSum);
    }
    Ok(Frame { kind: *kind, sequence: u16::from_le_bytes([*low, *high]), payload: payload.to_vec() })
}

/// The 16-bit sum that an 8-bit controller computes in a dozen instructions a byte.
fn check_sum(bytes: &[u8]) -> u16 {
    bytes.iter().fold(0xFFFF, |mut sum, &byte| {
        sum ^= u16::from(byte);
        for _ in 0..8 {
            sum = if sum & 1 == 1 { sum >> 1 ^ 0x8408 } else { sum >> 1 };
        }
        sum
    })
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn split(bytes: &[u8]) -> Vec<Result<Frame, Damage>> {
        let mut found = Vec::new();
        Splitter::default().take(bytes, |frame| found.push(frame));
        found
    }

    /// Check value of CRC-16/MCRF4XX (polynomial 0x1021 reflected, start 0xFFFF, no final inversion). Source: Greg Cook,
    /// "Catalogue of parametrised CRC algorithms" (reveng), entry CRC-16/MCRF4XX.
    // Outside: catalogue of parametrised CRC algorithms, CRC-16/MCRF4XX; how: from memory
    #[test]
    fn the_check_sum_is_the_published_one() {
        assert_eq!(check_sum(b"123456789"), 0x6F91);
    }

    /// The stuffing of 11 22 00 33 is 03 11 22 02 33. Source: Cheshire and Baker, "Consistent overhead byte stuffing",
    /// IEEE/ACM Transactions on Networking 7-2 (1999), section II: a code byte n is followed by n − 1 bytes and stands
    /// for a zero after them.
    // Outside: Cheshire and Baker (1999), consistent overhead byte stuffing; how: from memory
    #[test]
    fn the_stuffing_is_the_published_one() {
        assert_eq!(cobs::encode_vec(&[0x11, 0x22, 0x00, 0x33]), [0x03, 0x11, 0x22, 0x02, 0x33]);
    }

    #[test]
    fn a_frame_has_the_documented_bytes() {
        let mut bytes = Vec::new();
        Frame { kind: 0x04, sequence: 0x0102, payload: vec![0x00, 0x07] }.write(&mut bytes);
        assert_eq!(bytes[..6], [0x04, 0x04, 0x02, 0x01, 0x04, 0x07]);
        assert_eq!((bytes.len(), bytes[8]), (9, 0));
    }

    #[test]
    fn an_endless_frame_is_damage_and_the_next_one_is_read() {
        let mut bytes = vec![0x55; 10_000];
        bytes.push(0);
        let frame = Frame { kind: 1, sequence: 0, payload: vec![1] };
        frame.write(&mut bytes);
        assert_eq!(split(&bytes), [Err(Damage::TooLong), Ok(frame)]);
    }

    #[test]
    fn one_wrong_byte_is_always_noticed() {
        let frame = Frame { kind: 0x83, sequence: 9, payload: (0..40).map(|index| index * 5 % 11).collect() };
        let mut bytes = Vec::new();
        frame.write(&mut bytes);
        for at in 0..bytes.len() {
            for flip in 1..=255 {
                let mut damaged = bytes.clone();
                damaged[at] ^= flip;
                assert!(split(&damaged).iter().all(|found| found.is_err()), "byte {at} changed by {flip:02X}");
            }
        }
    }

    proptest! {
        #[test]
        fn frames_come_back_in_any_pieces(
            payloads in prop::collection::vec(prop::collection::vec(any::<u8>(), 0..=245), 1..8),
            piece in 1..400_usize,
        ) {
            let frames: Vec<Frame> = payloads.into_iter().zip(65_520_u16..).map(|(payload, sequence)| Frame { kind: 0x83, sequence, payload }).collect();
            let mut bytes = Vec::new();
            frames.iter().for_each(|frame| frame.write(&mut bytes));
            let mut splitter = Splitter::default();
            let mut found = Vec::new();
            bytes.chunks(piece).for_each(|piece| splitter.take(piece, |frame| found.push(frame)));
            prop_assert_eq!(found, frames.into_iter().map(Ok).collect::<Vec<_>>());
        }

        #[test]
        fn rubbish_never_panics(bytes in prop::collection::vec(any::<u8>(), 0..2000)) {
            prop_assert!(split(&bytes).len() <= bytes.len());
        }
    }
}
