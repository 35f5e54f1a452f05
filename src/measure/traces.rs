//! Curves for people to look at, thinned out while they are taken. Nothing is decided from them.

use super::evidence::PhaseEvidence;
use super::setup::Setup;
use super::track::Path;
use crate::capture::{Action, Sample, SampleChannel, Tick};
use hdrhistogram::Histogram;

/// The most points of a speed curve.
const SPEED_POINTS: usize = 300;
/// The most bands of the pack's voltage.
const BANDS: usize = 1000;
/// The most points of a temperature curve.
const TEMPERATURE_POINTS: usize = 500;
/// The longest step interval that a histogram tells apart, ns: a minute.
const LONGEST_NS: u64 = 60_000_000_000;

/// Curves of a run.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Traces {
    /// Carriage speed, one curve for each label of a move; the first move with that label.
    pub speed: Vec<SpeedTrace>,
    /// Step intervals in cruise, one distribution for each label of a travel; all travels with that label.
    pub intervals: Vec<IntervalTrace>,
    /// The pack's voltage over the run.
    pub pack_voltage: Vec<VoltageBand>,
    /// The temperatures over the run.
    pub temperatures: Vec<TemperatureTrace>,
    band_samples: Thinning,
}

/// Carriage speed over a move.
#[derive(Debug, Clone, PartialEq)]
pub struct SpeedTrace {
    /// The move, in words.
    pub label: String,
    /// Seconds since the move began, and m/s; positive to the right.
    pub points: Vec<(f64, f64)>,
}

/// Distribution of the step interval over the cruise of travels with one label.
#[derive(Debug, Clone, PartialEq)]
pub struct IntervalTrace {
    /// The travel, in words.
    pub label: String,
    /// Interval of the commanded speed, ns.
    pub nominal_ns: f64,
    /// Intervals in ns.
    pub histogram: Histogram<u64>,
}

impl IntervalTrace {
    /// No intervals yet: a histogram from 1 ns to a minute with three significant digits.
    pub fn new(label: impl Into<String>, nominal_ns: f64) -> Self {
        let histogram =
            Histogram::new_with_bounds(1, LONGEST_NS, 3).expect("bounds that the histogram's own rules allow");
        Self { label: label.into(), nominal_ns, histogram }
    }
}

/// Lowest and highest pack voltage of a stretch of the run.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct VoltageBand {
    /// Its beginning, s since the capture's start.
    pub at_s: f64,
    /// V.
    pub low: f64,
    /// V.
    pub high: f64,
}

/// A temperature over the run.
#[derive(Debug, Clone, PartialEq)]
pub struct TemperatureTrace {
    /// Whose.
    pub channel: SampleChannel,
    /// Seconds since the capture's start, and °C.
    pub points: Vec<(f64, f64)>,
    thinning: Thinning,
}

/// One point stands for so many samples, which doubles whenever the points have become too many.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Thinning {
    each: usize,
    taken: usize,
}

impl Default for Thinning {
    fn default() -> Self {
        Self { each: 1, taken: 0 }
    }
}

impl Thinning {
    /// Whether the next sample begins a new point.
    fn begins(&mut self) -> bool {
        let begins = self.taken == 0;
        self.taken = (self.taken + 1) % self.each;
        begins
    }

    fn double(&mut self) {
        self.each *= 2;
        self.taken = 0;
    }
}

impl Traces {
    /// Takes samples of the pack's voltage.
    pub(super) fn pack(&mut self, samples: &[Sample], setup: &Setup) {
        let Some(calibration) = setup.jig.calibrations[SampleChannel::PackVoltage.index()] else {
            return;
        };
        for sample in samples {
            let value = calibration.value(sample.code);
            if self.band_samples.begins() {
                if self.pack_voltage.len() == BANDS {
                    self.merge_bands();
                }
                self.pack_voltage.push(VoltageBand { at_s: seconds(sample.at, setup), low: value, high: value });
            } else if let Some(band) = self.pack_voltage.last_mut() {
                (band.low, band.high) = (band.low.min(value), band.high.max(value));
            }
        }
    }

