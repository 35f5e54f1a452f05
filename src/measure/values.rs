//! Ticks, edges and codes turned into SI, with what every reading of a kind owes to its doubt; and the refusals that
//! several measurands share.

use super::evidence::{CheckEvidence, CruiseEvidence, PhaseEvidence};
use super::{Blame, Reading, Setup, Withheld};
use crate::capture::{Action, Destination, Side};
use crate::stats::{Component, Estimate};

/// Label of a reading that belongs to a check as a whole.
pub(super) const WHOLE_CHECK: &str = "whole check";
/// A rectangular distribution of full width 1 has this standard deviation (JCGM 100:2008, 4.3.7).
pub(super) const RECTANGULAR: f64 = 0.288_675_134_594_812_9;
/// Encoder edges that are more than a carriage trembles at rest.
const MOVED_EDGES: usize = 40;

/// True seconds of so many ticks.
pub(super) fn seconds(ticks: f64, setup: &Setup) -> f64 {
    ticks / setup.jig.ticks_per_second as f64 * (1.0 + setup.jig.clock_error)
}

/// Ticks of so many seconds, for windows.
pub(super) fn ticks(seconds: f64, setup: &Setup) -> u64 {
    (seconds * setup.jig.ticks_per_second as f64) as u64
}

/// Variance of one edge's stamp, ticks²: resolution and what the jig adds.
pub(super) fn stamp_variance(setup: &Setup) -> f64 {
    RECTANGULAR.powi(2) + (setup.jig.stamp_uncertainty * setup.jig.ticks_per_second as f64).powi(2)
}

/// The line of a budget for the jig's clock. `sensitivity` is the change of the value per relative change of all times.
pub(super) fn clock(sensitivity: f64, setup: &Setup) -> Component {
    Component::normal("clock", setup.jig.clock_uncertainty).through(sensitivity, "1").shared("clock of the jig")
}

/// The line of a budget for the encoder's scale. `sensitivity` is the change of the value per relative change of all
/// lengths.
pub(super) fn encoder_scale(sensitivity: f64, setup: &Setup) -> Component {
    Component::normal("calibration", setup.jig.encoder_uncertainty)
        .through(sensitivity, "1")
        .shared("scale of the encoder")
}

/// A time between two stamped edges.
pub(super) fn interval(ticks: f64, setup: &Setup) -> Estimate {
    let time = seconds(ticks, setup);
    Estimate::of(time)
        .and(Component::triangular("resolution", 1.0 / setup.jig.ticks_per_second as f64))
        .with("stamp", std::f64::consts::SQRT_2 * setup.jig.stamp_uncertainty)
        .and(clock(time, setup))
}

/// The mean of so many intervals between neighbouring edges, with their standard deviation, both in ticks.
pub(super) fn mean_interval(mean: f64, deviation: f64, count: f64, setup: &Setup) -> Estimate {
    let value = seconds(mean, setup);
    Estimate::of(value)
        .with("resolution", seconds((2.0 * stamp_variance(setup)).sqrt(), setup) / count)
        .and(clock(value, setup))
        .with_freedom("repeat", seconds(deviation, setup) / count.sqrt(), count - 1.0)
}

/// A length between two positions, each known to within one cell of the encoder.
pub(super) fn length(edges: f64, setup: &Setup) -> Estimate {
    let per_metre = setup.jig.encoder_edges_per_metre;
    let length = edges / per_metre;
    Estimate::of(length).and(Component::triangular("resolution", 1.0 / per_metre)).and(encoder_scale(length, setup))
}

/// Carriage speed over a cruise; positive where the carriage goes as commanded.
pub(super) fn carriage_speed(
    phase: &PhaseEvidence,
    cruise: &CruiseEvidence,
    setup: &Setup,
) -> Result<Estimate, Withheld> {
    let carriage = cruise.carriage.ok_or_else(|| unit("the carriage did not follow the steps"))?;
    let rightward = phase.main_run().is_some_and(|run| run.rightward);
    let sign = if commanded_rightward(&phase.phase.action).unwrap_or(rightward) { 1.0 } else { -1.0 };
    let time = seconds(carriage.ticks, setup);
    let speed = sign * carriage.edges / setup.jig.encoder_edges_per_metre / time;
    let deviation = carriage.section_deviation * setup.jig.ticks_per_second as f64 / setup.jig.encoder_edges_per_metre;
    let sections = super::evidence::SECTIONS as f64;
    Ok(Estimate::of(speed)
        .with("resolution", speed * (2.0 * stamp_variance(setup)).sqrt() / carriage.ticks)
        .and(clock(-speed, setup))
        .and(encoder_scale(speed, setup))
        .with_freedom("repeat", deviation / sections.sqrt(), sections - 1.0))
}

/// Where a move is commanded to go, as far as its action says so.
pub(super) fn commanded_rightward(action: &Action) -> Option<bool> {
    match action {
        Action::Travel { to: Destination::End(side), .. }
        | Action::Start { towards: side, .. }
        | Action::Stop { towards: side, .. }
        | Action::Crawl { towards: side }
        | Action::Home { side } => Some(*side == Side::Right),
        Action::Travel { to: Destination::By(distance), .. } => Some(*distance > 0.0),
        _ => None,
    }
}

/// Whether a commanded speed is that of the time-lapse crawl, which has no steady rate.
pub(super) fn crawls(speed: f64, setup: &Setup) -> bool {
    speed <= 1.01 * setup.unit.crawl_increment / setup.unit.crawl_interval
}

