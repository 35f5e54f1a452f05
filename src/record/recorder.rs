//! From a run's outcome to its stored form: SI becomes the unit that the plan's author wrote.

use super::stored::{self, Record, RuleName, Verdict};
use crate::decide::{Decision, Rule};
use crate::event::{CheckOutcome, ReadingOutcome, RequirementOutcome, RunOutcome};
use crate::measure::{Traces, Withheld};
use crate::plan::{Check, Plan, Requirement};
use crate::quantity::Unit;
use crate::stats::{COVERAGE, Component, Estimate, Evaluation};
use hdrhistogram::Histogram;

/// What a record says beside the outcome; what the unit reported and how long the run took are filled in from there.
#[derive(Debug, Clone)]
pub struct Header {
    pub run: stored::RunFacts,
    pub unit: stored::UnitFacts,
    pub bench: stored::BenchFacts,
    pub inputs: Vec<stored::Input>,
    pub warnings: Vec<String>,
}

/// The record of a run.
pub fn record(plan: &Plan, outcome: &RunOutcome, header: Header) -> Record {
    let Header { run, mut unit, bench, inputs, warnings } = header;
    unit.reports = outcome.reports.iter().cloned().collect();
    Record {
        format: stored::FORMAT,
        decision: outcome.decision.into(),
        invalid_because: outcome.invalid_because.clone(),
        interrupted: outcome.interrupted,
        run: stored::RunFacts { took_s: outcome.took_s, ..run },
        unit,
        bench,
        plan: stored::PlanFacts {
            name: plan.name.clone(),
            revision: plan.revision,
            rule: plan.rule.into(),
            before: plan.before.clone(),
            inputs,
        },
        checks: outcome.checks.iter().map(|done| check(&plan.checks[done.check], done)).collect(),
        warnings: noted(plan, warnings),
        curves: curves(&outcome.traces),
    }
}

/// What the operator was told, and what the plan would have looked at on a jig that sees more.
fn noted(plan: &Plan, mut warnings: Vec<String>) -> Vec<String> {
    for left_out in plan.checks.iter().flat_map(|check| &check.left_out) {
        if !warnings.contains(left_out) {
            warnings.push(left_out.clone());
        }
    }
    warnings
}

impl From<Decision> for Verdict {
    fn from(decision: Decision) -> Self {
        match decision {
            Decision::Conforms => Self::Conforms,
            Decision::Undecided => Self::Undecided,
            Decision::DoesNotConform => Self::DoesNotConform,
            Decision::Invalid => Self::Invalid,
        }
    }
}

impl From<Rule> for stored::Rule {
    fn from(rule: Rule) -> Self {
        let (name, probability, factor) = match rule {
            Rule::SimpleAcceptance => (RuleName::SimpleAcceptance, None, None),
            Rule::GuardBand { factor } => (RuleName::GuardBand, None, Some(factor)),
            Rule::FalseAccept { at_most } => (RuleName::FalseAccept, Some(at_most), None),
            Rule::FalseReject { at_most } => (RuleName::FalseReject, Some(at_most), None),
        };
        Self { name, probability, factor }
    }
}

fn check(planned: &Check, done: &CheckOutcome) -> stored::Check {
    stored::Check {
        name: planned.name.clone(),
        because: planned.because.clone(),
        decision: done.decision.into(),
        not_carried_out: done.not_carried_out.clone(),
        began_s: done.began_s,
        took_s: done.ended_s - done.began_s,
        findings: done.findings.clone(),
        rounds: done.rounds.as_ref().map(|rounds| stored::Rounds {
            done: rounds.done,
            at_most: rounds.at_most,
            why_no_more: rounds.why_no_more.clone(),
        }),
        requirements: done
            .requirements
            .iter()
            .map(|outcome| requirement(&planned.requirements[outcome.requirement], outcome))
            .collect(),
        moves: done
            .moves
            .iter()
            .map(|done| stored::Move {
                label: done.label.clone(),
                began_s: done.began_s,
                took_s: done.ended_s - done.began_s,
            })
            .collect(),
        if_not: planned.if_not.clone(),
        step_clock: done.step_clock.iter().map(super::clock::stored).collect(),
    }
}

fn requirement(planned: &Requirement, outcome: &RequirementOutcome) -> stored::Requirement {
    let unit = planned.tolerance.unit();
    stored::Requirement {
        measurand: planned.measurand.name.to_owned(),
        tolerance: planned.tolerance.text().to_owned(),
        unit: unit.symbol().to_owned(),
        lower: planned.limits.lower.map(|limit| tidy(unit.from_si(limit))),
        upper: planned.limits.upper.map(|limit| tidy(unit.from_si(limit))),
        rule: planned.rule.map(Into::into),
        decision: outcome.decision.into(),
        readings: outcome.readings.iter().map(|outcome| reading(unit, outcome)).collect(),
    }
}

fn reading(unit: Unit, outcome: &ReadingOutcome) -> stored::Reading {
    let label = outcome.label.clone();
    let rounds: Vec<_> = outcome.rounds.iter().map(|round| round_reading(unit, round)).collect();
    match &outcome.result {
        Ok((estimate, judgement)) => stored::Reading {
            label,
            decision: judgement.decision.into(),
            measured: Some(stored::Measured {
                acceptance_lower: judgement.acceptance_lower.map(|limit| unit.from_si(limit)),
                acceptance_upper: judgement.acceptance_upper.map(|limit| unit.from_si(limit)),
                margin: unit.of_differences().from_si(judgement.margin),
                conformance_probability: judgement.conformance_probability,
                ..measured(unit, estimate)
            }),
            withheld: None,
            rounds,
        },
        Err(withheld) => stored::Reading {
            label,
            decision: match withheld.blame {
                crate::measure::Blame::Unit => Verdict::DoesNotConform,
                crate::measure::Blame::Bench => Verdict::Invalid,
                crate::measure::Blame::Nobody => Verdict::Undecided,
            },
            measured: None,
            withheld: Some(withheld.why.clone()),
            rounds,
        },
    }
}

