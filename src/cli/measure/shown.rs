//! Measured values for people and for programs.

use super::{Measured, MeasuredCheck, Told, clock, timer};
use crate::cli::show;
use crate::measure::{Blame, Measurand, Reading};
use crate::quantity::{Dimension, Unit};
use crate::record;
use crate::report;
use crate::stats::{COVERAGE, Component, Estimate, Evaluation};
use serde_json::{Map, Value, json};
use std::fmt::Write;

/// A capture's values as lines of text.
pub fn text(measured: &Measured) -> String {
    let mut text = format!("{}: {}\n", measured.capture, measured.unit);
    for assumed in &measured.assumed {
        line(&mut text, format_args!("note: {assumed}"));
    }
    for loss in &measured.losses {
        let at = loss.at as f64 / measured.ticks_per_second;
        line(&mut text, format_args!("lost, at about {at:.3} s: {}", loss.what));
    }
    for (number, check) in measured.checks.iter().enumerate() {
        if let Told::Text { began_s, ended_s, text: told } = check {
            if measured.checks.len() > 1 {
                line(&mut text, format_args!("\ncheck {}, {began_s:.1} s to {ended_s:.1} s", number + 1));
            }
            text.push_str(told);
        }
    }
    text.push('\n');
    text
}

/// A check's values as lines of text.
pub fn check_text(check: &MeasuredCheck, with_budgets: bool) -> String {
    let mut text = String::new();
    for (measurand, readings) in &check.values {
        line(&mut text, format_args!("\n{}", measurand.name));
        for reading in readings {
            line(&mut text, format_args!("  {:<44} {}", reading.label, value(measurand, reading)));
            if with_budgets {
                text.push_str(&budget(measurand, reading));
            }
        }
    }
    text.push_str(&super::closer::text(&check.closer));
    timer::text(&mut text, check.timer.as_ref());
    check.step_clock.iter().for_each(|motion| clock::text(&mut text, motion));
    text
}

pub(super) fn line(text: &mut String, line: std::fmt::Arguments<'_>) {
    writeln!(text, "{line}").expect("writing to memory cannot fail");
}

fn value(measurand: &Measurand, reading: &Reading) -> String {
    match &reading.result {
        Ok(estimate) => {
            let unit = legible(measurand.dimension, estimate);
            let doubt = unit.of_differences().from_si(estimate.expanded_uncertainty(COVERAGE));
            report::measured(unit.from_si(estimate.value), doubt, unit.symbol())
        }
        Err(withheld) => format!("none: {}", withheld.why),
    }
}

/// The table of a value's budget; nothing of a count, or where there is no value.
fn budget(measurand: &Measurand, reading: &Reading) -> String {
    let Some(estimate) = reading.result.as_ref().ok().filter(|estimate| !estimate.budget.is_empty()) else {
        return String::new();
    };
    let unit = legible(measurand.dimension, estimate);
    let title = format!("{}, {}", measurand.name, reading.label);
    let table = report::budget(&title, &record::measured(unit, estimate), unit.symbol(), "", show::terminal_width());
    format!("\n{table}\n")
}

/// The dimension's usual unit; of times, the one in which the number has digits before its point; of small ratios, ppm.
fn legible(dimension: Dimension, estimate: &Estimate) -> Unit {
    let size = estimate.value.abs().max(estimate.standard_uncertainty());
    let short = match size {
        ..0.005 if dimension == Dimension::Ratio => Unit::named("ppm"),
        _ if dimension != Dimension::Time || size >= 1.0 => None,
        0.001.. => Unit::named("ms"),
        _ => Unit::named("µs"),
    };
    short.unwrap_or_else(|| dimension.usual_unit())
}

/// All captures as JSON, values in the usual unit of their dimension.
pub fn json(captures: Vec<Value>) -> String {
    format!("{:#}\n", json!({ "captures": captures }))
}

