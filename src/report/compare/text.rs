//! A comparison as text for the terminal.

use super::{
    OUTCOMES, counts, difference, is_reading_of_same, mark, means, methods, moved, ordered, places, probability,
    remark, set, verdict,
};
use crate::report::number;
use crate::report::study::{found_how, opening};
use crate::report::text::{WIDTH_MAX, WIDTH_MIN, empty_table, folded, laid_out, styled};
use crate::report::words::visible_within;
use crate::study::Quantity;
use crate::study::compare::{Outcome, Row, Study};
use anstyle::Style;

/// Room for the name of a quantity.
const QUANTITY: u16 = 30;
/// Room for a difference with its doubt.
const DIFFERENCE: u16 = 20;
/// Quantiles of step intervals that are told.
const MOVED_MAX: usize = 12;

/// The whole comparison, `width` columns wide. What stayed as it was is counted, and listed where all is asked for.
pub fn compared(study: &Study, all: bool, width: u16) -> String {
    let width = width.clamp(WIDTH_MIN, WIDTH_MAX);
    let paragraph = |text: &str, indent: &str| folded(text, indent, width).join("\n") + "\n";
    let mut text = opening(&verdict(study), study.sets.iter().any(|set| set.simulated), width);
    let names = study.sets.iter().map(|one| format!("{}: {}", visible_within(&one.name, 120), set(one)));
    text += &format!("\n{}", paragraph(&names.collect::<Vec<_>>().join("; "), "  "));
    text += &paragraph(&counts(&study.compared), "  ");
    let where_to_look = [Outcome::Worse, Outcome::CannotTell].map(|outcome| places(&study.compared, outcome));
    for told in where_to_look.iter().flatten().chain(&study.told) {
        text += &paragraph(told, "  ");
    }
    let is_shown = |outcome: Outcome| all || !matches!(outcome, Outcome::Equivalent | Outcome::Alike);
    let (shown, hidden): (Vec<Outcome>, Vec<Outcome>) = OUTCOMES.into_iter().partition(|outcome| is_shown(*outcome));
    for outcome in shown {
        let rows = ordered(&study.compared, outcome);
        if !rows.is_empty() {
            let head = format!("{} {}", mark(outcome), outcome.words());
            text += &format!("\n{}\n{}", styled(&head, Style::new().bold()), listed(&rows, width));
        }
    }
    let hidden: usize = hidden.into_iter().map(|outcome| study.compared.count(outcome)).sum();
    if hidden > 0 {
        text += &format!("\n{hidden} more are equivalent or alike; --all lists them\n");
    }
    for refused in &study.compared.refused {
        text += &paragraph(&format!("not compared: {}: {}", visible_within(&refused.name, 200), refused.why), "  ");
    }
    let moved = moved(study);
    if !moved.is_empty() {
        text += "\nStep intervals that moved, as distance from the median of their motion\n\n";
        let mut table = empty_table(width);
        table.set_header(["quantile", "motion", "from → to", "difference", "P, false"]);
        for row in moved.iter().take(MOVED_MAX) {
            let quantile = row.quantity.measurand.trim_start_matches("step interval ").to_owned();
            let motion = format!("{}: {}", row.quantity.check, row.quantity.reading);
            let false_discovery = row.false_discovery.map(probability).unwrap_or_default();
            table.add_row([quantile, visible_within(&motion, 120), means(row), difference(row), false_discovery]);
        }
        text += &laid_out(&mut table, &[9, 0, 0, DIFFERENCE, 8]);
        if moved.len() > MOVED_MAX {
            text += &format!("\n{} more; the page of --html shows them\n", moved.len() - MOVED_MAX);
        }
    }
    // What was not compared stands among the rows.
    text + &found_how(&[], &methods(study), width)
}

/// The rows of one outcome; what readings of one measurand share is told once.
fn listed(rows: &[&Row], width: u16) -> String {
    let mut table = empty_table(width);
    table.set_header(["quantity", "from → to", "difference", "P, Holm"]);
    for (place, row) in rows.iter().enumerate() {
        let is_first = place == 0 || !is_reading_of_same(rows[place - 1], row);
        let Quantity { check, measurand, reading, unit, .. } = &row.quantity;
        let mut lines = Vec::new();
        if is_first {
            let check = if check.is_empty() { String::new() } else { format!("{check}: ") };
            lines.push(visible_within(&format!("{check}{measurand}"), 120));
        }
        if !matches!(reading.as_str(), "" | "whole check") {
            lines.push(format!("  {}", visible_within(reading, 120)));
        }
        lines.extend(remark(row).map(|remark| format!("  {remark}")));
        let margin = row.margin.as_ref().filter(|_| is_first);
        let margin = margin.map(|margin| number::with_unit(&number::significant(margin.value, 2), unit));
        let margin = margin.map(|margin| format!("\n(margin {margin})")).unwrap_or_default();
        let holm = row.holm.map(probability).unwrap_or_default();
        table.add_row([lines.join("\n"), means(row), difference(row) + &margin, holm]);
    }
    laid_out(&mut table, &[QUANTITY, 0, DIFFERENCE, 8])
}
