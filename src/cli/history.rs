//! `railproof history`: what became of a unit.

use super::records::{Anywhere, failed, history_of, tell};
use super::{Exit, Failure, Format, print, say, show};
use crate::record::events::Event;
use crate::record::history::{Entry, History, Passed, Standing};
use crate::record::index::Known;
use crate::record::{Answers, Source};
use crate::report;
use crate::written::nearest;
use clap::Args;
use serde_json::{Value, json};

/// Of which unit.
#[derive(Args)]
pub struct HistoryArgs {
    /// Serial number of the unit
    #[arg(value_name = "SN")]
    serial: String,
    #[command(flatten)]
    records: Anywhere,
    /// How the result is printed
    #[arg(long, value_enum, default_value = "text")]
    format: Format,
}

/// Every run of a serial number in order. One that never ran is an empty history and no mistake.
pub fn history(args: &HistoryArgs) -> Result<Exit, Failure> {
    let mut source = args.records.source()?;
    let history = history_of(&mut source, &args.serial)?;
    if history.entries.is_empty() {
        say(&format!("railproof: {}", unknown(&mut source, &args.serial)?));
    }
    print(&match args.format {
        Format::Text if history.entries.is_empty() => format!("no runs of {}\n", args.serial),
        Format::Text => report::history(&history, show::terminal_width()),
        Format::Json => format!("{:#}\n", as_json(&history)),
    })?;
    Ok(Exit::Done)
}

/// That there are no runs of a serial number, with the one that may have been meant.
pub fn unknown(source: &mut Source, serial: &str) -> Result<String, Failure> {
    let serials = source.serials().map_err(failed)?;
    tell(source);
    let place = source.place();
    Ok(match nearest(serial, serials.iter().map(String::as_str)) {
        Some(near) => format!("there are no runs of {serial} {place}; did you mean {near}?"),
        None => format!("there are no runs of {serial} {place}; look at the serial number and at {}", source.option()),
    })
}

fn as_json(history: &History) -> Value {
    let entries = history.entries.iter().map(|entry| match entry {
        Entry::Run(passed) => of_passed(passed),
        Entry::Event(event) => of_event(event),
    });
    let built = history.as_built.iter();
    let built = built.map(|built| json!({ "part": built.part.name, "lot": built.part.lot, "since": built.since }));
    json!({
        "serial": history.serial,
        "stands": standing(&history.standing),
        "as_shipped": history.as_shipped,
        "as_built": built.collect::<Vec<_>>(),
        "entries": entries.collect::<Vec<_>>(),
    })
}

/// Where a unit stands, as a word.
pub fn standing(standing: &Standing) -> &'static str {
    match standing {
        Standing::OnTheShelf => "on the shelf",
        Standing::Shipped(_) => "shipped",
        Standing::Returned(_) => "returned",
    }
}

fn of_passed(passed: &Passed) -> Value {
    let changes = passed.changes.iter();
    let changes = changes.map(|change| json!({ "part": change.name, "from": change.from, "to": change.to }));
    let mut told = of_run(&passed.run);
    told["kind"] = json!(passed.kind.word());
    told["changes"] = changes.collect();
    told["clock_was_set_back"] = json!(passed.clock_was_set_back);
    told
}

/// A run as programs get it.
pub fn of_run(run: &Known) -> Value {
    json!({
        "run": run.id,
        "serial": run.serial,
        "started": show::rfc3339(run.started),
        "decision": run.decision,
        "origin": run.origin,
        "simulated": run.is_simulated,
        "interrupted": run.is_interrupted,
        "model": run.model,
        "firmware": run.firmware,
        "plan": run.plan,
        "revision": run.revision,
        "jig": run.jig,
        "bench": run.bench,
        "operator": run.operator,
        "parts": run.parts.iter().map(|part| json!({ "part": part.name, "lot": part.lot })).collect::<Vec<_>>(),
    })
}

fn of_event(event: &Event) -> Value {
    serde_json::to_value(event).unwrap_or_default()
}
