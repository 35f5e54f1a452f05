//! The step-clock report of a check: each motion, its phases, and what is said of each.

use super::super::values::{interval, mean_interval, seconds};
use super::super::{CheckEvidence, Setup};
use super::cruise::Cruise;
use super::divide::Motion;
use super::profile::ProfileErrors;
use super::ramp::{Points, Ramp};
use super::steady::Steadied;
use super::{Gap, estimates};
use crate::capture::{Action, EdgeChannel, Tick};
use crate::stats::Estimate;
use hdrhistogram::Histogram;

/// The clock of one motion in one direction.
#[derive(Debug, Clone, PartialEq)]
pub struct MoveClock {
    /// The move that it belongs to, in words.
    pub label: String,
    /// Whether the direction line said right; `None` where there is no such line.
    pub rightward: Option<bool>,
    /// Step pulses.
    pub steps: u64,
    /// Step pulses at the very tick of the one before.
    pub doubled: u64,
    /// First and last step, s since the capture's start.
    pub began_s: f64,
    pub ended_s: f64,
    /// Its phases, in order of time.
    pub phases: Vec<PhaseClock>,
    /// Why there are no values, where there are none.
    pub withheld: Option<String>,
}

/// What a phase of a motion is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PhaseKind {
    /// The rate rises.
    RampUp,
    /// The rate is steady.
    Cruise,
    /// The rate falls.
    RampDown,
    /// Few steps at a time, with pauses between them.
    Crawl,
    /// Steps without a steady rate.
    Unsteady,
}

impl PhaseKind {
    /// In words.
    pub const fn name(self) -> &'static str {
        match self {
            Self::RampUp => "ramp up",
            Self::Cruise => "cruise",
            Self::RampDown => "ramp down",
            Self::Crawl => "crawl",
            Self::Unsteady => "no steady rate",
        }
    }
}

/// The clock of one phase.
#[derive(Debug, Clone, PartialEq)]
pub struct PhaseClock {
    pub kind: PhaseKind,
    /// First and last step, s since the capture's start.
    pub began_s: f64,
    pub ended_s: f64,
    /// Step pulses; the one between two phases counts for the later one.
    pub steps: u64,
    pub values: Vec<ClockValue>,
    /// N-period jitter: number of periods, and the standard deviation of their duration, s.
    pub n_period: Vec<(u64, Estimate)>,
    pub allan: Vec<AllanPoint>,
    pub maximum_errors: Vec<MaximumError>,
    /// Intervals in ns.
    pub intervals: Option<Histogram<u64>>,
    pub longest: Option<LongestGap>,
}

/// A value of a phase.
#[derive(Debug, Clone, PartialEq)]
pub struct ClockValue {
    pub name: &'static str,
    /// SI unit of the value.
    pub unit: &'static str,
    pub estimate: Estimate,
}

/// The overlapping Allan deviation over one time.
#[derive(Debug, Clone, PartialEq)]
pub struct AllanPoint {
    /// The time in periods, and in s.
    pub periods: u64,
    pub tau_s: f64,
    /// Second differences that it was taken from.
    pub differences: u64,
    pub estimate: Estimate,
}

/// The most by which the time interval error changes within one time, against the clock that fits best.
#[derive(Debug, Clone, PartialEq)]
pub struct MaximumError {
    /// The time in periods, and in s.
    pub periods: u64,
    pub tau_s: f64,
    /// s.
    pub estimate: Estimate,
}

/// The longest interval of a phase.
#[derive(Debug, Clone, PartialEq)]
pub struct LongestGap {
    /// s.
    pub length: Estimate,
    /// When it began, s since the capture's start and since the phase began.
    pub began_s: f64,
    pub into_phase_s: f64,
}

impl CheckEvidence {
    /// What the step clock was like, motion by motion. Where evidence was lost there are no values.
    pub fn step_clock(&self, setup: &Setup) -> Vec<MoveClock> {
        let lost = self.losses.first().map(|loss| format!("evidence was lost: {}", loss.what));
        let is_directed = setup.jig.edges.contains(&EdgeChannel::Direction);
        let runs = self.phases.iter().flat_map(|phase| phase.runs.iter().map(move |run| (phase, run)));
        runs.map(|(phase, run)| {
            let mut told = run.clock.told(nominal(&phase.phase.action, setup), setup);
            told.label = phase.phase.label.clone();
            if let Some(Ok(errors)) = &run.profile {
                told.phases.iter_mut().for_each(|phase| against_profile(phase, errors, setup));
            }
            told.rightward = is_directed.then_some(run.rightward);
            if let Some(why) = &lost {
                told.phases.clear();
                told.withheld = Some(why.clone());
            }
            told
        })
        .collect()
    }
}

