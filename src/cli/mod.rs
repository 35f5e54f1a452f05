//! The command line: one file a command, and the one place where a bench is chosen and things are printed.
//!
//! Results go to standard output, progress and messages to standard error. Exit status: 0 conforms (or done), 1 does not
//! conform, 2 wrong usage, 3 undecided, 4 invalid (the bench failed), 5 an input file is wrong, 130 interrupted.

mod bench;
mod capability;
mod captures;
mod claim;
mod compare;
mod dispatch;
mod evidence;
mod export;
mod find;
mod gauge;
mod history;
mod index;
mod inputs;
mod jig;
mod judge;
mod key;
mod lint;
mod measure;
mod operator;
mod parts;
mod preflight;
mod prepared;
mod query;
mod recall;
mod records;
mod recover;
mod rehearse;
mod run;
mod run_set;
mod serve;
mod show;
mod signals;
mod simulate;
mod store;
mod sync;
mod tabular;
mod verify;
mod watch;
mod world;

use anyhow::Context;
use clap::{CommandFactory, Parser, Subcommand, ValueEnum};
use std::io::Write;
use std::path::Path;
use std::process::ExitCode;

const EXIT_STATUS: &str = "\
Exit status: 0 conforms, or done; 1 does not conform, or a difference was proven; 2 wrong usage; 3 undecided; 4 invalid, the bench \
failed; 5 an input file is wrong; 130 interrupted";

/// Automated bench test of finished motorised slider drive units.
///
/// Caution: a bench moves belts and carriages, switches lithium packs and heats motors. Keep hands, hair and cables clear,
/// secure the rail, and wire an emergency stop into the supply: a software stop is no safety function. Local rules for
/// lithium packs and electrical work apply.
#[derive(Parser)]
#[command(name = "railproof", version, max_term_width = 110, after_long_help = EXIT_STATUS)]
struct Arguments {
    #[command(subcommand)]
    command: Command,
}

#[derive(Subcommand)]
enum Command {
    /// Qualify one unit: carry out a plan, decide, and keep the record
    Run(run::RunArgs),
    /// Print every measurand that captures support, whoever made them
    Measure(measure::MeasureArgs),
    /// Measure and decide again from a stored run or a capture, without a bench
    Judge(judge::JudgeArgs),
    /// Check plans, unit files and jig files without a bench
    Lint(lint::LintArgs),
    /// Make or show the key that this bench seals its records with
    Key(key::KeyArgs),
    /// Prove that records are as they were sealed, or name what is not
    Verify(verify::VerifyArgs),
    /// Keep a jig true: its calibration, its wear, its logbook
    #[command(subcommand)]
    Jig(jig::JigCommand),
    /// Tell what became of a unit: its runs, reworks, dispatch and return
    History(history::HistoryArgs),
    /// Find records by unit, part lot, plan, check, decision or measured value
    Find(find::FindArgs),
    /// Tell where the units are that carry a part lot
    Recall(recall::RecallArgs),
    /// Hand a fleet's records to other engines: partitioned Parquet, or CSV
    Export(export::ExportArgs),
    /// Tell what got worse between two sets of runs, what stayed as it was, and what cannot be told yet
    Compare(compare::CompareArgs),
    /// Tell how the line does: yield, capability, control charts, steps and drifts
    Capability(capability::CapabilityArgs),
    /// Plan and analyse a study of the jig: repeatability, reproducibility, bias
    Gauge(gauge::GaugeArgs),
    /// Note that a unit leaves on its last conforming record
    Dispatch(dispatch::DispatchArgs),
    /// Note that a unit came back
    Receive(dispatch::ReceiveArgs),
    /// Compare a returned unit with its as-shipped record: what changed, and what did not
    Claim(claim::ClaimArgs),
    /// Bring new records to the store that benches share, and take what other benches noted
    Sync(sync::SyncArgs),
    /// Take the records of a unit that was tested elsewhere out of the shared store
    Fetch(sync::FetchArgs),
    /// Bring the index of the records up to date, or make it anew
    Index(index::IndexArgs),
    /// Tell what a plan would let through: carry it out on thousands of simulated units whose truth is known
    Rehearse(rehearse::RehearseArgs),
    /// Show the bench in a browser: start runs there, watch them, stop them
    Serve(serve::ServeArgs),
    /// Serve a simulated unit and capture board on two serial ports
    Simulate(simulate::SimulateArgs),
}

