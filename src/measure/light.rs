//! The segments of the light bar: at speed level n the first n are lit.

use super::evidence::{CheckEvidence, PhaseEvidence};
use super::values::{bench, count, reading, ticks, whole};
use super::{Measurand, Pooling, Reading, Setup, Withheld};
use crate::capture::{Action, SampleChannel, Tick};
use crate::quantity::Dimension;
use crate::stats::Estimate;
use std::collections::BTreeMap;

pub(super) const SEGMENT_ERRORS: Measurand = Measurand {
    name: "segment errors",
    dimension: Dimension::Count,
    about: "segments of the light bar that are lit and should be dark at the selected level, or the reverse",
    source: "common practice",
    edges: &[],
    samples: &[SampleChannel::Light(0)],
    pooling: Pooling::Worst,
    reader: segment_errors,
};

pub(super) const LIT_SEGMENTS: Measurand = Measurand {
    name: "lit segments",
    dimension: Dimension::Count,
    about: "segments of the light bar that are lit at the end of a move with a level",
    source: "common practice",
    edges: &[],
    samples: &[SampleChannel::Light(0)],
    pooling: Pooling::Worst,
    reader: lit_segments,
};

pub(super) const OUT_OF_ORDER: Measurand = Measurand {
    name: "lit segments out of order",
    dimension: Dimension::Count,
    about: "levels of the check that light fewer segments than the next lower level of the check",
    source: "common practice",
    edges: &[],
    samples: &[SampleChannel::Light(0)],
    pooling: Pooling::Worst,
    reader: out_of_order,
};

/// The light is looked at over the last part of a phase, s: a few samples of a slow sensor.
const LOOK_S: f64 = 0.15;

fn segment_errors(check: &CheckEvidence, setup: &Setup) -> Vec<Reading> {
    let levels = check.phases.iter().filter_map(|phase| Some((phase, level(phase)?)));
    levels.map(|(phase, level)| reading(phase, errors(check, phase, level, setup))).collect()
}

/// The level that a phase sets.
pub(super) fn level(phase: &PhaseEvidence) -> Option<u8> {
    match phase.phase.action {
        Action::Select { level } | Action::Start { level, .. } => Some(level),
        Action::Travel { level, .. } => level,
        _ => None,
    }
}

/// Whether the bar shows the same all through a phase, but for its beginning.
pub(super) fn shows_light(phase: &PhaseEvidence) -> bool {
    level(phase).is_some() || phase.phase.action == Action::Wait
}

fn lit_segments(check: &CheckEvidence, setup: &Setup) -> Vec<Reading> {
    let phases = check.phases.iter().filter(|phase| level(phase).is_some());
    phases.map(|phase| reading(phase, lit(check, phase, setup).map(|lit| count(number_of(&lit))))).collect()
}

fn out_of_order(check: &CheckEvidence, setup: &Setup) -> Vec<Reading> {
    let mut shown = BTreeMap::new();
    for phase in &check.phases {
        let Some(level) = level(phase) else { continue };
        match lit(check, phase, setup) {
            Ok(lit) => shown.entry(level).or_insert_with(|| number_of(&lit)),
            Err(withheld) => return vec![whole(Err(withheld))],
        };
    }
    if shown.len() < 2 {
        return Vec::new();
    }
    let numbers: Vec<usize> = shown.into_values().collect();
    vec![whole(Ok(count(numbers.windows(2).filter(|pair| pair[1] < pair[0]).count())))]
}

fn number_of(lit: &[bool]) -> usize {
    lit.iter().filter(|lit| **lit).count()
}

fn errors(check: &CheckEvidence, phase: &PhaseEvidence, level: u8, setup: &Setup) -> Result<Estimate, Withheld> {
    let lit = lit(check, phase, setup)?;
    Ok(count((0_u8..).zip(lit).filter(|(segment, lit)| *lit != (*segment < level)).count()))
}

/// Which segments are lit at the end of a phase.
fn lit(check: &CheckEvidence, phase: &PhaseEvidence, setup: &Setup) -> Result<Vec<bool>, Withheld> {
    let from = phase.began.max(phase.ended.saturating_sub(ticks(LOOK_S, setup)));
    let segments = 0..setup.unit.segments.min(SampleChannel::LIGHTS as u8);
    let is_lit = |segment| {
        let light = mean_light(check, segment, from, phase.ended, setup).ok_or_else(|| {
            bench(format!("no sample of `{}` came at the end of the move", SampleChannel::Light(segment).name()))
        });
        light.map(|light| light > setup.jig.lit_above)
    };
    segments.map(is_lit).collect()
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
