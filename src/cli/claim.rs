//! `railproof claim`: a returned unit against its as-shipped record.

use super::history::unknown;
use super::records::{Anywhere, history_of, unread};
use super::{Exit, Failure, Format, print, say, show};
use crate::record::events::{Event, What};
use crate::record::history::{Entry, History, Standing};
use crate::record::index::Known;
use crate::record::stored::Verdict;
use crate::record::{self, Record, Source};
use crate::report::ClaimSheet;
use crate::study::claim::{Claim, Compared, Told, Value};
use anyhow::{Context, anyhow};
use clap::Args;
use serde_json::{Value as Json, json};
use std::path::{Path, PathBuf};

const EXAMPLES: &str = "\
Examples:
  railproof claim SM-0001
  railproof claim SM-0001 --pdf claim.pdf --html claim.html

Ends with 0 where nothing changed, 1 where a change is proven, 3 where one may be.";

/// Which unit, and what to make of it.
#[derive(Args)]
#[command(after_help = EXAMPLES)]
pub struct ClaimArgs {
    /// Serial number of the unit
    #[arg(value_name = "SN")]
    serial: String,
    #[command(flatten)]
    records: Anywhere,
    /// The run of the returned unit, instead of the last one since it came back
    #[arg(long, value_name = "ID")]
    run: Option<String>,
    /// The run that it is held against, instead of the as-shipped record
    #[arg(long, value_name = "ID")]
    against: Option<String>,
    /// Write the claim sheet as PDF
    #[arg(long, value_name = "FILE")]
    pdf: Option<PathBuf>,
    /// Write the claim sheet as HTML
    #[arg(long, value_name = "FILE")]
    html: Option<PathBuf>,
    /// List every value, those as shipped as well
    #[arg(long)]
    all: bool,
    /// How the result is printed
    #[arg(long, value_enum, default_value = "text")]
    format: Format,
}

/// Compares a returned unit with its as-shipped record.
pub fn claim(args: &ClaimArgs) -> Result<Exit, Failure> {
    let mut source = args.records.source()?;
    let history = history_of(&mut source, &args.serial)?;
    if history.entries.is_empty() {
        return Err(usage(unknown(&mut source, &args.serial)?));
    }
    let shipped = match &args.against {
        Some(id) => run_of(&history, id)?,
        None => as_shipped(&history)?,
    };
    let now = match &args.run {
        Some(id) => run_of(&history, id)?,
        None => returned(&history, shipped)?,
    };
    if shipped.id == now.id {
        return Err(usage(format!("{} is held against itself; give the run of the returned unit with --run", now.id)));
    }
    if let Some(run) = [shipped, now].into_iter().find(|run| run.decision == Verdict::Invalid) {
        let why = format!("the run {} is invalid and proves nothing; test the unit again", run.id);
        return Err(Failure::new(Exit::Invalid, anyhow!(why)));
    }
    let (shipped, shipped_digest) = read(&mut source, &args.serial, &shipped.id)?;
    let (now, now_digest) = read(&mut source, &args.serial, &now.id)?;
    if shipped.unit.model != now.unit.model {
        say(&format!("railproof: it was a {} when it left and is a {} now", shipped.unit.model, now.unit.model));
    }
    let claim = Claim::of(&shipped, &now);
    let last = |what| events(&history).rfind(|event| event.event == what);
    let (left, came) = (last(What::Dispatched), last(What::Received));
    let sheet = ClaimSheet {
        claim: &claim,
        shipped: &shipped,
        now: &now,
        digests: [&shipped_digest, &now_digest],
        dispatched: left.map(|event| event.at.as_str()),
        returned: came.map(|event| event.at.as_str()),
        complaint: came.and_then(|event| event.complaint.as_deref()),
    };
    if let Some(path) = &args.html {
        write(path, sheet.html().as_bytes())?;
    }
    if let Some(path) = &args.pdf {
        write(path, &sheet.pdf().map_err(|error| Failure::new(Exit::Invalid, error))?)?;
    }
    print(&match args.format {
        Format::Text => text(&sheet, args.all),
        Format::Json => format!("{:#}\n", as_json(&sheet)),
    })?;
    Ok(if !claim.changes().is_empty() {
        Exit::DoesNotConform
    } else if claim.perhaps().next().is_some() || claim.compared.is_empty() {
        Exit::Undecided
    } else {
        Exit::Done
    })
}

fn usage(why: String) -> Failure {
    Failure::new(Exit::Usage, anyhow!(why))
}

fn events(history: &History) -> impl DoubleEndedIterator<Item = &Event> {
    history.entries.iter().filter_map(|entry| if let Entry::Event(event) = entry { Some(event) } else { None })
}

fn run_of<'h>(history: &'h History, id: &str) -> Result<&'h Known, Failure> {
    history.runs().map(|passed| &passed.run).find(|run| run.id == id).ok_or_else(|| {
        usage(format!("{} has no run {id}; `railproof history {}` lists its runs", history.serial, history.serial))
    })
}

