//! `railproof run`: qualifies one unit and keeps the record.

use super::bench::{Choice, OpenBench};
use super::evidence::FolderEvidence;
use super::jig::enter_use;
use super::key::{KeyChoice, unnamed};
use super::operator::{TerminalOperator, given_answers};
use super::parts;
use super::preflight;
use super::prepared::{self, Prepared};
use super::records;
use super::recover::recover;
use super::show;
use super::signals::watch_for_signals;
use super::watch::TerminalWatcher;
use super::{Exit, Failure, Format, say};
use crate::capture::Action;
use crate::care::Usage;
use crate::clock::{Clock, ComputerClock};
use crate::event::{RunOutcome, Watcher};
use crate::jig::JigFile;
use crate::plan::Plan;
use crate::record::seal::{self, BenchKey, Head, Sealing};
use crate::record::stored::Begun;
use crate::record::{self, Header, Kept, Record, RunFolder, WriteError, stored};
use crate::report;
use crate::run::{self, Answering, Bench, Job, Operator, Question, is_yes_or_no, setup};
use anyhow::{Context, anyhow};
use clap::Args;
use std::io::IsTerminal;
use std::path::PathBuf;
use std::sync::atomic::AtomicBool;

/// What to run, on which bench, and where the record goes.
#[derive(Args)]
pub struct RunArgs {
    /// The test plan
    pub(super) plan: PathBuf,
    /// The unit file of the model
    #[arg(long, value_name = "FILE")]
    pub(super) unit: PathBuf,
    /// The jig file of the bench
    #[arg(long, value_name = "FILE")]
    pub(super) jig: PathBuf,
    /// Serial number of the unit
    #[arg(long, value_name = "SN")]
    pub(super) serial: String,
    /// Folder that records go to
    #[arg(long, value_name = "DIR", default_value = "results", env = "RAILPROOF_RESULTS")]
    pub(super) results: PathBuf,
    /// Who is at the bench
    #[arg(long, value_name = "NAME", env = "RAILPROOF_OPERATOR")]
    pub(super) operator: Option<String>,
    /// A part of the unit and its lot; may be repeated
    #[arg(long = "part", value_name = "NAME=LOT", value_parser = parts::part)]
    pub(super) parts: Vec<stored::Part>,
    /// A file of parts and their lots, one a line; `-` scans them from standard input until an empty line
    #[arg(long = "parts", value_name = "FILE")]
    pub(super) parts_file: Option<PathBuf>,
    /// Answer to the operator's questions: `yes` for all, or `PIECE OF THE QUESTION=no`; may be repeated
    #[arg(long = "answer", value_name = "ANSWER")]
    pub(super) answers: Vec<String>,
    /// What the plan lists under `before` has been seen to
    #[arg(long)]
    pub(super) confirmed: bool,
    /// Run on a jig past its calibration's due date, for this reason, which is recorded and printed on every report
    #[arg(long, value_name = "REASON", value_parser = reason)]
    pub(super) overdue_because: Option<String>,
    /// Print the uncertainty budget of each value
    #[arg(long)]
    pub(super) budget: bool,
    /// How the result is printed
    #[arg(long, value_enum, default_value = "text")]
    pub(super) format: Format,
    #[command(flatten)]
    pub(super) key: KeyChoice,
    #[command(flatten)]
    pub(super) bench: Choice,
}

pub(super) fn reason(text: &str) -> Result<String, String> {
    match text.trim() {
        "" => Err("say why the run cannot wait for the calibration".into()),
        reason => Ok(reason.to_owned()),
    }
}

/// A run that was carried out and kept.
pub struct Done {
    pub outcome: RunOutcome,
    pub record: Record,
    /// Where it is kept, in words.
    pub place: String,
}

/// Qualifies one unit.
pub fn run(args: &RunArgs) -> Result<Exit, Failure> {
    let Done { outcome, record, place } = carry_out(args)?;
    show::record(args.format, &record, &place, args.budget)?;
    Ok(show::exit(&outcome))
}

