//! How far a reading is in doubt on either side.

use crate::measure::{ROUNDING, rounding_of_a_mean};
use crate::quantity::{Dimension, Misread, Quantity};

/// A standard uncertainty of a reference: the same everywhere, or a part of what it says.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Doubt {
    /// In the unit of the reference, SI.
    Absolute(f64),
    /// A part of the value.
    Relative(f64),
}

impl Doubt {
    /// Reads `1 mV` or `0.02 %`. Where the reference is a ratio itself, a ratio is absolute.
    ///
    /// # Errors
    /// Where it is neither, or negative.
    pub fn parse(text: &str, difference: Dimension) -> Result<Self, Misread> {
        let doubt = match Quantity::parse(text, difference) {
            Ok(absolute) => Self::Absolute(absolute.si()),
            Err(misread) => match Quantity::parse(text, Dimension::Ratio) {
                Ok(relative) => Self::Relative(relative.si()),
                Err(_) => return Err(misread),
            },
        };
        let (Self::Absolute(size) | Self::Relative(size)) = doubt;
        if size < 0.0 {
            let right = "write a standard uncertainty, which is not negative".to_owned();
            return Err(Misread { what: format!("`{}` is no uncertainty", text.trim()), right });
        }
        Ok(doubt)
    }

    /// At a value of the reference, in its unit.
    pub fn at(self, reference: f64) -> f64 {
        match self {
            Self::Absolute(size) => size,
            Self::Relative(part) => part * reference.abs(),
        }
    }
}

/// Standard uncertainty of what the jig counted: the mean of `readings` whole numbers that scattered by `scatter`, whose
/// rounding is left in it as far as the noise does not smooth it. Of a single one the rounding is all that is known.
pub fn reading_uncertainty(scatter: Option<f64>, readings: f64) -> f64 {
    let Some(scatter) = scatter else { return ROUNDING.sqrt() };
    let noise = (scatter * scatter - ROUNDING).max(0.0);
    (scatter * scatter / readings).sqrt().hypot(rounding_of_a_mean(noise))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_doubt_is_absolute_or_a_part() {
        let volts = |text| Doubt::parse(text, Dimension::Voltage);
        assert_eq!(volts("1 mV"), Ok(Doubt::Absolute(1e-3)));
        assert_eq!(volts("0.02 %"), Ok(Doubt::Relative(2e-4)));
        assert_eq!(Doubt::parse("0.5 %", Dimension::Ratio), Ok(Doubt::Absolute(5e-3)));
        assert_eq!(Doubt::Relative(1e-3).at(-8.0), 8e-3);
        for wrong in ["-1 mV", "-1 %", "1", "1 s", "inf V", ""] {
            assert!(volts(wrong).is_err(), "{wrong}");
        }
    }

    #[test]
    fn many_noisy_readings_are_better_than_one_and_many_still_ones_are_not() {
        let one = reading_uncertainty(None, 1.0);
        assert!((one - 12f64.sqrt().recip()).abs() < 1e-12);
        assert_eq!(reading_uncertainty(Some(0.0), 500.0), one);
        assert!(reading_uncertainty(Some(1.0), 400.0) < 0.051);
    }
}
