//! Flicker of the light bar, from an even run of samples of a quick photodiode: how deep, how often, and against what
//! IEEE Std 1789-2015 counts as low risk.
//!
//! A sampler sees nothing beyond half of its rate, so that all of this is about the light below 0.45 of it; the jig's
//! own filter keeps what is quicker away. Highest and lowest samples would miss the crests between them: the depth is
//! that of the periodic curve which fits the samples best, from the strongest tone and its harmonics.

use super::evidence::{CheckEvidence, PhaseEvidence};
use super::light::shows_light;
use super::values::{bench, clock, nobody, reading, ticks, unit, whole};
use super::{Measurand, Pooling, Reading, Setup, Withheld};
use crate::capture::{Calibration, Sample, SampleChannel};
use crate::quantity::Dimension;
use crate::stats::spectrum::{Detrend, Lines, Search, Tone, Window};
use crate::stats::{Component, Estimate, SineFit};

pub(super) const DEPTH: Measurand = Measurand {
    name: "flicker depth",
    dimension: Dimension::Ratio,
    about: "highest less lowest light of the bar over their sum, within a period of its strongest flicker below 0.45 of \
            the sampling rate",
    source: "IEEE Std 1789-2015, modulation; IES percent flicker",
    edges: &[],
    samples: &[SampleChannel::LightFlicker],
    pooling: Pooling::Mean,
    reader: |check, setup| each(check, setup, |flicker, _| Ok(flicker.depth.clone())),
};

pub(super) const FREQUENCY: Measurand = Measurand {
    name: "flicker frequency",
    dimension: Dimension::Frequency,
    about: "fundamental of the strongest flicker of the bar's light below 0.45 of the sampling rate",
    source: "IEEE Std 1789-2015; four-parameter sine fit of IEEE Std 1057",
    edges: &[],
    samples: &[SampleChannel::LightFlicker],
    pooling: Pooling::Mean,
    reader: |check, setup| each(check, setup, |flicker, _| flicker.frequency.clone().ok_or_else(steady)),
};

pub(super) const AGAINST_LOW_RISK: Measurand = Measurand {
    name: "flicker against low risk",
    dimension: Dimension::Ratio,
    about: "flicker depth over what counts as low risk at its frequency: 0.025 % a hertz below 90 Hz, 0.08 % from there \
            on; 0 of a light without flicker",
    source: "IEEE Std 1789-2015, recommended practice 1",
    edges: &[],
    samples: &[SampleChannel::LightFlicker],
    pooling: Pooling::Mean,
    reader: |check, setup| each(check, setup, |flicker, _| Ok(against_low_risk(flicker))),
};

/// A light that was told to change has changed so long after its phase began, s.
const SETTLED_S: f64 = 0.3;
/// The fewest samples of a run.
const LEAST: usize = 128;
/// No more than these, the last of a run, are looked at.
const MOST: usize = 2048;
/// A longer interval than this many of the shortest ends a run.
const GAP: f64 = 1.5;
/// What is looked at, as a share of the sampling rate.
const PASSED: f64 = 0.45;
/// The most harmonics of a curve.
const HARMONICS: usize = 9;
/// A tone is a harmonic of a lower one if it lies within so many standard uncertainties of a multiple.
const NEAR: f64 = 3.0;
/// What leaks from other tones may move one by this share of a line.
const LEAKED: f64 = 0.05;
/// The fundamental of a strong tone is no weaker than this share of it.
const WEAKEST: f64 = 0.1;

/// What there is to say of a run of samples.
struct Flicker {
    depth: Estimate,
    /// `None` of a light without flicker.
    frequency: Option<Estimate>,
}

/// An even run of samples, in s from its first one and in relative light.
struct Run {
    at: Vec<f64>,
    light: Vec<f64>,
}

fn each(
    check: &CheckEvidence,
    setup: &Setup,
    value: impl Fn(&Flicker, &Setup) -> Result<Estimate, Withheld>,
) -> Vec<Reading> {
    let Some(calibration) = setup.jig.calibrations[SampleChannel::LightFlicker.index()] else { return Vec::new() };
    let phases = check.phases.iter().filter(|phase| shows_light(phase));
    let readings: Vec<Reading> = phases
        .filter_map(|phase| {
            let flicker = flicker(check, phase, &calibration, setup)?;
            Some(reading(phase, flicker.and_then(|flicker| value(&flicker, setup))))
        })
        .collect();
    let held = |phase: &PhaseEvidence| last_run(samples(check, phase, setup)).is_some();
    if readings.is_empty() && !check.phases.iter().any(held) {
        let why = format!("no move was long enough for an even run of {LEAST} samples of `light flicker`");
        return vec![whole(Err(bench(why)))];
    }
    readings
}

/// `None` where the phase holds no run of samples, or a wait no light.
fn flicker(
    check: &CheckEvidence,
    phase: &PhaseEvidence,
    calibration: &Calibration,
    setup: &Setup,
) -> Option<Result<Flicker, Withheld>> {
    let run = Run::of(last_run(samples(check, phase, setup))?, calibration, setup);
    if run.mean() < setup.jig.lit_above / f64::from(setup.unit.segments.max(1)) {
        // The plan told the unit to show a level; while it waits the bar may be off.
        return super::light::level(phase).map(|_| Err(unit("the light bar is dark")));
    }
    Some(run.flicker(calibration, setup))
}

fn samples<'a>(check: &'a CheckEvidence, phase: &PhaseEvidence, setup: &Setup) -> &'a [Sample] {
    check.samples(SampleChannel::LightFlicker, phase.began + ticks(SETTLED_S, setup), phase.ended)
}

