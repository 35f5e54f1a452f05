//! `railproof find`: the records that something is true of.

use super::query::Query;
use super::records::{Anywhere, failed, tell};
use super::{Exit, Failure, history, print, show};
use crate::record::Answers;
use crate::record::export::quoted;
use crate::record::index::Found;
use crate::report;
use clap::{Args, ValueEnum};
use serde_json::{Value, json};

/// What is searched for, and how it is printed.
#[derive(Args)]
pub struct FindArgs {
    #[command(flatten)]
    records: Anywhere,
    #[command(flatten)]
    query: Query,
    /// How the result is printed
    #[arg(long, value_enum, default_value = "text")]
    format: Form,
}

/// How found records are printed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Form {
    /// For people
    Text,
    /// For programs
    Json,
    /// For tables (RFC 4180)
    Csv,
}

/// Finds records. That there are none is an answer and no mistake.
pub fn find(args: &FindArgs) -> Result<Exit, Failure> {
    let mut source = args.records.source()?;
    let found = source.find(&args.query.wanted()).map_err(failed)?;
    if found.is_empty() {
        args.query.tell_unknown(&mut source)?;
    }
    tell(&mut source);
    print(&match args.format {
        Form::Text => report::found(&found, show::terminal_width()),
        Form::Json => format!("{:#}\n", json!({ "found": found.iter().map(as_json).collect::<Vec<_>>() })),
        Form::Csv => csv(&found),
    })?;
    Ok(Exit::Done)
}

fn as_json(found: &Found) -> Value {
    let mut told = history::of_run(&found.run);
    if let Some((name, decision)) = &found.check {
        told["check"] = json!({ "name": name, "decision": decision });
    }
    if let Some(value) = &found.value {
        told["value"] = json!({
            "measurand": value.measurand,
            "reading": value.label,
            "value": value.value,
            "standard_uncertainty": value.standard_uncertainty,
            "unit": value.unit,
            "tolerance": value.tolerance,
            "decision": value.decision,
        });
    }
    told
}

/// The columns are the same whatever was searched for.
fn csv(found: &[Found]) -> String {
    let heads = [
        "started",
        "serial",
        "model",
        "firmware",
        "plan",
        "revision",
        "decision",
        "origin",
        "simulated",
        "jig",
        "bench",
        "operator",
        "run",
        "check",
        "check_decision",
        "measurand",
        "reading",
        "value",
        "standard_uncertainty",
        "unit",
        "tolerance",
        "value_decision",
    ];
    let mut text = heads.join(",") + "\r\n";
    for found in found {
        let told = as_json(found);
        let (check, value) = (&told["check"], &told["value"]);
        let cells = heads[..13].iter().map(|head| &told[*head]).chain([&check["name"], &check["decision"]]).chain(
            ["measurand", "reading", "value", "standard_uncertainty", "unit", "tolerance", "decision"]
                .iter()
                .map(|head| &value[*head]),
        );
        let cells: Vec<String> = cells.map(cell).collect();
        text.push_str(&(cells.join(",") + "\r\n"));
    }
    text
}

/// A value as a cell.
fn cell(value: &Value) -> String {
    match value {
        Value::Null => String::new(),
        Value::String(text) => quoted(text).into_owned(),
        other => other.to_string(),
    }
}
