//! Where a temperature would settle, and how fast: an exponential through a run that is much shorter than it takes.
//!
//! A body that takes steady heat and gives it to the air warms as one exponential, once its inside has evened out. A
//! course that is no single exponential yet is taken from later on. Windings, case and housing are three bodies, of which
//! the quicker ones bend the course for long without showing: predicted from half a time constant, a motor's end comes out
//! some kelvin too low, and the fit looks perfect. So a run has to last one and a half, and a part of what is still to
//! come stays in doubt. A run too short tells neither the end nor the time, and then no value is given: that is
//! nobody's fault, and a longer check helps.

use super::super::converter::{Converter, ROUNDING};
use super::super::evidence::CheckEvidence;
use super::super::values::{clock, nobody, seconds, whole};
use super::super::{Measurand, Reading, Setup, Withheld};
use super::{HOUSING, MOTOR, margin, of_heat};
use crate::capture::{Sample, SampleChannel, Tick};
use crate::quantity::Dimension;
use crate::stats::{Component, Estimate, NoFit, Separable, exponential};

pub(in super::super) const MOTOR_SETTLED: Measurand = of_heat(
    "motor settled temperature",
    Dimension::Temperature,
    "temperature at which the motor's case would settle if the check's moves went on in this air: end of an exponential \
     fitted from the first to the last step",
    "common practice; warming of one body",
    MOTOR,
    |check, setup| read(check, SampleChannel::MotorTemperature, setup, Warming::settled),
);

pub(in super::super) const MOTOR_TIME: Measurand = of_heat(
    "motor warming time constant",
    Dimension::Time,
    "time constant of the exponential that gives the motor's settled temperature",
    "common practice; warming of one body",
    MOTOR,
    |check, setup| read(check, SampleChannel::MotorTemperature, setup, |warming| warming.time_constant(setup)),
);

pub(in super::super) const HOUSING_SETTLED: Measurand = of_heat(
    "housing settled temperature",
    Dimension::Temperature,
    "temperature at which the housing at the motor's mount would settle if the check's moves went on in this air: end of \
     an exponential fitted from the first to the last step",
    "common practice; warming of one body",
    HOUSING,
    |check, setup| read(check, SampleChannel::HousingTemperature, setup, Warming::settled),
);

pub(in super::super) const HOUSING_TIME: Measurand = of_heat(
    "housing warming time constant",
    Dimension::Time,
    "time constant of the exponential that gives the housing's settled temperature",
    "common practice; warming of one body",
    HOUSING,
    |check, setup| read(check, SampleChannel::HousingTemperature, setup, |warming| warming.time_constant(setup)),
);

pub(in super::super) const HOUSING_SETTLED_MARGIN: Measurand = of_heat(
    "housing settled margin",
    Dimension::TemperatureDifference,
    "limit of the housing in the unit file, less the temperature at which it would settle",
    "common practice",
    HOUSING,
    |check, setup| {
        let settled = read(check, SampleChannel::HousingTemperature, setup, Warming::settled);
        settled.into_iter().flat_map(|reading| margin(reading.result, setup)).collect()
    },
);

/// Fewer readings than this tell no course.
const READINGS_MIN: usize = 16;
/// The most readings of a fit; more are taken together.
const READINGS_MAX: usize = 200;
/// How often the beginning is left out, a third of what is left each time.
const LATER: usize = 3;
/// Residuals whose neighbours are as like as this follow a course of their own.
const COURSE_OF_ITS_OWN: f64 = 0.4;
/// So many time constants a run has to last.
const LASTS_MIN: f64 = 1.5;
/// Up to this share of what is still to come, the bodies inside make it end elsewhere: over bodies with masses and
/// resistances that differ by a third, it covers their true ends (see the tests of honesty).
const INSIDE: f64 = 0.1;
/// A time constant whose relative standard uncertainty is larger is not told.
const DOUBT_MAX: f64 = 0.15;

/// From the first to the last step of the check.
fn moving(check: &CheckEvidence) -> Option<(Tick, Tick)> {
    let runs = || check.phases.iter().flat_map(|phase| &phase.runs);
    Some((runs().map(|run| run.first).min()?, runs().map(|run| run.last).max()?))
}

