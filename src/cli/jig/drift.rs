//! `railproof jig drift`: how the values of a jig's checks moved.

use super::logbook::{Which, read};
use crate::care::drift::{Chart, Signal, charts};
use crate::cli::{Exit, Failure, Format, day, print, show};
use crate::jig::JigKind;
use crate::report::{self, Individuals};
use crate::stats::student;
use anyhow::Context;
use clap::Args;
use serde_json::{Value, json};
use std::path::PathBuf;

/// Which jig's values, and how they are shown.
#[derive(Debug, Args)]
pub struct DriftArgs {
    #[command(flatten)]
    which: Which,
    /// Leave out what is older: the day of a repair, for example 2026-11-02
    #[arg(long, value_name = "YYYY-MM-DD", value_parser = day)]
    since: Option<time::Date>,
    /// Draw the charts on a page
    #[arg(long, value_name = "FILE")]
    html: Option<PathBuf>,
    /// How the result is printed
    #[arg(long, value_enum, default_value = "text")]
    format: Format,
}

/// Shows how a jig drifts. Ends with 1 where the last value of a chart is no chance.
pub fn drift(args: &DriftArgs) -> Result<Exit, Failure> {
    let (jig, logbook) = args.which.open()?;
    let simulated = jig.kind == JigKind::Simulated;
    let charts = charts(&read(&logbook)?.lines, simulated, args.since);
    if let Some(path) = &args.html {
        let plots: Vec<Individuals> = charts.iter().map(individuals).collect();
        std::fs::write(path, report::drift_html(&jig.name, simulated, &plots))
            .with_context(|| format!("{}: the charts cannot be written", path.display()))
            .map_err(|error| Failure { exit: Exit::Usage, error })?;
    }
    match args.format {
        Format::Text => print(&text(&jig.name, &charts))?,
        Format::Json => print(&format!(
            "{:#}\n",
            json!({ "jig": jig.name, "charts": charts.iter().map(chart).collect::<Vec<_>>() })
        ))?,
    }
    let drifts = charts.iter().any(|chart| chart.now().next().is_some());
    Ok(if drifts { Exit::DoesNotConform } else { Exit::Done })
}

/// What a chart's last value shows, if that is no chance.
pub fn told(chart: &Chart) -> Option<String> {
    let rules: Vec<&str> = chart.now().map(|rule| rule.words()).collect();
    (!rules.is_empty()).then(|| format!("{}: the last value is {}", titled(chart), rules.join(", and ")))
}

fn titled(chart: &Chart) -> String {
    let on = chart.on.as_ref().map_or_else(String::new, |serial| format!(" of {serial}"));
    format!("{}{on}", chart.name)
}

/// A number with as many places as its doubt has.
fn shown(chart: &Chart, value: f64) -> String {
    let doubt = chart.points.last().map_or(0.0, |point| point.standard_uncertainty);
    report::measured(value, doubt * student::two_sided_quantile(crate::stats::COVERAGE, f64::INFINITY), "")
        .split(" ±")
        .next()
        .unwrap_or_default()
        .to_owned()
}

fn text(jig: &str, charts: &[Chart]) -> String {
    if charts.is_empty() {
        return format!("jig {jig}: no check in its logbook has measured anything yet\n");
    }
    let rows = charts.iter().map(|chart| {
        let last = chart.points.last().map_or(f64::NAN, |point| point.value);
        let (limits, from) = match chart.limits {
            Some(limits) => (
                format!("{} to {}", shown(chart, limits.lower), shown(chart, limits.upper)),
                format!("first {}", limits.learnt_from),
            ),
            None => ("not yet: 8 values and more".to_owned(), String::new()),
        };
        let centre = chart.limits.map_or_else(String::new, |limits| shown(chart, limits.centre));
        vec![
            titled(chart),
            chart.unit.clone(),
            chart.points.len().to_string(),
            shown(chart, last),
            centre,
            limits,
            from,
        ]
    });
    let heads = ["value", "unit", "checks", "last", "centre", "control limits", "learnt from"];
    let mut text = format!("jig {jig}\n\n{}", show::table(&heads, rows));
    for chart in charts {
        for Signal { at, rule } in &chart.signals {
            let time = &chart.points[*at].time;
            let value = shown(chart, chart.points[*at].value);
            text.push_str(&format!("\n{time}  {}, {value} {}: {}", titled(chart), chart.unit, rule.words()));
        }
    }
    if charts.iter().any(|chart| !chart.signals.is_empty()) {
        text.push('\n');
    }
    text
}

fn individuals(chart: &Chart) -> Individuals {
    Individuals {
        name: titled(chart),
        unit: chart.unit.clone(),
        values: chart.points.iter().map(|point| point.value).collect(),
        limits: chart.limits.map(|limits| (limits.lower, limits.centre, limits.upper)),
        flagged: chart.signals.iter().map(|signal| signal.at).collect(),
        says: told(chart).into_iter().collect(),
    }
}

fn chart(chart: &Chart) -> Value {
    let points = chart.points.iter().map(
        |point| json!({ "time": point.time, "value": point.value, "standard_uncertainty": point.standard_uncertainty }),
    );
    let signals = chart.signals.iter().map(|signal| json!({ "at": signal.at, "rule": signal.rule.words() }));
    let limits = chart.limits.map(|limits| {
        let (centre, learnt_from) = (limits.centre, limits.learnt_from);
        json!({ "centre": centre, "lower": limits.lower, "upper": limits.upper, "learnt_from": learnt_from })
    });
    json!({
        "value": chart.name,
        "reference_unit": chart.on,
        "unit": chart.unit,
        "points": points.collect::<Vec<_>>(),
        "limits": limits,
        "signals": signals.collect::<Vec<_>>(),
        "now": chart.now().map(|rule| rule.words()).collect::<Vec<_>>(),
    })
}
