//! Positioning as ISO 230-2 defines it: repeated approaches to targets along the travel, from both sides.
//!
//! A plan states the targets by its travels `to` places (or `by` distances between them); a `repeat` around them makes the
//! approaches. ISO 230-2 asks for five targets to a metre and at least five, at uneven distances so that no period of the
//! drive hides between them, and for five approaches from either side.
//!
//! The values are the standard's, of the deviations as the encoder showed them. Their doubt is that of the encoder's scale,
//! which grows with the way between the targets, and of scatter and cells (see [`doubt`]).

mod approaches;
mod doubt;
mod parameters;
mod rounding;

use super::evidence::CheckEvidence;
use super::values::encoder_scale;
use super::{Measurand, Pooling, Reading, Setup};
use crate::capture::EdgeChannel;
use crate::quantity::Dimension;
use crate::stats::{COVERAGE, Estimate, student};
use approaches::Approached;
use doubt::Axis;
use parameters::{Parameter, Series, Target, Ways};

const fn of_positioning(
    name: &'static str,
    about: &'static str,
    reader: fn(&CheckEvidence, &Setup) -> Vec<Reading>,
) -> Measurand {
    Measurand {
        name,
        dimension: Dimension::Length,
        about,
        source: "ISO 230-2:2014; uncertainty by JCGM 101:2008",
        edges: &[EdgeChannel::Step, EdgeChannel::Direction, EdgeChannel::EncoderA, EdgeChannel::EncoderB],
        samples: &[],
        pooling: Pooling::Mean,
        reader,
    }
}

pub(super) const ACCURACY: Measurand = of_positioning(
    "positioning accuracy",
    "A: from the lowest mean deviation less two standard deviations to the highest plus two, over targets and both ways",
    |check, setup| read(Parameter::Accuracy(Ways::Both), check, setup),
);

pub(super) const ACCURACY_RIGHTWARD: Measurand = of_positioning(
    "positioning accuracy rightward",
    "A↑: the same of approaches towards the right",
    |check, setup| read(Parameter::Accuracy(Ways::Up), check, setup),
);

pub(super) const ACCURACY_LEFTWARD: Measurand =
    of_positioning("positioning accuracy leftward", "A↓: the same of approaches towards the left", |check, setup| {
        read(Parameter::Accuracy(Ways::Down), check, setup)
    });

pub(super) const REPEATABILITY: Measurand = of_positioning(
    "positioning repeatability",
    "R: at the worst target, four standard deviations, or two of each way and the reversal value, whichever is more",
    |check, setup| read(Parameter::Repeatability(Ways::Both), check, setup),
);

pub(super) const REPEATABILITY_RIGHTWARD: Measurand = of_positioning(
    "positioning repeatability rightward",
    "R↑: four standard deviations of the approaches towards the right, at the worst target",
    |check, setup| read(Parameter::Repeatability(Ways::Up), check, setup),
);

pub(super) const REPEATABILITY_LEFTWARD: Measurand = of_positioning(
    "positioning repeatability leftward",
    "R↓: four standard deviations of the approaches towards the left, at the worst target",
    |check, setup| read(Parameter::Repeatability(Ways::Down), check, setup),
);

pub(super) const SYSTEMATIC: Measurand = of_positioning(
    "systematic deviation",
    "E: from the lowest mean deviation to the highest, over targets and both ways",
    |check, setup| read(Parameter::Systematic(Ways::Both), check, setup),
);

pub(super) const SYSTEMATIC_RIGHTWARD: Measurand = of_positioning(
    "systematic deviation rightward",
    "E↑: the same of approaches towards the right",
    |check, setup| read(Parameter::Systematic(Ways::Up), check, setup),
);

pub(super) const SYSTEMATIC_LEFTWARD: Measurand =
    of_positioning("systematic deviation leftward", "E↓: the same of approaches towards the left", |check, setup| {
        read(Parameter::Systematic(Ways::Down), check, setup)
    });

pub(super) const REVERSAL: Measurand = of_positioning(
    "reversal value",
    "B: the largest difference between the mean deviations of both ways at a target, without its sign",
    |check, setup| read(Parameter::Reversal, check, setup),
);

pub(super) const MEAN_REVERSAL: Measurand = of_positioning(
    "mean reversal value",
    "B̄: mean over the targets of the mean deviation towards the right less that towards the left",
    |check, setup| read(Parameter::MeanReversal, check, setup),
);

pub(super) const MEAN_DEVIATION: Measurand = of_positioning(
    "mean bidirectional deviation",
    "M: from the lowest to the highest mean of both ways, over targets",
    |check, setup| read(Parameter::MeanDeviation, check, setup),
);

fn read(parameter: Parameter, check: &CheckEvidence, setup: &Setup) -> Vec<Reading> {
    let Some(found) = approaches::find(check, setup) else {
        return Vec::new();
    };
    let label = found.as_ref().map_or_else(|_| "targets".into(), |targets| format!("{} targets", targets.len()));
    vec![Reading { label, result: found.map(|targets| estimate(parameter, &targets, setup)) }]
}

fn estimate(parameter: Parameter, approached: &[Approached], setup: &Setup) -> Estimate {
    let per_metre = setup.jig.encoder_edges_per_metre;
    let value = parameter.of(&targets(approached, 0.0)) / per_metre;
    // Per relative change of the encoder's scale, for a change as large as its doubt: a largest value may move to
    // another target, and to either side.
    let doubt = setup.jig.encoder_uncertainty.max(1e-9);
    let sensitivity = [doubt, -doubt]
        .map(|change| (parameter.of(&targets(approached, change * per_metre)) / per_metre - value) / change)
        .into_iter()
        .fold(0.0, |most: f64, one| if one.abs() > most.abs() { one } else { most });
    let [scatter, through_cells] = Axis::of(approached).expanded(parameter);
    let cells = (through_cells * through_cells - scatter * scatter).max(0.0).sqrt();
    let standard = |expanded: f64| expanded / student::two_sided_quantile(COVERAGE, f64::INFINITY) / per_metre;
    Estimate::of(value)
        .with_freedom("scatter of the approaches", standard(scatter), f64::INFINITY)
        .with("cells of the encoder", standard(cells))
        .and(encoder_scale(sensitivity, setup))
}

/// The targets, with their deviations as an encoder whose scale is off by so many edges a metre would show them.
fn targets(approached: &[Approached], off: f64) -> Vec<Target> {
    let series = |deviations: &[f64]| Series::of(deviations).unwrap_or(Series { mean: 0.0, deviation: 0.0 });
    let moved = |place: f64, series: Series| Series { mean: series.mean + off * place, ..series };
    approached
        .iter()
        .map(|target| Target {
            up: moved(target.place, series(&target.up)),
            down: moved(target.place, series(&target.down)),
        })
        .collect()
}
