//! How the values of a jig's checks move over the weeks: a control chart of individual values with limits from their moving
//! range (ISO 7870-2). It sees a jig go off long before it leaves its tolerance.
//!
//! The limits come from the first twenty values, since a chart that learns from its last ones follows the drift that it is to
//! show. Begin anew, after a repair, with a later first value.

use super::logbook::stored::{Entry, Line};
use crate::stats::control;
pub use crate::stats::control::{Signal, SignalRule};
use time::Date;

/// Values that the limits are found from (common practice: twenty or more).
const LEARNT_FROM: usize = 20;
/// With fewer values there are no limits yet (common practice, no source).
const VALUES_MIN: usize = 8;
/// What is looked for.
const RULES: [SignalRule; 2] = [SignalRule::BeyondLimits, SignalRule::OneSide];

/// The chart of one value.
#[derive(Debug, Clone, PartialEq)]
pub struct Chart {
    /// What it is of.
    pub name: String,
    /// Serial number of the reference unit, where it was measured on one.
    pub on: Option<String>,
    /// Unit of all numbers.
    pub unit: String,
    /// The values, oldest first.
    pub points: Vec<Point>,
    /// Centre and limits, once there are enough values.
    pub limits: Option<Limits>,
    /// What is no chance, oldest first.
    pub signals: Vec<Signal>,
}

/// A value of a chart.
#[derive(Debug, Clone, PartialEq)]
pub struct Point {
    /// When, as the logbook has it.
    pub time: String,
    pub value: f64,
    pub standard_uncertainty: f64,
}

/// Centre and control limits.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Limits {
    pub centre: f64,
    pub lower: f64,
    pub upper: f64,
    /// From how many values.
    pub learnt_from: usize,
}

impl Chart {
    /// What the last value shows.
    pub fn now(&self) -> impl Iterator<Item = SignalRule> {
        let last = self.points.len().saturating_sub(1);
        self.signals.iter().filter(move |signal| signal.at == last).map(|signal| signal.rule)
    }
}

/// A chart for each value in the lines of a logbook, in the order in which they came first. `simulated` says whose: a
/// simulated bench says nothing of a real one. `since` leaves out what is older than that day.
pub fn charts(lines: &[Line], simulated: bool, since: Option<Date>) -> Vec<Chart> {
    let mut charts: Vec<Chart> = Vec::new();
    // Moments in UTC sort as their texts do.
    let since = since.map(|day| day.to_string());
    let young = |line: &&Line| since.as_ref().is_none_or(|since| line.time >= *since);
    for line in lines.iter().filter(|line| line.simulated == simulated).filter(young) {
        let Entry::Check(check) = &line.entry else { continue };
        for value in check.values.iter().filter(|value| value.value.is_finite()) {
            let same = |chart: &Chart| chart.name == value.name && chart.on == value.on && chart.unit == value.unit;
            let place = charts.iter().position(same).unwrap_or_else(|| {
                charts.push(Chart {
                    name: value.name.clone(),
                    on: value.on.clone(),
                    unit: value.unit.clone(),
                    points: Vec::new(),
                    limits: None,
                    signals: Vec::new(),
                });
                charts.len() - 1
            });
            let (time, standard_uncertainty) = (line.time.clone(), value.standard_uncertainty);
            charts[place].points.push(Point { time, value: value.value, standard_uncertainty });
        }
    }
    for chart in &mut charts {
        let values: Vec<f64> = chart.points.iter().map(|point| point.value).collect();
        chart.limits = limits(&values);
        chart.signals = chart.limits.map_or_else(Vec::new, |limits| signals(&values, &limits));
    }
    charts
}

/// Centre and limits of the first values.
fn limits(values: &[f64]) -> Option<Limits> {
    let learnt = &values[..values.len().min(LEARNT_FROM)];
    let control::Limits { lower, centre, upper } =
        control::individuals(learnt).filter(|_| learnt.len() >= VALUES_MIN)?;
    Some(Limits { centre, lower, upper, learnt_from: learnt.len() })
}

