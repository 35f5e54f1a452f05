//! Records that were searched for, as a table.

use super::history::moment;
use super::text::{DECISION, WIDTH_MAX, WIDTH_MIN, empty_table, laid_out};
use super::words::{visible, visible_within};
use super::{look, number};
use crate::record::index::Found;
use crate::record::stored::Verdict;
use std::collections::BTreeSet;

/// Room for a day and an hour.
const WHEN: u16 = 16;
/// Room for a run's id, which names a folder and must not be broken.
const RUN: u16 = 36;

/// The table, `width` columns wide, and how many there are.
pub fn found(found: &[Found], width: u16) -> String {
    let mut table = empty_table(width.clamp(WIDTH_MIN, WIDTH_MAX));
    table.set_header(["decision", "when (UTC)", "what"]);
    for found in found {
        table.add_row(row(found));
    }
    let rows = if found.is_empty() { String::new() } else { laid_out(&mut table, &[DECISION, WHEN, RUN]) + "\n" };
    let runs: BTreeSet<_> = found.iter().map(|found| &found.run.id).collect();
    let many = |count: usize, what: &str| format!("{count} {what}{}", if count == 1 { "" } else { "s" });
    let values = found.iter().filter(|found| found.value.is_some()).count();
    let of_values = if values > 0 { format!("{} of ", many(values, "value")) } else { String::new() };
    format!("{rows}{of_values}{}\n", many(runs.len(), "run"))
}

fn row(found: &Found) -> Vec<String> {
    let run = &found.run;
    let decision = decided(found);
    let mut said = vec![format!("{}, revision {}", visible(&run.plan), run.revision)];
    said.extend(run.firmware.iter().map(|firmware| format!("firmware {}", visible(firmware))));
    said.extend(run.is_simulated.then(|| "simulated".into()));
    let mut lines = vec![said.join(", ")];
    lines.extend(found.check.iter().map(|(check, _)| format!("check {}", visible_within(check, 120))));
    lines.extend(found.value.iter().map(|found| {
        let doubt = number::with_unit(&number::doubt(found.standard_uncertainty), &found.unit);
        // Twice its standard uncertainty is about what a value is rounded to elsewhere.
        let value = number::with_unit(&number::beside(found.value, 2.0 * found.standard_uncertainty), &found.unit);
        let doubt = if found.standard_uncertainty == 0.0 { String::new() } else { format!(", u = {doubt}") };
        format!("{}, {}: {value}{doubt}", visible_within(&found.measurand, 60), visible_within(&found.label, 120))
    }));
    lines.push(visible(&run.id));
    let decision = format!("{} {}", look::mark(decision), look::words(decision));
    let when = format!("{}\n{}", moment(run.started), visible(&run.serial));
    vec![decision, when, lines.join("\n")]
}

/// The decision on what was searched for.
fn decided(found: &Found) -> Verdict {
    let of_check = found.check.as_ref().map(|(_, decision)| *decision);
    found.value.as_ref().map(|value| value.decision).or(of_check).unwrap_or(found.run.decision)
}