/// Who attends a run.
pub(super) struct Attended<'a> {
    /// Has the operator confirm what has to be so before anything moves, and gives whoever answers from then on.
    pub operator: Box<Confirm<'a>>,
    /// Is told of all that happens.
    pub watcher: &'a mut dyn Watcher,
    /// Set by whoever breaks the run off.
    pub interrupted: &'a AtomicBool,
}

/// Whether the bench is simulated.
pub(super) type Simulated = bool;
/// What has an operator confirm the plan.
type Confirm<'a> = dyn FnOnce(&Plan, Simulated) -> Result<Box<dyn Operator + 'a>, Failure> + 'a;

/// Carries out a plan on one unit, attended from the terminal, and keeps the record.
pub(super) fn carry_out(args: &RunArgs) -> Result<Done, Failure> {
    let prepared = prepare(args)?;
    let told = parts::all(args.parts_file.as_deref(), &args.parts)?;
    let interrupted = watch_for_signals()?;
    let operator = |plan: &Plan, simulated: Simulated| -> Result<Box<dyn Operator>, Failure> {
        let answering = Answering::new(given_answers(&args.answers), simulated);
        questions_can_be_answered(plan, &answering)?;
        let mut operator = TerminalOperator::new(answering);
        if !simulated && !args.confirmed {
            operator.confirm("Before anything moves:", &plan.before, &ComputerClock::new(), &interrupted)?;
        }
        Ok(Box::new(operator))
    };
    let watcher = &mut TerminalWatcher::new();
    attended(args, prepared, told, Attended { operator: Box::new(operator), watcher, interrupted: &interrupted })
}

/// Carries out a plan on one unit, whoever attends it, and keeps the record. `told` are the unit's parts.
pub(super) fn attended(
    args: &RunArgs,
    prepared: Prepared,
    told: Vec<stored::Part>,
    who: Attended<'_>,
) -> Result<Done, Failure> {
    let key = args.key.load()?;
    let clock = ComputerClock::new();
    let started = clock.wall();
    let overdue_because = within_calibration(&prepared.jig, started.date(), args.overdue_because.as_deref())?;
    let id = uuid::Uuid::now_v7().to_string();
    let name = key.as_ref().map_or_else(unnamed, |key| key.bench().to_owned());
    preflight::calendar(&args.results, &args.serial, started)?;
    recover(&args.results, &clock, key.as_ref());
    let (folder, warnings) = stage(args, &name, &clock, &id)?;
    preflight::room(&folder, &prepared.plan, &setup(&prepared.unit, &prepared.jig), prepared.unit.speed_max)?;
    let mut bench = args.bench.open(&prepared.unit, &prepared.jig, &args.serial)?;
    let operator = (who.operator)(&prepared.plan, bench.simulated())?;
    let parts = records::carried_on(&args.results, &args.serial, bench.simulated(), told);

    let (seed, faults) = args.bench.world_facts(&prepared.jig);
    let facts = stored::RunFacts {
        id,
        started: show::rfc3339(started),
        ended: show::rfc3339(started),
        took_s: 0.0,
        origin: bench.origin(),
        seed,
        faults,
        railproof: env!("CARGO_PKG_VERSION").to_owned(),
        predecessors: record::predecessors(&args.results, &args.serial),
    };
    let facts_of_bench = stored::BenchFacts {
        name: Some(name),
        key: key.as_ref().map(|key| key.public().fingerprint()),
        overdue_because,
        ..prepared.bench_facts(bench.jig.identity().describes.clone(), args.operator.clone())
    };
    let mut header = Header {
        run: facts,
        unit: prepared.unit_facts(&args.serial, parts),
        bench: facts_of_bench,
        inputs: prepared.input_facts(),
        warnings,
    };
    let begun = Begun { run: header.run.clone(), unit: header.unit.clone(), bench: header.bench.clone() };
    folder.note(&begun, &prepared.frozen()).map_err(|error| Failure::new(Exit::Invalid, error))?;
    let (began, started_at) = (clock.now(), clock.wall());

    let attending = (operator, who.watcher, who.interrupted);
    let (outcome, usage) = conduct(args, &prepared, &mut bench, &folder, attending)?;
    enter_use(&args.results, &prepared.jig, bench.simulated(), &usage, &header.run.id, Some(&args.serial));
    let ended = clock.wall();
    let outcome = match preflight::clock_was_set(started_at, clock.now().since(began), ended) {
        Some(why) => prepared::invalidated(outcome, why),
        None => outcome,
    };
    (header.run.ended, header.run.took_s) = (show::rfc3339(ended), outcome.took_s);
    let record = record::record(&prepared.plan, &outcome, header);
    let kept = keep(folder, &record, &clock, key.as_ref())?;
    let place = format!("{}\n{}", sealed(&kept), kept.home.display());
    records::note(&args.results, &args.serial);
    Ok(Done { outcome, record, place })
}