/// The last run that is long enough, cut to what is looked at.
fn last_run(samples: &[Sample]) -> Option<&[Sample]> {
    let shortest = samples.windows(2).map(|pair| pair[1].at - pair[0].at).min()? as f64;
    let mut end = samples.len();
    while end >= LEAST {
        let run = samples[..end].windows(2).rposition(|pair| (pair[1].at - pair[0].at) as f64 > GAP * shortest);
        let begin = run.map_or(0, |gap| gap + 1);
        if end - begin >= LEAST {
            return Some(&samples[begin.max(end.saturating_sub(MOST))..end]);
        }
        end = begin;
    }
    None
}

impl Run {
    fn of(samples: &[Sample], calibration: &Calibration, setup: &Setup) -> Self {
        let first = samples.first().map_or(0, |sample| sample.at);
        let seconds = |sample: &Sample| super::values::seconds((sample.at - first) as f64, setup);
        Self {
            at: samples.iter().map(seconds).collect(),
            light: samples.iter().map(|sample| calibration.value(sample.code)).collect(),
        }
    }

    fn mean(&self) -> f64 {
        self.light.iter().sum::<f64>() / self.light.len() as f64
    }

    fn flicker(&self, calibration: &Calibration, setup: &Setup) -> Result<Flicker, Withheld> {
        let count = self.at.len();
        let interval = self.at[count - 1] / (count - 1) as f64;
        let away = self.at.iter().enumerate().map(|(index, at)| (at / interval - index as f64).abs());
        if away.fold(0.0, f64::max) > 0.25 {
            return Err(bench("the samples of `light flicker` come unevenly"));
        }
        let search = Search { first_line: 3, highest: PASSED / interval, most: 20 };
        let lines = Lines::of(&self.light, 1.0 / interval, Window::Hann, Detrend::Constant);
        let tones = lines.ok_or_else(|| bench("the samples of `light flicker` are no numbers"))?.tones(&search);
        let Some(fundamental) = fundamental(&tones.found, LEAKED / (count as f64 * interval)) else {
            return Ok(self.steady(tones.smallest_at(0.5 * search.highest)));
        };
        let harmonics = ((search.highest / fundamental) as usize).clamp(1, HARMONICS);
        let fit = SineFit::of(&self.at, &self.light, fundamental, harmonics)
            .ok_or_else(|| bench("no periodic curve fits the samples of `light flicker`"))?;
        Ok(Flicker { depth: depth(&fit, calibration), frequency: Some(frequency(&fit, setup)) })
    }

    /// A light in which no tone stands out: its depth is anywhere between nothing and what would have stood out.
    fn steady(&self, smallest: f64) -> Flicker {
        let half = 0.5 * smallest / self.mean();
        Flicker { depth: Estimate::of(half).and(Component::rectangular("noise", half)), frequency: None }
    }
}

/// The lowest tone of which the strongest is a harmonic; the strongest itself where there is none.
fn fundamental(tones: &[Tone], leaked: f64) -> Option<f64> {
    let strongest = tones.first()?;
    let is_fundamental = |tone: &&Tone| {
        let order = (strongest.frequency / tone.frequency).round();
        let away = (strongest.frequency - order * tone.frequency).abs();
        let doubt = strongest.frequency_uncertainty.hypot(order * tone.frequency_uncertainty);
        let near = away < NEAR * doubt + order * leaked;
        near && (1.0..=HARMONICS as f64).contains(&order) && tone.amplitude >= WEAKEST * strongest.amplitude
    };
    tones.iter().filter(is_fundamental).map(|tone| tone.frequency).min_by(f64::total_cmp)
}

fn depth(fit: &SineFit, calibration: &Calibration) -> Estimate {
    let (high, low) = fit.extremes();
    let sum = high.value + low.value;
    let value = (high.value - low.value) / sum;
    let change = |(high_by, low_by): (&f64, &f64)| 2.0 * (low.value * high_by - high.value * low_by) / (sum * sum);
    let sensitivities: Vec<f64> = high.sensitivities.iter().zip(&low.sensitivities).map(change).collect();
    // Depth is a ratio: a wrong gain changes it only where there is an offset to go with it.
    Estimate::of(value)
        .with_freedom("fit", fit.uncertainty(&sensitivities), fit.degrees_of_freedom)
        .and(Component::normal("calibration, offset", calibration.offset_uncertainty).through(-2.0 * value / sum, "1"))
        .and(
            Component::normal("calibration, gain", calibration.gain_uncertainty)
                .through(2.0 * value * calibration.offset / sum, "1"),
        )
}

fn frequency(fit: &SineFit, setup: &Setup) -> Estimate {
    Estimate::of(fit.frequency)
        .with_freedom("fit", fit.frequency_uncertainty(), fit.degrees_of_freedom)
        .and(clock(-fit.frequency, setup))
}

fn against_low_risk(flicker: &Flicker) -> Estimate {
    let Some(frequency) = &flicker.frequency else { return Estimate::exact(0.0) };
    let slope = if frequency.value < 90.0 { 0.025e-2 } else { 0.08e-2 };
    let limit = slope * frequency.value;
    let ratio = flicker.depth.value / limit;
    Estimate::combined(ratio, &[(&flicker.depth, 1.0 / limit), (frequency, -ratio / frequency.value)])
}

fn steady() -> Withheld {
    nobody("the light does not flicker, so that there is no frequency")
}
