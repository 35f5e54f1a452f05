//! What is calibrated, and the numbers by which its jig file says so.

use super::Doubt;
use crate::capture::Calibration;
use crate::jig::{Dates, Encoder, JigFile, SampleInput, TickClock};
use crate::quantity::{Dimension, Quantity, Unit};
use crate::written::{Mistake, nearest};

/// What is calibrated, with its present numbers.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Target {
    /// A sampled channel: value = gain × code + offset.
    Sample(SampleInput),
    /// The jig's clock: time = ticks / rate × (1 + error).
    Clock(TickClock),
    /// The linear encoder: length = edges / (edges per length).
    Encoder(Encoder),
}

/// One of its numbers, under its key of the jig file.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Term {
    pub key: &'static str,
    pub dimension: Dimension,
    /// In SI; °C for temperatures.
    pub si: f64,
    /// The number's own standard uncertainty; none where it is one itself.
    pub uncertainty: Option<f64>,
}

impl Target {
    /// What a jig file has under a name: `clock`, `encoder`, or a sampled channel.
    ///
    /// # Errors
    /// Says what can be calibrated.
    pub fn named(jig: &JigFile, name: &str) -> Result<Self, Mistake> {
        let known: Vec<String> = jig.dates().into_iter().map(|(name, _)| name).collect();
        let sample = || jig.samples.iter().find(|input| input.channel.name() == name).copied();
        let found = match name {
            "clock" => Some(Self::Clock(jig.clock)),
            "encoder" => jig.encoder.map(Self::Encoder),
            _ => sample().map(Self::Sample),
        };
        found.ok_or_else(|| {
            let right = match nearest(name, known.iter().map(String::as_str)) {
                Some(meant) => format!("did you mean `{meant}`?"),
                None => format!("it has {}", known.join(", ")),
            };
            Mistake::new(format!("the jig file has no calibration of `{name}`"), right)
        })
    }

    /// Its name in the jig file.
    pub fn name(&self) -> String {
        match self {
            Self::Sample(input) => input.channel.name(),
            Self::Clock(_) => "clock".into(),
            Self::Encoder(_) => "encoder".into(),
        }
    }

    /// What the jig counts.
    pub const fn counts(&self) -> &'static str {
        match self {
            Self::Sample(_) => "code",
            Self::Clock(_) => "ticks",
            Self::Encoder(_) => "edges",
        }
    }

    /// What kind of quantity the reference says.
    pub fn reference(&self) -> Dimension {
        match self {
            Self::Sample(_) if self.difference() == Dimension::TemperatureDifference => Dimension::Temperature,
            _ => self.difference(),
        }
    }

    /// What kind of quantity a difference of two of those is, and their uncertainty.
    pub fn difference(&self) -> Dimension {
        match self {
            Self::Sample(input) => input.channel.dimension(),
            Self::Clock(_) => Dimension::Time,
            Self::Encoder(_) => Dimension::Length,
        }
    }

    /// What kind of quantity an absolute drift of it is.
    pub fn drift(&self) -> Dimension {
        match self {
            Self::Sample(_) => self.difference(),
            Self::Clock(_) | Self::Encoder(_) => Dimension::Ratio,
        }
    }

    /// With what it may drift by until it is calibrated again, as a standard uncertainty.
    pub fn with_drift(self, drift: Doubt) -> Self {
        match self {
            Self::Sample(mut input) => {
                let calibration = &mut input.calibration;
                let of_gain = if let Doubt::Relative(part) = drift { part } else { 0.0 };
                // What is a part of the value is a part of the offset, too.
                let of_offset = drift.at(calibration.offset);
                calibration.gain_uncertainty = calibration.gain_uncertainty.hypot(of_gain);
                calibration.offset_uncertainty = calibration.offset_uncertainty.hypot(of_offset);
                Self::Sample(input)
            }
            Self::Clock(clock) => {
                Self::Clock(TickClock { uncertainty: clock.uncertainty.hypot(drift.at(1.0)), ..clock })
            }
            Self::Encoder(encoder) => {
                Self::Encoder(Encoder { uncertainty: encoder.uncertainty.hypot(drift.at(1.0)), ..encoder })
            }
        }
    }

    /// Until when its present numbers hold.
    pub const fn dates(&self) -> Dates {
        match self {
            Self::Sample(input) => input.dates,
            Self::Clock(clock) => clock.dates,
            Self::Encoder(encoder) => encoder.dates,
        }
    }

    /// Its numbers in the order of the jig file.
    pub fn terms(&self) -> Vec<Term> {
        let value = |key, dimension, si, uncertainty| Term { key, dimension, si, uncertainty: Some(uncertainty) };
        let doubt = |key, dimension, si| Term { key, dimension, si, uncertainty: None };
        match self {
            Self::Sample(input) => {
                let Calibration { gain, offset, gain_uncertainty, offset_uncertainty } = input.calibration;
                vec![
                    value("gain", self.difference(), gain, gain.abs() * gain_uncertainty),
                    value("offset", self.reference(), offset, offset_uncertainty),
                    doubt("gain uncertainty", Dimension::Ratio, gain_uncertainty),
                    doubt("offset uncertainty", self.difference(), offset_uncertainty),
                ]
            }
            Self::Clock(clock) => vec![
                value("error", Dimension::Ratio, clock.error, clock.uncertainty),
                doubt("uncertainty", Dimension::Ratio, clock.uncertainty),
            ],
            Self::Encoder(encoder) => vec![
                value(
                    "edges",
                    Dimension::PerLength,
                    encoder.edges_per_metre,
                    encoder.edges_per_metre * encoder.uncertainty,
                ),
                doubt("uncertainty", Dimension::Ratio, encoder.uncertainty),
            ],
        }
    }
}

