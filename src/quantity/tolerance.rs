//! Tolerances as an engineer writes them: `90 mm/s ± 5 %`, `at least 6.2 V`, `between 0.4 s and 0.6 s`.

use super::value::SI_MAX;
use super::{Dimension, Misread, Quantity, Unit, number};
use std::fmt;

/// Tolerance limits, the text they were written as, and the unit in which values beside them are shown.
///
/// The ways to write one:
///
/// | text | limits |
/// | --- | --- |
/// | `90 mm/s ± 5 %` (also `+/-`) | 85.5 and 94.5 mm/s: percent of the nominal value |
/// | `90 mm/s ± 2 mm/s`, `90 ± 2 mm/s` | 88 and 92 mm/s |
/// | `90 mm/s + 2 / - 1 mm/s` | 89 and 92 mm/s |
/// | `between 85 and 95 mm/s` | 85 and 95 mm/s |
/// | `at least 85 mm/s` | 85 mm/s and none |
/// | `at most 250 mV` | none and 250 mV |
/// | `exactly 6`, `6` | 6 and 6; counts alone, since nothing else is known exactly |
///
/// A deviation from a ratio is in the ratio's own points: `0 % ± 2 %` is −2 % to 2 %. A deviation from a temperature is in
/// K or °C.
#[derive(Debug, Clone, PartialEq)]
pub struct Tolerance {
    text: String,
    unit: Unit,
    lower: Option<f64>,
    upper: Option<f64>,
}

impl Tolerance {
    /// Reads a tolerance on a quantity of `dimension`.
    pub fn parse(text: &str, dimension: Dimension) -> Result<Self, Misread> {
        let text = text.trim();
        let form = Form::of(text);
        let reader = Reader { text, dimension };
        let (unit, lower, upper) = match form {
            Form::AtLeast(limit) => {
                let limit = reader.quantity(limit)?;
                (limit.unit(), Some(limit.si()), None)
            }
            Form::AtMost(limit) => {
                let limit = reader.quantity(limit)?;
                (limit.unit(), None, Some(limit.si()))
            }
            Form::Between(lower, upper) => reader.between(lower, upper)?,
            Form::Exactly(value) => reader.exactly(value)?,
            Form::Deviation { nominal, plus, minus } => reader.deviation(nominal, plus, minus)?,
        };
        Self { text: text.into(), unit, lower, upper }.sound(dimension)
    }

    /// Lower and upper tolerance limit in the SI unit of the dimension (°C for temperatures), where there is one.
    pub fn limits(&self) -> (Option<f64>, Option<f64>) {
        (self.lower, self.upper)
    }

    /// The unit that the author thinks in.
    pub fn unit(&self) -> Unit {
        self.unit
    }

    /// What it is a tolerance on.
    pub fn dimension(&self) -> Dimension {
        self.unit.dimension()
    }

    /// As written.
    pub fn text(&self) -> &str {
        &self.text
    }

    /// Itself, if some value can meet it.
    fn sound(self, dimension: Dimension) -> Result<Self, Misread> {
        let example = || format!("write for example `{}`", dimension.tolerance_example());
        if !self.lower.iter().chain(&self.upper).all(|limit| limit.abs() <= SI_MAX) {
            let what = format!("a limit of `{}` is beyond anything on a bench", self.text);
            return Err(Misread::new(what, example()));
        }
        if let (Some(lower), Some(upper)) = (self.lower, self.upper) {
            if lower > upper {
                let (lower, upper) = (self.unit.show(lower), self.unit.show(upper));
                let what =
                    format!("no value meets `{}`: its lower limit, {lower}, is above its upper, {upper}", self.text);
                return Err(Misread::new(what, format!("write `between {upper} and {lower}`")));
            }
            if lower == upper && dimension != Dimension::Count {
                let what = format!("`{}` leaves no room: no measured value is exact", self.text);
                return Err(Misread::new(what, example()));
            }
        }
        let limits = self.lower.iter().chain(&self.upper);
        if dimension == Dimension::Count && limits.clone().any(|limit| limit.fract() != 0.0 || *limit < 0.0) {
            let what = format!("`{}` is no count: counts are whole and not negative", self.text);
            return Err(Misread::new(what, example()));
        }
        Ok(self)
    }
}

