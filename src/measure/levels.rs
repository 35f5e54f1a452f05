//! The speed levels against the model's file, in themselves, in ratio and in order.

use super::evidence::{CheckEvidence, PhaseEvidence};
use super::values::{carriage_speed, count, crawls, cruise, reading, unit, whole};
use super::{Measurand, Pooling, Reading, Setup, Withheld};
use crate::capture::{Action, EdgeChannel};
use crate::quantity::Dimension;
use crate::stats::Estimate;

const EDGES: &[EdgeChannel] =
    &[EdgeChannel::Step, EdgeChannel::Direction, EdgeChannel::EncoderA, EdgeChannel::EncoderB];

pub(super) const SPEED_ERROR: Measurand = Measurand {
    name: "level speed error",
    dimension: Dimension::Ratio,
    about: "carriage speed of a level against the speed that the unit file gives it; the mean speed where it crawls",
    source: "common practice",
    edges: EDGES,
    samples: &[],
    pooling: Pooling::Mean,
    reader: speed_error,
};

pub(super) const RATIO_ERROR: Measurand = Measurand {
    name: "level ratio error",
    dimension: Dimension::Ratio,
    about: "speed of a level over that of the next lower one measured in the check, against their ratio in the unit file",
    source: "common practice",
    edges: EDGES,
    samples: &[],
    pooling: Pooling::Mean,
    reader: ratio_error,
};

pub(super) const OUT_OF_ORDER: Measurand = Measurand {
    name: "levels out of order",
    dimension: Dimension::Count,
    about: "levels of the check that are not faster than the next lower one",
    source: "common practice",
    edges: EDGES,
    samples: &[],
    pooling: Pooling::Worst,
    reader: out_of_order,
};

/// A level's speed as it was measured in a phase.
struct Measured<'a> {
    phase: &'a PhaseEvidence,
    level: u8,
    nominal: f64,
    speed: Result<Estimate, Withheld>,
}

fn measured<'a>(check: &'a CheckEvidence, setup: &Setup) -> Vec<Measured<'a>> {
    check.phases.iter().filter_map(|phase| measure(phase, setup)).collect()
}

fn measure<'a>(phase: &'a PhaseEvidence, setup: &Setup) -> Option<Measured<'a>> {
    let crawling = || setup.unit.levels.iter().position(|speed| crawls(*speed, setup)).map(|index| index as u8 + 1);
    let level = match phase.phase.action {
        Action::Travel { level, .. } => level?,
        Action::Start { level, .. } => level,
        Action::Crawl { .. } => crawling()?,
        _ => return None,
    };
    let nominal = *setup.unit.levels.get(usize::from(level).checked_sub(1)?)?;
    let speed = if crawls(nominal, setup) {
        super::crawl::mean_speed(phase, setup)?
    } else {
        cruise(phase)?.and_then(|cruise| carriage_speed(phase, cruise, setup))
    };
    Some(Measured { phase, level, nominal, speed })
}

fn speed_error(check: &CheckEvidence, setup: &Setup) -> Vec<Reading> {
    measured(check, setup)
        .into_iter()
        .map(|measured| {
            let nominal = measured.nominal;
            let result =
                measured.speed.map(|speed| Estimate::combined(speed.value / nominal - 1.0, &[(&speed, 1.0 / nominal)]));
            reading(measured.phase, result)
        })
        .collect()
}

fn ratio_error(check: &CheckEvidence, setup: &Setup) -> Vec<Reading> {
    in_order(measured(check, setup))
        .windows(2)
        .map(|pair| Reading {
            label: format!("level {} over level {}", pair[1].level, pair[0].level),
            result: ratio(&pair[0], &pair[1]),
        })
        .collect()
}

fn ratio(lower: &Measured<'_>, higher: &Measured<'_>) -> Result<Estimate, Withheld> {
    let (slow, fast) = (lower.speed.clone()?, higher.speed.clone()?);
    if slow.value <= 0.0 {
        return Err(unit(format!("level {} did not move the carriage forward", lower.level)));
    }
    let per_fast = 1.0 / slow.value / (higher.nominal / lower.nominal);
    let ratio = fast.value * per_fast;
    // Clock and encoder scale are the same for both and cancel.
    Ok(Estimate::combined(ratio - 1.0, &[(&fast, per_fast), (&slow, -ratio / slow.value)]))
}

fn out_of_order(check: &CheckEvidence, setup: &Setup) -> Vec<Reading> {
    let levels = in_order(measured(check, setup));
    if levels.len() < 2 {
        return Vec::new();
    }
    let speeds: Result<Vec<f64>, Withheld> =
        levels.iter().map(|measured| measured.speed.as_ref().map(|speed| speed.value).map_err(Clone::clone)).collect();
    vec![whole(speeds.map(|speeds| count(speeds.windows(2).filter(|pair| pair[1] <= pair[0]).count())))]
}

/// One measurement of each level, the first of each, in ascending order of levels.
fn in_order(mut measured: Vec<Measured<'_>>) -> Vec<Measured<'_>> {
    measured.sort_by_key(|measured| measured.level);
    measured.dedup_by_key(|measured| measured.level);
    measured
}
