//! Format 1 of the stored record, read for ever. Only what has changed since stands here; its JSON Schema is
//! `fixtures/schema/record-1.json`.

use super::{BenchFacts, Curves, FORMAT, Input, Move, Rule, RuleName, RunFacts, UnitFacts, Verdict};
use serde::Deserialize;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Record {
    #[serde(rename = "format")]
    _format: u32,
    decision: Verdict,
    invalid_because: Vec<String>,
    interrupted: bool,
    run: RunFacts,
    unit: UnitFacts,
    bench: BenchFacts,
    plan: PlanFacts,
    checks: Vec<Check>,
    warnings: Vec<String>,
    curves: Curves,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct PlanFacts {
    name: String,
    revision: u32,
    false_accept_at_most: f64,
    before: Vec<String>,
    inputs: Vec<Input>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Check {
    name: String,
    because: Option<String>,
    decision: Verdict,
    not_carried_out: Option<String>,
    began_s: f64,
    took_s: f64,
    findings: Vec<String>,
    requirements: Vec<Requirement>,
    moves: Vec<Move>,
    if_not: Vec<String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Requirement {
    measurand: String,
    tolerance: String,
    unit: String,
    lower: Option<f64>,
    upper: Option<f64>,
    decision: Verdict,
    readings: Vec<Reading>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Reading {
    label: String,
    decision: Verdict,
    measured: Option<Measured>,
    withheld: Option<String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Measured {
    value: f64,
    standard_uncertainty: f64,
    expanded_uncertainty: f64,
    coverage_factor: f64,
    degrees_of_freedom: Option<f64>,
    budget: Vec<BudgetLine>,
    acceptance_lower: Option<f64>,
    acceptance_upper: Option<f64>,
    margin: f64,
    conformance_probability: f64,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct BudgetLine {
    from: String,
    standard_uncertainty: f64,
    degrees_of_freedom: Option<f64>,
}

impl From<Record> for super::Record {
    fn from(record: Record) -> Self {
        Self {
            format: FORMAT,
            decision: record.decision,
            invalid_because: record.invalid_because,
            interrupted: record.interrupted,
            run: record.run,
            unit: record.unit,
            bench: record.bench,
            plan: record.plan.into(),
            checks: record.checks.into_iter().map(Into::into).collect(),
            warnings: record.warnings,
            curves: record.curves,
        }
    }
}

impl From<PlanFacts> for super::PlanFacts {
    fn from(plan: PlanFacts) -> Self {
        let rule = Rule { name: RuleName::FalseAccept, probability: Some(plan.false_accept_at_most), factor: None };
        Self { name: plan.name, revision: plan.revision, rule, before: plan.before, inputs: plan.inputs }
    }
}

impl From<Check> for super::Check {
    fn from(check: Check) -> Self {
        Self {
            name: check.name,
            because: check.because,
            decision: check.decision,
            not_carried_out: check.not_carried_out,
            began_s: check.began_s,
            took_s: check.took_s,
            findings: check.findings,
            rounds: None,
            requirements: check.requirements.into_iter().map(Into::into).collect(),
            moves: check.moves,
            if_not: check.if_not,
            step_clock: Vec::new(),
        }
    }
}

impl From<Requirement> for super::Requirement {
    fn from(requirement: Requirement) -> Self {
        Self {
            measurand: requirement.measurand,
            tolerance: requirement.tolerance,
            unit: requirement.unit,
            lower: requirement.lower,
            upper: requirement.upper,
            rule: None,
            decision: requirement.decision,
            readings: requirement.readings.into_iter().map(Into::into).collect(),
        }
    }
}

impl From<Reading> for super::Reading {
    fn from(reading: Reading) -> Self {
        let measured = reading.measured.map(Into::into);
        let rounds = Vec::new();
        Self { label: reading.label, decision: reading.decision, measured, withheld: reading.withheld, rounds }
    }
}

impl From<Measured> for super::Measured {
    fn from(measured: Measured) -> Self {
        let line = |line: BudgetLine| super::BudgetLine {
            from: line.from,
            standard_uncertainty: line.standard_uncertainty,
            degrees_of_freedom: line.degrees_of_freedom,
            input: None,
        };
        Self {
            value: measured.value,
            standard_uncertainty: measured.standard_uncertainty,
            expanded_uncertainty: measured.expanded_uncertainty,
            coverage_factor: measured.coverage_factor,
            propagated_interval: None,
            degrees_of_freedom: measured.degrees_of_freedom,
            budget: measured.budget.into_iter().map(line).collect(),
            correlations: Vec::new(),
            acceptance_lower: measured.acceptance_lower,
            acceptance_upper: measured.acceptance_upper,
            margin: measured.margin,
            conformance_probability: measured.conformance_probability,
        }
    }
}