fn signals(values: &[f64], limits: &Limits) -> Vec<Signal> {
    let Limits { lower, centre, upper, .. } = *limits;
    control::signals(values, &control::Limits { lower, centre, upper }, &RULES)
}

#[cfg(test)]
mod tests {
    use super::super::logbook::stored::{Check, CheckedValue, VERSION};
    use super::*;
    use crate::record::stored::Verdict;

    fn line(day: usize, value: f64, simulated: bool) -> Line {
        let value = CheckedValue {
            name: "pack voltage against its reference".into(),
            on: None,
            unit: "V".into(),
            value,
            standard_uncertainty: 0.002,
            decision: Verdict::Conforms,
        };
        let check = Check { run: None, reference_unit: None, decision: Verdict::Conforms, values: vec![value] };
        let time = format!("2026-{:02}-{:02}T06:00:00Z", 1 + day / 28, 1 + day % 28);
        Line { version: VERSION, time, simulated, entry: Entry::Check(check) }
    }

    fn chart(values: &[f64]) -> Chart {
        let lines: Vec<Line> = values.iter().enumerate().map(|(day, value)| line(day, *value, false)).collect();
        charts(&lines, false, None).remove(0)
    }

    /// Values 10, 12 in turn: centre 11, every moving range 2, limits 11 ± 5.32.
    // Outside: factor 2.660 and d₂ = 1.128 of charts for individual values, ISO 7870-2, table of factors; how: from memory
    // Outside: d₂ of two normal values is 2/√π; how: closed form
    #[test]
    fn limits_lie_2_66_moving_ranges_from_the_centre() {
        assert!((control::INDIVIDUALS - 3.0 / 1.128).abs() < 5e-4);
        assert!((control::INDIVIDUALS / (3.0 * std::f64::consts::PI.sqrt() / 2.0) - 1.0).abs() < 1e-3);
        let values: Vec<f64> = (0..8).map(|day| if day % 2 == 0 { 10.0 } else { 12.0 }).collect();
        let limits = chart(&values).limits.expect("eight values");
        assert_eq!((limits.centre, limits.learnt_from), (11.0, 8));
        assert!((limits.lower - 5.68).abs() < 1e-12 && (limits.upper - 16.32).abs() < 1e-12, "{limits:?}");
        assert_eq!(chart(&values[..7]).limits, None, "too few");
    }

    #[test]
    fn a_value_that_leaves_and_a_row_on_one_side_are_told_and_chance_is_not() {
        let mut values: Vec<f64> = (0..20).map(|day| 7.4 + [0.001, -0.001, 0.002, -0.002][day % 4]).collect();
        assert_eq!(chart(&values).signals, []);
        values.push(7.45);
        let told = chart(&values);
        assert_eq!(told.signals, [Signal { at: 20, rule: SignalRule::BeyondLimits }]);
        assert_eq!(told.limits.expect("there").learnt_from, 20, "what came later does not move the limits");
        assert_eq!(told.now().collect::<Vec<_>>(), [SignalRule::BeyondLimits]);
        values.pop();
        values.extend([7.401; 7]);
        // The last of the twenty lies below the centre.
        assert_eq!(chart(&values).signals, []);
        values.push(7.401);
        assert_eq!(chart(&values).signals, [Signal { at: 27, rule: SignalRule::OneSide }]);
        values.push(7.399);
        assert_eq!(chart(&values).now().count(), 0, "it came back");
    }

    #[test]
    fn values_that_are_all_alike_drift_nowhere() {
        for value in [7.4131, 560.051_256_9, -12.3, 0.1] {
            assert_eq!(chart(&[value; 30]).signals, [], "{value}");
        }
    }

    #[test]
    fn simulated_checks_and_what_is_older_are_left_out() {
        let lines: Vec<Line> = (0..30).map(|day| line(day, 7.4, day % 3 == 0)).collect();
        assert_eq!(charts(&lines, false, None)[0].points.len(), 20);
        assert_eq!(charts(&lines, true, None)[0].points.len(), 10);
        assert_eq!(charts(&lines, false, Some(time::macros::date!(2026 - 02 - 01)))[0].points.len(), 2);
        assert_eq!(charts(&[], false, None), []);
    }
}
