//! `railproof jig check`: the jig against its references, and against its reference unit where one is on it.

use super::checked::Checked;
use super::drift::told;
use super::logbook::{enter, enter_use, read};
use crate::care::Usage;
use crate::care::check::{self, Proof, Trouble};
use crate::care::drift::charts;
use crate::care::logbook::Logbook;
use crate::care::logbook::stored::Entry;
use crate::cli::bench::{Choice, OpenBench};
use crate::cli::inputs::unit_and_jig;
use crate::cli::key::KeyChoice;
use crate::cli::operator::TerminalOperator;
use crate::cli::run::{RunArgs, carry_out, prepare, reason, within_calibration};
use crate::cli::signals::watch_for_signals;
use crate::cli::{Exit, Failure, Format, print, say, show};
use crate::clock::{Clock, ComputerClock};
use crate::jig::JigFile;
use crate::run::{Answering, Bench};
use crate::unit::Unit;
use clap::Args;
use std::path::PathBuf;
use std::sync::atomic::AtomicBool;

/// Which jig to check, and on which unit.
#[derive(Debug, Args)]
pub struct CheckArgs {
    /// The jig file
    #[arg(long, value_name = "FILE")]
    jig: PathBuf,
    /// The unit file of the model that the jig is for
    #[arg(long, value_name = "FILE")]
    unit: PathBuf,
    /// Serial number of the reference unit, where it is on the jig: it is moved
    #[arg(long, value_name = "SN")]
    reference_unit: Option<String>,
    /// The plan for the reference unit
    #[arg(long, value_name = "FILE", default_value = "test-plans/jig-check.yaml")]
    plan: PathBuf,
    /// Folder that records go to
    #[arg(long, value_name = "DIR", default_value = "results", env = "RAILPROOF_RESULTS")]
    results: PathBuf,
    /// Who is at the bench
    #[arg(long, value_name = "NAME", env = "RAILPROOF_OPERATOR")]
    operator: Option<String>,
    /// What is asked for before anything is switched or moves has been seen to
    #[arg(long)]
    confirmed: bool,
    /// Check a jig past its calibration's due date, for this reason, which the reference unit's record keeps
    #[arg(long, value_name = "REASON", value_parser = reason)]
    overdue_because: Option<String>,
    /// How the result is printed
    #[arg(long, value_enum, default_value = "text")]
    format: Format,
    #[command(flatten)]
    key: KeyChoice,
    #[command(flatten)]
    bench: Choice,
}

/// What to see to before outputs are switched.
const BEFORE: [&str; 3] = [
    "Hands off the jig: relays and solenoids will move; the unit's supply stays off, the dummy load gets hot",
    "The carriage stands clear of both ends",
    "Emergency stop within reach, guard closed",
];

/// Checks a jig.
pub fn check(args: &CheckArgs) -> Result<Exit, Failure> {
    let (unit, jig) = unit_and_jig(&args.unit, &args.jig)?;
    // A mistake in the plan is told before anything is switched.
    let run = args.reference_unit.as_ref().map(|serial| args.run(serial));
    let plan = run.as_ref().map(prepare).transpose()?.map(|prepared| prepared.plan);
    let interrupted = watch_for_signals()?;
    let started = ComputerClock::new().wall();
    within_calibration(&jig, started.date(), args.overdue_because.as_deref())?;
    let (mut proofs, simulated) = without_motion(args, &unit, &jig, &interrupted)?;
    let unit = run.as_ref().map(carry_out).transpose()?;
    if let Some(reference) = &jig.references.unit {
        let run = plan.as_ref().zip(unit.as_ref().map(|done| &done.outcome));
        proofs.push(check::travel(reference, args.reference_unit.as_deref(), run));
    }
    let checked = Checked { jig: &jig, plan: plan.as_ref(), proofs: &proofs, unit: unit.as_ref(), simulated };
    enter(&args.results, &jig, simulated, Entry::Check(checked.entry()), "this check is not in it");
    tell_drift(args, &jig, simulated)?;
    match args.format {
        Format::Text => print(&checked.text(&show::rfc3339(started)))?,
        Format::Json => print(&format!("{:#}\n", checked.json(&show::rfc3339(started))))?,
    }
    let interrupted = unit.as_ref().is_some_and(|done| done.outcome.interrupted);
    Ok(if interrupted { Exit::Interrupted } else { show::exit_of(checked.decision()) })
}

/// Says what the last values show that is no chance.
fn tell_drift(args: &CheckArgs, jig: &JigFile, simulated: bool) -> Result<(), Failure> {
    let logbook = Logbook::of(&args.results, &jig.name).map_err(|error| Failure::new(Exit::Invalid, error))?;
    let charts = charts(&read(&logbook)?.lines, simulated, None);
    charts.iter().filter_map(told).for_each(|drift| say(&format!("railproof: drift: {drift}")));
    Ok(())
}

impl CheckArgs {
    /// The run of the plan on the reference unit.
    fn run(&self, serial: &str) -> RunArgs {
        RunArgs {
            plan: self.plan.clone(),
            unit: self.unit.clone(),
            jig: self.jig.clone(),
            serial: serial.to_owned(),
            results: self.results.clone(),
            operator: self.operator.clone(),
            parts: Vec::new(),
            parts_file: None,
            answers: Vec::new(),
            confirmed: self.confirmed,
            overdue_because: self.overdue_because.clone(),
            key: self.key.clone(),
            budget: false,
            format: self.format,
            bench: self.bench.clone(),
        }
    }
}

/// What takes no motion. The bench is closed again behind it, so that a run begins on a bench in its first state.
fn without_motion(
    args: &CheckArgs,
    unit: &Unit,
    jig: &JigFile,
    interrupted: &AtomicBool,
) -> Result<(Vec<Proof>, bool), Failure> {
    let serial = args.reference_unit.as_deref().unwrap_or("none");
    let mut bench = args.bench.open(unit, jig, serial)?;
    let simulated = bench.simulated();
    if !simulated && !args.confirmed {
        let mut operator = TerminalOperator::new(Answering::new(Vec::new(), false));
        operator.confirm(
            "Before anything is switched:",
            &BEFORE.map(str::to_owned),
            &ComputerClock::new(),
            interrupted,
        )?;
    }
    let mut usage = Usage::default();
    let OpenBench { clock, port, jig: wires, .. } = &mut bench;
    let mut on = Bench { clock: &**clock, port: &mut **port, jig: &mut **wires, unit };
    let proofs = check::prove(jig, &mut on, interrupted, &mut usage);
    enter_use(&args.results, jig, simulated, &usage, "jig check", None);
    match proofs {
        Ok(proofs) => Ok((proofs, simulated)),
        Err(Trouble::Interrupted) => Err(Failure::new(Exit::Interrupted, Trouble::Interrupted)),
        Err(trouble) => Err(Failure::new(Exit::Invalid, trouble)),
    }
}
