//! The step clock of a check in its stored form.

use super::recorder::{hdr_text, tidy};
use super::stored::{
    AllanDeviation, ClockGap, ClockIntervals, ClockPhase, ClockValue, MaximumTimeIntervalError, NPeriodJitter,
    StepClock,
};
use crate::measure::{MoveClock, PhaseClock};
use crate::stats::Estimate;

/// The step clock of one motion.
pub(super) fn stored(motion: &MoveClock) -> StepClock {
    StepClock {
        label: motion.label.clone(),
        direction: motion.rightward.map(|right| if right { "right" } else { "left" }.to_owned()),
        steps: motion.steps,
        doubled_steps: motion.doubled,
        withheld: motion.withheld.clone(),
        phases: motion.phases.iter().map(phase).collect(),
    }
}

fn phase(phase: &PhaseClock) -> ClockPhase {
    let values = phase.values.iter().filter_map(|value| {
        let (number, standard_uncertainty) = finite(&value.estimate)?;
        let (name, unit) = (value.name.to_owned(), value.unit.to_owned());
        Some(ClockValue { name, unit, value: number, standard_uncertainty })
    });
    let n_period_jitter = phase.n_period.iter().filter_map(|(periods, estimate)| {
        let (value, standard_uncertainty) = finite(estimate)?;
        Some(NPeriodJitter { periods: *periods, value, standard_uncertainty })
    });
    let allan_deviation = phase.allan.iter().filter_map(|point| {
        let (value, standard_uncertainty) = finite(&point.estimate)?;
        let (periods, differences) = (point.periods, point.differences);
        Some(AllanDeviation { periods, tau_s: tidy(point.tau_s), differences, value, standard_uncertainty })
    });
    let maximum_time_interval_error = phase.maximum_errors.iter().filter_map(|point| {
        let (value, standard_uncertainty) = finite(&point.estimate)?;
        let (periods, tau_s) = (point.periods, tidy(point.tau_s));
        Some(MaximumTimeIntervalError { periods, tau_s, value, standard_uncertainty })
    });
    ClockPhase {
        phase: phase.kind.name().to_owned(),
        began_s: tidy(phase.began_s),
        ended_s: tidy(phase.ended_s),
        steps: phase.steps,
        values: values.collect(),
        n_period_jitter: n_period_jitter.collect(),
        allan_deviation: allan_deviation.collect(),
        maximum_time_interval_error: maximum_time_interval_error.collect(),
        intervals: phase
            .intervals
            .as_ref()
            .map(|intervals| ClockIntervals { count: intervals.len(), hdr: hdr_text(intervals) }),
        longest_gap: phase.longest.as_ref().map(|gap| ClockGap {
            length_s: tidy(gap.length.value),
            began_s: tidy(gap.began_s),
            into_phase_s: tidy(gap.into_phase_s),
        }),
    }
}

/// Value and standard uncertainty; JSON has no word for what is no number.
fn finite(estimate: &Estimate) -> Option<(f64, f64)> {
    let (value, uncertainty) = (estimate.value, estimate.standard_uncertainty());
    (value.is_finite() && uncertainty.is_finite()).then(|| (tidy(value), tidy(uncertainty)))
}