    fn merge_bands(&mut self) {
        let merged = self.pack_voltage.chunks(2).map(|pair| {
            pair.iter().skip(1).fold(pair[0], |band, next| VoltageBand {
                low: band.low.min(next.low),
                high: band.high.max(next.high),
                ..band
            })
        });
        self.pack_voltage = merged.collect();
        self.band_samples.double();
        self.band_samples.begins();
    }

    /// Takes samples of a temperature.
    pub(super) fn temperature(&mut self, channel: SampleChannel, samples: &[Sample], setup: &Setup) {
        let Some(calibration) = setup.jig.calibrations[channel.index()].filter(|_| !samples.is_empty()) else {
            return;
        };
        let index = self.temperatures.iter().position(|trace| trace.channel == channel).unwrap_or_else(|| {
            self.temperatures.push(TemperatureTrace { channel, points: Vec::new(), thinning: Thinning::default() });
            self.temperatures.len() - 1
        });
        let trace = &mut self.temperatures[index];
        for sample in samples {
            if trace.thinning.begins() {
                trace.points.push((seconds(sample.at, setup), calibration.value(sample.code)));
            }
            if trace.points.len() > TEMPERATURE_POINTS {
                let mut index = 0;
                trace.points.retain(|_| {
                    index += 1;
                    index % 2 == 1
                });
                trace.thinning.double();
                trace.thinning.taken = 1;
            }
        }
    }

    /// Takes a phase.
    pub(super) fn phase(&mut self, evidence: &PhaseEvidence, path: &Path<'_>, setup: &Setup) {
        let label = &evidence.phase.label;
        if !evidence.runs.is_empty() && self.speed.iter().all(|trace| trace.label != *label) {
            self.speed.push(SpeedTrace {
                label: label.clone(),
                points: speed_points(path, evidence.began, evidence.ended, setup),
            });
        }
        let (Action::Travel { speed, .. } | Action::Start { speed, .. }) = evidence.phase.action else {
            return;
        };
        let Some(cruise) = evidence.main_run().and_then(|run| run.cruise.as_ref()) else {
            return;
        };
        let nominal_ns = 1e9 / (speed * setup.unit.steps_per_metre);
        let histogram = self.histogram(label, nominal_ns);
        let tick_ns = 1e9 / setup.jig.ticks_per_second as f64 * (1.0 + setup.jig.clock_error);
        for (deviation, count) in &cruise.intervals.deviations {
            let interval = (cruise.intervals.base as i64 + deviation) as f64 * tick_ns;
            histogram.saturating_record_n(interval.round() as u64, *count);
        }
    }

    fn histogram(&mut self, label: &str, nominal_ns: f64) -> &mut Histogram<u64> {
        let known = self.intervals.iter().position(|trace| trace.label == label);
        let index = known.unwrap_or_else(|| {
            self.intervals.push(IntervalTrace::new(label, nominal_ns));
            self.intervals.len() - 1
        });
        &mut self.intervals[index].histogram
    }
}

/// Seconds since the capture's start.
fn seconds(at: Tick, setup: &Setup) -> f64 {
    at as f64 / setup.jig.ticks_per_second as f64 * (1.0 + setup.jig.clock_error)
}

/// Mean speeds over equal stretches of a move, none shorter than 5 ms.
fn speed_points(path: &Path<'_>, began: Tick, ended: Tick, setup: &Setup) -> Vec<(f64, f64)> {
    let duration = seconds(ended - began, setup);
    let count = ((duration / 0.005) as usize).clamp(1, SPEED_POINTS);
    let at = |index: usize| began + ((ended - began) as f64 * index as f64 / count as f64) as Tick;
    let step = duration / count as f64;
    if step <= 0.0 {
        return Vec::new();
    }
    let mut before = path.position_at(at(0));
    (0..count)
        .map(|index| {
            let position = path.position_at(at(index + 1));
            let moved = (position - std::mem::replace(&mut before, position)) / setup.jig.encoder_edges_per_metre;
            ((index as f64 + 0.5) * step, moved / step)
        })
        .collect()
}