impl fmt::Display for Tolerance {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        formatter.write_str(&self.text)
    }
}

/// A tolerance's text, split at its words and signs.
enum Form<'t> {
    AtLeast(&'t str),
    AtMost(&'t str),
    Between(&'t str, &'t str),
    Exactly(&'t str),
    Deviation { nominal: &'t str, plus: &'t str, minus: &'t str },
}

impl<'t> Form<'t> {
    fn of(text: &'t str) -> Self {
        if let Some(limit) = after_words(text, "at least") {
            return Self::AtLeast(limit);
        }
        if let Some(limit) = after_words(text, "at most") {
            return Self::AtMost(limit);
        }
        if let Some((lower, upper)) = after_words(text, "between").and_then(|both| both.split_once(" and ")) {
            return Self::Between(lower, upper);
        }
        if let Some(value) = after_words(text, "exactly") {
            return Self::Exactly(value);
        }
        for sign in ["±", "+/-", "+-"] {
            if let Some((nominal, deviation)) = text.split_once(sign) {
                return Self::Deviation { nominal, plus: deviation, minus: deviation };
            }
        }
        both_sides(text).unwrap_or(Self::Exactly(text))
    }
}

/// What comes after a form's first words, which may have any case.
fn after_words<'t>(text: &'t str, words: &str) -> Option<&'t str> {
    let start = text.get(..words.len())?;
    let rest = &text[words.len()..];
    (start.eq_ignore_ascii_case(words) && rest.starts_with(char::is_whitespace)).then(|| rest.trim())
}

/// `90 mm/s + 2 / - 1 mm/s`, in either order of the signs. A sign in front of the whole belongs to the nominal value, and
/// one inside a word (`1e-3`) to its number.
fn both_sides(text: &str) -> Option<Form<'_>> {
    let signs: Vec<(usize, char)> = text
        .char_indices()
        .filter(|&(at, sign)| {
            let alone = text[..at].ends_with(|before: char| before.is_whitespace() || before == '/');
            at > 0 && alone && matches!(sign, '+' | '-' | '\u{2212}')
        })
        .collect();
    let [(first, first_sign), (second, second_sign)] = signs[..] else { return None };
    let nominal = &text[..first];
    let one = text[first + first_sign.len_utf8()..second].trim().trim_end_matches('/');
    let other = &text[second + second_sign.len_utf8()..];
    match (first_sign == '+', second_sign == '+') {
        (true, false) => Some(Form::Deviation { nominal, plus: one, minus: other }),
        (false, true) => Some(Form::Deviation { nominal, plus: other, minus: one }),
        _ => None,
    }
}

struct Reader<'t> {
    text: &'t str,
    dimension: Dimension,
}

