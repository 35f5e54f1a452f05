//! What a sheet says: a record turned into words, everything safe to show.

use super::{Brief, Fact, Failure, Group, Point, Row, Sheet, phrases};
use crate::record::Record;
use crate::record::stored::{CalibrationFacts, Check, Requirement, Rule, Verdict};
use crate::report::words::{visible, visible_within};
use crate::report::{number, overdue, plot, rounds, rule, scale, worst};

/// Facts whose values take the whole width.
const WIDE: [&str; 6] = [
    "Bench",
    "Confirmed before anything moved",
    "Parts and lots",
    "Earlier runs of this unit",
    "Run",
    "SHA-256 of record.json",
];

/// The sheet of a record.
pub fn sheet(record: &Record, digest: &str) -> Sheet {
    let title = match super::kind(record) {
        super::Kind::Certificate => "Test certificate",
        super::Kind::Nonconformity => "Nonconformity sheet",
    };
    Sheet {
        verdict: record.decision,
        title,
        maker: name(&record.unit.maker),
        model: name(&record.unit.title),
        serial: name(&record.unit.serial),
        headline: phrases::headline(record.decision),
        statement: phrases::statement(record),
        simulated: record.run.is_simulated().then_some(phrases::SIMULATED),
        overdue: overdue::lines(record),
        reasons: reasons(record),
        facts: facts(record, digest),
        failures: failures(record),
        rule: phrases::rule(record),
        groups: record.checks.iter().map(group).collect(),
        comparison: Vec::new(),
        plots: plot::plots(record),
        calibrations: calibrations(record),
        notes: record.warnings.iter().map(|warning| visible(warning)).collect(),
        cautions: phrases::CAUTIONS,
        ended: phrases::date(&record.run.ended),
        run_id: visible_within(&record.run.id, 60),
        digest: visible_within(digest, 80),
    }
}

/// What the bench screen says of a record.
pub fn brief(record: &Record) -> Brief {
    Brief {
        verdict: record.decision,
        headline: phrases::headline(record.decision),
        statement: phrases::statement(record),
        simulated: record.run.is_simulated().then_some(phrases::SIMULATED),
        reasons: reasons(record),
        failures: failures(record),
    }
}

/// Channels with the dates of their calibration; those calibrated on one day under one condition share a line.
fn calibrations(record: &Record) -> Vec<[String; 3]> {
    let mut lines: Vec<(Vec<String>, &CalibrationFacts)> = Vec::new();
    for one in &record.bench.calibrations {
        let channel = visible_within(&one.channel, 60);
        let is_alike = |like: &CalibrationFacts| {
            like.date == one.date && like.due == one.due && like.environment == one.environment
        };
        match lines.iter_mut().find(|(_, like)| is_alike(like)) {
            Some((channels, _)) => channels.push(channel),
            None => lines.push((vec![channel], one)),
        }
    }
    let line = |(channels, like): (Vec<String>, &CalibrationFacts)| {
        let at = like.environment.as_ref().map(|words| format!(" (at {})", visible_within(words, 120)));
        let channels = visible(&channels.join(", ")) + &at.unwrap_or_default();
        [channels, visible_within(&like.date, 30), visible_within(&like.due, 30)]
    };
    lines.into_iter().map(line).collect()
}

/// Names are shown large, so they are cut sooner.
fn name(text: &str) -> String {
    visible_within(text, 120)
}

fn reasons(record: &Record) -> Vec<String> {
    let said = "the run was interrupted";
    let is_untold = record.interrupted && record.invalid_because.iter().all(|reason| reason != said);
    let interrupted = is_untold.then(|| said.to_owned());
    record.invalid_because.iter().map(|reason| visible(reason)).chain(interrupted).collect()
}

fn facts(record: &Record, digest: &str) -> Vec<Fact> {
    let mut facts = Vec::new();
    let mut fact = |name, value: String| {
        if !value.is_empty() {
            facts.push(Fact { name, value, is_wide: WIDE.contains(&name) });
        }
    };
    fact("Firmware", record.unit.reports.get("firmware").map(|firmware| visible(firmware)).unwrap_or_default());
    fact("Tested", visible(&phrases::moment(&record.run.started)));
    fact("Issued", visible(&phrases::moment(&record.run.ended)));
    fact("Bench time", number::duration(record.run.took_s));
    fact("Operator", record.bench.operator.as_deref().map(visible).unwrap_or_default());
    fact("Plan", format!("{}, revision {}", visible(&record.plan.name), record.plan.revision));
    fact("Origin", phrases::origin(record).map(|origin| visible(&origin)).unwrap_or_default());
    fact("Bench", visible(&format!("{}: {}", record.bench.jig, record.bench.describes)));
    let parts = record.unit.parts.iter().map(|part| {
        let carried = if part.carried_on_from.is_some() { " (carried on)" } else { "" };
        format!("{} {}{carried}", visible(&part.name), visible(&part.lot))
    });
    fact("Sealed by", record.bench.name.as_deref().map(|name| sealed_by(name, record)).unwrap_or_default());
    let before = record.plan.before.iter().map(|line| visible(line)).collect::<Vec<_>>();
    fact("Confirmed before anything moved", before.join(" · "));
    fact("Parts and lots", visible(&parts.collect::<Vec<_>>().join(" · ")));
    fact("Earlier runs of this unit", earlier(record));
    fact("Run", visible(&record.run.id));
    fact("SHA-256 of record.json", visible(digest));
    facts
}

