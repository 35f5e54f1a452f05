//! Numbers as reports print them: a value and its doubt end at the same decimal place, and the doubt has two significant
//! digits (JCGM 100:2008, 7.2.6). The unit holds for both, so that the two stand in parentheses (ISO 80000-1, 7.1.4).

/// The minus sign of print; a hyphen is too short beside digits.
const MINUS: char = '−';
/// Most decimals that are ever printed.
const DECIMALS_MAX: i32 = 12;

/// A value with its expanded uncertainty: `(89.97 ± 0.12) mm/s`; without doubt it stands alone: `0`.
pub fn measured(value: f64, expanded_uncertainty: f64, unit: &str) -> String {
    let doubt = expanded_uncertainty.abs();
    if doubt == 0.0 || !doubt.is_finite() || !value.is_finite() || is_unwieldy(value) || is_unwieldy(doubt) {
        return if doubt == 0.0 { with_unit(&plain(value), unit) } else { both(&plain(value), &plain(doubt), unit) };
    }
    let decimals = decimals_of(doubt);
    both(&rounded(value, decimals), &rounded(doubt, decimals), unit)
}

fn both(value: &str, doubt: &str, unit: &str) -> String {
    if unit.is_empty() { format!("{value} ± {doubt}") } else { format!("({value} ± {doubt}) {unit}") }
}

/// A standard uncertainty by itself, with two significant digits: `0.012`, `5.0 × 10⁻⁶`.
pub fn doubt(value: f64) -> String {
    significant(value, 2)
}

/// A number with so many significant digits, as a power of ten where it is far from one; a whole one stays short.
pub fn significant(value: f64, digits: usize) -> String {
    if value == 0.0 || !value.is_finite() {
        return plain(value);
    }
    if value.fract() == 0.0 && value.abs() < 10f64.powi(digits as i32) {
        return signed(&format!("{value:.0}"));
    }
    let scientific = format!("{value:.*e}", digits.saturating_sub(1));
    let (mantissa, exponent) = scientific.split_once('e').unwrap_or((&scientific, "0"));
    let power: i32 = exponent.parse().unwrap_or(0);
    if (-4..=5).contains(&power) {
        return rounded(value, digits as i32 - 1 - power);
    }
    format!("{} × 10{}", signed(mantissa), superscript(exponent))
}

fn superscript(exponent: &str) -> String {
    const DIGITS: [char; 10] = ['⁰', '¹', '²', '³', '⁴', '⁵', '⁶', '⁷', '⁸', '⁹'];
    exponent.chars().map(|sign| sign.to_digit(10).map_or('⁻', |digit| DIGITS[digit as usize])).collect()
}

/// A value rounded to the decimal place at which its doubt ends.
pub fn beside(value: f64, expanded_uncertainty: f64) -> String {
    let doubt = expanded_uncertainty.abs();
    if doubt == 0.0 || !doubt.is_finite() || is_unwieldy(value) || is_unwieldy(doubt) {
        return plain(value);
    }
    rounded(value, decimals_of(doubt))
}

/// A number by itself, as short as nine significant digits allow.
pub fn plain(value: f64) -> String {
    if value.is_nan() {
        return "not a number".into();
    }
    if value.is_infinite() || is_unwieldy(value) {
        return signed(&format!("{value:.3e}"));
    }
    if value == 0.0 {
        return "0".into();
    }
    let decimals = (8 - exponent(value)).clamp(0, DECIMALS_MAX);
    let digits = format!("{value:.*}", decimals as usize);
    let short = if digits.contains('.') { digits.trim_end_matches('0').trim_end_matches('.') } else { &digits };
    signed(if short == "-0" { "0" } else { short })
}

/// A number with the unit that follows it; a count has none.
pub fn with_unit(number: &str, unit: &str) -> String {
    if unit.is_empty() { number.to_owned() } else { format!("{number} {unit}") }
}

/// Tolerance limits in words: `87.3 to 92.7 mm/s`, `at most 3 mm`, `exactly 0`.
pub fn limits(lower: Option<f64>, upper: Option<f64>, unit: &str) -> String {
    match (lower, upper) {
        (Some(lower), Some(upper)) if lower == upper => format!("exactly {}", with_unit(&plain(lower), unit)),
        (Some(lower), Some(upper)) => format!("{} to {}", plain(lower), with_unit(&plain(upper), unit)),
        (Some(lower), None) => format!("at least {}", with_unit(&plain(lower), unit)),
        (None, Some(upper)) => format!("at most {}", with_unit(&plain(upper), unit)),
        (None, None) => "no limit".into(),
    }
}

/// A probability as a percentage that never claims certainty: `more than 99.9 %`.
pub fn percentage(probability: f64) -> String {
    let percent = probability * 100.0;
    if percent > 99.9 {
        "more than 99.9 %".into()
    } else if percent < 0.1 {
        "less than 0.1 %".into()
    } else {
        format!("{} %", rounded(percent, 1).trim_end_matches(".0"))
    }
}

/// The same for a table, where room is dear: `> 99.9 %`.
pub fn short_percentage(probability: f64) -> String {
    percentage(probability).replace("more than", ">").replace("less than", "<")
}

