//! Uncertainty budgets as tables: where the doubt of each value comes from, as JCGM 100:2008, 7.2.7 asks for it.
//!
//! A line has its input's standard uncertainty u(x), its sensitivity c, and what the two make together in the value, u(y),
//! with the share of the variance that it accounts for. u(y) is in the unit of the value, which stands above the table.

use super::text::{folded, styled};
use super::words::{visible, visible_within};
use super::{number, worst};
use crate::record::Record;
use crate::record::stored::{BudgetLine, Check, Correlation, Evaluation, Measured, Reading, Requirement};
use anstyle::Style;

/// Narrower than this a budget would break its numbers.
const WIDTH_MIN: u16 = 80;
/// Wider tables are hard to follow.
const WIDTH_MAX: u16 = 120;
/// The most that a column takes; the first one has what is left, and is folded into it.
const WIDTHS_MAX: [usize; 8] = [24, 3, 12, 14, 13, 12, 6, 9];
/// Columns from this one on hold numbers.
const NUMBERS_FROM: usize = 3;

/// The budget of every value of a record that has one, `width` columns wide.
pub fn budgets(record: &Record, width: u16) -> String {
    let mut text = String::new();
    for check in &record.checks {
        for requirement in &check.requirements {
            for reading in &requirement.readings {
                let Some(measured) = reading.measured.as_ref().filter(|measured| !measured.budget.is_empty()) else {
                    continue;
                };
                let unit = worst::unit(requirement);
                let said = decided(reading, measured);
                text.push_str(&budget(&title(check, requirement, reading), measured, &unit, &said, width));
                text.push('\n');
            }
        }
    }
    text
}

fn title(check: &Check, requirement: &Requirement, reading: &Reading) -> String {
    let phase = worst::phase(reading).map(|phase| format!(", {phase}")).unwrap_or_default();
    format!("{}: {}{phase}", visible(&check.name), visible_within(&requirement.measurand, 60))
}

fn decided(reading: &Reading, measured: &Measured) -> String {
    let probability = number::percentage(measured.conformance_probability);
    format!("; {}, conformance probability {probability}", super::look::words(reading.decision))
}

/// The budget of one value below its title. `said` follows the value.
pub fn budget(title: &str, measured: &Measured, unit: &str, said: &str, width: u16) -> String {
    let width = width.clamp(WIDTH_MIN, WIDTH_MAX);
    let bold = Style::new().bold();
    let mut lines: Vec<String> = folded(title, "  ", width).iter().map(|line| styled(line, bold)).collect();
    let value = number::measured(measured.value, measured.expanded_uncertainty, unit);
    let factor = measured.coverage_factor.clamp(0.0, 1e6);
    let interval = propagated(measured, unit);
    lines.extend(folded(&format!("{value}, k = {factor:.2} for 95 %{interval}{said}"), "  ", width));
    lines.extend(table(measured, unit, usize::from(width)));
    lines.iter().map(|line| format!("{line}\n")).collect()
}

/// The interval of a value whose budget alone does not tell how it is spread.
fn propagated(measured: &Measured, unit: &str) -> String {
    let Some((lower, upper)) = measured.propagated_interval else {
        return String::new();
    };
    let limit = |limit: f64| number::beside(limit, measured.expanded_uncertainty);
    let upper = number::with_unit(&limit(upper), unit);
    format!("; by propagation of distributions {} to {upper}", limit(lower))
}

/// The table's lines: heads, a rule, a row for each contribution, the sum.
fn table(measured: &Measured, unit: &str, width: usize) -> Vec<String> {
    let mut rows = vec![["from", "A/B", "distribution", "u(x)", "c", "u(y)", "ν", "share"].map(str::to_owned)];
    rows.extend(measured.budget.iter().map(|line| row(line, measured, unit)));
    rows.extend(measured.correlations.iter().map(|pair| correlation(pair, measured)));
    rows.push(sum(measured));
    for (cell, most) in rows.iter_mut().flat_map(|row| row.iter_mut().zip(WIDTHS_MAX).skip(1)) {
        if cell.chars().count() > most {
            *cell = cell.chars().take(most - 1).chain(['…']).collect();
        }
    }
    let mut widths = [0; 8];
    for row in &rows {
        for (width, cell) in widths.iter_mut().zip(row) {
            *width = cell.chars().count().max(*width);
        }
    }
    let numbers: usize = widths[1..].iter().sum();
    let fits = |gap: usize| width >= numbers + 7 * gap + WIDTHS_MAX[0].min(widths[0]);
    let gap = if fits(2) { 2 } else { 1 };
    widths[0] = widths[0].min(width - numbers - 7 * gap);
    let mut lines = laid_out(&rows[0], &widths, gap);
    lines.push("─".repeat(widths.iter().sum::<usize>() + 7 * gap));
    lines.extend(rows[1..].iter().flat_map(|row| laid_out(row, &widths, gap)));
    lines
}

