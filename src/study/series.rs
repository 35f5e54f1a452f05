//! The values of one quantity over many runs, as studies take them: one value a run, in one unit, with one tolerance.

use crate::quantity::Unit;
use crate::record::index::{Column, Columns, Heading, Known};
use crate::record::stored::Verdict;
use std::collections::BTreeMap;

/// What was measured.
#[derive(Debug, Clone, PartialEq)]
pub struct Quantity {
    /// The check that it belongs to; empty where there is none.
    pub check: String,
    pub measurand: String,
    /// The phase that it belongs to; empty where there is none.
    pub reading: String,
    /// Unit of all numbers; empty for a count.
    pub unit: String,
    pub tolerance: Option<Tolerated>,
}

/// The tolerance of a quantity.
#[derive(Debug, Clone, PartialEq)]
pub struct Tolerated {
    /// As the plan has it.
    pub text: String,
    pub lower: Option<f64>,
    pub upper: Option<f64>,
}

/// Which way is worse.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Worse {
    Higher,
    Lower,
    /// Away from the middle of the tolerance.
    AwayFrom(f64),
    /// No tolerance says which.
    Unknown,
}

impl Quantity {
    /// `step clock at top speed: period jitter rms, to the right end at 90 mm/s`.
    pub fn name(&self) -> String {
        let check = if self.check.is_empty() { String::new() } else { format!("{}: ", self.check) };
        let reading = if matches!(self.reading.as_str(), "" | "whole check") {
            String::new()
        } else {
            format!(", {}", self.reading)
        };
        format!("{check}{}{reading}", self.measurand)
    }

    /// Which way is worse, by its tolerance.
    pub fn worse(&self) -> Worse {
        match self.tolerance.as_ref().map(|tolerance| (tolerance.lower, tolerance.upper)) {
            Some((Some(lower), Some(upper))) => Worse::AwayFrom(0.5 * (lower + upper)),
            Some((None, Some(_))) => Worse::Higher,
            Some((Some(_), None)) => Worse::Lower,
            Some((None, None)) | None => Worse::Unknown,
        }
    }
}

/// A value of a run.
#[derive(Debug, Clone, PartialEq)]
pub struct Observed {
    /// Serial number of the unit.
    pub serial: String,
    pub value: f64,
}

/// A quantity over many runs, oldest first.
#[derive(Debug, Clone, PartialEq)]
pub struct Series {
    pub quantity: Quantity,
    pub values: Vec<Observed>,
    /// Places of their runs, and their standard uncertainties; empty where neither is known.
    pub runs: Vec<usize>,
    pub doubts: Vec<f64>,
}

impl Series {
    /// Values of which no more is known.
    pub fn plain(quantity: Quantity, values: Vec<Observed>) -> Self {
        Self { quantity, values, runs: Vec::new(), doubts: Vec::new() }
    }
}

/// A quantity that cannot be studied.
#[derive(Debug, Clone, PartialEq)]
pub struct Refused {
    /// Its name.
    pub name: String,
    pub why: String,
}

/// What runs have, and what was left out of it.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Gathered {
    /// Runs whose values are taken.
    pub runs: usize,
    /// Serial numbers among them.
    pub units: usize,
    /// Whether they are of the simulated world.
    pub simulated: bool,
    pub series: Vec<Series>,
    pub refused: Vec<Refused>,
    /// What is to be told of what was left out.
    pub told: Vec<String>,
}

