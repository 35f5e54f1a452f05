//! What the periods at several speeds say of the timer behind the steps, for people and for programs.

use super::shown::{line, told};
use crate::measure::{TimerFinding, TimerFit};
use crate::report;
use crate::stats::COVERAGE;
use serde_json::{Value, json};

/// The section of text; nothing where the check does not tell.
pub fn text(text: &mut String, timer: Option<&TimerFit>) {
    let Some(fit) = timer else { return };
    let TimerFit { tick_s, fastest_hz, speeds, .. } = fit;
    line(
        text,
        format_args!("\nstep timer: ticks of {} µs, {speeds} speeds up to {fastest_hz:.0} steps/s", 1e6 * tick_s),
    );
    line(text, format_args!("  {}", meaning(fit)));
    let ppm = 1e6 * fit.clock_error.value;
    let doubt = 1e6 * fit.clock_error.expanded_uncertainty(COVERAGE);
    line(text, format_args!("  clock error {}", report::measured(ppm, doubt, "ppm")));
}

fn meaning(fit: &TimerFit) -> String {
    let cost = format!("{:+.0} ppm of the rate at {:.0} steps/s", 1e6 * fit.cost_at_fastest(), fit.fastest_hz);
    match fit.finding() {
        TimerFinding::AsCommanded => "periods are the nearest to those commanded that it can make".into(),
        TimerFinding::CompareOff { ticks } => {
            let (size, longer, high) = match ticks {
                1.. => (ticks, "longer", "high"),
                _ => (-ticks, "shorter", "low"),
            };
            let ticks = if size == 1 { "tick" } else { "ticks" };
            format!(
                "every period is {size} {ticks} {longer} than commanded: its compare register is {size} too {high}; {cost}"
            )
        }
        TimerFinding::Offset => {
            let offset = fit.offset.value / fit.tick_s;
            format!("every period is {offset:+.2} ticks off, no whole number: time that each step costs; {cost}")
        }
        TimerFinding::InDoubt => {
            let doubt = fit.offset.expanded_uncertainty(COVERAGE) / fit.tick_s;
            format!(
                "whether every period is some ticks off is in doubt by {doubt:.1} ticks: it takes speeds farther apart"
            )
        }
        TimerFinding::RoundedOtherwise => {
            let farthest = fit.farthest_s / fit.tick_s;
            format!(
                "a period is {farthest:.1} ticks from the line through all: they are not the nearest ones, or the timer \
                 does not count as the unit file says"
            )
        }
    }
}

/// The same for programs; values in SI.
pub fn json(timer: Option<&TimerFit>) -> Value {
    let Some(fit) = timer else { return Value::Null };
    let (finding, ticks) = match fit.finding() {
        TimerFinding::AsCommanded => ("as commanded", json!(0)),
        TimerFinding::CompareOff { ticks } => ("compare register off", json!(ticks)),
        TimerFinding::Offset => ("offset", json!(fit.offset.value / fit.tick_s)),
        TimerFinding::RoundedOtherwise => ("rounded otherwise", Value::Null),
        TimerFinding::InDoubt => ("in doubt", Value::Null),
    };
    json!({
        "tick_s": fit.tick_s,
        "speeds": fit.speeds,
        "finding": finding,
        "ticks": ticks,
        "cost_at_fastest": fit.cost_at_fastest(),
        "fastest_hz": fit.fastest_hz,
        "farthest_s": fit.farthest_s,
        "offset_s": told(&fit.offset, |si| si, |si| si),
        "clock_error": told(&fit.clock_error, |si| si, |si| si),
    })
}
