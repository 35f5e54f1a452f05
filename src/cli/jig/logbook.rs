//! The jig's logbook on the command line: what a run adds to it, `railproof jig note`, `railproof jig logbook`.

use crate::care::logbook::stored::{Entry, Line, Note, VERSION};
use crate::care::logbook::{Logbook, LogbookError};
use crate::care::{Usage, wear, wear::Worn};
use crate::cli::inputs::{InputFile, refuse};
use crate::cli::{Exit, Failure, Format, print, say, show};
use crate::clock::{Clock, ComputerClock};
use crate::jig::{JigFile, JigKind, WearPart};
use crate::record::lines::Lines;
use anyhow::anyhow;
use clap::Args;
use serde::Serialize;
use std::path::{Path, PathBuf};

/// Which logbook.
#[derive(Debug, Args)]
pub struct Which {
    /// The jig file
    #[arg(long, value_name = "FILE")]
    jig: PathBuf,
    /// Folder that records go to, and logbooks with them
    #[arg(long, value_name = "DIR", default_value = "results", env = "RAILPROOF_RESULTS")]
    results: PathBuf,
}

/// What was done, to which jig.
#[derive(Debug, Args)]
pub struct NoteArgs {
    /// What was done
    text: String,
    #[command(flatten)]
    which: Which,
    /// A part that was renewed, by its name under `wear` in the jig file: its count begins anew; may be repeated
    #[arg(long = "renewed", value_name = "PART")]
    renewed: Vec<String>,
    /// Who did it
    #[arg(long, value_name = "NAME", env = "RAILPROOF_OPERATOR")]
    operator: Option<String>,
}

/// Which logbook to print, and how.
#[derive(Debug, Args)]
pub struct LogbookArgs {
    #[command(flatten)]
    which: Which,
    /// How it is printed
    #[arg(long, value_enum, default_value = "text")]
    format: Format,
}

impl Which {
    pub fn open(&self) -> Result<(JigFile, Logbook), Failure> {
        let input = InputFile::read(&self.jig)?;
        let jig = JigFile::read(&input.source).map_err(|problems| refuse(&problems))?;
        let logbook = Logbook::of(&self.results, &jig.name).map_err(unkept)?;
        Ok((jig, logbook))
    }
}

/// Notes what was done to a jig.
pub fn note(args: &NoteArgs) -> Result<Exit, Failure> {
    let (jig, logbook) = args.which.open()?;
    let usage = |why: String| Failure::new(Exit::Usage, anyhow!(why));
    if args.text.trim().is_empty() {
        return Err(usage("a note without a word helps nobody; say what was done".into()));
    }
    let parts = parts(&jig);
    for part in &args.renewed {
        if !parts.iter().any(|known| known.name() == *part) {
            let names: Vec<String> = parts.iter().map(|part| part.name()).collect();
            return Err(usage(format!("this jig has no part `{part}` that wears; its parts are {}", names.join(", "))));
        }
    }
    let note = Note { text: args.text.trim().to_owned(), by: args.operator.clone(), renewed: args.renewed.clone() };
    logbook.add(&line(jig.kind == JigKind::Simulated, Entry::Note(note))).map_err(unkept)?;
    print(&format!("noted in {}\n", logbook.path().display()))?;
    Ok(Exit::Done)
}

/// Prints what a jig has worn and what was noted.
pub fn show(args: &LogbookArgs) -> Result<Exit, Failure> {
    let (jig, logbook) = args.which.open()?;
    let contents = read(&logbook)?;
    let worn = Worn::of(&jig, &contents.lines);
    let shown = Shown::of(&jig, &worn, &contents);
    match args.format {
        Format::Text => print(&shown.text(&logbook))?,
        Format::Json => print(&format!("{:#}\n", serde_json::json!(shown)))?,
    }
    warn(&jig, &worn);
    Ok(Exit::Done)
}

/// Enters something; `else_so` tells what that means where the disk would not.
pub fn enter(results: &Path, jig: &JigFile, simulated: bool, entry: Entry, else_so: &str) {
    let entered = Logbook::of(results, &jig.name).and_then(|logbook| logbook.add(&line(simulated, entry)));
    if let Err(error) = entered {
        say(&format!("railproof: {error}; {else_so}"));
    }
}