/// A capture as JSON.
pub fn capture(measured: Measured) -> Value {
    let losses = measured
        .losses
        .iter()
        .map(|loss| json!({ "at_s": loss.at as f64 / measured.ticks_per_second, "what": loss.what }));
    let losses: Vec<Value> = losses.collect();
    let checks = measured.checks.into_iter().filter_map(|check| match check {
        Told::Json(told) => Some(told),
        Told::Text { .. } => None,
    });
    json!({
        "capture": measured.capture,
        "unit": measured.unit,
        "notes": measured.assumed,
        "losses": losses,
        "checks": checks.collect::<Vec<_>>(),
    })
}

/// A check's values as JSON.
pub fn check_json(check: &MeasuredCheck) -> Value {
    let values = check.values.iter().map(|(measurand, readings)| {
        let unit = measurand.dimension.usual_unit();
        json!({
            "measurand": measurand.name,
            "about": measurand.about,
            "source": measurand.source,
            "unit": unit.symbol(),
            "readings": readings.iter().map(|one| reading(unit, one)).collect::<Vec<_>>(),
        })
    });
    json!({
        "began_s": check.began_s,
        "ended_s": check.ended_s,
        "values": values.collect::<Vec<_>>(),
        "closer_look": super::closer::json(&check.closer),
        "step_timer": timer::json(check.timer.as_ref()),
        "step_clock": check.step_clock.iter().map(clock::json).collect::<Vec<_>>(),
    })
}

fn reading(unit: Unit, reading: &Reading) -> Value {
    let estimate = match &reading.result {
        Ok(estimate) => estimate,
        Err(withheld) => {
            let blame = match withheld.blame {
                Blame::Unit => "unit",
                Blame::Bench => "bench",
                Blame::Nobody => "nobody",
            };
            return json!({ "label": reading.label, "withheld": withheld.why, "blame": blame });
        }
    };
    let mut told = told(estimate, |si| unit.from_si(si), |si| unit.of_differences().from_si(si));
    told.insert("label".into(), json!(reading.label));
    Value::Object(told)
}

/// An estimate with its budget; `value` and `difference` turn SI into the unit that it is told in.
pub(super) fn told(
    estimate: &Estimate,
    value: impl Fn(f64) -> f64,
    difference: impl Fn(f64) -> f64,
) -> Map<String, Value> {
    let finite = |freedom: f64| freedom.is_finite().then_some(freedom);
    // An input in a unit of its own keeps it, and its sensitivity turns into the unit of the value.
    let own = |line: &Component| line.input_unit.is_some();
    let budget = estimate.budget.iter().map(|line| {
        json!({
            "from": line.from,
            "evaluation": if line.evaluation == Evaluation::A { "A" } else { "B" },
            "distribution": line.distribution.name(),
            "standard_uncertainty": difference(line.standard_uncertainty()),
            "degrees_of_freedom": finite(line.degrees_of_freedom),
            "input_uncertainty": if own(line) { line.input_uncertainty } else { difference(line.input_uncertainty) },
            "input_unit": line.input_unit,
            "sensitivity": if own(line) { difference(line.sensitivity) } else { line.sensitivity },
            "shared": line.cause,
        })
    });
    let interval = estimate
        .spread()
        .lopsided_interval(COVERAGE)
        .map(|(lower, upper)| [value(estimate.value + lower), value(estimate.value + upper)]);
    let told = [
        ("value", json!(value(estimate.value))),
        ("standard_uncertainty", json!(difference(estimate.standard_uncertainty()))),
        ("expanded_uncertainty", json!(difference(estimate.expanded_uncertainty(COVERAGE)))),
        ("coverage_factor", json!(estimate.coverage_factor(COVERAGE))),
        ("degrees_of_freedom", json!(finite(estimate.degrees_of_freedom()))),
        ("propagated_interval", json!(interval)),
        ("budget", json!(budget.collect::<Vec<_>>())),
    ];
    told.into_iter().map(|(name, value)| (name.to_owned(), value)).collect()
}
