//! A jig's check as it came out: for people, for programs, for the logbook.

use crate::care::check::{Covered, Found, Proof, cover};
use crate::care::logbook::stored::{Check, CheckedValue};
use crate::cli::run::Done;
use crate::cli::show;
use crate::decide::Decision;
use crate::jig::JigFile;
use crate::plan::Plan;
use crate::record::stored::{Record, Requirement, Verdict};
use crate::report;
use crate::stats::{COVERAGE, summary};
use serde_json::{Value, json};

/// What was found, and on what.
pub struct Checked<'a> {
    pub jig: &'a JigFile,
    /// The plan that the reference unit carried out.
    pub plan: Option<&'a Plan>,
    pub proofs: &'a [Proof],
    /// The run on the reference unit.
    pub unit: Option<&'a Done>,
    pub simulated: bool,
}

const SIMULATED: &str = "SIMULATED BENCH: no jig was checked; this proves nothing.\n";

impl Checked<'_> {
    /// The worst of all that was decided; where nothing was, nothing is proven.
    pub fn decision(&self) -> Decision {
        let unit = self.unit.map(|done| done.outcome.decision);
        self.proofs.iter().filter_map(Proof::decision).chain(unit).max().unwrap_or(Decision::Undecided)
    }

    fn covered(&self) -> Vec<Covered> {
        cover(self.jig, self.plan, self.proofs)
    }

    /// As the logbook keeps it.
    pub fn entry(&self) -> Check {
        let of_unit = self.unit.into_iter().flat_map(|done| unit_values(&done.record));
        Check {
            run: self.unit.map(|done| done.record.run.id.clone()),
            reference_unit: self.unit.map(|done| done.record.unit.serial.clone()),
            decision: self.decision().into(),
            values: self.proofs.iter().filter_map(proof_value).chain(of_unit).collect(),
        }
    }

    /// For people.
    pub fn text(&self, at: &str) -> String {
        let mut text = String::new();
        if let Some(done) = self.unit {
            text = format!("{}\n{}\n\n", report::text(&done.record, show::terminal_width()), done.place);
        }
        text.push_str(&format!("jig {}, checked {at}: {}\n", self.jig.name, self.decision().words()));
        text.push_str(if self.simulated { SIMULATED } else { "" });
        text.push('\n');
        text.push_str(&show::table(&["decision", "what", "measured", "wanted"], self.proofs.iter().map(row)));
        let open: Vec<String> =
            self.covered().into_iter().filter(|one| one.by.is_empty()).map(|one| one.channel).collect();
        if !open.is_empty() {
            let why = match self.unit {
                Some(_) => "no reference in the jig file, and nothing in the plan rests on them",
                None => "no reference in the jig file, and no --reference-unit",
            };
            text.push_str(&format!("\nnot checked, {why}:\n  {}\n", open.join(", ")));
        }
        text
    }

    /// For programs.
    pub fn json(&self, at: &str) -> Value {
        let covered: Vec<Value> =
            self.covered().into_iter().map(|one| json!({ "channel": one.channel, "checked_by": one.by })).collect();
        json!({
            "jig": self.jig.name,
            "checked": at,
            "simulated": self.simulated,
            "decision": self.decision().words(),
            "findings": self.proofs.iter().map(finding).collect::<Vec<_>>(),
            "channels": covered,
            "reference_unit": self.unit.map(|done| json!({ "run": done.record.run.id, "record": done.record })),
        })
    }
}

fn row(proof: &Proof) -> Vec<String> {
    let decision = proof.decision().map_or("not checked", Decision::words).to_owned();
    let (measured, wanted) = match &proof.found {
        Found::Measured { tolerance, estimate, .. } => {
            let unit = tolerance.unit();
            let expanded = estimate.expanded_uncertainty(COVERAGE);
            let value = report::measured(unit.from_si(estimate.value), unit.from_si(expanded), unit.symbol());
            (value, tolerance.text().to_owned())
        }
        Found::Nothing { why } | Found::NotChecked { why } => (why.clone(), String::new()),
    };
    vec![decision, proof.name(), measured, wanted]
}

fn finding(proof: &Proof) -> Value {
    let mut finding = json!({
        "channel": proof.channel,
        "what": proof.what,
        "decision": proof.decision().map_or("not checked", Decision::words),
    });
    let more = match &proof.found {
        Found::Measured { tolerance, estimate, judgement } => {
            let unit = tolerance.unit();
            let (lower, upper) = tolerance.limits();
            json!({
                "unit": unit.symbol(),
                "value": unit.from_si(estimate.value),
                "standard_uncertainty": unit.from_si(estimate.standard_uncertainty()),
                "expanded_uncertainty": unit.from_si(estimate.expanded_uncertainty(COVERAGE)),
                "lower": lower.map(|limit| unit.from_si(limit)),
                "upper": upper.map(|limit| unit.from_si(limit)),
                "conformance_probability": judgement.conformance_probability,
            })
        }
        Found::Nothing { why } | Found::NotChecked { why } => json!({ "why": why }),
    };
    if let (Value::Object(finding), Value::Object(more)) = (&mut finding, more) {
        finding.extend(more);
    }
    finding
}

/// A measured finding as the logbook keeps it; counts have no course.
fn proof_value(proof: &Proof) -> Option<CheckedValue> {
    let Found::Measured { tolerance, estimate, judgement } = &proof.found else { return None };
    let unit = tolerance.unit();
    let standard_uncertainty = unit.from_si(estimate.standard_uncertainty());
    (standard_uncertainty > 0.0).then(|| CheckedValue {
        name: proof.name(),
        on: None,
        unit: unit.symbol().to_owned(),
        value: unit.from_si(estimate.value),
        standard_uncertainty,
        decision: judgement.decision.into(),
    })
}

/// The values of the reference unit, one for each requirement: the mean of its readings, in doubt as the worst of them.
fn unit_values(record: &Record) -> Vec<CheckedValue> {
    let value = |name: String, requirement: &Requirement| {
        let measured: Vec<(f64, f64)> = requirement
            .readings
            .iter()
            .filter_map(|reading| reading.measured.as_ref())
            .map(|measured| (measured.value, measured.standard_uncertainty))
            .collect();
        let values: Vec<f64> = measured.iter().map(|(value, _)| *value).collect();
        let standard_uncertainty = measured.iter().map(|(_, doubt)| *doubt).fold(0.0, f64::max);
        let (unit, decision) = (requirement.unit.clone(), requirement.decision);
        let on = Some(record.unit.serial.clone());
        let value = summary::mean(&values).filter(|_| standard_uncertainty > 0.0)?;
        Some(CheckedValue { name, on, unit, value, standard_uncertainty, decision })
    };
    let checks = record.checks.iter().filter(|check| check.decision != Verdict::Invalid);
    let required = checks.flat_map(|check| check.requirements.iter().map(move |required| (check, required)));
    required
        .filter_map(|(check, required)| value(format!("{}: {}", check.name, required.measurand), required))
        .collect()
}
