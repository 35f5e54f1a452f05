//! Decimal numbers, read exactly and shown with as many digits as mean something.

use super::Misread;

/// A decimal number as written, not yet rounded: its digits with the point, and a power of ten.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Decimal {
    digits: String,
    exponent: i32,
}

impl Decimal {
    /// The number × 10^`power`, rounded once: `90` with −3 gives the `f64` nearest to 0.09.
    pub(super) fn scaled(&self, power: i32) -> f64 {
        format!("{}e{}", self.digits, self.exponent.saturating_add(power)).parse().unwrap_or(f64::NAN)
    }
}

/// Splits a text into the number that it begins with and what comes after it.
pub(super) fn leading(text: &str) -> Result<(Decimal, &str), Misread> {
    let text = text.trim();
    let (sign, unsigned) = match text.chars().next() {
        Some('-' | '\u{2212}') => ("-", text.trim_start_matches(['-', '\u{2212}']).trim_start()),
        Some('+') => ("", text[1..].trim_start()),
        _ => ("", text),
    };
    let length = unsigned.find(|c: char| !c.is_ascii_digit() && c != '.').unwrap_or(unsigned.len());
    let (digits, mut rest) = unsigned.split_at(length);
    if digits.matches('.').count() > 1 || !digits.contains(|c: char| c.is_ascii_digit()) {
        return Err(Misread::new(format!("`{text}` does not begin with a number"), "write a number such as `12.5`"));
    }
    let mut exponent = 0;
    if let Some(after) = rest.strip_prefix(['e', 'E']) {
        let digits_after = after.strip_prefix(['+', '-']).unwrap_or(after);
        let count = digits_after.find(|c: char| !c.is_ascii_digit()).unwrap_or(digits_after.len());
        if count > 0 {
            let end = after.len() - digits_after.len() + count;
            exponent = after[..end].parse().unwrap_or(i32::MAX / 2);
            rest = &after[end..];
        }
    }
    if rest.starts_with([',', '_', '\'']) && rest[1..].starts_with(|c: char| c.is_ascii_digit()) {
        let what = format!("`{text}` has a `{}` in its number", &rest[..1]);
        return Err(Misread::new(what, "write the decimal point as `.` and leave no marks between thousands"));
    }
    Ok((Decimal { digits: format!("{sign}{digits}"), exponent }, rest.trim()))
}

/// A number with at most so many significant digits, without trailing zeros.
pub(super) fn significant(value: f64, digits: i32) -> String {
    if value == 0.0 || !value.is_finite() {
        return if value == 0.0 { "0".into() } else { value.to_string() };
    }
    let text = rounded(value, digits - 1 - exponent(value));
    if !text.contains('.') {
        return text;
    }
    text.trim_end_matches('0').trim_end_matches('.').into()
}

/// The decimal place, counted from the point to the right, at which an uncertainty has two significant digits: two are
/// enough (JCGM 100:2008, 7.2.6). `None` where there is no uncertainty.
pub(super) fn places(uncertainty: f64) -> Option<i32> {
    if !uncertainty.is_finite() || uncertainty <= 0.0 {
        return None;
    }
    let places = 1 - exponent(uncertainty);
    // Rounding may carry into a new digit: 0.0996 is 0.10, not 0.100.
    let carried = (uncertainty * 10f64.powi(places)).round() >= 100.0;
    Some(if carried { places - 1 } else { places })
}

/// A number rounded at a decimal place; places left of the point round to tens, hundreds and so on.
pub(super) fn rounded(value: f64, places: i32) -> String {
    let text = if places >= 0 {
        format!("{value:.*}", places.min(18) as usize)
    } else {
        let step = 10f64.powi(-places);
        format!("{:.0}", (value / step).round() * step)
    };
    let is_zero = !text.contains(|c: char| ('1'..='9').contains(&c));
    if is_zero { text.trim_start_matches('-').into() } else { text }
}

fn exponent(value: f64) -> i32 {
    // The formatter's own exponent is exact where a logarithm may be off by one near a power of ten.
    format!("{:e}", value.abs()).split_once('e').and_then(|(_, exponent)| exponent.parse().ok()).unwrap_or(0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_split_from_what_follows() {
        let read = |text| leading(text).map(|(number, rest)| (number.scaled(0), rest.to_owned()));
        assert_eq!(read("90 mm/s"), Ok((90.0, "mm/s".into())));
        assert_eq!(read("-0.5mm"), Ok((-0.5, "mm".into())));
        assert_eq!(read("\u{2212} 3 K"), Ok((-3.0, "K".into())));
        assert_eq!(read("+.5"), Ok((0.5, "".into())));
        assert_eq!(read("1e-3 m"), Ok((0.001, "m".into())));
        assert_eq!(read("2 e"), Ok((2.0, "e".into())));
        assert_eq!(read("1e"), Ok((1.0, "e".into())));
        for wrong in ["", "fast", "1.2.3 mm", ".", "-", "0,5 mm", "1'000 mm", "1_000", "inf", "NaN"] {
            assert!(leading(wrong).is_err(), "{wrong}");
        }
    }

    #[test]
    fn digits_shown_are_digits_that_mean_something() {
        assert_eq!(significant(90.0, 6), "90");
        assert_eq!(significant(0.1 + 0.2, 6), "0.3");
        assert_eq!(significant(-1234567.8, 3), "-1230000");
        assert_eq!(significant(0.000_123_456_7, 4), "0.0001235");
        assert_eq!(significant(0.0, 4), "0");
        assert_eq!(rounded(-0.004, 2), "0.00");
        assert_eq!(rounded(12_345.0, -1), "12350");
    }

    #[test]
    fn uncertainties_have_two_digits() {
        // JCGM 100:2008, 7.2.6: "it usually suffices to quote uc(y) and U … to at most two significant digits".
        for (uncertainty, expected) in
            [(0.0996, 2), (0.0994, 3), (0.000_35, 5), (2.3, 1), (23.4, 0), (234.0, -1), (99.6, -1)]
        {
            assert_eq!(places(uncertainty), Some(expected), "{uncertainty}");
        }
        assert_eq!(places(0.0), None);
        assert_eq!(places(f64::NAN), None);
    }
}