impl Term {
    /// As a jig file has it, in a unit of its dimension: a value with two digits more than its uncertainty has, so that
    /// rounding adds nothing to that; an uncertainty with two digits, rounded up.
    pub fn text(&self, unit: Unit) -> String {
        match self.uncertainty {
            Some(uncertainty) if uncertainty > 0.0 => unit.show_to(self.si, 0.01 * uncertainty),
            Some(_) => Quantity::new(self.si, unit).to_string(),
            None => Quantity::new(unit.to_si(rounded_up(unit.from_si(self.si))), unit).to_string(),
        }
    }

    /// The unit that people write it in, where nobody has said another.
    pub fn usual_unit(&self) -> Unit {
        let small = match (self.key, self.dimension) {
            ("gain" | "offset uncertainty", Dimension::Voltage) => Some("mV"),
            ("error" | "uncertainty", Dimension::Ratio) => Some("ppm"),
            ("edges", _) => Some("edges/mm"),
            _ => None,
        };
        small.and_then(Unit::named).unwrap_or_else(|| self.dimension.usual_unit())
    }
}

/// The next number of two significant digits that is not below this one.
fn rounded_up(value: f64) -> f64 {
    if value <= 0.0 {
        return 0.0;
    }
    let power = value.log10().floor() as i32 - 1;
    // What was rounded up once stays when it comes back from a text.
    let steps = (value * 10f64.powi(-power) - 1e-9).ceil();
    if power < 0 { steps / 10f64.powi(-power) } else { steps * 10f64.powi(power) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::care::calibrate::tests_support;

    #[test]
    fn drift_is_added_where_it_belongs() {
        let (volts, clock) = (tests_support::volts(), tests_support::clock());
        let of = |target: Target| match target {
            Target::Sample(input) => (input.calibration.gain_uncertainty, input.calibration.offset_uncertainty),
            Target::Clock(clock) => (clock.uncertainty, 0.0),
            Target::Encoder(encoder) => (encoder.uncertainty, 0.0),
        };
        assert_eq!(of(volts.with_drift(Doubt::Absolute(1.5e-3))), (1e-3, 2e-3_f64.hypot(1.5e-3)));
        assert_eq!(of(volts.with_drift(Doubt::Relative(1e-3))), (1e-3_f64.hypot(1e-3), 2e-3));
        let ppm = Doubt::parse("10 ppm", clock.drift()).expect("a ratio");
        assert_eq!(of(clock.with_drift(ppm)).0, 10e-6_f64.hypot(10e-6));
        assert_eq!(of(tests_support::encoder().with_drift(ppm)).0, 50e-6_f64.hypot(10e-6));
    }

    fn term(uncertainty: Option<f64>, si: f64) -> Term {
        Term { key: "gain", dimension: Dimension::Voltage, si, uncertainty }
    }

    #[test]
    fn a_value_has_two_digits_more_than_its_doubt_and_a_doubt_is_rounded_up() {
        let milli = Unit::named("mV").expect("a unit");
        assert_eq!(term(Some(1.25e-6), 1.251_317_42e-3).text(milli), "1.251317 mV");
        assert_eq!(term(Some(0.0), 1.25e-3).text(milli), "1.25 mV");
        for (si, text) in [
            (2e-3, "2 mV"),
            (2.01e-3, "2.1 mV"),
            (1.999e-3, "2 mV"),
            (9.91e-5, "0.1 mV"),
            (0.0, "0 mV"),
            (0.1234, "130 mV"),
        ] {
            assert_eq!(term(None, si).text(milli), text);
            let again = Quantity::parse(text, Dimension::Voltage).expect("a voltage").si();
            assert_eq!(term(None, again).text(milli), text, "twice");
            assert!(again >= si, "{text} understates {si}");
        }
    }
}