/// Commanded speed of a travel that should cruise.
pub(super) fn travel_speed(phase: &PhaseEvidence, setup: &Setup) -> Option<f64> {
    match phase.phase.action {
        Action::Travel { speed, .. } | Action::Start { speed, .. } => {
            Some(speed).filter(|speed| !crawls(*speed, setup))
        }
        _ => None,
    }
}

/// The travels that should cruise, each with its commanded speed.
pub(super) fn travels<'c>(check: &'c CheckEvidence, setup: &Setup) -> impl Iterator<Item = (&'c PhaseEvidence, f64)> {
    check.phases.iter().filter_map(|phase| Some((phase, travel_speed(phase, setup)?)))
}

/// The cruise of a travel; `None` where none can be asked for because the way was too short.
pub(super) fn cruise(phase: &PhaseEvidence) -> Option<Result<&CruiseEvidence, Withheld>> {
    /// A way of fewer pulses may be all ramp.
    const SHORT: usize = 1000;
    let Some(run) = phase.main_run() else {
        return Some(Err(no_pulses(phase)));
    };
    let to_an_end = matches!(phase.phase.action, Action::Travel { to: Destination::End(_), .. });
    match &run.cruise {
        Some(cruise) => Some(Ok(cruise)),
        None if run.pulses < SHORT && !to_an_end => None,
        None => Some(Err(unit("the steps never reached a steady rate"))),
    }
}

/// One reading for each travel that cruises.
pub(super) fn each_cruise(
    check: &CheckEvidence,
    setup: &Setup,
    value: impl Fn(&PhaseEvidence, &CruiseEvidence, f64) -> Result<Estimate, Withheld>,
) -> Vec<Reading> {
    travels(check, setup)
        .filter_map(|(phase, speed)| {
            let result = cruise(phase)?.and_then(|cruise| value(phase, cruise, speed));
            Some(reading(phase, result))
        })
        .collect()
}

/// A reading of a phase.
pub(super) fn reading(phase: &PhaseEvidence, result: Result<Estimate, Withheld>) -> Reading {
    Reading { label: phase.phase.label.clone(), result }
}

/// A reading of the whole check.
pub(super) fn whole(result: Result<Estimate, Withheld>) -> Reading {
    Reading { label: WHOLE_CHECK.into(), result }
}

/// A count of whole things.
pub(super) fn count(things: usize) -> Estimate {
    Estimate::exact(things as f64)
}

/// Withheld because of the unit.
pub(super) fn unit(why: impl Into<String>) -> Withheld {
    Withheld { why: why.into(), blame: Blame::Unit }
}

/// Withheld because of the bench.
pub(super) fn bench(why: impl Into<String>) -> Withheld {
    Withheld { why: why.into(), blame: Blame::Bench }
}

/// Withheld because nothing there was to be measured.
pub(super) fn nobody(why: impl Into<String>) -> Withheld {
    Withheld { why: why.into(), blame: Blame::Nobody }
}

/// Why a move into an end has no contact.
pub(super) fn never_closed(side: Side) -> Withheld {
    unit(format!("the {} end switch never closed", side.name()))
}

/// Why there is not a single step pulse. A carriage that moves without any convicts the bench's probe, not the unit.
pub(super) fn no_pulses(phase: &PhaseEvidence) -> Withheld {
    if phase.rail.edges >= MOVED_EDGES {
        bench("the carriage moved but the jig saw no step pulse; check the step probe")
    } else {
        unit("no step pulse came")
    }
}

/// Takes known noise out of a variance; returns the standard deviation that is left, and the standard uncertainty of
/// taking it out: how much of the noise there really was is known no better than between nothing and twice as much.
pub(super) fn without_noise(variance: f64, noise_variance: f64) -> (f64, f64) {
    let left = (variance - noise_variance).max(0.0).sqrt();
    (left, (variance.sqrt() - left) * 2.0 * RECTANGULAR)
}

/// Standard deviation of an edge in ticks from which on rounding to whole ticks adds a variance of 1/12 and nothing else
/// (Sheppard's correction): the next term of its series is then below a hundredth.
const ROUNDED_WELL: f64 = 0.55;
/// How well the variance of the jig's own stamps is known, relative: their standard uncertainty is known to about a tenth
/// (JCGM 100:2008, E.4.3, of some fifty readings).
pub(super) const STAMP_VARIANCE_DOUBT: f64 = 0.2;

/// The same for a mean square in ticks² that has the variance of one edge in it so many times: 1 for an edge, 2 for an
/// interval, 6 for a change of intervals. Where edges are rounded well, the resolution's part of the noise is known.
pub(super) fn without_stamps(mean_square: f64, edges: f64, setup: &Setup) -> (f64, f64) {
    let (left, doubt) = without_noise(mean_square, edges * stamp_variance(setup));
    if is_rounded_well(left * left, edges) {
        let of_stamps = edges * (stamp_variance(setup) - RECTANGULAR.powi(2));
        (left, 0.5 * STAMP_VARIANCE_DOUBT * of_stamps / left)
    } else {
        (left, doubt)
    }
}

/// Whether edges of such a mean square without noise, ticks², are rounded well.
pub(super) fn is_rounded_well(left_square: f64, edges: f64) -> bool {
    left_square >= edges * ROUNDED_WELL.powi(2)
}