/// A check that never moves has no reading.
fn read(
    check: &CheckEvidence,
    channel: SampleChannel,
    setup: &Setup,
    value: impl Fn(&Warming) -> Estimate,
) -> Vec<Reading> {
    let warming = moving(check).map(|stretch| Warming::of(check, channel, stretch, setup));
    warming.map(|warming| whole(warming.map(|warming| value(&warming)))).into_iter().collect()
}

/// A course of warming.
struct Warming {
    converter: Converter,
    fit: Separable<2>,
    /// Variance of one reading about the course, codes².
    variance: f64,
    /// How far it had still to go at the last reading, codes.
    to_come: f64,
}

impl Warming {
    fn of(
        check: &CheckEvidence,
        channel: SampleChannel,
        (from, to): (Tick, Tick),
        setup: &Setup,
    ) -> Result<Self, Withheld> {
        let converter = Converter::of(channel, setup)?;
        let mut samples = check.samples(channel, from, to);
        let lasted = seconds((to - from) as f64, setup);
        for _ in 0..=LATER {
            let each = samples.len().div_ceil(READINGS_MAX).max(1);
            let fit = fit(samples, each, setup)?;
            let variance = fit.variance * each as f64;
            // What rounding alone leaves may be alike from one reading to the next.
            if fit.correlation < COURSE_OF_ITS_OWN || variance < 2.0 * ROUNDING {
                let course = seconds((samples[samples.len() - 1].at - samples[0].at) as f64, setup);
                let to_come = fit.linear[1] * (-course / fit.time_constant).exp();
                return Self { converter, fit, variance, to_come }.if_told(lasted);
            }
            samples = &samples[samples.len() / 3..];
        }
        Err(nobody("the temperature does not follow one exponential yet; let the moves go on for longer"))
    }

    fn if_told(self, lasted: f64) -> Result<Self, Withheld> {
        let (doubt, time_constant) = (self.fit.time_doubt(), self.fit.time_constant);
        let told = doubt.is_finite() && doubt <= DOUBT_MAX * time_constant && lasted >= LASTS_MIN * time_constant;
        if told { Ok(self) } else { Err(too_short()) }
    }

    fn settled(&self) -> Estimate {
        let gain = self.converter.gain();
        Estimate::of(self.converter.value(self.fit.linear[0]))
            .and(self.converter.rounding(self.variance, 1.0))
            .and(self.converter.gain_line(gain * self.fit.linear[0]))
            .and(self.converter.offset_line(1.0))
            .and(Component::rectangular("heat still spreading inside", INSIDE * gain * self.to_come))
            .with_freedom("repeat, fit", gain * self.fit.linear_doubt(0), self.fit.degrees_of_freedom)
    }

    fn time_constant(&self, setup: &Setup) -> Estimate {
        let time = self.fit.time_constant;
        let per_value = time / (self.fit.linear[1] * self.converter.gain());
        Estimate::of(time).and(self.converter.rounding(self.variance, per_value)).and(clock(time, setup)).with_freedom(
            "repeat, fit",
            self.fit.time_doubt(),
            self.fit.degrees_of_freedom,
        )
    }
}

fn too_short() -> Withheld {
    nobody("the moves were too short: until it bends enough, a temperature's course does not tell its end")
}

/// The exponential through samples, of which `each` are taken together.
fn fit(samples: &[Sample], each: usize, setup: &Setup) -> Result<Separable<2>, Withheld> {
    let (Some(first), Some(last)) = (samples.first(), samples.last()) else {
        return Err(nobody("no temperature was sampled from the first to the last step"));
    };
    if samples.len() < READINGS_MIN {
        return Err(too_short());
    }
    let time = |sample: &Sample| seconds((sample.at - first.at) as f64, setup);
    let means = |value: &dyn Fn(&Sample) -> f64| -> Vec<f64> {
        samples.chunks_exact(each).map(|part| part.iter().map(value).sum::<f64>() / each as f64).collect()
    };
    let times = means(&time);
    let codes = means(&|sample| f64::from(sample.code));
    let lasted = time(last);
    let range = (4.0 * lasted / times.len() as f64, 4.0 * lasted);
    Separable::fit(&codes, &exponential(&times), range).map_err(|no_fit| match no_fit {
        NoFit::TooSlow | NoFit::TooFew => too_short(),
        NoFit::TooFast => nobody("the temperature had nothing slow in its course"),
    })
}