/// Commanded step rate, Hz; `None` where none was commanded, or is not known.
pub(in crate::measure) fn nominal(action: &Action, setup: &Setup) -> Option<f64> {
    let speed = match action {
        Action::Travel { speed, .. }
        | Action::Stop { speed, .. }
        | Action::Start { speed, .. }
        | Action::Reverse { speed, .. } => *speed,
        _ => return None,
    };
    let rate = speed * setup.unit.steps_per_metre;
    (rate.is_finite() && rate > 0.0 && !super::super::values::crawls(speed, setup)).then_some(rate)
}

impl Motion {
    /// The motion in values; `nominal` is its commanded step rate in Hz, where that is known.
    pub fn told(&self, nominal: Option<f64>, setup: &Setup) -> MoveClock {
        let withheld = match self.disorder {
            Some(at) => {
                let at = seconds(at as f64, setup);
                Some(format!("a step at {at:.6} s is stamped earlier than the one before it"))
            }
            None if self.steps < 3 => Some("fewer than three steps make no clock".into()),
            None => None,
        };
        MoveClock {
            label: String::new(),
            rightward: None,
            steps: self.steps,
            doubled: self.doubled,
            began_s: seconds(self.first as f64, setup),
            ended_s: seconds(self.last as f64, setup),
            phases: if withheld.is_none() { self.phases(nominal, setup) } else { Vec::new() },
            withheld,
        }
    }

    fn phases(&self, nominal: Option<f64>, setup: &Setup) -> Vec<PhaseClock> {
        let whole = Span { from: self.first, to: self.last, steps: self.steps };
        if let Some(cruise) = &self.cruise {
            return self.around(cruise, nominal, setup);
        }
        if let Some(increments) = &self.increments {
            let mut crawl = whole.phase(PhaseKind::Crawl, &self.gap, setup);
            if let Some((mean, scatter, count)) = increments.interval() {
                let estimate = mean_interval(mean, scatter, count, setup);
                crawl.values.push(ClockValue { name: "interval of increments", unit: "s", estimate });
            }
            let (few, many) = increments.steps;
            let counts = [("increments", increments.bursts), ("fewest steps of one", few), ("most steps of one", many)];
            crawl.values.extend(counts.map(|(name, count)| ClockValue {
                name,
                unit: "1",
                estimate: Estimate::exact(count as f64),
            }));
            return vec![crawl];
        }
        self.without_cruise(&whole, setup)
    }

    /// Up and down again without a cruise, or neither.
    fn without_cruise(&self, whole: &Span, setup: &Setup) -> Vec<PhaseClock> {
        let (up, down) = self.points.split_at_peak();
        let top = self.points.top_rate();
        let mut phase = whole.phase(PhaseKind::Unsteady, &self.gap, setup);
        let ramps = [("acceleration", up.fit(false, top)), ("deceleration", down.fit(true, top))];
        for (name, ramp) in ramps.into_iter().filter_map(|(name, ramp)| Some((name, ramp?))) {
            phase.values.push(ClockValue { name, unit: "m/s²", estimate: estimates::acceleration(&ramp, setup) });
        }
        vec![phase]
    }

    fn around(&self, cruise: &Cruise, nominal: Option<f64>, setup: &Setup) -> Vec<PhaseClock> {
        let (begun, ended) = cruise.clock.span();
        let mut phases = Vec::new();
        let before = Span { from: self.first, to: begun, steps: cruise.from };
        if before.steps > 0 {
            phases.push(ramp_phase(&before, PhaseKind::RampUp, self.ramp_up(), &cruise.gap_before, setup));
        }
        let (length, began) = cruise.clock.longest();
        let span = Span { from: begun, to: ended, steps: cruise.clock.intervals() };
        phases.push(steady_phase(&span, &Gap { length, began }, &cruise.clock, nominal, setup));
        let after = Span { from: ended, to: self.last, steps: self.steps - cruise.to };
        if after.to > after.from {
            let gap = cruise.after.as_ref().map_or_else(Gap::default, |after| after.1);
            phases.push(ramp_phase(&after, PhaseKind::RampDown, self.ramp_down(), &gap, setup));
        }
        phases
    }

    /// The ramp up to the cruise.
    pub(super) fn ramp_up(&self) -> Option<Ramp> {
        let cruise = self.cruise.as_ref()?;
        fit(&cruise.before, false, cruise)
    }

    /// The ramp down from it.
    pub(super) fn ramp_down(&self) -> Option<Ramp> {
        let cruise = self.cruise.as_ref()?;
        fit(&cruise.after.as_ref()?.0, true, cruise)
    }
}

fn fit(points: &Points, falls: bool, cruise: &Cruise) -> Option<Ramp> {
    points.fit(falls, 1.0 / cruise.clock.mean_period().filter(|period| *period > 0.0)?)
}

/// From one step to another.
struct Span {
    from: Tick,
    to: Tick,
    steps: u64,
}

