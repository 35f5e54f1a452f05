//! The step intervals of two sets, quantile by quantile: a tail that masked interrupts leave shows here first, at the speeds
//! where it is, while the middle of the distribution has not moved.
//!
//! This is exploration: the plan's measurands decide. Each quantile counts from the median of its own motion, so that a
//! crystal that is a little off does not pass for a tail.

use crate::record::Record;
use crate::study::{Observed, Quantity, Series};
use base64::Engine;
use hdrhistogram::Histogram;
use hdrhistogram::serialization::Deserializer;
use std::collections::BTreeMap;

/// Shares of the intervals below each quantile, per mille, with their names.
const QUANTILES: [(f64, &str); 7] =
    [(0.001, "p0.1"), (0.01, "p1"), (0.1, "p10"), (0.9, "p90"), (0.99, "p99"), (0.999, "p99.9"), (1.0, "longest")];
/// A quantile needs so many intervals beyond it to say more than the longest does.
const BEYOND_MIN: f64 = 5.0;

/// A motion: its check and what it was.
type Motion = (String, String);

/// The intervals of every cruise of a record, by motion, in ns.
fn motions(record: &Record) -> BTreeMap<Motion, Histogram<u64>> {
    let mut motions: BTreeMap<Motion, Histogram<u64>> = BTreeMap::new();
    for (check, clock) in
        record.checks.iter().flat_map(|check| check.step_clock.iter().map(move |clock| (check, clock)))
    {
        let cruises = clock.phases.iter().filter(|phase| phase.phase == "cruise");
        for histogram in cruises.filter_map(|phase| decoded(&phase.intervals.as_ref()?.hdr)) {
            let motion = (check.name.clone(), clock.label.clone());
            match motions.get_mut(&motion) {
                // Bounds that differ cannot be added; every version of ours has the same.
                Some(sum) => drop(sum.add(&histogram)),
                None => drop(motions.insert(motion, histogram)),
            }
        }
    }
    motions
}

fn decoded(text: &str) -> Option<Histogram<u64>> {
    let bytes = base64::engine::general_purpose::STANDARD.decode(text).ok()?;
    let histogram: Histogram<u64> = Deserializer::new().deserialize(&mut &bytes[..]).ok()?;
    (!histogram.is_empty()).then_some(histogram)
}

/// How far each quantile lies from the median, in µs, motion by motion: a series each.
pub fn series<'r>(records: impl Iterator<Item = &'r Record>) -> Vec<Series> {
    let mut series: BTreeMap<(Motion, usize), Series> = BTreeMap::new();
    for record in records {
        for (motion, histogram) in motions(record) {
            let median = histogram.value_at_quantile(0.5) as f64;
            let count = histogram.len() as f64;
            for (place, (share, name)) in QUANTILES.into_iter().enumerate() {
                if share != 1.0 && share.min(1.0 - share) * count < BEYOND_MIN {
                    continue;
                }
                let away = (histogram.value_at_quantile(share) as f64 - median) / 1e3;
                let of_quantile = series.entry((motion.clone(), place)).or_insert_with(|| {
                    let quantity = Quantity {
                        check: motion.0.clone(),
                        measurand: format!("step interval {name}"),
                        reading: motion.1.clone(),
                        unit: "µs".into(),
                        tolerance: None,
                    };
                    Series::plain(quantity, Vec::new())
                });
                of_quantile.values.push(Observed { serial: record.unit.serial.clone(), value: away });
            }
        }
    }
    series.into_values().collect()
}

/// A curve of the intervals of one motion over all runs: µs from the median, and the share of intervals at least so long.
#[derive(Debug, Clone, PartialEq)]
pub struct Tail {
    pub check: String,
    pub motion: String,
    pub points: Vec<(f64, f64)>,
}

/// The tails of every motion, all runs taken together.
pub fn tails<'r>(records: impl Iterator<Item = &'r Record>) -> Vec<Tail> {
    let mut sums: BTreeMap<Motion, Histogram<u64>> = BTreeMap::new();
    for (motion, histogram) in records.flat_map(motions) {
        match sums.get_mut(&motion) {
            Some(sum) => drop(sum.add(&histogram)),
            None => drop(sums.insert(motion, histogram)),
        }
    }
    let tail = |((check, motion), histogram): (Motion, Histogram<u64>)| {
        let (median, all) = (histogram.value_at_quantile(0.5) as f64, histogram.len() as f64);
        let mut beyond = histogram.len();
        let points = histogram.iter_recorded().map(|step| {
            let share = beyond as f64 / all;
            beyond -= step.count_at_value();
            ((step.value_iterated_to() as f64 - median) / 1e3, share)
        });
        Tail { check, motion, points: points.collect() }
    };
    sums.into_iter().map(tail).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::record::hdr_text;
    use crate::record::stored::{ClockIntervals, ClockPhase, StepClock};

    fn record(late: u64) -> Record {
        let text = std::fs::read_to_string("tests/data/records/conforms-2.json").expect("it is kept");
        let mut record: Record = serde_json::from_str(&text).expect("JSON");
        let mut histogram = Histogram::new_with_bounds(1, 60_000_000_000, 3).expect("bounds");
        histogram.record_n(138_900, 9_900).expect("within bounds");
        histogram.record_n(138_900 + late, 100).expect("within bounds");
        let intervals = Some(ClockIntervals { count: histogram.len(), hdr: hdr_text(&histogram) });
        let phase = ClockPhase {
            phase: "cruise".into(),
            began_s: 0.0,
            ended_s: 1.0,
            steps: histogram.len(),
            values: Vec::new(),
            n_period_jitter: Vec::new(),
            allan_deviation: Vec::new(),
            maximum_time_interval_error: Vec::new(),
            intervals,
            longest_gap: None,
        };
        record.checks[0].step_clock = vec![StepClock {
            label: "to the right end".into(),
            direction: None,
            steps: histogram.len(),
            doubled_steps: 0,
            withheld: None,
            phases: vec![phase],
        }];
        record
    }

    #[test]
    fn a_tail_shows_in_the_far_quantiles_alone() {
        let records = [record(60_000)];
        let series = series(records.iter());
        let value = |name: &str| {
            let of_it =
                |series: &&Series| series.quantity.measurand.ends_with(name) && series.values[0].value.abs() < 100.0;
            series.iter().find(of_it).map(|series| series.values[0].value)
        };
        assert!(value("p99.9").is_some_and(|away| (away - 60.0).abs() < 0.3), "{:?}", value("p99.9"));
        assert_eq!(value("p90"), Some(0.0));
        let tails = tails(records.iter());
        assert!(tails.iter().any(|tail| tail.points.len() == 2 && (tail.points[1].1 - 0.01).abs() < 1e-9), "{tails:?}");
    }

    #[test]
    fn what_is_no_histogram_is_passed_over() {
        for text in ["", "!!", "AAAA", "eJw="] {
            assert!(decoded(text).is_none());
        }
    }
}