/// A duration in the two largest of hours, minutes and seconds: `5 min 5 s`.
pub fn duration(seconds: f64) -> String {
    if !seconds.is_finite() || !(0.0..1e9).contains(&seconds) {
        return with_unit(&plain(seconds), "s");
    }
    if seconds < 10.0 {
        return format!("{} s", rounded(seconds, 1));
    }
    let whole = seconds.round() as u64;
    match (whole / 3600, whole / 60 % 60, whole % 60) {
        (0, 0, seconds) => format!("{seconds} s"),
        (0, minutes, seconds) => format!("{minutes} min {seconds} s"),
        (hours, minutes, _) => format!("{hours} h {minutes} min"),
    }
}

/// Decimals at which two significant digits of a doubt end; negative for tens and hundreds.
fn decimals_of(doubt: f64) -> i32 {
    let decimals = 1 - exponent(doubt);
    let scaled = (doubt * 10f64.powi(decimals)).round();
    (if scaled >= 100.0 { decimals - 1 } else { decimals }).min(DECIMALS_MAX)
}

/// A number to a decimal place; a negative one is of tens and hundreds.
pub fn rounded(value: f64, decimals: i32) -> String {
    if decimals >= 0 {
        let digits = format!("{value:.*}", decimals as usize);
        let is_zero = digits.trim_start_matches('-').chars().all(|digit| digit == '0' || digit == '.');
        return signed(if is_zero { digits.trim_start_matches('-') } else { &digits });
    }
    let step = 10f64.powi(-decimals);
    signed(&format!("{:.0}", (value / step).round() * step + 0.0))
}

fn exponent(value: f64) -> i32 {
    value.abs().log10().floor() as i32
}

fn is_unwieldy(value: f64) -> bool {
    value != 0.0 && !(1e-9..1e12).contains(&value.abs())
}

fn signed(digits: &str) -> String {
    digits.replace('-', &MINUS.to_string())
}

#[cfg(test)]
mod tests {
    use super::*;

    // Outside: JCGM 100:2008, 7.2.6 (10.057 62 Ω with 27 mΩ is 10.058 Ω) and 7.2.4 (100.021 47 g ± 0.000 79 g); how: from memory
    #[test]
    fn examples_of_the_guide() {
        assert_eq!(measured(10.05762, 0.027, "Ω"), "(10.058 ± 0.027) Ω");
        assert_eq!(measured(100.021_47, 0.000_79, "g"), "(100.02147 ± 0.00079) g");
        assert_eq!(doubt(28.05), "28");
    }

    #[test]
    fn a_value_ends_where_its_doubt_ends() {
        assert_eq!(measured(89.9412, 0.0612, "mm/s"), "(89.941 ± 0.061) mm/s");
        assert_eq!(measured(1234.5, 123.0, "mV"), "(1230 ± 120) mV");
        assert_eq!(measured(5.0, 0.0996, ""), "5.00 ± 0.10");
        assert_eq!(measured(-0.0001, 0.12, "%"), "(0.00 ± 0.12) %");
        assert_eq!(measured(-3.2, 0.5, "K"), "(−3.20 ± 0.50) K");
    }

    #[test]
    fn significant_digits_far_from_one_have_a_power_of_ten() {
        for (value, digits, expected) in [
            (0.01234, 2, "0.012"),
            (0.0996, 2, "0.10"),
            (5e-6, 2, "5.0 × 10⁻⁶"),
            (-1.2345e12, 3, "−1.23 × 10¹²"),
            (1.0, 3, "1"),
            (-89.96, 3, "−90.0"),
            (123.4, 2, "120"),
            (0.0, 2, "0"),
        ] {
            assert_eq!(significant(value, digits), expected, "{value}");
        }
    }

    #[test]
    fn a_count_has_neither_doubt_nor_unit() {
        assert_eq!(measured(0.0, 0.0, ""), "0");
        assert_eq!(measured(44.0, 0.0, ""), "44");
    }

    #[test]
    fn limits_read_as_words() {
        assert_eq!(limits(Some(90.0 * 0.97), Some(90.0 * 1.03), "mm/s"), "87.3 to 92.7 mm/s");
        assert_eq!(limits(None, Some(0.0), ""), "at most 0");
        assert_eq!(limits(Some(6.2), None, "V"), "at least 6.2 V");
        assert_eq!(limits(Some(6.0), Some(6.0), ""), "exactly 6");
    }

    #[test]
    fn extreme_numbers_stay_short() {
        for value in [f64::MAX, f64::MIN_POSITIVE, -1e300, f64::INFINITY, f64::NAN, 1e-12, 123456789.123] {
            for doubt in [0.0, 1e-300, 1e300, f64::INFINITY, 3.0] {
                assert!(measured(value, doubt, "mm").chars().count() < 40, "{value} {doubt}");
            }
        }
    }

    #[test]
    fn a_probability_never_claims_certainty() {
        assert_eq!(percentage(1.0), "more than 99.9 %");
        assert_eq!(percentage(0.0), "less than 0.1 %");
        assert_eq!(percentage(0.9332), "93.3 %");
        assert_eq!(percentage(0.5), "50 %");
    }

    #[test]
    fn durations_have_two_units_at_most() {
        assert_eq!(duration(4.25), "4.2 s");
        assert_eq!(duration(304.6), "5 min 5 s");
        assert_eq!(duration(7384.0), "2 h 3 min");
    }
}
