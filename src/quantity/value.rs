//! A quantity: a number with its unit.

use super::{Dimension, Misread, Unit, number};
use std::fmt;

/// Beyond this no value on a bench makes sense in any unit; it is a slip of the keyboard.
pub(super) const SI_MAX: f64 = 1e15;

/// A number with its unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Quantity {
    si: f64,
    unit: Unit,
}

impl Quantity {
    /// A value in the SI unit of `unit`'s dimension, to be shown in `unit`.
    pub const fn new(si: f64, unit: Unit) -> Self {
        Self { si, unit }
    }

    /// Reads `90 mm/s`. The unit must be of `dimension`; a [`Dimension::Count`] has none.
    pub fn parse(text: &str, dimension: Dimension) -> Result<Self, Misread> {
        let (number, rest) = number::leading(text).map_err(|error| error.with_example(dimension))?;
        let unit = Unit::after_number(rest, dimension, text.trim())
            .map_err(|error| with_number(error, rest, text, dimension))?;
        let si = unit.exact_si(&number);
        if !si.is_finite() || si.abs() > SI_MAX {
            let what = format!("`{}` is beyond anything on a bench", text.trim());
            return Err(Misread::new(what, format!("write for example `{}`", dimension.example())));
        }
        Ok(Self { si, unit })
    }

    /// In the SI unit of its dimension; a temperature in °C.
    pub fn si(self) -> f64 {
        self.si
    }

    /// The unit that it was written in.
    pub fn unit(self) -> Unit {
        self.unit
    }

    /// Its dimension.
    pub fn dimension(self) -> Dimension {
        self.unit.dimension()
    }
}

/// Where only the unit is missing, the remedy shows the author's own number with one.
fn with_number(error: Misread, rest: &str, text: &str, dimension: Dimension) -> Misread {
    if rest.is_empty() && dimension != Dimension::Count {
        let right = format!("write for example `{} {}`", text.trim(), dimension.usual_unit());
        return Misread { right, ..error };
    }
    error
}

impl Misread {
    fn with_example(self, dimension: Dimension) -> Self {
        let what = format!("{}; {} is wanted", self.what, dimension.words());
        let right = if self.right.contains("decimal point") {
            self.right
        } else {
            format!("write for example `{}`", dimension.example())
        };
        Self { what, right }
    }
}

impl fmt::Display for Quantity {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        let number = number::significant(self.unit.from_si(self.si), 12);
        let gap = if self.unit.symbol().is_empty() { "" } else { " " };
        write!(formatter, "{number}{gap}{}", self.unit)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn speed(text: &str) -> Result<Quantity, String> {
        Quantity::parse(text, Dimension::Speed).map_err(|error| error.to_string())
    }

    #[test]
    fn the_same_speed_in_any_unit_is_the_same() {
        let nominal = speed("90 mm/s").unwrap();
        for text in ["0.09 m/s", "9 cm/s", "90mm/s", "  90  mm / s ", "9e1 mm/s", "5400 mm/min", "90000 um/s"] {
            assert_eq!(speed(text).unwrap().si(), nominal.si(), "{text}");
        }
        assert_eq!(nominal.si(), 0.09);
        assert_eq!(nominal.to_string(), "90 mm/s");
        assert_eq!(speed("0.09 m/s").unwrap().to_string(), "0.09 m/s");
        assert_eq!(Quantity::parse("0.45 °", Dimension::Angle).unwrap().to_string(), "0.45 deg");
    }

    #[test]
    fn what_is_wrong_is_said_with_what_would_be_right() {
        for (text, message) in [
            ("90", "`90` has no unit; a speed is wanted; write for example `90 mm/s`"),
            ("90 mm", "`90 mm` is a length; a speed is wanted; write for example `90 mm/s`"),
            (
                "90 MM/S",
                "`MM/S` is no unit known here; a speed is wanted; the units are mm/s, m/s, cm/s, µm/s, mm/min and m/min, for example `90 mm/s`",
            ),
            ("fast", "`fast` does not begin with a number; a speed is wanted; write for example `90 mm/s`"),
            (
                "0,09 m/s",
                "`0,09 m/s` has a `,` in its number; a speed is wanted; write the decimal point as `.` and leave no marks between thousands",
            ),
            ("1e300 m/s", "`1e300 m/s` is beyond anything on a bench; write for example `90 mm/s`"),
            ("1e999999999999 m/s", "`1e999999999999 m/s` is beyond anything on a bench; write for example `90 mm/s`"),
        ] {
            assert_eq!(speed(text), Err(message.to_owned()));
        }
        let count = Quantity::parse("3 mm", Dimension::Count).unwrap_err();
        assert_eq!(count.to_string(), "`3 mm` is a length; a plain count is wanted; write for example `6`");
    }

    proptest! {
        #[test]
        fn what_is_shown_is_read_back(number in -1e6..1e6f64, which in 0usize..58) {
            let unit = Unit::all().nth(which).unwrap();
            let quantity = Quantity::new(unit.to_si(number), unit);
            let back = Quantity::parse(&quantity.to_string(), unit.dimension()).unwrap();
            prop_assert_eq!(back.unit(), unit);
            prop_assert!((back.si() - quantity.si()).abs() <= 1e-11 * quantity.si().abs().max(1e-300));
        }

        #[test]
        fn a_decimal_number_keeps_its_digits(digits in 1u32..1_000_000, places in 0i32..5, which in 0usize..58) {
            let unit = Unit::all().nth(which).unwrap();
            let written = number::significant(f64::from(digits) / 10f64.powi(places), 12);
            let text = format!("{written} {unit}");
            let quantity = Quantity::parse(&text, unit.dimension()).unwrap();
            prop_assert_eq!(quantity.to_string(), text.trim());
        }

        #[test]
        fn no_text_is_too_strange(text in "\\PC{0,24}", which in 0usize..58) {
            let dimension = Unit::all().nth(which).unwrap().dimension();
            if let Err(error) = Quantity::parse(&text, dimension) {
                prop_assert!(!error.what.is_empty() && !error.right.is_empty());
            }
        }
    }
}
