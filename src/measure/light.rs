//! The light bar: at speed level n the first n segments are lit.

use super::evidence::{CheckEvidence, PhaseEvidence};
use super::values::{bench, count, reading, ticks};
use super::{Measurand, Reading, Setup, Withheld};
use crate::capture::{Action, SampleChannel, Tick};
use crate::quantity::Dimension;
use crate::stats::Estimate;

pub(super) const SEGMENT_ERRORS: Measurand = Measurand {
    name: "segment errors",
    dimension: Dimension::Count,
    about: "segments of the light bar that are lit and should be dark at the selected level, or the reverse",
    source: "common practice",
    edges: &[],
    samples: &[SampleChannel::Light(0)],
    reader: segment_errors,
};

/// The light is looked at over the last part of a phase, s: a few samples of a slow sensor.
const LOOK_S: f64 = 0.15;

fn segment_errors(check: &CheckEvidence, setup: &Setup) -> Vec<Reading> {
    let levels = check.phases.iter().filter_map(|phase| Some((phase, level(phase)?)));
    levels.map(|(phase, level)| reading(phase, errors(check, phase, level, setup))).collect()
}

fn level(phase: &PhaseEvidence) -> Option<u8> {
    match phase.phase.action {
        Action::Select { level } | Action::Start { level, .. } => Some(level),
        Action::Travel { level, .. } => level,
        _ => None,
    }
}

fn errors(check: &CheckEvidence, phase: &PhaseEvidence, level: u8, setup: &Setup) -> Result<Estimate, Withheld> {
    let from = phase.began.max(phase.ended.saturating_sub(ticks(LOOK_S, setup)));
    let mut wrong = 0;
    for segment in 0..setup.unit.segments.min(SampleChannel::LIGHTS as u8) {
        let light = mean_light(check, segment, from, phase.ended, setup).ok_or_else(|| {
            bench(format!("no sample of `{}` came at the end of the move", SampleChannel::Light(segment).name()))
        })?;
        wrong += usize::from((light > setup.jig.lit_above) != (segment < level));
    }
    Ok(count(wrong))
}

fn mean_light(check: &CheckEvidence, segment: u8, from: Tick, to: Tick, setup: &Setup) -> Option<f64> {
    let channel = SampleChannel::Light(segment);
    let calibration = setup.jig.calibrations[channel.index()]?;
    let samples = check.samples(channel, from, to);
    let sum: f64 = samples.iter().map(|sample| calibration.value(sample.code)).sum();
    (!samples.is_empty()).then(|| sum / samples.len() as f64)
}

/// Whether a segment went on or off between a moment and a later one.
pub(super) fn changed(check: &CheckEvidence, segment: u8, from: Tick, to: Tick, setup: &Setup) -> bool {
    let look = ticks(LOOK_S, setup);
    let before = mean_light(check, segment, from.saturating_sub(look), from, setup);
    let after = mean_light(check, segment, to.saturating_sub(look).max(from), to, setup);
    match (before, after) {
        (Some(before), Some(after)) => (before > setup.jig.lit_above) != (after > setup.jig.lit_above),
        _ => false,
    }
}