fn as_shipped(history: &History) -> Result<&Known, Failure> {
    let serial = &history.serial;
    match &history.as_shipped {
        Some(id) => run_of(history, id),
        None if history.standing == Standing::OnTheShelf => Err(usage(format!(
            "{serial} was never dispatched, so it has no as-shipped record; give the run to hold it against with --against"
        ))),
        None => Err(usage(format!(
            "{serial} was dispatched without a conforming record; give the run to hold it against with --against"
        ))),
    }
}

/// The last run since the unit came back that proves something, as real or simulated as the as-shipped one.
fn returned<'h>(history: &'h History, shipped: &Known) -> Result<&'h Known, Failure> {
    let serial = &history.serial;
    if !matches!(history.standing, Standing::Returned(_)) {
        return Err(usage(format!(
            "{serial} is not noted as returned; note it with `railproof receive {serial}`, or give the run with --run"
        )));
    }
    let came =
        history.entries.iter().rposition(|entry| matches!(entry, Entry::Event(event) if event.event == What::Received));
    let since = history.entries.iter().skip(came.map_or(0, |came| came + 1));
    let mut runs = since.filter_map(|entry| if let Entry::Run(passed) = entry { Some(&passed.run) } else { None });
    let proves = |run: &&Known| run.is_simulated == shipped.is_simulated && run.decision != Verdict::Invalid;
    runs.clone().rfind(proves).ok_or_else(|| {
        let what = if runs.next().is_some() { "no run that proves anything" } else { "no run" };
        usage(format!("{serial} has {what} since it came back; run test-plans/returned.yaml on it"))
    })
}

fn read(source: &mut Source, serial: &str, id: &str) -> Result<(Record, String), Failure> {
    let bytes = source.file(serial, id, "record.json").map_err(unread)?;
    let record = serde_json::from_slice(&bytes).map_err(|error| {
        let says = format!("the record of run {id} cannot be read; `railproof verify` tells what is amiss");
        Failure { exit: Exit::BadInput, error: anyhow::Error::from(error).context(says) }
    })?;
    Ok((record, record::digest(&bytes)))
}

fn write(path: &Path, bytes: &[u8]) -> Result<(), Failure> {
    std::fs::write(path, bytes)
        .with_context(|| {
            format!("{}: the claim sheet cannot be written; look at the path and the disk", path.display())
        })
        .map_err(|error| Failure { exit: Exit::Usage, error })
}

fn text(sheet: &ClaimSheet<'_>, all: bool) -> String {
    let simulated = sheet.shipped.run.is_simulated() || sheet.now.run.is_simulated();
    let mark = if simulated { "SIMULATED: no unit was tested\n" } else { "" };
    let heads = ["value", "as shipped", "now", "change", "E_n", ""];
    let is_shown = |one: &Compared| all || one.wears || !matches!(one.told, Told::AsShipped | Told::NotJudged);
    let both = sheet.claim.compared.iter().zip(sheet.rows());
    let rows: Vec<_> = both.filter(|(one, _)| is_shown(one)).map(|(_, row)| row.to_vec()).collect();
    let left_out = sheet.claim.compared.len() - rows.len();
    let mut text = format!("{mark}{}\n\n{}", sheet.sentence(), show::table(&heads, rows));
    if left_out > 0 {
        text.push_str(&format!(
            "\nnot listed: {left_out} values as shipped, or counts that are not judged; --all lists them"
        ));
    }
    for (name, why) in &sheet.claim.not_compared {
        text.push_str(&format!("\nnot compared: {name}; {why}"));
    }
    let jig = if sheet.claim.same_jig { "one jig, one calibration" } else { "two jigs or calibrations" };
    text.push_str(&format!(
        "\nas shipped: run {}, now: run {}; {jig}; E_n by ISO 13528, proven by Holm's steps at 5 %\n",
        sheet.shipped.run.id, sheet.now.run.id
    ));
    text
}

fn as_json(sheet: &ClaimSheet<'_>) -> Json {
    let value = |value: &Value| {
        json!({ "value": value.value, "expanded_uncertainty": value.expanded_uncertainty, "readings": value.readings,
                "check": value.check, "decision": value.verdict })
    };
    let compared = sheet.claim.compared.iter().map(|one: &Compared| {
        let told = match one.told {
            Told::AsShipped => "as shipped",
            Told::Slightly => "slightly changed",
            Told::Perhaps => "perhaps changed",
            Told::Changed => "changed",
            Told::NotJudged => "not judged",
        };
        json!({ "measurand": one.measurand, "phase": one.phase, "unit": one.unit, "wears": one.wears,
                "as_shipped": value(&one.shipped), "now": value(&one.now), "change": one.change,
                "expanded_uncertainty": one.expanded_uncertainty, "e_n": one.e_n, "probability": one.probability, "told": told })
    });
    let not = sheet.claim.not_compared.iter().map(|(name, why)| json!({ "measurand": name, "why": why }));
    json!({
        "serial": sheet.now.unit.serial, "as_shipped": sheet.shipped.run.id, "now": sheet.now.run.id,
        "simulated": sheet.shipped.run.is_simulated() || sheet.now.run.is_simulated(),
        "complaint": sheet.complaint, "says": sheet.sentence(), "same_jig": sheet.claim.same_jig,
        "compared": compared.collect::<Vec<_>>(), "not_compared": not.collect::<Vec<_>>(),
    })
}