impl Reader<'_> {
    fn quantity(&self, text: &str) -> Result<Quantity, Misread> {
        Quantity::parse(text, self.dimension)
    }

    /// A quantity that may leave its unit to the next one: the 85 of `between 85 and 95 mm/s`.
    fn quantity_beside(&self, text: &str, other: Unit) -> Result<Quantity, Misread> {
        match number::leading(text) {
            Ok((number, "")) => Ok(Quantity::new(other.exact_si(&number), other)),
            _ => self.quantity(text),
        }
    }

    fn between(&self, lower: &str, upper: &str) -> Result<(Unit, Option<f64>, Option<f64>), Misread> {
        let upper = self.quantity(upper)?;
        let lower = self.quantity_beside(lower, upper.unit())?;
        Ok((upper.unit(), Some(lower.si()), Some(upper.si())))
    }

    fn exactly(&self, value: &str) -> Result<(Unit, Option<f64>, Option<f64>), Misread> {
        if self.dimension == Dimension::Count {
            let count = self.quantity(value).map_err(|error| self.no_tolerance().unless_number(error, value))?;
            return Ok((count.unit(), Some(count.si()), Some(count.si())));
        }
        Err(match self.quantity(value) {
            Ok(_) => Misread::new(
                format!("`{}` has no tolerance: no measured value is exact", self.text),
                format!("write for example `{}`", self.dimension.tolerance_example()),
            ),
            Err(error) => self.no_tolerance().unless_number(error, value),
        })
    }

    fn no_tolerance(&self) -> Misread {
        Misread::new(
            format!("`{}` is no tolerance on {}", self.text, self.dimension.words()),
            format!("write for example `{}`", self.dimension.tolerance_example()),
        )
    }

    fn deviation(&self, nominal: &str, plus: &str, minus: &str) -> Result<(Unit, Option<f64>, Option<f64>), Misread> {
        // `90 ± 2 mm/s` and `+ 2 / - 1 mm/s`: a bare number has the unit that is written last.
        let last = [minus, plus].into_iter().find_map(|text| unit_in(text, self.dimension));
        let nominal = match last {
            Some(unit) => self.quantity_beside(nominal, unit)?,
            None => self.quantity(nominal)?,
        };
        let beside = number::leading(minus).ok().map_or("", |(_, unit)| unit);
        let up = self.one_side(&nominal, plus, beside)?;
        let down = self.one_side(&nominal, minus, beside)?;
        Ok((nominal.unit(), Some(trimmed(nominal.si() - down)), Some(trimmed(nominal.si() + up))))
    }

    /// How far a limit is from the nominal value.
    fn one_side(&self, nominal: &Quantity, text: &str, unit_beside: &str) -> Result<f64, Misread> {
        let (number, own_unit) = number::leading(text).map_err(|_| self.no_tolerance())?;
        let unit = if own_unit.is_empty() { unit_beside } else { own_unit };
        let magnitude = number.scaled(0);
        if magnitude < 0.0 {
            let what = format!("`{}` has a negative deviation", self.text);
            return Err(Misread::new(what, "write deviations without a sign of their own"));
        }
        let relative = Unit::named(unit).filter(|unit| unit.dimension() == Dimension::Ratio);
        if let (Some(relative), false) = (relative, self.dimension == Dimension::Ratio) {
            return self.relative(nominal, relative.exact_si(&number));
        }
        if magnitude == 0.0 && unit.is_empty() {
            return Ok(0.0);
        }
        if unit.is_empty() {
            return Ok(nominal.unit().exact_si(&number));
        }
        let written = format!("{} {unit}", text.trim().trim_end_matches(own_unit).trim());
        if self.dimension == Dimension::Temperature {
            let unit =
                Unit::named(unit).filter(|unit| unit.of_differences().dimension() == Dimension::TemperatureDifference);
            return match unit {
                Some(unit) => Ok(unit.exact_si(&number)),
                None => Err(Misread::new(
                    format!("`{written}` is no difference of temperatures"),
                    "write for example `± 5 K`",
                )),
            };
        }
        Ok(Unit::after_number(unit, self.dimension, &written)?.exact_si(&number))
    }

    fn relative(&self, nominal: &Quantity, part: f64) -> Result<f64, Misread> {
        let example = format!("write for example `{nominal} ± 2 {}`", nominal.unit().of_differences());
        if self.dimension == Dimension::Temperature {
            let what = format!("`{}`: a part of a temperature in °C means nothing", self.text);
            return Err(Misread::new(what, example));
        }
        if nominal.si() == 0.0 {
            return Err(Misread::new(format!("`{}`: any part of zero is zero", self.text), example));
        }
        Ok(nominal.si().abs() * part)
    }
}

impl Misread {
    /// `self`, unless the text does begin with a number and `other` therefore says better what is wrong.
    fn unless_number(self, other: Misread, text: &str) -> Misread {
        if number::leading(text).is_ok() { other } else { self }
    }
}

/// The unit at the end of a deviation, if it is one of the dimension itself.
fn unit_in(text: &str, dimension: Dimension) -> Option<Unit> {
    let (_, unit) = number::leading(text).ok()?;
    Unit::named(unit).filter(|unit| unit.dimension() == dimension)
}

