//! A recall as a table: where each unit is, whether it still has the part, and what its last record says of it.

use super::history::{moment, standing};
use super::look;
use super::text::{DECISION, WIDTH_MAX, WIDTH_MIN, empty_table, folded, laid_out, styled};
use super::words::{visible, visible_within};
use crate::record::history::Standing;
use crate::record::recall::{Carries, Recalled};
use crate::record::stored::Part;
use anstyle::Style;

/// Room for `returned on 2026-11-28`.
const STANDS: u16 = 22;
/// At most so many requirements are told one by one.
const TOLD_MAX: usize = 6;

/// The table, `width` columns wide, under a line that counts the units.
pub fn recalled(part: &Part, units: &[Recalled], width: u16) -> String {
    let width = width.clamp(WIDTH_MIN, WIDTH_MAX);
    let count = |which: &dyn Fn(&Recalled) -> bool| units.iter().filter(|unit| which(unit)).count();
    let has = |unit: &Recalled| matches!(unit.carries, Carries::Now(_));
    let shipped = |unit: &Recalled| has(unit) && matches!(unit.standing, Standing::Shipped(_));
    let title = format!(
        "{} {}: {} units carry it, {} of them shipped; {} carried it before a rework",
        visible(&part.name),
        visible(&part.lot),
        count(&has),
        count(&shipped),
        count(&|unit| !has(unit)),
    );
    let mut text = styled(&folded(&title, "  ", width).join("\n"), Style::new().bold()) + "\n";
    if units.is_empty() {
        return text;
    }
    let mut table = empty_table(width);
    table.set_header(["last decision", "serial", "where", "what its record says"]);
    for unit in units {
        table.add_row(row(part, unit));
    }
    text.push('\n');
    text.push_str(&laid_out(&mut table, &[DECISION, 0, STANDS, 0]));
    text
}

fn row(part: &Part, unit: &Recalled) -> Vec<String> {
    let name = visible(&part.name);
    let mut lines = Vec::new();
    if let Carries::Before { replaced_by, .. } = &unit.carries {
        lines.push(format!("has {name} {} now", visible(replaced_by)));
    }
    let Some(last) = &unit.last else {
        lines.push("no run proved anything".into());
        return vec![String::new(), visible(&unit.serial), standing(&unit.standing), lines.join("\n")];
    };
    let simulated = if last.is_simulated { ", simulated" } else { "" };
    lines.push(format!("{}, {}{simulated}", visible(&last.plan), moment(last.started)));
    match unit.said.of_part {
        Some(decision) => lines.push(format!("checks that point at the {name}: {}", look::words(decision))),
        None => lines.push(format!("no check points at the {name}")),
    }
    for shortfall in unit.said.shortfalls.iter().take(TOLD_MAX) {
        let (check, measurand) = (visible_within(&shortfall.check, 60), visible_within(&shortfall.measurand, 60));
        lines.push(format!("{} {check}: {measurand}", look::mark(shortfall.decision)));
    }
    if unit.said.shortfalls.len() > TOLD_MAX {
        lines.push(format!("and {} more requirements", unit.said.shortfalls.len() - TOLD_MAX));
    }
    let decision = format!("{} {}", look::mark(last.decision), look::words(last.decision));
    vec![decision, visible(&unit.serial), standing(&unit.standing), lines.join("\n")]
}