/// How results are printed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum Format {
    /// For people.
    Text,
    /// For programs.
    Json,
}

/// What a command ends with; the numbers are the contract with scripts.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Exit {
    /// The unit conforms, or the command is done.
    Done = 0,
    /// The unit does not conform.
    DoesNotConform = 1,
    /// The command was called wrongly.
    Usage = 2,
    /// Neither is proven.
    Undecided = 3,
    /// The bench failed.
    Invalid = 4,
    /// An input file is wrong.
    BadInput = 5,
    /// Somebody interrupted.
    Interrupted = 130,
}

impl From<Exit> for ExitCode {
    fn from(exit: Exit) -> Self {
        ExitCode::from(exit as u8)
    }
}

/// The commands and their options, for what documents them.
pub fn command() -> clap::Command {
    Arguments::command()
}

/// Runs the command that the arguments name.
pub fn main() -> ExitCode {
    let done = match Arguments::parse().command {
        Command::Run(args) => run::run(&args),
        Command::Measure(args) => measure::measure(&args),
        Command::Judge(args) => judge::judge(&args),
        Command::Lint(args) => lint::lint(&args),
        Command::Key(args) => key::key(&args),
        Command::Verify(args) => verify::verify(&args),
        Command::Jig(command) => jig::jig(&command),
        Command::History(args) => history::history(&args),
        Command::Find(args) => find::find(&args),
        Command::Recall(args) => recall::recall(&args),
        Command::Export(args) => export::export(&args),
        Command::Compare(args) => compare::compare(&args),
        Command::Capability(args) => capability::capability(&args),
        Command::Gauge(args) => gauge::gauge(&args),
        Command::Dispatch(args) => dispatch::dispatch(&args),
        Command::Receive(args) => dispatch::receive(&args),
        Command::Claim(args) => claim::claim(&args),
        Command::Sync(args) => sync::sync(&args),
        Command::Fetch(args) => sync::fetch(&args),
        Command::Index(args) => index::index(&args),
        Command::Rehearse(args) => rehearse::rehearse(&args),
        Command::Serve(args) => serve::serve(&args),
        Command::Simulate(args) => simulate::simulate(&args),
    };
    match done {
        Ok(exit) => exit.into(),
        Err(Failure { exit, error }) => {
            say(&format!("railproof: {error:#}"));
            exit.into()
        }
    }
}

/// Says a line on standard error. Where nobody can hear it, what goes on goes on: a unit may be moving.
fn say(line: &str) {
    let _ = writeln!(anstream::stderr(), "{line}");
}

/// A day, as options take one.
fn day(text: &str) -> Result<time::Date, String> {
    let form = time::macros::format_description!("[year]-[month]-[day]");
    time::Date::parse(text, form).map_err(|_| "write year-month-day, for example 2026-11-28".into())
}

/// Prints a result on standard output.
///
/// # Errors
/// Where it takes no more, other than because its reader has seen enough.
fn print(text: &str) -> Result<(), Failure> {
    let mut out = anstream::stdout().lock();
    match out.write_all(text.as_bytes()).and_then(|()| out.flush()) {
        Err(error) if error.kind() == std::io::ErrorKind::BrokenPipe => Ok(()),
        done => done.context("the result cannot be printed").map_err(|error| Failure { exit: Exit::Invalid, error }),
    }
}

/// Writes what was asked for beside the result.
fn write_beside(path: &Path, text: &str) -> Result<(), Failure> {
    std::fs::write(path, text)
        .with_context(|| format!("{}: cannot be written; look at the path and the disk", path.display()))
        .map_err(|error| Failure { exit: Exit::Usage, error })
}

/// Why a command could not be done, and what it ends with.
#[derive(Debug)]
pub struct Failure {
    exit: Exit,
    error: anyhow::Error,
}

impl Failure {
    fn new(exit: Exit, error: impl Into<anyhow::Error>) -> Self {
        Self { exit, error: error.into() }
    }
}