fn round_reading(unit: Unit, round: &Result<Estimate, Withheld>) -> stored::RoundReading {
    let estimate = round.as_ref().ok();
    let doubt = |estimate: &Estimate| unit.of_differences().from_si(estimate.standard_uncertainty());
    stored::RoundReading {
        value: estimate.map(|estimate| unit.from_si(estimate.value)),
        standard_uncertainty: estimate.map(doubt),
        withheld: round.as_ref().err().map(|withheld| withheld.why.clone()),
    }
}

/// A measured value with its budget, in a unit of its dimension and not judged.
pub fn measured(unit: Unit, estimate: &Estimate) -> stored::Measured {
    let difference = |si: f64| unit.of_differences().from_si(si);
    let finite = |freedom: f64| freedom.is_finite().then_some(freedom);
    stored::Measured {
        value: unit.from_si(estimate.value),
        standard_uncertainty: difference(estimate.standard_uncertainty()),
        expanded_uncertainty: difference(estimate.expanded_uncertainty(COVERAGE)),
        coverage_factor: estimate.coverage_factor(COVERAGE),
        propagated_interval: estimate
            .spread()
            .lopsided_interval(COVERAGE)
            .map(|(lower, upper)| (unit.from_si(estimate.value + lower), unit.from_si(estimate.value + upper))),
        degrees_of_freedom: finite(estimate.degrees_of_freedom()),
        budget: estimate.budget.iter().map(|line| budget_line(unit, line)).collect(),
        correlations: estimate
            .correlations
            .iter()
            .map(|pair| stored::Correlation { lines: pair.lines, coefficient: pair.coefficient })
            .collect(),
        acceptance_lower: None,
        acceptance_upper: None,
        margin: 0.0,
        conformance_probability: 0.0,
    }
}

/// An input in the unit of the value is shown in that one; one in a unit of its own keeps it, and its sensitivity turns.
fn budget_line(unit: Unit, line: &Component) -> stored::BudgetLine {
    let difference = |si: f64| unit.of_differences().from_si(si);
    let is_own = line.input_unit.is_some();
    stored::BudgetLine {
        from: line.from.to_owned(),
        standard_uncertainty: difference(line.standard_uncertainty()),
        degrees_of_freedom: line.degrees_of_freedom.is_finite().then_some(line.degrees_of_freedom),
        input: Some(stored::BudgetInput {
            evaluation: match line.evaluation {
                Evaluation::A => stored::Evaluation::A,
                Evaluation::B => stored::Evaluation::B,
            },
            distribution: line.distribution.name().to_owned(),
            standard_uncertainty: if is_own { line.input_uncertainty } else { difference(line.input_uncertainty) },
            unit: line.input_unit.map(str::to_owned),
            sensitivity: if is_own { difference(line.sensitivity) } else { line.sensitivity },
            shared: line.cause.map(str::to_owned),
        }),
    }
}

/// A record's bytes as they stand in `record.json`.
pub fn to_json(record: &Record) -> Vec<u8> {
    let mut bytes = serde_json::to_vec_pretty(record).expect("a record has nothing that JSON cannot say");
    bytes.push(b'\n');
    bytes
}

/// A limit as its author wrote it: the last bits of a conversion to SI and back are not his.
pub(super) fn tidy(value: f64) -> f64 {
    format!("{value:.12e}").parse().unwrap_or(value)
}

fn curves(traces: &Traces) -> stored::Curves {
    stored::Curves {
        speed: traces
            .speed
            .iter()
            .map(|trace| stored::SpeedCurve {
                label: trace.label.clone(),
                points: trace.points.iter().map(|(at, speed)| (*at, speed * 1000.0)).collect(),
            })
            .collect(),
        step_intervals: traces
            .intervals
            .iter()
            .map(|trace| stored::IntervalCurve {
                label: trace.label.clone(),
                nominal_ns: trace.nominal_ns,
                hdr: hdr_text(&trace.histogram),
                counts: trace
                    .histogram
                    .iter_recorded()
                    .map(|step| (step.value_iterated_to(), step.count_at_value()))
                    .collect(),
            })
            .collect(),
        pack_voltage: traces
            .pack_voltage
            .iter()
            .map(|band| stored::VoltageBand { at_s: band.at_s, low_v: band.low, high_v: band.high })
            .collect(),
        temperatures: traces
            .temperatures
            .iter()
            .map(|trace| stored::TemperatureCurve { label: trace.channel.name(), points: trace.points.clone() })
            .collect(),
    }
}

/// A histogram in the form that other HdrHistogram tools open: V2 compressed, base64.
pub fn hdr_text(histogram: &Histogram<u64>) -> String {
    use base64::Engine;
    use hdrhistogram::serialization::{Serializer, V2DeflateSerializer};
    let mut bytes = Vec::new();
    V2DeflateSerializer::new().serialize(histogram, &mut bytes).expect("writing to memory cannot fail");
    base64::engine::general_purpose::STANDARD.encode(bytes)
}
