//! `railproof sync` and `railproof fetch`: a bench's records and the store that benches share.

use super::key::{KeyChoice, unnamed};
use super::records::{Records, failed};
use super::store::Way;
use super::verify::trust_of;
use super::{Exit, Failure, Format, print, say};
use crate::record::check_serial;
use crate::record::store::{self, Fetched, Store, Synced, VERSION, Wish};
use anyhow::anyhow;
use clap::Args;
use serde_json::{Value, json};
use std::fmt::Write;
use std::path::{Path, PathBuf};

const SYNC_EXAMPLES: &str = "\
Examples:
  railproof sync --to postgres://bench-3@localhost/railproof
  railproof sync --to postgres://owner@localhost/railproof --prepare    # once, and after an update, as the database's owner

The password comes from PGPASSWORD, from ~/.pgpass, or with the address in RAILPROOF_STORE; never from the command line.
What is not brought today is brought the next time; nothing is brought twice.";

const FETCH_EXAMPLES: &str = "\
Examples:
  railproof fetch SM-0001 --from postgres://bench-3@localhost/railproof
  RAILPROOF_STORE=postgres://bench-3@localhost/railproof railproof fetch SM-0001";

/// What goes where.
#[derive(Args)]
#[command(after_long_help = SYNC_EXAMPLES)]
pub struct SyncArgs {
    /// The store, such as postgres://bench-3@localhost/railproof; without it the variable RAILPROOF_STORE names it
    #[arg(long, value_name = "URL")]
    to: Option<String>,
    /// Make the tables of the store or bring them up to this version, and the role railproof_bench that may add and read; for who
    /// owns the database. Nothing else is done
    #[arg(long)]
    prepare: bool,
    /// Captures go along; without this they stay here
    #[arg(long)]
    captures: bool,
    #[command(flatten)]
    with: With,
}

/// What comes from where.
#[derive(Args)]
#[command(after_long_help = FETCH_EXAMPLES)]
pub struct FetchArgs {
    /// Serial numbers of the units
    #[arg(value_name = "SN", required = true)]
    serials: Vec<String>,
    /// The store, such as postgres://bench-3@localhost/railproof; without it the variable RAILPROOF_STORE names it
    #[arg(long, value_name = "URL")]
    from: Option<String>,
    #[command(flatten)]
    with: With,
}

/// What both have.
#[derive(Args)]
struct With {
    #[command(flatten)]
    records: Records,
    #[command(flatten)]
    way: Way,
    #[command(flatten)]
    key: KeyChoice,
    /// Trust file: which keys sign for which benches; without it `trusted-benches` in the results folder, where there is one
    #[arg(long, value_name = "FILE")]
    trust: Option<PathBuf>,
    /// How the result is printed
    #[arg(long, value_enum, default_value = "text")]
    format: Format,
}

/// Brings what is new to the store, and takes what was noted elsewhere.
pub fn sync(args: &SyncArgs) -> Result<Exit, Failure> {
    let With { records, way, key, trust, format } = &args.with;
    let address = way.to(args.to.as_deref())?;
    if args.prepare {
        let before = Store::prepare(&address).map_err(failed)?;
        let says = match before {
            Some(VERSION) => format!("the store at {address} has tables of version {VERSION}"),
            Some(before) => format!("the store at {address} had tables of version {before}, and now of {VERSION}"),
            None => format!("the store at {address} now has tables of version {VERSION}"),
        };
        let rights = "give each bench's login the rights: GRANT railproof_bench TO …";
        print(&match format {
            Format::Text => format!("{says}\n{rights}\n"),
            Format::Json => format!("{:#}\n", json!({ "version": VERSION, "before": before })),
        })?;
        return Ok(Exit::Done);
    }
    let results = folder(records)?;
    let trust = trust_of(trust.as_deref(), &[results.to_owned()])?;
    let bench = key.load()?.map_or_else(unnamed, |key| key.bench().to_owned());
    let wish = Wish { bench: &bench, captures: args.captures, trust: trust.as_ref() };
    let mut store = Store::open(&address).map_err(failed)?;
    let done = store::sync(&mut store, results, &wish, &mut |told| say(&format!("railproof: {told}")));
    let synced = done.map_err(failed)?;
    let paths = |list: &[(PathBuf, String)]| -> Vec<Value> {
        list.iter().map(|(path, why)| json!({ "run": path.display().to_string(), "why": why })).collect()
    };
    print(&match format {
        Format::Text => text(&synced, &address.to_string()),
        Format::Json => {
            let answer = json!({
                "brought": synced.runs, "there_already": synced.known, "captures_brought": synced.captures,
                "events_brought": synced.events_sent, "events_taken": synced.events_taken,
                "refused": paths(&synced.refused), "not_believed": paths(&synced.objections),
            });
            format!("{answer:#}\n")
        }
    })?;
    Ok(ending(!synced.refused.is_empty(), !synced.objections.is_empty()))
}