/// Reads and checks everything that can be checked without a bench.
pub(super) fn prepare(args: &RunArgs) -> Result<Prepared, Failure> {
    record::check_serial(&args.serial).map_err(|error| Failure::new(Exit::Usage, error))?;
    let prepared = Prepared::read(&args.plan, &args.unit, &args.jig)?;
    prepared.check_serial(&args.serial)?;
    Ok(prepared)
}

/// Makes the run's folder, and sees to it that it can be sealed. What the operator should know comes with it.
fn stage(args: &RunArgs, bench: &str, clock: &ComputerClock, id: &str) -> Result<(RunFolder, Vec<String>), Failure> {
    let invalid = |error: WriteError| Failure::new(Exit::Invalid, error);
    let folder = RunFolder::stage(&args.results, &args.serial, id).map_err(invalid)?;
    let before = seal::before(&args.results, bench).map_err(invalid)?;
    let mut warnings = Vec::new();
    if let Some(Head { link, .. }) = before.lost {
        let gone = format!("{}/{}", link.serial, link.run);
        warnings
            .push(format!("the bench's run before this one, {gone}, is gone from the results; see `railproof verify`"));
    }
    let now = clock.wall();
    if let Some(sealed) = before.sealed.filter(|sealed| *sealed > now) {
        let (now, sealed) = (show::rfc3339(now), show::rfc3339(sealed));
        warnings.push(format!(
            "the computer's clock says {now}, but the bench's last record is of {sealed}; set the clock"
        ));
    }
    warnings.iter().for_each(|warning| say(&format!("railproof: {warning}")));
    Ok((folder, warnings))
}

/// A question that nobody could answer, or that was answered beside the point, is found before anything moves.
fn questions_can_be_answered(plan: &Plan, answering: &Answering) -> Result<(), Failure> {
    let somebody_there = std::io::stdin().is_terminal();
    for planned in plan.checks.iter().flat_map(|check| &check.moves) {
        let Action::Ask { question } = &planned.action else { continue };
        let wanted = planned.expect.as_deref().unwrap_or("yes");
        let why = match answering.prepared(Question { text: question, wanted }) {
            None if !somebody_there => format!("nobody is at the terminal to answer `{question}`; add --answer"),
            Some(answer) if is_yes_or_no(wanted) && !is_yes_or_no(&answer) => {
                format!("`{answer}` is no answer to `{question}`; give yes or no")
            }
            _ => continue,
        };
        return Err(Failure::new(Exit::Usage, anyhow!(why)));
    }
    Ok(())
}