/// One row; a long name goes on below.
fn laid_out(row: &[String; 8], widths: &[usize; 8], gap: usize) -> Vec<String> {
    let mut lines = folded(&row[0], "", widths[0] as u16);
    let first = lines.first().map_or("", String::as_str);
    let mut line = format!("{first:<0$}", widths[0]);
    for (column, (cell, width)) in row.iter().zip(widths).enumerate().skip(1) {
        line.push_str(&" ".repeat(gap));
        line.push_str(&if column < NUMBERS_FROM { format!("{cell:<width$}") } else { format!("{cell:>width$}") });
    }
    match lines.first_mut() {
        Some(first) => *first = line.trim_end().to_owned(),
        None => lines.push(line.trim_end().to_owned()),
    }
    lines
}

fn row(line: &BudgetLine, measured: &Measured, unit: &str) -> [String; 8] {
    let from = visible_within(&line.from, 40);
    let contribution = number::doubt(line.standard_uncertainty);
    let share = share(line.standard_uncertainty.powi(2), measured);
    let freedom = freedom(line.degrees_of_freedom);
    let Some(input) = &line.input else {
        let open = || "not kept".to_owned();
        return [from, String::new(), open(), String::new(), String::new(), contribution, freedom, share];
    };
    let evaluation = match input.evaluation {
        Evaluation::A => "A",
        Evaluation::B => "B",
    };
    let of_input = match input.unit.as_deref() {
        Some("1") => String::new(),
        Some(own) => visible_within(own, 12),
        None => unit.to_owned(),
    };
    let shared = if input.shared.is_some() { ", shared" } else { "" };
    [
        format!("{from}{shared}"),
        evaluation.into(),
        visible_within(&input.distribution, 12),
        number::with_unit(&number::doubt(input.standard_uncertainty), &of_input),
        number::significant(input.sensitivity, 3),
        contribution,
        freedom,
        share,
    ]
}

/// What two lines add to or take from the variance by going together.
fn correlation(pair: &Correlation, measured: &Measured) -> [String; 8] {
    let of = |place: usize| {
        let line = measured.budget.get(place);
        let sign = line.and_then(|line| line.input.as_ref()).map_or(1.0, |input| input.sensitivity.signum());
        line.map_or(0.0, |line| sign * line.standard_uncertainty)
    };
    let variance = 2.0 * pair.coefficient * of(pair.lines.0) * of(pair.lines.1);
    let from = format!("lines {} and {} together", pair.lines.0 + 1, pair.lines.1 + 1);
    let coefficient = format!("r = {}", number::significant(pair.coefficient, 3));
    let none = String::new;
    [from, none(), none(), coefficient, none(), none(), none(), share(variance, measured)]
}

fn sum(measured: &Measured) -> [String; 8] {
    let none = String::new;
    let uncertainty = number::doubt(measured.standard_uncertainty);
    let all = share(measured.standard_uncertainty.powi(2), measured);
    ["sum".into(), none(), none(), none(), none(), uncertainty, freedom(measured.degrees_of_freedom), all]
}

fn freedom(degrees: Option<f64>) -> String {
    degrees.map_or("∞".into(), |degrees| number::significant(degrees.floor().max(1.0), 4))
}

/// A part of the variance in per cent.
fn share(variance: f64, measured: &Measured) -> String {
    let whole = measured.standard_uncertainty.powi(2);
    if whole == 0.0 { String::new() } else { format!("{} %", number::rounded(100.0 * variance / whole, 1)) }
}
