//! Can the jig tell good from bad? Units measured several times by several appraisers (operators or jigs): how much of the
//! spread is the jig's own (repeatability), how much lies between appraisers (reproducibility), and how many classes of units
//! can be told apart.

mod anova;
mod plan;
mod ranges;
mod trueness;

pub use anova::{Anova, Kind, Line};
pub use plan::{Turn, planned};
pub use ranges::Ranges;
pub use trueness::{Linearity, Trueness};

use super::{Quantity, Refused};

/// One reading.
#[derive(Debug, Clone, PartialEq)]
pub struct Reading {
    /// The unit that was measured.
    pub unit: String,
    /// Who or what measured it.
    pub appraiser: String,
    pub value: f64,
    /// What the unit is known to have.
    pub reference: Option<f64>,
}

/// The readings of one quantity.
#[derive(Debug, Clone, PartialEq)]
pub struct Sample {
    pub quantity: Quantity,
    pub readings: Vec<Reading>,
}

/// Standard deviations that make up the spread.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spread {
    pub repeatability: f64,
    pub reproducibility: f64,
    /// Both together: the jig.
    pub jig: f64,
    pub units: f64,
    pub total: f64,
}

impl Spread {
    fn of(repeatability: f64, reproducibility: f64, units: f64) -> Self {
        let jig = repeatability.hypot(reproducibility);
        Self { repeatability, reproducibility, jig, units, total: jig.hypot(units) }
    }

    /// The jig's share of the study's variation, as a share of standard deviations.
    pub fn of_study(&self) -> f64 {
        self.jig / self.total
    }

    /// The jig's share of the tolerance: six standard deviations of its width; of one limit three of the distance from the mean.
    pub fn of_tolerance(&self, quantity: &Quantity, mean: f64) -> Option<f64> {
        let tolerance = quantity.tolerance.as_ref()?;
        let share = match (tolerance.lower, tolerance.upper) {
            (Some(lower), Some(upper)) => 6.0 * self.jig / (upper - lower),
            (Some(limit), None) | (None, Some(limit)) => 3.0 * self.jig / (limit - mean).abs(),
            (None, None) => return None,
        };
        share.is_finite().then_some(share)
    }

    /// How many classes of units can be told apart; none where the jig does not scatter at all.
    pub fn classes(&self) -> Option<u64> {
        let classes = std::f64::consts::SQRT_2 * self.units / self.jig;
        classes.is_finite().then_some(classes.floor() as u64)
    }
}

/// How one quantity is measured.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    pub quantity: Quantity,
    pub units: usize,
    pub appraisers: usize,
    pub repeats: usize,
    pub mean: f64,
    pub anova: Anova,
    pub ranges: Option<Ranges>,
    pub trueness: Option<Trueness>,
    /// The readings of each appraiser: number of the unit, from 1, and value.
    pub readings: Vec<(String, Vec<(f64, f64)>)>,
}

/// A study of the jig.
#[derive(Debug, Clone, PartialEq)]
pub struct Gauge {
    pub name: String,
    pub simulated: bool,
    pub rows: Vec<Row>,
    pub refused: Vec<Refused>,
}

/// Studies quantities one by one. `nested` says that each unit was measured by one appraiser alone.
pub fn rows(samples: Vec<Sample>, nested: bool) -> (Vec<Row>, Vec<Refused>) {
    let mut rows = Vec::new();
    let mut refused = Vec::new();
    for sample in samples {
        let name = sample.quantity.name();
        match Row::of(sample, nested) {
            Ok(row) => rows.push(row),
            Err(why) => refused.push(Refused { name, why }),
        }
    }
    (rows, refused)
}

/// Readings of each unit by each appraiser, all of one number: units, appraisers, and the cells by appraiser then unit.
struct Table {
    appraisers: Vec<String>,
    units: Vec<Vec<String>>,
    cells: Vec<Vec<Vec<f64>>>,
}