/// Enters what a session cost the jig, and says what is worn by it. A logbook that cannot be kept takes nothing from the
/// run: that is told, and the run stands.
pub fn enter_use(results: &Path, jig: &JigFile, simulated: bool, usage: &Usage, run: &str, unit: Option<&str>) {
    let entered = Logbook::of(results, &jig.name).and_then(|logbook| {
        logbook.add(&line(simulated, Entry::Use(wear::used(usage, jig, run, unit))))?;
        logbook.read()
    });
    match entered {
        Ok(contents) => warn(jig, &Worn::of(jig, &contents.lines)),
        Err(error) => say(&format!("railproof: {error}; what this run cost the jig is not counted")),
    }
}

/// A line that is written now.
fn line(simulated: bool, entry: Entry) -> Line {
    Line { version: VERSION, time: show::rfc3339(ComputerClock::new().wall()), simulated, entry }
}

/// What stands in a logbook; what could not be read is told.
pub fn read(logbook: &Logbook) -> Result<Lines<Line>, Failure> {
    let contents = logbook.read().map_err(unkept)?;
    contents.passed_over.iter().for_each(|told| say(&format!("railproof: {told}")));
    Ok(contents)
}

fn warn(jig: &JigFile, worn: &Worn) {
    worn.due(jig).iter().for_each(|due| say(&format!("railproof: {}", due.words())));
}

fn unkept(error: LogbookError) -> Failure {
    Failure::new(Exit::Invalid, error)
}

/// The parts of a jig that wear.
fn parts(jig: &JigFile) -> Vec<WearPart> {
    let outputs = jig.output_channels().into_iter().map(WearPart::Output);
    outputs.chain([WearPart::Contacts]).chain(jig.encoder.map(|_| WearPart::Encoder)).collect()
}

/// What `railproof jig logbook` prints.
#[derive(Debug, Serialize)]
struct Shown<'a> {
    jig: &'a str,
    parts: Vec<ShownPart>,
    notes: Vec<ShownNote<'a>>,
    passed_over: &'a [String],
}

#[derive(Debug, Serialize)]
struct ShownPart {
    part: String,
    /// Cycles, runs or metres.
    amount: f64,
    limit: Option<f64>,
    #[serde(skip)]
    words: (String, String),
    renewed: Option<String>,
}

#[derive(Debug, Serialize)]
struct ShownNote<'a> {
    time: &'a str,
    #[serde(flatten)]
    note: &'a Note,
}

impl<'a> Shown<'a> {
    fn of(jig: &'a JigFile, worn: &Worn, contents: &'a Lines<Line>) -> Self {
        let part = |part: WearPart| {
            let amount = worn.amount(part);
            let limit = jig.wear.iter().find(|limit| limit.part == part).map(|limit| limit.limit);
            let words = (part.amount(amount), limit.map_or_else(|| "none stated".into(), |limit| part.amount(limit)));
            ShownPart { part: part.name(), amount, limit, words, renewed: worn.renewed(part).map(str::to_owned) }
        };
        let notes = contents.lines.iter().filter_map(|line| match &line.entry {
            Entry::Note(note) => Some(ShownNote { time: &line.time, note }),
            Entry::Use(_) | Entry::Check(_) => None,
        });
        Self {
            jig: &jig.name,
            parts: parts(jig).into_iter().map(part).collect(),
            notes: notes.collect(),
            passed_over: &contents.passed_over,
        }
    }

    fn text(&self, logbook: &Logbook) -> String {
        let rows = self.parts.iter().map(|part| {
            let (amount, limit) = part.words.clone();
            vec![part.part.clone(), amount, limit, part.renewed.clone().unwrap_or_default()]
        });
        let table = show::table(&["part", "has behind it", "limit", "renewed"], rows);
        let mut text = format!("jig {}\n\n{table}", self.jig);
        for ShownNote { time, note } in &self.notes {
            let by = note.by.as_deref().map_or_else(String::new, |by| format!(" ({by})"));
            let renewed =
                if note.renewed.is_empty() { String::new() } else { format!("; renewed: {}", note.renewed.join(", ")) };
            text.push_str(&format!("\n{time}  {}{by}{renewed}", note.text));
        }
        text.push_str(&format!("{}{}\n", if self.notes.is_empty() { "\n" } else { "\n\n" }, logbook.path().display()));
        text
    }
}