/// Takes the records of units that were tested elsewhere.
pub fn fetch(args: &FetchArgs) -> Result<Exit, Failure> {
    let With { records, way, trust, format, .. } = &args.with;
    for serial in &args.serials {
        check_serial(serial).map_err(|error| Failure::new(Exit::Usage, error))?;
    }
    let address = way.to(args.from.as_deref())?;
    let results = &records.results;
    std::fs::create_dir_all(results).map_err(|error| {
        Failure::new(Exit::BadInput, anyhow!("{}: {error}; name another folder with --results", results.display()))
    })?;
    let trust = trust_of(trust.as_deref(), &[results.to_owned()])?;
    let mut store = Store::open(&address).map_err(failed)?;
    let (mut refused, mut doubted, mut told) = (false, false, Vec::new());
    for serial in &args.serials {
        let fetched = store::fetch(&mut store, results, serial, trust.as_ref()).map_err(failed)?;
        (refused, doubted) = (refused || !fetched.refused.is_empty(), doubted || !fetched.objections.is_empty());
        match format {
            Format::Text => print(&fetched_text(serial, &fetched))?,
            Format::Json => told.push(fetched_json(serial, &fetched)),
        }
    }
    if *format == Format::Json {
        print(&format!("{:#}\n", json!({ "units": told })))?;
    }
    Ok(ending(refused, doubted))
}

/// The results folder, which has to be there.
fn folder(records: &Records) -> Result<&Path, Failure> {
    let results = records.results.as_path();
    if results.is_dir() {
        return Ok(results);
    }
    let why = anyhow!("there is no folder {}; name the folder of the records with --results", results.display());
    Err(Failure::new(Exit::BadInput, why))
}

fn ending(is_refused: bool, is_doubted: bool) -> Exit {
    match (is_refused, is_doubted) {
        (true, _) => Exit::DoesNotConform,
        (false, true) => Exit::Undecided,
        (false, false) => Exit::Done,
    }
}

fn text(synced: &Synced, place: &str) -> String {
    let mut text = String::new();
    let mut line = |written: std::fmt::Arguments<'_>| writeln!(text, "{written}").expect("into memory");
    for (path, why) in &synced.refused {
        line(format_args!("refused      {}: {why}", path.display()));
    }
    for (path, why) in &synced.objections {
        line(format_args!("not believed {}: {why}", path.display()));
    }
    let captures = match synced.captures {
        0 => String::new(),
        captures => format!(", and {} of earlier ones", counted(captures, "capture")),
    };
    line(format_args!("{} brought to {place}, {} there already{captures}", counted(synced.runs, "run"), synced.known));
    if synced.events_sent + synced.events_taken > 0 {
        line(format_args!(
            "dispatches and returns: {} brought, {} taken from other benches",
            synced.events_sent, synced.events_taken
        ));
    }
    if !synced.refused.is_empty() {
        line(format_args!("{} refused; `railproof verify` tells more", counted(synced.refused.len(), "run")));
    }
    text
}

fn fetched_text(serial: &str, fetched: &Fetched) -> String {
    let mut text = String::new();
    let mut line = |written: std::fmt::Arguments<'_>| writeln!(text, "{written}").expect("into memory");
    for (run, why) in &fetched.refused {
        line(format_args!("refused      {run}: {why}; it is not kept"));
    }
    for (path, why) in &fetched.objections {
        line(format_args!("not believed {}: {why}", path.display()));
    }
    fetched.runs.iter().for_each(|path| line(format_args!("{}", path.display())));
    if fetched.runs.is_empty() && fetched.known == 0 && fetched.refused.is_empty() {
        line(format_args!("{serial}: the store has no run of it"));
        return text;
    }
    let stayed = match fetched.captures_elsewhere {
        0 => String::new(),
        captures => format!("; {} stayed at the bench", counted(captures, "capture")),
    };
    let (runs, known, events) = (counted(fetched.runs.len(), "run"), fetched.known, fetched.events);
    line(format_args!(
        "{serial}: {runs} fetched and verified{stayed}, {known} here already; {} of dispatches and returns",
        counted(events, "note")
    ));
    text
}

fn fetched_json(serial: &str, fetched: &Fetched) -> Value {
    let refused = fetched.refused.iter().map(|(run, why)| json!({ "run": run, "why": why }));
    let doubted = fetched.objections.iter();
    let doubted = doubted.map(|(path, why)| json!({ "run": path.display().to_string(), "why": why }));
    json!({
        "serial": serial,
        "fetched": fetched.runs.iter().map(|path| path.display().to_string()).collect::<Vec<_>>(),
        "here_already": fetched.known,
        "refused": refused.collect::<Vec<_>>(),
        "not_believed": doubted.collect::<Vec<_>>(),
        "captures_elsewhere": fetched.captures_elsewhere,
        "events_taken": fetched.events,
    })
}

fn counted(number: usize, what: &str) -> String {
    if number == 1 { format!("1 {what}") } else { format!("{number} {what}s") }
}