/// The series of the runs that `wanted` says. Invalid and interrupted runs prove nothing and are left out.
///
/// # Errors
/// Where real and simulated runs are mixed.
pub fn gathered(columns: &Columns, wanted: impl Fn(&Known) -> bool) -> Result<Gathered, String> {
    let proves = |run: &Known| run.decision != Verdict::Invalid && !run.is_interrupted;
    let taken: Vec<bool> = columns.runs.iter().map(|run| wanted(run) && proves(run)).collect();
    let runs = || columns.runs.iter().zip(&taken).filter(|(_, taken)| **taken).map(|(run, _)| run);
    let simulated = runs().filter(|run| run.is_simulated).count();
    if simulated != 0 && simulated != runs().count() {
        return Err(format!(
            "{simulated} of its {} runs are simulated; what a simulated bench says and what a real one says do not belong \
             together; name the bench",
            runs().count()
        ));
    }
    let mut serials: Vec<&str> = runs().map(|run| run.serial.as_str()).collect();
    serials.sort_unstable();
    serials.dedup();
    let mut gathered =
        Gathered { runs: runs().count(), units: serials.len(), simulated: simulated > 0, ..Gathered::default() };
    let left_out = columns.runs.iter().filter(|run| wanted(run) && !proves(run)).count();
    if left_out > 0 {
        gathered.told.push(format!("{left_out} runs that were invalid or interrupted are left out"));
    }
    // A later plan may have written another tolerance: the same quantity then stands in several columns.
    let mut places: BTreeMap<(&str, &str, &str), usize> = BTreeMap::new();
    let mut groups: Vec<Vec<&Column>> = Vec::new();
    for column in &columns.columns {
        let Heading { check, measurand, label, .. } = &column.heading;
        let key = (check.as_str(), measurand.as_str(), label.as_str());
        let place = *places.entry(key).or_insert_with(|| {
            groups.push(Vec::new());
            groups.len() - 1
        });
        groups[place].push(column);
    }
    for group in groups {
        match series(&columns.runs, &taken, &group) {
            Ok(series) if series.values.is_empty() => {}
            Ok(series) => gathered.series.push(series),
            Err(refused) => gathered.refused.push(refused),
        }
    }
    Ok(gathered)
}

/// One value a run: the mean where a reading came several times.
fn series(runs: &[Known], taken: &[bool], group: &[&Column]) -> Result<Series, Refused> {
    let last = group.iter().max_by_key(|column| column.entries.iter().map(|entry| entry.run).max());
    let last = &last.expect("a group has a column").heading;
    let quantity = Quantity {
        check: last.check.clone(),
        measurand: last.measurand.clone(),
        reading: last.label.clone(),
        unit: last.unit.clone(),
        tolerance: Some(Tolerated { text: last.tolerance.clone(), lower: last.lower, upper: last.upper }),
    };
    let mut sums: BTreeMap<usize, (f64, f64, f64)> = BTreeMap::new();
    for column in group {
        let unit = &column.heading.unit;
        let convert = conversion(unit, &last.unit).ok_or_else(|| Refused {
            name: quantity.name(),
            why: format!("some of its values are in `{unit}` and some in `{}`", last.unit),
        })?;
        for entry in column.entries.iter().filter(|entry| taken[entry.run]) {
            let Some((value, doubt)) = entry.measured.filter(|(value, _)| value.is_finite()) else { continue };
            let (sum, doubts, count) = sums.entry(entry.run).or_default();
            // Values of one run share most of what is in doubt.
            let doubt = convert(value + doubt) - convert(value);
            (*sum, *doubts, *count) = (*sum + convert(value), *doubts + doubt.abs(), *count + 1.0);
        }
    }
    // A mean of nothing but zeros may bear a sign.
    let observed = |(run, (sum, _, count)): (&usize, &(f64, f64, f64))| Observed {
        serial: runs[*run].serial.clone(),
        value: sum / count + 0.0,
    };
    Ok(Series {
        quantity,
        values: sums.iter().map(observed).collect(),
        runs: sums.keys().copied().collect(),
        doubts: sums.values().map(|(_, doubts, count)| doubts / count).collect(),
    })
}

/// How a number in one unit becomes one in another; none where they are of different kinds.
fn conversion(from: &str, into: &str) -> Option<Box<dyn Fn(f64) -> f64>> {
    if from == into {
        return Some(Box::new(|value| value));
    }
    let (from, into) = (Unit::named(from)?, Unit::named(into)?);
    (from.dimension() == into.dimension())
        .then(|| Box::new(move |value| into.from_si(from.to_si(value))) as Box<dyn Fn(f64) -> f64>)
}
