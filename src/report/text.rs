//! A run as text for the terminal: one table to glance at, then what is not proven and where to look first.
//!
//! Decisions have a mark and words; colour only repeats them. The text carries the escape codes of colour; whoever prints
//! it strips them where they are not wanted.

use super::words::{visible, visible_within};
use super::{look, number, overdue, rounds, worst};
use crate::record::Record;
use crate::record::stored::{Check, Origin, Requirement, Rule, Verdict};
use anstyle::{AnsiColor, Style};
use comfy_table::{ColumnConstraint, ContentArrangement, LineStyle, Table, TableStyle, Width};

/// Narrower than this no table is readable.
pub(super) const WIDTH_MIN: u16 = 76;
/// From this width on a check takes one line.
const WIDTH_ROOMY: u16 = 124;
/// Wider lines are hard to follow.
pub(super) const WIDTH_MAX: u16 = 150;
/// Room for the longest decision with its mark.
pub(super) const DECISION: u16 = 18;
/// Room for a value with its doubt and unit: `(83.740 ± 0.061) mm/s`.
const VALUE: u16 = 22;
/// Room for a margin: `3.560 mm/s outside`.
const MARGIN: u16 = 18;
/// Room for a probability of conforming: `P > 99.9 %`.
const PROBABILITY: u16 = 10;
/// Room between columns.
const GAP: u16 = 2;
/// The table's look: columns apart by two spaces, a line below the heads.
const LOOK: TableStyle = TableStyle::new().header_separator(LineStyle::none().fill('─').junction('─'));

/// The whole report, `width` columns wide.
pub fn text(record: &Record, width: u16) -> String {
    let width = width.clamp(WIDTH_MIN, WIDTH_MAX);
    let mut text = head(record, width);
    text.push_str(&table(record, width));
    text.push_str(&details(record, width));
    text.push_str(&foot(record, width));
    text
}

fn head(record: &Record, width: u16) -> String {
    let unit = &record.unit;
    let plan = format!("plan {}, revision {}", visible(&record.plan.name), record.plan.revision);
    let title = format!("{}, serial number {}, {plan}", visible(&unit.title), visible(&unit.serial));
    let mut lines = folded(&title, "", width).iter().map(|line| styled(line, Style::new().bold())).collect::<Vec<_>>();
    let is_replayed = record.run.origin == Origin::Replayed;
    let overdue = overdue::lines(record);
    let overdue = (!overdue.is_empty()).then(|| format!("{}: {}", overdue::TITLE.to_uppercase(), overdue.join(" ")));
    let marks = [record.run.is_simulated().then_some(SIMULATED), is_replayed.then_some(REPLAYED), overdue.as_deref()];
    for said in marks.into_iter().flatten() {
        lines.extend(folded(said, "", width).iter().map(|line| styled(line, Style::new().bold())));
    }
    format!("{}\n\n", lines.join("\n"))
}

const SIMULATED: &str = "SIMULATED RUN: no unit was tested; this certifies nothing.";
const REPLAYED: &str = "REPLAYED: judged from kept evidence, without a bench; the record of the run itself stands.";

fn table(record: &Record, width: u16) -> String {
    let mut table = empty_table(width);
    let is_roomy = width >= WIDTH_ROOMY;
    if is_roomy {
        table.set_header(["decision", "check", "worst requirement", "measured", "limits", "margin", "conforms"]);
    } else {
        table.set_header(["decision", "check", "worst requirement", "limits"]);
    }
    for check in &record.checks {
        table.add_row(row(check, is_roomy));
    }
    let columns: &[u16] =
        if is_roomy { &[DECISION, 0, 0, VALUE, 0, MARGIN, PROBABILITY] } else { &[DECISION, 0, VALUE, MARGIN] };
    laid_out(&mut table, columns)
}

/// An empty table of our look.
pub(super) fn empty_table(width: u16) -> Table {
    let mut table = Table::new();
    table.load_style(LOOK).set_content_arrangement(ContentArrangement::Dynamic).set_width(width);
    table
}

/// The lines of a table whose columns have at least the widths given, decisions at their beginning coloured.
pub(super) fn laid_out(table: &mut Table, columns: &[u16]) -> String {
    for (column, least) in table.column_iter_mut().zip(columns) {
        let gap = if column.index + 1 == columns.len() { 0 } else { GAP };
        column.set_padding((0, gap));
        column.set_constraint(ColumnConstraint::LowerBoundary(Width::Fixed(least + gap)));
    }
    let mut text = String::new();
    for line in table.lines() {
        text.push_str(&coloured(line.trim_end()));
        text.push('\n');
    }
    text
}

fn row(check: &Check, is_roomy: bool) -> Vec<String> {
    let decision = format!("{} {}", look::mark(check.decision), look::words(check.decision));
    let rounds = rounds::taken(check).map(|taken| format!(" ({taken})")).unwrap_or_default();
    let name = format!("{}{rounds}", visible_within(&check.name, 120));
    let Some(requirement) = worst::requirement(check) else {
        let mut row = vec![decision, name, "no requirement".into()];
        row.resize(if is_roomy { 7 } else { 4 }, String::new());
        return row;
    };
    let (measurand, value, limits, margin) = words(check, requirement);
    let probability = worst::probability(requirement).unwrap_or_default();
    if is_roomy {
        vec![decision, name, measurand, value, limits, margin, probability]
    } else {
        let indented = if probability.is_empty() { probability } else { format!("  {probability}") };
        vec![stacked(&decision, &indented), name, stacked(&measurand, &value), stacked(&limits, &margin)]
    }
}

