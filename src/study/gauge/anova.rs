//! Analysis of variance of a jig study: crossed, with interaction or with it pooled, or nested (Burdick, Borror and
//! Montgomery, Design and Analysis of Gauge R&R Studies, 2005). A variance that comes out below zero is taken as none.

use super::{Spread, Table};
use crate::stats::summary::mean;
use statrs::distribution::{ContinuousCDF, FisherSnedecor};

/// An interaction less likely to be chance than this is kept (common practice, no source).
const INTERACTION_BELOW: f64 = 0.25;

/// How the readings were taken apart.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// Every appraiser measured every unit; appraisers differ from unit to unit.
    WithInteraction,
    /// The same, but they do not: the interaction is pooled with repeatability.
    WithoutInteraction,
    /// One appraiser alone: reproducibility cannot be told.
    OneAppraiser,
    /// Each unit was measured by one appraiser.
    Nested,
}

impl Kind {
    /// In words.
    pub const fn words(self) -> &'static str {
        match self {
            Self::WithInteraction => "crossed, with interaction",
            Self::WithoutInteraction => "crossed, without interaction",
            Self::OneAppraiser => "one appraiser: reproducibility cannot be told",
            Self::Nested => "nested: each unit by one appraiser",
        }
    }
}

/// A line of the table of variance.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Line {
    pub source: &'static str,
    pub freedom: f64,
    pub squares: f64,
    /// F and its probability; none for what is left, or where nothing is left.
    pub test: Option<(f64, f64)>,
}

impl Line {
    /// Sum of squares over degrees of freedom.
    pub fn mean_square(&self) -> f64 {
        self.squares / self.freedom
    }

    fn against(self, other: &Self) -> Self {
        let f = self.mean_square() / other.mean_square();
        let law = FisherSnedecor::new(self.freedom, other.freedom).ok();
        Self { test: law.filter(|_| f.is_finite()).map(|law| (f, law.sf(f))), ..self }
    }
}

/// The analysis.
#[derive(Debug, Clone, PartialEq)]
pub struct Anova {
    pub kind: Kind,
    pub lines: Vec<Line>,
    pub spread: Spread,
    /// Standard deviation between appraisers, and of their interaction with units.
    pub appraisers: f64,
    pub interaction: f64,
}

impl Anova {
    pub(super) fn of(table: &Table, nested: bool) -> Self {
        let cells = &table.cells;
        let (o, p, r) = (cells.len() as f64, cells[0].len() as f64, cells[0][0].len() as f64);
        let average = |values: &mut dyn Iterator<Item = f64>| mean(&values.collect::<Vec<f64>>()).unwrap_or_default();
        let all = average(&mut cells.iter().flatten().flatten().copied());
        let of_appraiser: Vec<f64> = cells.iter().map(|row| average(&mut row.iter().flatten().copied())).collect();
        let of_cell: Vec<Vec<f64>> =
            cells.iter().map(|row| row.iter().map(|cell| average(&mut cell.iter().copied())).collect()).collect();
        let away = |values: &mut dyn Iterator<Item = f64>| values.map(|away| away * away).sum::<f64>();
        let within = away(&mut cells.iter().zip(&of_cell).flat_map(|(row, means)| {
            row.iter().zip(means).flat_map(|(cell, mean)| cell.iter().map(move |value| value - mean))
        }));
        let repeatability = line("repeatability", o * p * (r - 1.0), within);
        let between = p * r * away(&mut of_appraiser.iter().map(|mean| mean - all));
        let variance = |more: f64, less: f64, times: f64| ((more - less) / times).max(0.0).sqrt();
        if nested {
            let units = r * away(
                &mut of_cell.iter().zip(&of_appraiser).flat_map(|(row, mean)| row.iter().map(move |cell| cell - mean)),
            );
            let units = line("units within appraisers", o * (p - 1.0), units).against(&repeatability);
            let appraisers = line("appraisers", o - 1.0, between);
            let between = if o > 1.0 { variance(appraisers.mean_square(), units.mean_square(), p * r) } else { 0.0 };
            let units_spread = variance(units.mean_square(), repeatability.mean_square(), r);
            let spread = Spread::of(repeatability.mean_square().sqrt(), between, units_spread);
            let first = if o > 1.0 { vec![appraisers.against(&units)] } else { Vec::new() };
            let lines = first.into_iter().chain([units, repeatability]).collect();
            return Self { kind: Kind::Nested, lines, spread, appraisers: between, interaction: 0.0 };
        }
        let of_unit: Vec<f64> =
            (0..cells[0].len()).map(|unit| average(&mut of_cell.iter().map(|row| row[unit]))).collect();
        let units = line("units", p - 1.0, o * r * away(&mut of_unit.iter().map(|mean| mean - all)));
        if cells.len() == 1 {
            let units = units.against(&repeatability);
            let units_spread = variance(units.mean_square(), repeatability.mean_square(), r);
            let spread = Spread::of(repeatability.mean_square().sqrt(), 0.0, units_spread);
            let lines = vec![units, repeatability];
            return Self { kind: Kind::OneAppraiser, lines, spread, appraisers: 0.0, interaction: 0.0 };
        }
        let appraisers = line("appraisers", o - 1.0, between);
        let crossed = r * away(
            &mut of_cell
                .iter()
                .zip(&of_appraiser)
                .flat_map(|(row, by)| row.iter().zip(&of_unit).map(move |(cell, of)| cell - by - of + all)),
        );
        let interaction = line("interaction", (o - 1.0) * (p - 1.0), crossed).against(&repeatability);
        let is_kept = interaction.test.is_none_or(|(_, probability)| probability < INTERACTION_BELOW);
        if is_kept {
            let error = interaction.mean_square();
            let between = variance(appraisers.mean_square(), error, p * r);
            let crossing = variance(error, repeatability.mean_square(), r);
            let units_spread = variance(units.mean_square(), error, o * r);
            let spread = Spread::of(repeatability.mean_square().sqrt(), between.hypot(crossing), units_spread);
            let lines = vec![units.against(&interaction), appraisers.against(&interaction), interaction, repeatability];
            return Self { kind: Kind::WithInteraction, lines, spread, appraisers: between, interaction: crossing };
        }
        let pooled = line(
            "repeatability with interaction",
            repeatability.freedom + interaction.freedom,
            repeatability.squares + interaction.squares,
        );
        let between = variance(appraisers.mean_square(), pooled.mean_square(), p * r);
        let units_spread = variance(units.mean_square(), pooled.mean_square(), o * r);
        let spread = Spread::of(pooled.mean_square().sqrt(), between, units_spread);
        let lines = vec![units.against(&pooled), appraisers.against(&pooled), interaction, pooled];
        Self { kind: Kind::WithoutInteraction, lines, spread, appraisers: between, interaction: 0.0 }
    }
}

fn line(source: &'static str, freedom: f64, squares: f64) -> Line {
    Line { source, freedom, squares, test: None }
}