impl Span {
    fn phase(&self, kind: PhaseKind, gap: &Gap, setup: &Setup) -> PhaseClock {
        let longest = (gap.length > 0).then(|| LongestGap {
            length: interval(gap.length as f64, setup),
            began_s: seconds(gap.began as f64, setup),
            into_phase_s: seconds(gap.began.saturating_sub(self.from) as f64, setup),
        });
        PhaseClock {
            kind,
            began_s: seconds(self.from as f64, setup),
            ended_s: seconds(self.to as f64, setup),
            steps: self.steps,
            values: Vec::new(),
            n_period: Vec::new(),
            allan: Vec::new(),
            maximum_errors: Vec::new(),
            intervals: None,
            longest,
        }
    }
}

fn ramp_phase(span: &Span, kind: PhaseKind, ramp: Option<Ramp>, gap: &Gap, setup: &Setup) -> PhaseClock {
    let mut phase = span.phase(kind, gap, setup);
    if let Some(ramp) = ramp {
        let name = if kind == PhaseKind::RampUp { "acceleration" } else { "deceleration" };
        let value = |name, unit, estimate| ClockValue { name, unit, estimate };
        phase.values.push(value(name, "m/s²", estimates::acceleration(&ramp, setup)));
        phase.values.extend(estimates::jerk(&ramp, setup).map(|jerk| value("jerk", "m/s³", jerk)));
        phase.values.push(value("scatter about constant acceleration", "s", estimates::scatter(&ramp, setup)));
    }
    phase
}

fn steady_phase(span: &Span, gap: &Gap, steady: &Steadied, nominal: Option<f64>, setup: &Setup) -> PhaseClock {
    let mut phase = span.phase(PhaseKind::Cruise, gap, setup);
    let period_jitter = steady.lag(1).and_then(|lag| estimates::jitter(lag, setup));
    let against = |of: fn(&Steadied, f64, &Setup) -> Option<Estimate>| of(steady, nominal?, setup);
    let values = [
        ("mean period", "s", estimates::mean_period(steady, setup)),
        ("step rate", "Hz", estimates::rate(steady, setup)),
        ("step rate error", "1", against(estimates::rate_error)),
        ("period jitter rms", "s", period_jitter),
        ("period jitter peak to peak", "s", estimates::peak_to_peak(steady, setup)),
        ("cycle-to-cycle jitter", "s", estimates::cycle_to_cycle(steady, setup)),
        ("time interval error", "s", estimates::time_interval_error(steady, setup).ok()),
        ("time interval error peak to peak", "s", estimates::time_interval_error_peak_to_peak(steady, setup).ok()),
        ("time interval error against the command", "s", against(estimates::error_against_command)),
    ];
    let given = values.into_iter().filter_map(|(name, unit, estimate)| Some((name, unit, estimate?)));
    phase.values.extend(given.map(|(name, unit, estimate)| ClockValue { name, unit, estimate }));
    let several = steady.lags().filter(|lag| (2..=16).contains(&lag.periods));
    phase.n_period = several.filter_map(|lag| Some((lag.periods, estimates::jitter(lag, setup)?))).collect();
    phase.allan = allan(steady, setup);
    phase.maximum_errors = maximum_errors(steady, setup);
    phase.intervals = Some(steady.counted().histogram());
    phase
}

/// Adds how far a phase is from the commanded profile.
fn against_profile(phase: &mut PhaseClock, errors: &ProfileErrors, setup: &Setup) {
    if let Some(part) = errors.of(phase.kind) {
        let values = [
            ("time interval error against the profile", estimates::profile_error(part, errors.fitted, setup)),
            ("rms time interval error against the profile", estimates::profile_rms(part, setup)),
        ];
        phase.values.extend(values.map(|(name, estimate)| ClockValue { name, unit: "s", estimate }));
    }
}

fn maximum_errors(steady: &Steadied, setup: &Setup) -> Vec<MaximumError> {
    let period = seconds(steady.mean_period().unwrap_or(0.0), setup);
    let told = |(periods, value, off): (u64, f64, f64)| MaximumError {
        periods,
        tau_s: periods as f64 * period,
        estimate: estimates::maximum_error(steady, periods, value, off, setup),
    };
    steady.maximum_errors().into_iter().map(told).collect()
}

fn allan(steady: &Steadied, setup: &Setup) -> Vec<AllanPoint> {
    let period = seconds(steady.mean_period().unwrap_or(0.0), setup);
    let mut before: Option<(f64, f64)> = None;
    let points = steady.lags().filter_map(|lag| {
        let mean_square = lag.second_mean_square()?;
        let variance = mean_square / (lag.periods as f64).powi(2);
        let periods = (lag.periods as f64).log2();
        let slope = |(earlier, before): (f64, f64)| (variance / before).log2() / (periods - earlier);
        let slope = before.replace((periods, variance)).map_or(-2.0, slope);
        Some(AllanPoint {
            periods: lag.periods,
            tau_s: lag.periods as f64 * period,
            differences: lag.second_count as u64,
            estimate: estimates::allan_deviation(steady, lag, slope, setup)?,
        })
    });
    points.collect()
}