fn conduct(
    args: &RunArgs,
    prepared: &Prepared,
    bench: &mut OpenBench,
    folder: &RunFolder,
    (mut operator, watcher, interrupted): (Box<dyn Operator + '_>, &mut dyn Watcher, &AtomicBool),
) -> Result<(RunOutcome, Usage), Failure> {
    let setup = setup(&prepared.unit, &prepared.jig);
    let mut evidence = FolderEvidence::create(folder.path(), setup.jig.ticks_per_second)
        .with_context(|| format!("{}: no capture file; look at the disk and at --results", folder.path().display()))
        .map_err(|error| Failure { exit: Exit::Invalid, error })?;
    let protection = run::protection(&prepared.unit, &prepared.jig);
    let job = Job { plan: &prepared.plan, setup: &setup, protection: &protection, serial: &args.serial, interrupted };
    let OpenBench { clock, port, jig, .. } = bench;
    let mut bench = Bench { clock: &**clock, port: &mut **port, jig: &mut **jig, unit: &prepared.unit };
    let outcome = run::run(&job, &mut bench, &mut *operator, &mut evidence, watcher);
    let usage = evidence.usage().clone();
    let outcome = match evidence.finish() {
        Ok(()) => outcome,
        Err(error) => prepared::invalidated(outcome, format!("the evidence was not stored: {error}; look at the disk")),
    };
    Ok((outcome, usage))
}

/// A run on a jig past its calibration would prove nothing, so it is refused while nothing has moved yet, unless there is a
/// reason to go on, which is then what the record has to say.
pub(super) fn within_calibration(
    jig: &JigFile,
    today: time::Date,
    because: Option<&str>,
) -> Result<Option<String>, Failure> {
    let mut wrong: Vec<String> = jig
        .overdue(today)
        .into_iter()
        .map(|(channel, dates)| format!("the calibration of the jig's `{channel}` was due on {}", dates.due))
        .collect();
    let because = match because {
        Some(_) if wrong.is_empty() => {
            say("railproof: no calibration is past its due date; --overdue-because is not recorded");
            None
        }
        because => because,
    };
    if because.is_some() {
        wrong.drain(..).for_each(|overdue| say(&format!("railproof: {overdue}")));
    }
    let right = if wrong.is_empty() {
        "set the computer's clock, or correct the jig file"
    } else {
        "calibrate it (`railproof jig calibrate`), or say why not with --overdue-because"
    };
    if wrong.is_empty() {
        // The calendar of the bench may be a day ahead of UTC.
        let tomorrow = today.next_day().unwrap_or(today);
        let ahead = jig.dates().into_iter().filter(|(_, dates)| dates.calibrated > tomorrow);
        wrong.extend(ahead.map(|(channel, dates)| {
            format!(
                "the jig's `{channel}` was calibrated on {}, and the computer's clock says {today}",
                dates.calibrated
            )
        }));
    }
    match wrong.split_first() {
        None => Ok(because.map(str::to_owned)),
        Some((first, more)) => {
            let more = if more.is_empty() { String::new() } else { format!(" (and {} more channels)", more.len()) };
            let why = format!("{first}{more}; {right}; nothing was moved");
            Err(Failure::new(Exit::Invalid, anyhow!(why)))
        }
    }
}

/// Writes everything that is left to write and makes the run's folder appear. The record comes first: a report that cannot
/// be made is told about and left out, since it can be made again from the record.
pub fn keep(
    folder: RunFolder,
    record: &Record,
    clock: &ComputerClock,
    key: Option<&BenchKey>,
) -> Result<Kept, Failure> {
    let invalid = |error: anyhow::Error| Failure { exit: Exit::Invalid, error };
    let json = record::to_json(record);
    let digest = record::digest(&json);
    let sheet = report::kind(record).file_stem();
    let html = report::sheet_html(record, &digest).into_bytes();
    let mut files = vec![("record.json".to_owned(), json), (format!("{sheet}.html"), html)];
    let junit = report::junit(record, &digest).map(String::into_bytes).map_err(anyhow::Error::from);
    let pdf = report::sheet_pdf(record, &digest).map_err(anyhow::Error::from);
    for (name, made) in [("junit.xml".to_owned(), junit), (format!("{sheet}.pdf"), pdf)] {
        match made {
            Ok(bytes) => files.push((name, bytes)),
            Err(error) => say(&format!("railproof: {name} cannot be made and is left out: {error:#}")),
        }
    }
    let bench = record.bench.name.as_deref().unwrap_or_default();
    let sealing = Sealing { bench, key, clock, clock_uncertainty: clock.wall_uncertainty() };
    let kept = folder.finish(files, &sealing).context("the record is not kept").map_err(invalid)?;
    Ok(kept)
}

/// How the run is sealed.
fn sealed(kept: &Kept) -> String {
    let (counter, bench, head) = (kept.head.counter, &kept.seal.bench, &kept.head.link.digest);
    let key = kept.seal.key.as_ref().map_or("unsigned".to_owned(), |key| format!("signed by {key}"));
    format!("sealed as run {counter} of {bench}\n{key}\nhead {head}")
}
