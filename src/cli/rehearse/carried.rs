//! The units of a rehearsal, carried out on several threads.

use crate::cli::signals::watch_for_signals;
use crate::cli::{Exit, Failure, Format, print, show};
use crate::decide::Decision;
use crate::event::RunOutcome;
use crate::rehearsal::{Lot, LotUnit, Rehearser};
use crate::study::rehearse::Rehearsed;
use anyhow::anyhow;
use indicatif::{ProgressBar, ProgressStyle};
use serde_json::json;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};

/// What came of the units of these numbers, in their order.
pub fn all(
    rehearser: &Rehearser<'_>,
    lot: &Lot<'_>,
    numbers: &[u64],
    threads: usize,
) -> Result<Vec<Rehearsed>, Failure> {
    let interrupted = watch_for_signals()?;
    let bar = ProgressBar::new(numbers.len() as u64);
    bar.set_style(
        ProgressStyle::with_template("  {pos} of {len} units · {wide_bar} {eta} left")
            .expect("the template is a constant"),
    );
    let next = AtomicUsize::new(0);
    let work = || {
        let mut told = Vec::new();
        while !interrupted.load(Ordering::Relaxed) {
            let Some(number) = numbers.get(next.fetch_add(1, Ordering::Relaxed)) else { break };
            told.push(rehearser.rehearse(&lot.unit(*number), &interrupted));
            bar.inc(1);
        }
        told
    };
    let told: Option<Vec<Vec<Rehearsed>>> = std::thread::scope(|scope| {
        let threads: Vec<_> = (0..threads.min(numbers.len().max(1))).map(|_| scope.spawn(work)).collect();
        threads.into_iter().map(|thread| thread.join().ok()).collect()
    });
    bar.finish_and_clear();
    if interrupted.load(Ordering::Relaxed) {
        return Err(Failure::new(
            Exit::Interrupted,
            anyhow!("interrupted; nothing is told of a rehearsal that is not whole"),
        ));
    }
    let mut told = told
        .ok_or_else(|| {
            Failure::new(Exit::Invalid, anyhow!("the program failed an assertion of its own while it rehearsed"))
        })?
        .concat();
    told.sort_by_key(|unit| unit.number);
    Ok(told)
}

/// Shows what was measured on one unit.
pub fn look(rehearser: &Rehearser<'_>, unit: &LotUnit, format: Format) -> Result<(), Failure> {
    let outcome = rehearser.run(unit, &AtomicBool::new(false));
    let faults: Vec<String> = unit.faults.iter().map(ToString::to_string).collect();
    let rows = rows(rehearser, &outcome);
    print(&match format {
        Format::Text => {
            let with = if faults.is_empty() { "no fault".to_owned() } else { faults.join(", ") };
            let (number, seed, decision) = (unit.number, unit.world.seed, outcome.decision.words());
            let why: String = outcome.invalid_because.iter().map(|why| format!("{why}\n")).collect();
            let heads = ["check", "requirement", "value", "tolerance", "decision"];
            format!("unit {number} (seed {seed}), {with}: {decision}, simulated\n{why}\n{}", show::table(&heads, rows))
        }
        Format::Json => {
            let rows: Vec<_> = rows
                .iter()
                .map(|row| json!({ "check": row[0], "requirement": row[1], "value": row[2], "tolerance": row[3], "decision": row[4] }))
                .collect();
            let (number, seed, decision) = (unit.number, unit.world.seed, outcome.decision.words());
            let invalid_because = outcome.invalid_because;
            let shown = json!({ "simulated": true, "number": number, "seed": seed, "faults": faults, "decision": decision,
                                "invalid_because": invalid_because, "requirements": rows });
            format!("{shown:#}\n")
        }
    })
}

/// The worst reading of each requirement, and what was found beyond.
fn rows(rehearser: &Rehearser<'_>, outcome: &RunOutcome) -> Vec<Vec<String>> {
    let mut rows = Vec::new();
    for check in &outcome.checks {
        let planned = &rehearser.plan.checks[check.check];
        let row = |what: &str, value: String, tolerance: &str, decision: Decision| {
            vec![planned.name.clone(), what.to_owned(), value, tolerance.to_owned(), decision.words().to_owned()]
        };
        rows.extend(check.findings.iter().map(|found| row(found, String::new(), "", Decision::DoesNotConform)));
        if let Some(why) = &check.not_carried_out {
            rows.push(row(why, String::new(), "", check.decision));
        }
        for one in &check.requirements {
            let required = &planned.requirements[one.requirement];
            let unit = required.tolerance.unit();
            let told = |reading: &crate::event::ReadingOutcome| match &reading.result {
                Ok((estimate, _)) => {
                    let doubt = estimate.expanded_uncertainty(crate::stats::COVERAGE);
                    format!("{} ± {}", unit.show_to(estimate.value, doubt), unit.show_uncertainty(doubt))
                }
                Err(withheld) => withheld.why.clone(),
            };
            let decided = |reading: &crate::event::ReadingOutcome| {
                reading.result.as_ref().map_or(one.decision, |(_, judged)| judged.decision)
            };
            let worst = one.readings.iter().find(|reading| decided(reading) == one.decision).or(one.readings.first());
            let value = worst.map_or_else(|| "no reading".to_owned(), told);
            rows.push(row(required.measurand.name, value, required.tolerance.text(), one.decision));
        }
    }
    rows
}
