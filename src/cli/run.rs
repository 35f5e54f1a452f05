//! `railproof run`: qualifies one unit and keeps the record.

use super::bench::{Choice, open};
use super::inputs::{InputFile, gather, refuse};
use super::operator::{TerminalOperator, confirm, given_answers};
use super::watch::TerminalWatcher;
use super::{Exit, Failure, Format};
use crate::capture::Action;
use crate::clock::{Clock, ComputerClock, WallTime};
use crate::decide::Decision;
use crate::event::RunOutcome;
use crate::jig::JigFile;
use crate::plan::{Draft, Envelope, Plan};
use crate::record::{self, Header, Record, RunFolder, stored};
use crate::report;
use crate::run::{self, Answering, Bench, Evidence, Job, Question};
use crate::unit::Unit;
use anyhow::{Context, anyhow};
use clap::Args;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::AtomicBool;
use time::format_description::well_known::Rfc3339;

#[derive(Args)]
pub struct RunArgs {
    /// The test plan
    plan: PathBuf,
    /// The unit file of the model
    #[arg(long, value_name = "FILE")]
    unit: PathBuf,
    /// The jig file of the bench
    #[arg(long, value_name = "FILE")]
    jig: PathBuf,
    /// Serial number of the unit
    #[arg(long, value_name = "SN")]
    serial: String,
    /// Folder that records go to
    #[arg(long, value_name = "DIR", default_value = "results", env = "RAILPROOF_RESULTS")]
    results: PathBuf,
    /// Who is at the bench
    #[arg(long, value_name = "NAME", env = "RAILPROOF_OPERATOR")]
    operator: Option<String>,
    /// A part of the unit and its lot; may be repeated
    #[arg(long = "part", value_name = "NAME=LOT", value_parser = part)]
    parts: Vec<stored::Part>,
    /// Answer to the operator's questions: `yes` for all, or `PIECE OF THE QUESTION=no`; may be repeated
    #[arg(long = "answer", value_name = "ANSWER")]
    answers: Vec<String>,
    /// What the plan lists under `before` has been seen to
    #[arg(long)]
    confirmed: bool,
    /// How the result is printed
    #[arg(long, value_enum, default_value = "text")]
    format: Format,
    #[command(flatten)]
    bench: Choice,
}

fn part(text: &str) -> Result<stored::Part, String> {
    match text.split_once('=') {
        Some((name, lot)) if !name.trim().is_empty() && !lot.trim().is_empty() => {
            Ok(stored::Part { name: name.trim().to_owned(), lot: lot.trim().to_owned() })
        }
        _ => Err("write NAME=LOT, for example belt=L2207".into()),
    }
}

/// Everything that was read and found right before the bench is touched.
struct Prepared {
    plan: Plan,
    unit: Unit,
    jig: JigFile,
    inputs: [(&'static str, InputFile); 3],
}

pub fn run(args: &RunArgs) -> Result<Exit, Failure> {
    let prepared = prepare(args)?;
    let interrupted = Arc::new(AtomicBool::new(false));
    for signal in [signal_hook::consts::SIGINT, signal_hook::consts::SIGTERM, signal_hook::consts::SIGHUP] {
        signal_hook::flag::register(signal, Arc::clone(&interrupted))
            .context("Ctrl-C cannot be watched for")
            .map_err(|error| Failure { exit: Exit::Invalid, error })?;
    }
    let id = uuid::Uuid::now_v7().to_string();
    let folder = stage(args, &id)?;
    let mut bench = open(&args.bench, &prepared.unit, &prepared.jig, &args.serial)?;
    if !bench.simulated() {
        confirm(&prepared.plan.before, args.confirmed)?;
    }
    let answering = Answering::new(given_answers(&args.answers), bench.simulated());
    questions_have_answers(&prepared.plan, &answering)?;

    let setup = bench.setup(&prepared.unit, &prepared.jig);
    let clock = ComputerClock::new();
    let started = clock.wall();
    let mut evidence = FolderEvidence::new(&folder, setup.jig.ticks_per_second)?;
    let mut watcher = TerminalWatcher::new(false);
    let mut operator = TerminalOperator::new(answering);
    let job = Job { plan: &prepared.plan, setup: &setup, serial: &args.serial, interrupted: &interrupted };
    let outcome = {
        let (clock, port, jig) = bench.parts();
        let mut bench = Bench { clock, port, jig, unit: &prepared.unit };
        run::run(&job, &mut bench, &mut operator, &mut evidence, &mut watcher)
    };
    let outcome = evidence.finish(outcome);
    let facts = Times { id, started, ended: clock.wall() };
    let header = header(args, &prepared, &bench.describes(), bench.origin(&args.bench), facts, &folder);
    let record = record::record(&prepared.plan, &outcome, header);
    keep(args, &prepared, folder, &record)?;
    Ok(exit(&outcome))
}