impl Table {
    /// Readings in a table without a hole; otherwise what is missing.
    fn of(readings: &[Reading], nested: bool) -> Result<Self, String> {
        let mut appraisers: Vec<String> = Vec::new();
        for reading in readings {
            if !appraisers.contains(&reading.appraiser) {
                appraisers.push(reading.appraiser.clone());
            }
        }
        let named = |readings: &mut dyn Iterator<Item = &Reading>| {
            let mut names: Vec<String> = Vec::new();
            for reading in readings {
                if !names.contains(&reading.unit) {
                    names.push(reading.unit.clone());
                }
            }
            names
        };
        let all = named(&mut readings.iter());
        let of_appraiser =
            |appraiser: &String| named(&mut readings.iter().filter(|reading| reading.appraiser == *appraiser));
        let units: Vec<Vec<String>> =
            appraisers.iter().map(|appraiser| if nested { of_appraiser(appraiser) } else { all.clone() }).collect();
        if nested && units.iter().map(Vec::len).sum::<usize>() != all.len() {
            return Err("nested: some unit was measured by several appraisers; leave --nested out".into());
        }
        let mut cells: Vec<Vec<Vec<f64>>> = units.iter().map(|units| vec![Vec::new(); units.len()]).collect();
        for reading in readings {
            let appraiser = appraisers.iter().position(|name| *name == reading.appraiser).unwrap_or_default();
            let unit = units[appraiser].iter().position(|name| *name == reading.unit).unwrap_or_default();
            cells[appraiser][unit].push(reading.value);
        }
        let most = cells.iter().flatten().map(Vec::len).max().unwrap_or(0);
        for (appraiser, row) in cells.iter().enumerate() {
            if row.len() != cells[0].len() {
                return Err(format!(
                    "{} measured {} units, {} measured {}",
                    appraisers[0],
                    cells[0].len(),
                    appraisers[appraiser],
                    row.len()
                ));
            }
            if let Some(short) = row.iter().position(|cell| cell.len() != most) {
                let (unit, who) = (&units[appraiser][short], &appraisers[appraiser]);
                let has = row[short].len();
                return Err(format!(
                    "{who} measured {unit} {has} times, and others {most} times; add or leave out readings"
                ));
            }
        }
        match (all.len(), most) {
            (0 | 1, _) => Err(format!("{} unit tells nothing of how units differ; measure at least two", all.len())),
            (_, 0 | 1) => Err("each unit was measured once: repeat, or nothing is known of repeatability".into()),
            _ => Ok(Self { appraisers, units, cells }),
        }
    }
}

impl Row {
    fn of(sample: Sample, nested: bool) -> Result<Self, String> {
        let Sample { quantity, readings } = sample;
        if let Some(reading) = readings.iter().find(|reading| !reading.value.is_finite()) {
            return Err(format!("a reading of {} is no finite number", reading.unit));
        }
        let table = Table::of(&readings, nested)?;
        let values: Vec<f64> = readings.iter().map(|reading| reading.value).collect();
        if super::is_constant(&values) {
            return Err(format!("all {} readings are the same: nothing varies", values.len()));
        }
        let mean = crate::stats::summary::mean(&values).unwrap_or_default();
        let of_appraiser = table.appraisers.iter().zip(&table.cells).map(|(appraiser, row)| {
            let numbered = row.iter().enumerate();
            let points = numbered.flat_map(|(unit, cell)| cell.iter().map(move |value| (unit as f64 + 1.0, *value)));
            (appraiser.clone(), points.collect())
        });
        Ok(Self {
            readings: of_appraiser.collect(),
            units: table.units[0].len(),
            appraisers: table.appraisers.len(),
            repeats: table.cells[0][0].len(),
            mean,
            anova: Anova::of(&table, nested),
            ranges: if nested { None } else { Ranges::of(&table) },
            trueness: Trueness::of(&readings),
            quantity,
        })
    }
}

#[cfg(test)]
mod tests;
