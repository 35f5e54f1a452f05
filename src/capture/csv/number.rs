//! Decimal numbers as tables have them, to the nanosecond and not to the nearest double.

/// The most digits that are looked at; a time has fewer, and 10^30 still fits.
const DIGITS_MAX: usize = 30;

/// A decimal number: `digits × 10^power`, and how many digits stood behind its point.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Decimal {
    digits: i128,
    power: i32,
}

impl Decimal {
    /// Reads `-1.25`, `1,25` where `comma`, `3e-6`.
    #[inline]
    pub fn parse(text: &[u8], comma: bool) -> Option<Self> {
        let (is_negative, text) = match text {
            [b'-', rest @ ..] => (true, rest),
            [b'+', rest @ ..] => (false, rest),
            rest => (false, rest),
        };
        let (mut digits, mut count, mut behind, mut seen_point) = (0i128, 0, 0, false);
        let mut exponent = 0;
        for (index, byte) in text.iter().enumerate() {
            match byte {
                b'0'..=b'9' => {
                    count += 1;
                    if count > DIGITS_MAX {
                        return None;
                    }
                    digits = digits * 10 + i128::from(byte - b'0');
                    behind += i32::from(seen_point);
                }
                b'.' if !seen_point => seen_point = true,
                b',' if comma && !seen_point => seen_point = true,
                b'e' | b'E' if count > 0 => {
                    let rest = std::str::from_utf8(&text[index + 1..]).ok()?;
                    exponent = rest.parse::<i32>().ok().filter(|power| power.abs() <= 300)?;
                    break;
                }
                _ => return None,
            }
        }
        let digits = if is_negative { -digits } else { digits };
        (count > 0).then_some(Self { digits, power: exponent - behind })
    }

    /// The nearest whole number of 10^`unit`; `None` beyond 2^62.
    #[inline]
    pub fn whole(self, unit: i32) -> Option<i64> {
        let shift = self.power - unit;
        let whole = if self.digits == 0 {
            0
        } else if shift >= 0 {
            10i128.checked_pow(shift as u32).and_then(|power| self.digits.checked_mul(power))?
        } else if shift < -(DIGITS_MAX as i32) - 1 {
            0
        } else {
            let power = 10i128.pow(-shift as u32);
            (self.digits + self.digits.signum() * (power / 2)) / power
        };
        i64::try_from(whole).ok().filter(|whole| whole.unsigned_abs() < 1 << 62)
    }

    /// The power of ten of its last digit.
    pub fn last_place(self) -> i32 {
        self.power
    }
}

/// A number as a double, with a point or, where `comma`, a comma.
pub fn real(text: &[u8], comma: bool) -> Option<f64> {
    let text = std::str::from_utf8(text).ok()?;
    match comma {
        true if text.contains(',') => text.replacen(',', ".", 1).parse().ok(),
        _ => text.parse().ok(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_are_exact_to_the_nanosecond() {
        let whole = |text: &str| Decimal::parse(text.as_bytes(), true).and_then(|number| number.whole(-9));
        assert_eq!(whole("0"), Some(0));
        assert_eq!(whole("123456.789012345"), Some(123_456_789_012_345));
        assert_eq!(whole("-0,5"), Some(-500_000_000));
        assert_eq!(whole("1.0000000015"), Some(1_000_000_002));
        assert_eq!(whole("2.5e-6"), Some(2500));
        assert_eq!(whole("+1E3"), Some(1_000_000_000_000));
        assert_eq!(whole("1e-300"), Some(0));
        assert_eq!(whole("1e300"), None);
        for wrong in
            ["", "-", ".", "1.2.3", "1e", "e5", "1,2,3", "nan", "0x1", "1 2", "9999999999999999999999999999999"]
        {
            assert_eq!(whole(wrong), None, "{wrong}");
        }
        assert_eq!(Decimal::parse(b"1,5", false), None);
    }
}