/// Without the last digits of `f64`, which sums and products of decimal numbers get wrong: 0.09 + 0.0045 is 0.0945.
fn trimmed(si: f64) -> f64 {
    format!("{si:.14e}").parse().unwrap_or(si)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn limits(text: &str, dimension: Dimension) -> Result<(Option<f64>, Option<f64>), String> {
        Tolerance::parse(text, dimension).map(|tolerance| tolerance.limits()).map_err(|error| error.to_string())
    }

    #[test]
    fn every_way_to_write_one() {
        use Dimension::{Count, Ratio, Resistance, Speed, Temperature, Time, Voltage};
        for (text, dimension, lower, upper) in [
            ("90 mm/s ± 5 %", Speed, Some(0.0855), Some(0.0945)),
            ("90 mm/s +/- 5 %", Speed, Some(0.0855), Some(0.0945)),
            ("90 mm/s +- 5%", Speed, Some(0.0855), Some(0.0945)),
            ("90mm/s±2mm/s", Speed, Some(0.088), Some(0.092)),
            ("90 ± 2 mm/s", Speed, Some(0.088), Some(0.092)),
            ("0.09 m/s ± 2 mm/s", Speed, Some(0.088), Some(0.092)),
            ("90 mm/s + 2 / - 1 mm/s", Speed, Some(0.089), Some(0.092)),
            ("90 mm/s +2/-1 mm/s", Speed, Some(0.089), Some(0.092)),
            ("90 mm/s - 1 mm/s + 2 %", Speed, Some(0.089), Some(0.0918)),
            ("90 mm/s + 0 / − 5 %", Speed, Some(0.0855), Some(0.09)),
            ("-90 mm/s ± 5 %", Speed, Some(-0.0945), Some(-0.0855)),
            ("180 mΩ ± 20 mΩ", Resistance, Some(0.16), Some(0.2)),
            ("1e3 mΩ ± 1e-2 Ω", Resistance, Some(0.99), Some(1.01)),
            ("at least 6.2 V", Voltage, Some(6.2), None),
            ("At Most 250 mV", Voltage, None, Some(0.25)),
            ("between 0.4 s and 600 ms", Time, Some(0.4), Some(0.6)),
            ("between 0.4 and 0.6 s", Time, Some(0.4), Some(0.6)),
            ("exactly 6", Count, Some(6.0), Some(6.0)),
            ("6", Count, Some(6.0), Some(6.0)),
            ("6 ± 1", Count, Some(5.0), Some(7.0)),
            ("at most 0", Count, None, Some(0.0)),
            ("0 % ± 2 %", Ratio, Some(-0.02), Some(0.02)),
            ("between -50 ppm and 50 ppm", Ratio, Some(-5e-5), Some(5e-5)),
            ("20 °C ± 5 K", Temperature, Some(15.0), Some(25.0)),
            ("20 degC ± 5 °C", Temperature, Some(15.0), Some(25.0)),
            ("at least -5 °C", Temperature, Some(-5.0), None),
        ] {
            assert_eq!(limits(text, dimension), Ok((lower, upper)), "{text}");
        }
    }

    #[test]
    fn it_keeps_text_and_unit() {
        let tolerance = Tolerance::parse("  between 85 and 95 mm/s ", Dimension::Speed).unwrap();
        assert_eq!((tolerance.text(), tolerance.unit().symbol()), ("between 85 and 95 mm/s", "mm/s"));
        assert_eq!(Tolerance::parse("0.09 m/s ± 2 mm/s", Dimension::Speed).unwrap().unit().symbol(), "m/s");
    }

    #[test]
    fn what_is_wrong_is_said() {
        use Dimension::{Count, Speed, Temperature, Time, Voltage};
        for (text, dimension, message) in [
            (
                "1e14 mm/s ± 1e308 %",
                Speed,
                "a limit of `1e14 mm/s ± 1e308 %` is beyond anything on a bench; write for example `90 mm/s ± 5 %` or `at most 90 mm/s`",
            ),
            (
                "between 1e300 and 1e14 mm/s",
                Speed,
                "a limit of `between 1e300 and 1e14 mm/s` is beyond anything on a bench; write for example `90 mm/s ± 5 %` or `at most 90 mm/s`",
            ),
            (
                "90 mm/s",
                Speed,
                "`90 mm/s` has no tolerance: no measured value is exact; write for example `90 mm/s ± 5 %` or `at most 90 mm/s`",
            ),
            (
                "fast enough",
                Speed,
                "`fast enough` is no tolerance on a speed; write for example `90 mm/s ± 5 %` or `at most 90 mm/s`",
            ),
            ("at most 250", Voltage, "`250` has no unit; a voltage is wanted; write for example `250 V`"),
            ("at most 250 mA", Voltage, "`250 mA` is a current; a voltage is wanted; write for example `7.2 V`"),
            ("90 mm/s ± 5 mm", Speed, "`5 mm` is a length; a speed is wanted; write for example `90 mm/s`"),
            (
                "90 mm/s ± five",
                Speed,
                "`90 mm/s ± five` is no tolerance on a speed; write for example `90 mm/s ± 5 %` or `at most 90 mm/s`",
            ),
            (
                "90 mm/s ± -5 %",
                Speed,
                "`90 mm/s ± -5 %` has a negative deviation; write deviations without a sign of their own",
            ),
            (
                "90 mm/s ± 0 %",
                Speed,
                "`90 mm/s ± 0 %` leaves no room: no measured value is exact; write for example `90 mm/s ± 5 %` or `at most 90 mm/s`",
            ),
            (
                "between 0.6 s and 0.4 s",
                Time,
                "no value meets `between 0.6 s and 0.4 s`: its lower limit, 0.6 s, is above its upper, 0.4 s; write `between 0.4 s and 0.6 s`",
            ),
            ("0 mm/s ± 5 %", Speed, "`0 mm/s ± 5 %`: any part of zero is zero; write for example `0 mm/s ± 2 mm/s`"),
            (
                "20 °C ± 5 %",
                Temperature,
                "`20 °C ± 5 %`: a part of a temperature in °C means nothing; write for example `20 °C ± 2 K`",
            ),
            ("20 °C ± 5 V", Temperature, "`5 V` is no difference of temperatures; write for example `± 5 K`"),
            ("at most 0 mm", Count, "`0 mm` is a length; a plain count is wanted; write for example `6`"),
            (
                "at most 1.5",
                Count,
                "`at most 1.5` is no count: counts are whole and not negative; write for example `at most 0`",
            ),
            ("exactly many", Count, "`exactly many` is no tolerance on a plain count; write for example `at most 0`"),
            ("", Speed, "`` is no tolerance on a speed; write for example `90 mm/s ± 5 %` or `at most 90 mm/s`"),
        ] {
            assert_eq!(limits(text, dimension), Err(message.to_owned()));
        }
    }

    proptest! {
        #[test]
        fn a_deviation_encloses_its_nominal(nominal in 1u32..100_000, percent in 1u32..100, which in 0usize..58) {
            let unit = Unit::all().nth(which).unwrap();
            prop_assume!(!matches!(unit.dimension(), Dimension::Count | Dimension::Ratio | Dimension::Temperature));
            let tolerance = Tolerance::parse(&format!("{nominal} {unit} ± {percent} %"), unit.dimension()).unwrap();
            let (Some(lower), Some(upper)) = tolerance.limits() else { panic!("two limits") };
            let (nominal, part) = (unit.to_si(f64::from(nominal)), f64::from(percent) / 100.0);
            prop_assert!((lower - nominal * (1.0 - part)).abs() <= 1e-12 * nominal);
            prop_assert!((upper - nominal * (1.0 + part)).abs() <= 1e-12 * nominal);
        }

        #[test]
        fn limits_are_read_back_from_what_is_shown(lower in -1000i32..1000, width in 1i32..1000, which in 1usize..58) {
            let unit = Unit::all().nth(which).unwrap();
            let text = format!("between {lower} and {} {unit}", lower + width);
            let tolerance = Tolerance::parse(&text, unit.dimension()).unwrap();
            let (Some(low), Some(high)) = tolerance.limits() else { panic!("two limits") };
            let again = format!("between {} and {}", Quantity::new(low, unit), Quantity::new(high, unit));
            prop_assert_eq!(Tolerance::parse(&again, unit.dimension()).unwrap().limits(), tolerance.limits());
        }

        #[test]
        fn no_text_is_too_strange(text in "(at most |between |[-+±/0-9 .a-z%]){0,9}\\PC{0,8}") {
            if let Err(error) = Tolerance::parse(&text, Dimension::Speed) {
                prop_assert!(!error.what.is_empty() && !error.right.is_empty());
            }
        }
    }
}