fn words(check: &Check, requirement: &Requirement) -> (String, String, String, String) {
    let value = match check.not_carried_out {
        Some(_) => "not carried out".into(),
        None => worst::value(requirement),
    };
    let margin = worst::margin(requirement).unwrap_or_default();
    (visible_within(&requirement.measurand, 60), value, worst::limits(requirement), margin)
}

fn stacked(above: &str, below: &str) -> String {
    if below.is_empty() { above.to_owned() } else { format!("{above}\n{below}") }
}

/// What is not proven to conform, check by check.
fn details(record: &Record, width: u16) -> String {
    let rule = &record.plan.rule;
    let mut text = String::new();
    for check in record.checks.iter().filter(|check| check.decision != Verdict::Conforms) {
        let title = format!("{} {}", look::mark(check.decision), visible(&check.name));
        text.push('\n');
        for line in folded(&title, "  ", width) {
            text.push_str(&format!("{}\n", styled(&line, style(check.decision))));
        }
        for line in shortcomings(check, rule) {
            for line in folded(&format!("    {line}"), "      ", width) {
                text.push_str(&format!("{line}\n"));
            }
        }
    }
    text
}

fn shortcomings(check: &Check, rule: &Rule) -> Vec<String> {
    if let Some(why) = &check.not_carried_out {
        return vec![format!("not carried out: {}", visible(why))];
    }
    let of_requirements = check.requirements.iter().filter_map(|requirement| {
        let shortcoming = worst::shortcoming(requirement, rule)?;
        let reading = worst::reading(requirement);
        let phase = reading.and_then(worst::phase).map(|phase| format!(", {phase}")).unwrap_or_default();
        let value = match reading.and_then(|reading| reading.measured.as_ref()) {
            Some(_) => format!("{}, ", worst::value(requirement)),
            None => String::new(),
        };
        Some(format!("{}{phase}: {value}{shortcoming}", visible(&requirement.measurand)))
    });
    let findings = check.findings.iter().map(|finding| format!("found: {}", visible(finding)));
    let places = check.if_not.iter().map(|place| visible(place)).collect::<Vec<_>>().join(", ");
    let places = (!places.is_empty()).then(|| format!("look first at: {places}"));
    of_requirements.chain(findings).chain(rounds::remark(check)).chain(places).collect()
}

fn foot(record: &Record, width: u16) -> String {
    let mut lines = Vec::new();
    lines.extend(record.warnings.iter().map(|warning| format!("note: {}", visible(warning))));
    lines.extend(record.invalid_because.iter().map(|reason| format!("invalid because {}", visible(reason))));
    if record.interrupted {
        lines.push("the run was interrupted".into());
    }
    let mut text = String::from("\n");
    for line in lines {
        text.push_str(&format!("{}\n", folded(&line, "  ", width).join("\n")));
    }
    let verdict = format!("{} {}", look::mark(record.decision), look::words(record.decision));
    let took = number::duration(record.run.took_s);
    let simulated = if record.run.is_simulated() { ", simulated" } else { "" };
    let replayed = if record.run.origin == Origin::Replayed { ", replayed" } else { "" };
    let verdict = format!("{verdict}, {} checks in {took} of bench time{simulated}{replayed}", record.checks.len());
    for line in folded(&verdict, "  ", width) {
        text.push_str(&format!("{}\n", coloured(&line)));
    }
    text
}

/// The line with the decision at its start coloured; in the table nothing else begins a line with a mark.
fn coloured(line: &str) -> String {
    const VERDICTS: [Verdict; 4] = [Verdict::Conforms, Verdict::Undecided, Verdict::DoesNotConform, Verdict::Invalid];
    for verdict in VERDICTS {
        let decision = format!("{} {}", look::mark(verdict), look::words(verdict));
        if let Some(rest) = line.strip_prefix(&decision) {
            return format!("{}{rest}", styled(&decision, style(verdict)));
        }
    }
    line.to_owned()
}

fn style(verdict: Verdict) -> Style {
    let colour = match verdict {
        Verdict::Conforms => AnsiColor::Green,
        Verdict::Undecided => AnsiColor::Yellow,
        Verdict::DoesNotConform => AnsiColor::Red,
        Verdict::Invalid => AnsiColor::Magenta,
    };
    Style::new().bold().fg_color(Some(colour.into()))
}

pub(super) fn styled(text: &str, style: Style) -> String {
    format!("{style}{text}{style:#}")
}

/// Text in lines of at most `width` characters, all but the first indented; a longer word is broken.
pub(super) fn folded(text: &str, indent: &str, width: u16) -> Vec<String> {
    let mut table = Table::new();
    let room = width - indent.len() as u16;
    let start: String = text.chars().take_while(|character| *character == ' ').collect();
    table.load_style(TableStyle::new()).set_content_arrangement(ContentArrangement::Dynamic).set_width(room);
    table.add_row([text.trim_start()]);
    if let Some(column) = table.column_mut(0) {
        column.set_padding((0, 0));
    }
    let lines = table.lines().enumerate();
    lines.map(|(index, line)| format!("{}{}", if index == 0 { &start } else { indent }, line.trim_end())).collect()
}
