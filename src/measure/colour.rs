//! Colour of the light bar: the shares of red, green and blue in what a colour sensor sees of it.
//!
//! They are shares of the sensor's own three filters on one scale, set by light of a known colour. They tell one amber
//! from another and a wrong lamp from the right one. They are no chromaticity of CIE 15: that takes filters like the
//! eye's.

use super::evidence::{CheckEvidence, PhaseEvidence};
use super::light::{level, shows_light};
use super::values::{RECTANGULAR, bench, reading, ticks, unit};
use super::{Measurand, Pooling, Reading, Setup, Withheld};
use crate::capture::SampleChannel;
use crate::quantity::Dimension;
use crate::stats::{Estimate, summary};

const SENSOR: &[SampleChannel] = &[SampleChannel::Red, SampleChannel::Green, SampleChannel::Blue];

const fn share_of(
    name: &'static str,
    about: &'static str,
    reader: fn(&CheckEvidence, &Setup) -> Vec<Reading>,
) -> Measurand {
    Measurand {
        name,
        dimension: Dimension::Ratio,
        about,
        source: "common practice",
        edges: &[],
        samples: SENSOR,
        pooling: Pooling::Mean,
        reader,
    }
}

pub(super) const RED: Measurand = share_of(
    "red share",
    "red light of the bar over the sum of its red, green and blue, as the jig's colour sensor weighs them",
    |check, setup| shares(check, setup, 0),
);

pub(super) const GREEN: Measurand = share_of(
    "green share",
    "green light of the bar over the sum of its red, green and blue, as the jig's colour sensor weighs them",
    |check, setup| shares(check, setup, 1),
);

pub(super) const BLUE: Measurand = share_of(
    "blue share",
    "blue light of the bar over the sum of its red, green and blue, as the jig's colour sensor weighs them",
    |check, setup| shares(check, setup, 2),
);

/// Colour is looked at over the last part of a phase, s: a few readings of a slow sensor.
const LOOK_S: f64 = 0.6;

fn shares(check: &CheckEvidence, setup: &Setup, wanted: usize) -> Vec<Reading> {
    let phases = check.phases.iter().filter(|phase| shows_light(phase));
    phases.filter_map(|phase| Some(reading(phase, share(check, phase, setup, wanted)?))).collect()
}

fn share(
    check: &CheckEvidence,
    phase: &PhaseEvidence,
    setup: &Setup,
    wanted: usize,
) -> Option<Result<Estimate, Withheld>> {
    let mut parts = Vec::with_capacity(SENSOR.len());
    for channel in SENSOR {
        match mean(check, phase, *channel, setup) {
            Some(part) => parts.push(part),
            None => return Some(Err(bench(format!("no sample of `{}` came at the end of the move", channel.name())))),
        }
    }
    let sum: f64 = parts.iter().map(|part| part.value).sum();
    if sum < setup.jig.lit_above / f64::from(setup.unit.segments.max(1)) {
        return level(phase).map(|_| Err(unit("the light bar is dark")));
    }
    let value = parts[wanted].value / sum;
    let own = |index: usize| if index == wanted { 1.0 } else { 0.0 };
    let weighed: Vec<(&Estimate, f64)> =
        parts.iter().enumerate().map(|(index, part)| (part, (own(index) - value) / sum)).collect();
    Some(Ok(Estimate::combined(value, &weighed)))
}

/// Mean of a channel over the end of a phase.
fn mean(check: &CheckEvidence, phase: &PhaseEvidence, channel: SampleChannel, setup: &Setup) -> Option<Estimate> {
    let calibration = setup.jig.calibrations[channel.index()]?;
    let from = phase.began.max(phase.ended.saturating_sub(ticks(LOOK_S, setup)));
    let samples = check.samples(channel, from, phase.ended);
    let values: Vec<f64> = samples.iter().map(|sample| calibration.value(sample.code)).collect();
    let mean = summary::mean(&values)?;
    let estimate = Estimate::of(mean)
        .with("calibration, gain", (mean - calibration.offset) * calibration.gain_uncertainty)
        .with("calibration, offset", calibration.offset_uncertainty);
    let count = values.len() as f64;
    let scatter = summary::standard_deviation(&values).unwrap_or(0.0) / count.sqrt();
    let resolution = RECTANGULAR * calibration.gain.abs();
    // The scatter holds the steps of the codes as well, unless the light is so quiet that all fall on one.
    Some(if scatter > resolution {
        estimate.with_freedom("repeat", scatter, count - 1.0)
    } else {
        estimate.with("resolution", resolution)
    })
}
