//! The step-clock report for people and for programs.

use super::shown::{line, told};
use crate::measure::{AllanPoint, LongestGap, MaximumError, MoveClock, PhaseClock};
use crate::record::hdr_text;
use crate::report;
use crate::stats::{COVERAGE, Estimate};
use serde_json::{Map, Value, json};

/// Quantiles of the interval that are printed.
const QUANTILES: [(&str, f64); 5] = [("least", 0.0), ("p50", 0.5), ("p99", 0.99), ("p99.9", 0.999), ("most", 1.0)];

/// Adds a motion as a table.
pub fn text(text: &mut String, motion: &MoveClock) {
    let MoveClock { label, steps, doubled, .. } = motion;
    line(text, format_args!("\nstep clock: {label}; {steps} steps, {doubled} of them doubled"));
    if let Some(why) = &motion.withheld {
        line(text, format_args!("  none: {why}"));
    }
    for phase in &motion.phases {
        let (kind, steps) = (phase.kind.name(), phase.steps);
        line(text, format_args!("  {kind}, {:.4} s to {:.4} s, {steps} steps", phase.began_s, phase.ended_s));
        phase_text(text, phase);
    }
}

fn phase_text(text: &mut String, phase: &PhaseClock) {
    let mut row = |name: &str, value: String| line(text, format_args!("    {name:<42} {value}"));
    for value in &phase.values {
        row(value.name, legible(&value.estimate, value.unit));
    }
    for (periods, estimate) in &phase.n_period {
        row(&format!("jitter over {periods} periods"), legible(estimate, "s"));
    }
    // Four digits tell which octave it is; the whole number stands in JSON.
    let tau = |tau: f64| legible(&Estimate::exact(format!("{tau:.3e}").parse().unwrap_or(tau)), "s");
    for point in &phase.allan {
        row(&format!("Allan deviation over {}", tau(point.tau_s)), legible(&point.estimate, "1"));
    }
    for point in &phase.maximum_errors {
        row(&format!("maximum time interval error over {}", tau(point.tau_s)), legible(&point.estimate, "s"));
    }
    if let Some(intervals) = phase.intervals.as_ref().filter(|intervals| !intervals.is_empty()) {
        let at = |quantile: f64| report::measured(intervals.value_at_quantile(quantile) as f64 / 1000.0, 0.0, "");
        let shown = QUANTILES.map(|(name, quantile)| format!("{name} {}", at(quantile)));
        row("interval in µs, to three digits", shown.join(", "));
    }
    if let Some(gap) = &phase.longest {
        let (at, into) = (gap.began_s, gap.into_phase_s);
        let when = format!("{}, at {at:.4} s, {into:.4} s into the {}", legible(&gap.length, "s"), phase.kind.name());
        row("longest gap", when);
    }
}

/// In the unit in which the number has digits before its point.
fn legible(estimate: &Estimate, unit: &str) -> String {
    let size = estimate.value.abs().max(estimate.standard_uncertainty());
    let (scale, symbol) = match unit {
        "s" if size >= 1.0 => (1.0, "s"),
        "s" if size >= 1e-3 => (1e3, "ms"),
        "s" if size >= 1e-6 => (1e6, "µs"),
        "s" => (1e9, "ns"),
        "1" if estimate.budget.is_empty() => (1.0, ""),
        "1" => (1e6, "ppm"),
        "m/s²" => (1e3, "mm/s²"),
        other => (1.0, other),
    };
    report::measured(scale * estimate.value, scale * estimate.expanded_uncertainty(COVERAGE), symbol)
}

/// A motion with every budget; all values in SI.
pub fn json(motion: &MoveClock) -> Value {
    let direction = motion.rightward.map(|right| if right { "right" } else { "left" });
    json!({
        "label": motion.label,
        "direction": direction,
        "steps": motion.steps,
        "doubled_steps": motion.doubled,
        "began_s": motion.began_s,
        "ended_s": motion.ended_s,
        "withheld": motion.withheld,
        "phases": motion.phases.iter().map(phase).collect::<Vec<_>>(),
    })
}

fn phase(phase: &PhaseClock) -> Value {
    let values = phase
        .values
        .iter()
        .map(|value| with(si(&value.estimate), &[("name", json!(value.name)), ("unit", json!(value.unit))]));
    let n_period = phase
        .n_period
        .iter()
        .map(|(periods, jitter)| with(si(jitter), &[("periods", json!(periods)), ("unit", json!("s"))]));
    let intervals = phase
        .intervals
        .as_ref()
        .map(|intervals| json!({ "unit": "ns", "count": intervals.len(), "hdr": hdr_text(intervals) }));
    json!({
        "phase": phase.kind.name(),
        "began_s": phase.began_s,
        "ended_s": phase.ended_s,
        "steps": phase.steps,
        "values": values.collect::<Vec<_>>(),
        "n_period_jitter": n_period.collect::<Vec<_>>(),
        "allan_deviation": phase.allan.iter().map(allan).collect::<Vec<_>>(),
        "maximum_time_interval_error": phase.maximum_errors.iter().map(maximum).collect::<Vec<_>>(),
        "intervals": intervals,
        "longest_gap": phase.longest.as_ref().map(longest),
    })
}

fn allan(point: &AllanPoint) -> Value {
    let more = [
        ("periods", json!(point.periods)),
        ("tau_s", json!(point.tau_s)),
        ("differences", json!(point.differences)),
        ("unit", json!("1")),
    ];
    with(si(&point.estimate), &more)
}

fn maximum(point: &MaximumError) -> Value {
    let more = [("periods", json!(point.periods)), ("tau_s", json!(point.tau_s)), ("unit", json!("s"))];
    with(si(&point.estimate), &more)
}

fn longest(gap: &LongestGap) -> Value {
    let more = [("began_s", json!(gap.began_s)), ("into_phase_s", json!(gap.into_phase_s)), ("unit", json!("s"))];
    with(si(&gap.length), &more)
}

fn si(estimate: &Estimate) -> Map<String, Value> {
    told(estimate, |si| si, |si| si)
}

fn with(mut told: Map<String, Value>, more: &[(&str, Value)]) -> Value {
    told.extend(more.iter().map(|(name, value)| ((*name).to_owned(), value.clone())));
    Value::Object(told)
}
