//! Numbers of any size in as few bytes as they need, signed ones folded so that small ones stay small.

/// Appends a number, seven bits a byte, lowest first, the high bit set on all bytes but the last.
#[inline]
pub(super) fn put(mut value: u64, into: &mut Vec<u8>) {
    while value >= 0x80 {
        into.push(value as u8 | 0x80);
        value >>= 7;
    }
    into.push(value as u8);
}

/// Takes a number from the front of `bytes`.
#[inline]
pub(super) fn take(bytes: &mut &[u8]) -> Result<u64, String> {
    let mut value = 0;
    for shift in (0..64).step_by(7) {
        let (&byte, rest) = bytes.split_first().ok_or("it is cut short")?;
        *bytes = rest;
        value |= u64::from(byte & 0x7F) << shift;
        if byte < 0x80 {
            return Ok(value);
        }
    }
    Err("it has a number without an end".to_owned())
}

/// 0, -1, 1, -2 … as 0, 1, 2, 3 …
#[inline]
pub(super) const fn zig_zag(value: i64) -> u64 {
    (value << 1 ^ value >> 63) as u64
}

/// The way back.
#[inline]
pub(super) const fn un_zig_zag(value: u64) -> i64 {
    (value >> 1) as i64 ^ -((value & 1) as i64)
}

#[cfg(test)]
mod tests {
    use super::*;

    // Outside: Protocol Buffers documentation, "Encoding", "Signed Integers", ZigZag table; how: from memory
    #[test]
    fn zig_zag_is_the_usual_one() {
        for (signed, mapped) in
            [(0, 0), (-1, 1), (1, 2), (-2, 3), (0x7FFF_FFFF, 0xFFFF_FFFE), (-0x8000_0000, 0xFFFF_FFFF)]
        {
            assert_eq!(zig_zag(signed), mapped);
            assert_eq!(un_zig_zag(mapped), signed);
        }
        assert_eq!(un_zig_zag(zig_zag(i64::MIN)), i64::MIN);
    }

    // Outside: 150 is 96 01, Protocol Buffers documentation, "Encoding", section "A Simple Message"; how: from memory
    #[test]
    fn varints_are_the_usual_ones() {
        let mut bytes = Vec::new();
        put(150, &mut bytes);
        put(u64::MAX, &mut bytes);
        assert_eq!(bytes[..2], [0x96, 0x01]);
        let mut rest = &bytes[..];
        assert_eq!((take(&mut rest), take(&mut rest), rest.len()), (Ok(150), Ok(u64::MAX), 0));
        assert!(take(&mut rest).is_err());
        assert!(take(&mut &[0x80; 11][..]).is_err());
    }
}