fn sealed_by(bench: &str, record: &Record) -> String {
    match &record.bench.key {
        Some(key) => visible(&format!("{bench}, key {key}")),
        None => visible(&format!("{bench}, unsigned: it has no key")),
    }
}

fn earlier(record: &Record) -> String {
    match record.run.predecessors.len() {
        0 => "none on this bench".into(),
        count => format!("{count}, the last {}", visible(&record.run.predecessors[count - 1])),
    }
}

/// What does not conform, the worst first; what nothing is known of last.
fn failures(record: &Record) -> Vec<Failure> {
    let rule = &record.plan.rule;
    let mut failing: Vec<&Check> = record.checks.iter().filter(|check| check.decision != Verdict::Conforms).collect();
    failing.sort_by_key(|check| (std::cmp::Reverse(check.decision), check.not_carried_out.is_some()));
    failing.into_iter().map(|check| failure(check, rule)).collect()
}

fn failure(check: &Check, rule: &Rule) -> Failure {
    let mut points: Vec<Point> = if check.not_carried_out.is_some() {
        Vec::new()
    } else {
        check.requirements.iter().filter_map(|requirement| point(requirement, rule)).collect()
    };
    points.sort_by_key(|point| std::cmp::Reverse(point.verdict));
    Failure {
        check: visible(&check.name),
        verdict: check.decision,
        was_carried_out: check.not_carried_out.is_none(),
        points,
        findings: remarks(check),
        look_first: check.if_not.iter().map(|place| visible(place)).collect(),
    }
}

fn point(requirement: &Requirement, rule: &Rule) -> Option<Point> {
    let shortcoming = worst::shortcoming(requirement, rule)?;
    let has_value = worst::reading(requirement).is_some_and(|reading| reading.measured.is_some());
    let value = if has_value { format!("{}; ", worst::value(requirement)) } else { String::new() };
    Some(Point {
        name: phase_named(requirement),
        verdict: requirement.decision,
        says: format!("{value}{shortcoming}. Required: {}.", worst::limits(requirement)),
    })
}

/// The measurand with the phase that decided.
fn phase_named(requirement: &Requirement) -> String {
    match worst::reading(requirement).and_then(worst::phase) {
        Some(phase) => format!("{}, {phase}", visible(&requirement.measurand)),
        None => visible(&requirement.measurand),
    }
}

fn remarks(check: &Check) -> Vec<String> {
    let not_done = check.not_carried_out.iter().map(|why| format!("Not carried out: {}", visible(why)));
    not_done.chain(check.findings.iter().map(|finding| visible(finding))).chain(rounds::remark(check)).collect()
}

fn group(check: &Check) -> Group {
    Group {
        name: visible(&check.name),
        because: check.because.as_deref().map(visible).filter(|because| !because.is_empty()),
        verdict: check.decision,
        remarks: remarks(check),
        rows: check.requirements.iter().map(row).collect(),
    }
}

fn row(requirement: &Requirement) -> Row {
    let measured = worst::reading(requirement).and_then(|reading| reading.measured.as_ref());
    Row {
        name: visible(&requirement.measurand),
        note: note(requirement),
        value: worst::value(requirement),
        coverage: measured
            .filter(|measured| measured.expanded_uncertainty > 0.0)
            .map(|measured| {
                let probability = worst::probability(requirement).unwrap_or_default();
                format!("k = {:.2}, {probability}", measured.coverage_factor.clamp(0.0, 1e6))
            })
            .unwrap_or_default(),
        limits: worst::limits(requirement),
        margin: worst::margin(requirement).unwrap_or_default(),
        scale: scale::drawing(requirement),
        verdict: requirement.decision,
    }
}

/// What the other columns do not say: the tolerance where it is written otherwise than its limits, the phase of the
/// reading where it is not the whole check, of how many it is the worst, and why there is no value.
fn note(requirement: &Requirement) -> String {
    let tolerance = visible(&requirement.tolerance);
    let mut notes: Vec<String> = (tolerance != worst::limits(requirement)).then_some(tolerance).into_iter().collect();
    if let Some(reading) = worst::reading(requirement) {
        let phase = worst::phase(reading);
        match requirement.readings.len() {
            0 | 1 => notes.extend(phase),
            several => notes.push(format!("{} (worst of {several})", phase.as_deref().unwrap_or("one reading"))),
        }
        notes.extend(reading.withheld.as_deref().map(visible));
    }
    notes.extend(requirement.rule.as_ref().map(|own| format!("decided by {}", rule::named(own))));
    notes.retain(|note| !note.is_empty());
    notes.join("; ")
}
