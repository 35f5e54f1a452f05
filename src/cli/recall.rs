//! `railproof recall`: where the units are that carry a part lot.

use super::records::{Anywhere, events_of, failed, tell};
use super::{Exit, Failure, Format, history, parts, print, say, show};
use crate::record::Answers;
use crate::record::history::{History, Standing};
use crate::record::recall::{Carries, Recalled};
use crate::record::stored::Part;
use crate::report;
use crate::written::nearest;
use clap::Args;
use serde_json::{Value, json};

/// Of which lot.
#[derive(Args)]
pub struct RecallArgs {
    /// The part and its lot, such as belt=L2207
    #[arg(long, value_name = "NAME=LOT", value_parser = parts::part)]
    part: Part,
    #[command(flatten)]
    records: Anywhere,
    /// How the result is printed
    #[arg(long, value_enum, default_value = "text")]
    format: Format,
}

/// Every unit that has the lot now or had it before a rework. That there is none is an answer and no mistake.
pub fn recall(args: &RecallArgs) -> Result<Exit, Failure> {
    let (part, mut source) = (&args.part, args.records.source()?);
    let mut recalled = Vec::new();
    for serial in source.carriers(part).map_err(failed)? {
        let runs = source.runs_of(&serial).map_err(failed)?;
        let mut unit = Recalled::of(&History::of(&serial, runs, events_of(&mut source, &serial)?), part);
        if let Some(last) = &unit.last {
            unit.said = source.said_of(&serial, &last.id, &part.name).map_err(failed)?;
        }
        recalled.push(unit);
    }
    if recalled.is_empty() {
        let lots = source.lots(&part.name).map_err(failed)?;
        let near = nearest(&part.lot, lots.iter().map(String::as_str));
        let near = near.map(|near| format!("; did you mean {}={near}?", part.name)).unwrap_or_default();
        say(&format!("railproof: no record names {}={}{near}", part.name, part.lot));
    }
    tell(&mut source);
    print(&match args.format {
        Format::Text => report::recalled(part, &recalled, show::terminal_width()),
        Format::Json => {
            let units: Vec<Value> = recalled.iter().map(as_json).collect();
            format!("{:#}\n", json!({ "part": part.name, "lot": part.lot, "units": units }))
        }
    })?;
    Ok(Exit::Done)
}

fn as_json(unit: &Recalled) -> Value {
    let (carries, replaced_by) = match &unit.carries {
        Carries::Now(_) => (true, None),
        Carries::Before { replaced_by, .. } => (false, Some(replaced_by)),
    };
    let since = match &unit.standing {
        Standing::OnTheShelf => None,
        Standing::Shipped(at) | Standing::Returned(at) => Some(at),
    };
    let shortfalls = unit.said.shortfalls.iter().map(|shortfall| {
        json!({
            "check": shortfall.check,
            "measurand": shortfall.measurand,
            "decision": shortfall.decision,
            "of_the_part": shortfall.is_of_part,
        })
    });
    json!({
        "serial": unit.serial,
        "model": unit.model,
        "carries_it": carries,
        "replaced_by": replaced_by,
        "stands": history::standing(&unit.standing),
        "since": since,
        "last_record": unit.last.as_ref().map(|last| history::of_run(last)),
        "checks_of_the_part": unit.said.of_part,
        "not_conforming": shortfalls.collect::<Vec<_>>(),
    })
}
